"""YAML text to plain texts, lists and mappings that know their places; it decides nothing about what they mean.

YAML 1.2 through the events of ruamel.yaml; a text that libyaml reads without a fault is taken from there, which gives
the same events and takes a fiftieth of the time. Scalars stay text: their meaning comes from the declared type of the
field they stand in, so that `no`, `012` or `1:30` never turn into something else. Anchors, aliases, tags, several
documents are refused: a file that a mechanic reads from top to bottom needs none of them, and a bomb of aliases needs
all.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from engine.procedure.source.problems import Problem
from engine.procedure.source.slips import glued, slip
from engine.procedure.source.spans import Source, Span

try:
    from yaml.cyaml import CParser
except ImportError:  # without libyaml all texts are read by the slower parser
    CParser = None

#: What libyaml takes for the end of a line, or reads as YAML 1.1 where 1.2 is meant: such a text it does not get.
_OTHERWISE = re.compile("[\x85\u2028\u2029\ufeff\t]|^%", re.MULTILINE)

#: Deeper than any file has reason to go; the language itself needs eight.
DEPTH = 20
#: Keys, texts, lists and mappings in one file; a long procedure has 3,000.
MOST_NODES = 12_000
#: A file with so many faults is some other kind of file.
MOST_FAULTS = 100


class Scalar(str):
    """A text with its place. `span` covers it as written, quotes included; `quoted` is 1 where it stands in quotes."""

    __slots__ = ("exact", "quoted", "span")
    span: Span
    quoted: int
    #: True where offsets in the text are columns in the file: one line, nothing escaped or folded.
    exact: bool

    def at(self, start: int, end: int) -> Span:
        """The place of the characters from `start` to `end` of this text, or of the whole where that can't be told."""
        if not self.exact:
            return self.span
        return self.span.within(start + self.quoted, max(end, start + 1) + self.quoted)


class Map(dict[Scalar, Any]):
    """A mapping with its place; its keys are `Scalar`s. `key_span` finds the place of a key.

    `lost` names keys that stood here and were taken out because of a fault that has been reported.
    """

    __slots__ = ("lost", "span")
    span: Span
    lost: set[str]

    def __init__(self, items: Any = ()) -> None:
        super().__init__(items)
        self.lost = set()

    if TYPE_CHECKING:  # a plain text finds what the same text with a place would find

        def __getitem__(self, name: str) -> Any: ...
        def get(self, name: str, default: Any = None) -> Any: ...

    def key_span(self, name: str) -> Span:
        """Where the key `name` stands, or else the mapping's first key."""
        return next((k.span for k in self if k == name), self.head)

    @property
    def head(self) -> Span:
        """The first key, where a fault of the whole mapping is shown; an empty mapping's braces."""
        return next((k.span for k in self), self.span)


class Seq(list[Any]):
    """A list with its place; `lost` says that an item was taken out because of a fault that has been reported."""

    __slots__ = ("lost", "span")
    span: Span
    lost: bool

    def __init__(self, items: Any = ()) -> None:
        super().__init__(items)
        self.lost = False


Tree = Scalar | Map | Seq | None


def scalar(text: str, span: Span) -> Scalar:
    """A `Scalar` that no file wrote in this shape: it stands where `span` says."""
    made = Scalar(text)
    made.span, made.quoted, made.exact = span, 0, span.end_column - span.column == len(text)
    return made


def mapping(span: Span, items: dict[str, Any]) -> Map:
    """A `Map` for a short form written out in full; its keys stand where the short form does."""
    made = Map({scalar(k, span): v for k, v in items.items()})
    made.span = span
    return made


def placed(node: Tree, path: str) -> None:
    """Say of everything in a tree that it stands in the file at `path`, wherever it is used."""
    if node is None:
        return
    node.span = replace(node.span, path=path)
    for item in node if isinstance(node, Seq) else [*node.keys(), *node.values()] if isinstance(node, Map) else ():
        placed(item, path)


def read_tree(source: Source, such_as: str = "procedure: name") -> tuple[Map | None, list[Problem]]:
    """The mapping that a file holds, and what is wrong with it as YAML. None where it can't be read at all. `such_as`
    is a line that such a file may begin with."""
    fast = _read_fast(source)
    return fast if fast is not None else _read_well(source, such_as)


def _read_fast(source: Source) -> tuple[Map | None, list[Problem]] | None:
    """A file as libyaml reads it; None where it finds any fault, so that the other parser may say which."""
    if CParser is None or _OTHERWISE.search(source.text):
        return None
    builder = _Builder(source.path)
    try:
        root = builder.document(_events(CParser(source.text)))
    except Exception:  # foreign code; whatever is wrong is found and said by the other parser
        return None
    return (root, []) if isinstance(root, Map) and not builder.problems else None


def _events(parser: Any) -> Iterator[Any]:
    while parser.check_event():
        yield parser.get_event()


def _read_well(source: Source, such_as: str = "procedure: name") -> tuple[Map | None, list[Problem]]:
    """A file as ruamel.yaml reads it, with what is wrong with it."""
    # Brought in here: most files are read without it, and it takes longer to import than they do to read.
    from ruamel.yaml import YAML
    from ruamel.yaml.error import MarkedYAMLError

    builder = _Builder(source.path)
    try:
        # `parse` gives events, not objects: nothing in the file is ever constructed or run.
        root = builder.document(YAML(typ="safe", pure=True).parse(source.text))
    except _Stop:
        root = None
    except MarkedYAMLError as fault:
        # A quote that is never closed is shown where it opens, everything else where it is noticed.
        opened = "quoted scalar" in (fault.context or "")
        mark = (fault.context_mark if opened else None) or fault.problem_mark or fault.context_mark
        noticed = _mark_span(fault.problem_mark or mark)
        found = None if opened else slip(source.text.split("\n"), noticed.line, noticed.column)
        builder.add("not-yaml", *(found or (_mark_span(mark), *_in_words(fault))))
        root = None
    except Exception as fault:  # the parser is foreign code fed with arbitrary bytes; any way it fails is "not YAML"
        builder.add("not-yaml", Span(1, 1, 1, 1), f"This is not readable as YAML: {str(fault).splitlines()[0][:200]}.")
        root = None
    if root is not None and not isinstance(root, Map):
        builder.add("wrong-shape", root.span, f"The file is a mapping of keys, such as `{such_as}`.")
        root = None
    elif root is None and not builder.problems:
        builder.add("wrong-shape", Span(1, 1, 1, 1), "The file is empty.", f"Start with `{such_as}`.")
    return root, builder.problems


class _Stop(Exception):
    """The rest of the file is not looked at."""


class _Builder:
    """Builds the tree from events, one node at a time, and collects what it refuses."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.problems: list[Problem] = []
        self.nodes = 0

    def add(self, code: str, span: Span, message: str, hint: str = "") -> None:
        self.problems.append(Problem(code, self.path, span, message, hint=hint))
        if len(self.problems) >= MOST_FAULTS:
            raise _Stop

    def document(self, events: Iterator[Any]) -> Tree:
        root: Tree = None
        documents = 0
        for event in events:
            if _kind(event) == "DocumentStart":
                documents += 1
                if documents > 1:
                    self.add(
                        "several-documents",
                        _span(event),
                        "A second document starts here; a file holds one.",
                        "Delete this line, or move what follows into a file of its own.",
                    )
                    raise _Stop
            elif _kind(event) in _NODES:
                root = self.node(event, events, 0)
        return root

    def node(self, event: Any, events: Iterator[Any], depth: int) -> Tree:
        self.nodes += 1
        if self.nodes > MOST_NODES:
            self.add(
                "too-big",
                _span(event),
                f"The file has more than {MOST_NODES} parts.",
                "Move some into a file of its own and call that.",
            )
            raise _Stop
        if depth > DEPTH:
            self.add("too-deep", _span(event), f"Nested more than {DEPTH} deep.", "Lay it out flatter.")
            raise _Stop
        kind = _kind(event)
        if kind == "Alias":
            self.add(
                "no-anchors",
                _span(event),
                f"`*{event.anchor[:40]}` is an alias; this language has none.",
                "Write the value out.",
            )
            return None
        if event.anchor:
            self.add(
                "no-anchors",
                _span(event),
                f"`&{event.anchor[:40]}` is an anchor; this language has none.",
                "Delete it.",
            )
        tag: str | None = getattr(event, "tag", None)
        if tag and not (kind == "Scalar" and tag == "!"):
            self.add("no-tags", _span(event), f"`{tag[:40]}` is a tag; this language has none.", "Delete it.")
        if kind == "Scalar":
            return _scalar_of(event)
        if kind == "SequenceStart":
            return self.sequence(event, events, depth)
        assert kind == "MappingStart"
        return self.mapping(event, events, depth)

    def sequence(self, start: Any, events: Iterator[Any], depth: int) -> Seq:
        made = Seq()
        end = _span(start)
        for event in events:
            if _kind(event) == "SequenceEnd":
                end = _span(event) if start.flow_style else end
                break
            made.append(self.node(event, events, depth + 1))
            end = _span_of(made[-1]) or _span(event)
        made.span = _from_to(_span(start), end)
        return made

    def mapping(self, start: Any, events: Iterator[Any], depth: int) -> Map | None:
        made = Map()
        lone: Scalar | None = None
        made.span = end = _span(start)  # a key that stands twice is looked for before the end is known
        for event in events:
            if _kind(event) == "MappingEnd":
                end = _span(event) if start.flow_style else end
                break
            key = self.node(event, events, depth + 1)
            told = len(self.problems)
            value = self.node(next(events), events, depth + 1)
            end = _span_of(value) or _span_of(key) or end
            if not isinstance(key, Scalar):
                self.add("bad-key", _span(event), "A key is one word or a few, not a list, a mapping or nothing.")
            elif key in made:
                first = made.key_span(key)
                self.add(
                    "duplicate-key",
                    key.span,
                    f"`{key}` stands twice; it is first on line {first.line}.",
                    "Delete one, or join what they say.",
                )
            elif value is None:
                made.lost.add(str(key))
                if start.flow_style and len(made.lost) == 1 and not made and str(key).isidentifier():
                    lone = key
                elif len(self.problems) == told and (meant := glued(key)):
                    name = meant.partition(":")[0]
                    made.lost.add(name)
                    self.add("no-value", key.span, f"A space is missing after `{name}:`.", f"Write `{meant}`.")
                elif len(self.problems) == told:
                    comma = "Is it the rest of a text with a comma? Put the whole text in quotes."
                    self.add(
                        "no-value",
                        key.span,
                        f"`{key}` has no value.",
                        comma if " " in key else "Write one, or delete the key.",
                    )
            else:
                made[key] = value
        made.span = _from_to(_span(start), end)
        if lone is not None and not made and len(made.lost) == 1:
            self.add(
                "no-value",
                lone.span,
                f"`{{{lone}}}` without quotes is a mapping, whose `{lone}` has no value.",
                f"Is it a text that shows a value? Put it in quotes: `'{{{lone}}}'`.",
            )
            return None
        return made


#: The events that begin a node.
_NODES = ("Scalar", "Alias", "SequenceStart", "MappingStart")


def _kind(event: Any) -> str:
    """What kind of event it is: both parsers call theirs by the same names."""
    return type(event).__name__.removesuffix("Event")


def _scalar_of(event: Any) -> Scalar | None:
    if not event.style and event.value == "":
        return None
    made = Scalar(event.value)
    made.span = _span(event)
    made.quoted = 1 if event.style in ("'", '"') else 0
    one_line = made.span.line == made.span.end_line
    made.exact = one_line and made.span.end_column - made.span.column == len(made) + 2 * made.quoted
    return made


def _span(event: Any) -> Span:
    a, b = event.start_mark, event.end_mark
    return Span(a.line + 1, a.column + 1, b.line + 1, b.column + 1)


def _span_of(node: Tree) -> Span | None:
    return None if node is None else node.span


def _from_to(a: Span, b: Span) -> Span:
    return Span(a.line, a.column, b.end_line, b.end_column)


def _mark_span(mark: Any) -> Span:
    if mark is None:
        return Span(1, 1, 1, 1)
    return Span(mark.line + 1, mark.column + 1, mark.line + 1, mark.column + 2)


#: What the parser says, and what it means to somebody who writes the file by hand.
_WORDS: tuple[tuple[str, str, str], ...] = (
    (
        r"mapping values are not allowed",
        "A colon with a space after it stands inside a plain text.",
        "Put the whole text in quotes.",
    ),
    (r"found character '\\t'|\\t", "A tab stands where spaces belong.", "Indent with spaces."),
    (r"could not find expected ':'", "A line here is not `key: value`.", "Is a colon missing, or a quote not closed?"),
    (r"expected <block end>, but found '-'", "A list item stands where a key belongs.", "Check the indentation."),
    (r"expected <block end>", "The indentation of this line fits nothing above it.", "Line it up with its neighbours."),
    (r"expected ',' or '[\]}]'", "A bracket is not closed, or a comma is missing.", "Look at the line before, too."),
    (r"while scanning a quoted scalar|found unexpected end of stream", "A quote is opened and never closed.", ""),
    (r"cannot start any token", "This character can't start a text.", "Put the text in quotes."),
    (r"expected the node content|expected alphabetic", "Something is missing or not allowed here.", "Quote texts."),
)


def _in_words(fault: Any) -> tuple[str, str]:
    said = " ".join(str(x) for x in (fault.context, fault.problem) if x)
    for pattern, message, hint in _WORDS:
        if re.search(pattern, said):
            return message, hint
    return f"This is not readable as YAML: {said[:200]}.", ""
