"""Turns the leaves of a file into guards, templates and numbers, and collects what is wrong; it knows no sections."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from fractions import Fraction

from engine.procedure.language import ranges
from engine.procedure.language.compile import Run, compile_node, uses
from engine.procedure.language.expr import Call, Name, Node, Number, Type
from engine.procedure.language.lexer import GuardFault
from engine.procedure.language.parser import parse
from engine.procedure.language.resolve import Reported, Scope, range_of, resolve, type_of
from engine.procedure.model.base import Part
from engine.procedure.program import Guard, Here, Template
from engine.procedure.source.problems import Problem, did_you_mean, nearest
from engine.procedure.source.spans import Span
from engine.procedure.source.tree import Scalar
from engine.quantity.units import UNITS, parse_quantity, to_base
from engine.vocabulary.phases import PHASES
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

_PLACEHOLDER = re.compile(r"\{([^{}]*)\}")
_NAMED = re.compile(r"\s*([^\W\d]\w*(?:\.[^\W\d]\w*)?)\s*(?::\s*([^:]+?)\s*)?")
HERE = "here"


@dataclass(frozen=True, slots=True)
class Want:
    """What an expression must be where it stands. `each`: None for a single value, a word for a row over that, "any"
    for either. `dimension` None: any. A bare number takes `unit`. `range`: what the number must always lie in."""

    kind: str = "number"
    dimension: str | None = None
    unit: str | None = None
    each: str | None = None
    holes: bool = False
    range: ranges.Range = (None, None)
    #: Whether a single value may stand where a row is wanted.
    or_single: bool = True
    #: The words that may stand here, for whoever forgets their quotes.
    words: tuple[str, ...] = ()


TRUTH = Want("bool")


def _unquoted(text: Scalar, want: Want | None, told: GuardFault) -> GuardFault:
    """The fault of an expression that is one of the words that belong there without its quotes, said as that."""
    if want is None or told.code not in ("unknown-name", "bad-guard") or text not in want.words:
        return told
    quoted = f"\"'{text}'\""
    return GuardFault(
        "unknown-name", f"`{text}` is a word here, and no name.", 0, len(text), f"Write it as `{quoted}`.", quoted
    )


@dataclass
class Maker:
    """The work of one file: its problems, the scope of its guards, its named values."""

    path: str
    scope: Scope
    per_carb: int | None = None
    here: Here | None = None
    #: Whether the file is judged, or only read: a run's own texts were judged when it was started.
    judged: bool = True
    #: Texts by name that other texts may hold.
    words: Mapping[str, str] = field(default_factory=dict)
    #: The words of the trade that are known here.
    vocabulary: Vocabulary = SHIPPED
    problems: list[Problem] = field(default_factory=list)
    value_runs: dict[str, Run] = field(default_factory=dict)
    value_uses: dict[str, frozenset[str]] = field(default_factory=dict)

    def fault(self, code: str, span: Span, message: str, hint: str = "", fix: str | None = None) -> None:
        """Note an error."""
        self.problems.append(Problem(code, self.path, span, message, hint=hint, fix=fix))

    def judge(self, code: str, span: Span, message: str, hint: str = "", fix: str | None = None) -> None:
        """Note an error that leaves the file readable; nothing in one that is only read."""
        if self.judged:
            self.fault(code, span, message, hint, fix)

    def warn(self, code: str, span: Span, message: str, hint: str = "") -> None:
        """Note a warning."""
        self.problems.append(Problem(code, self.path, span, message, hint=hint, severity="warning"))

    @contextmanager
    def catching(self, text: Scalar) -> Iterator[None]:
        """Faults of a guard become problems at their place in the file."""
        try:
            yield
        except GuardFault as fault:
            span = text.at(fault.start, fault.end)
            fix = fault.fix if text.exact else None
            self.fault(fault.code, span, fault.message, fault.hint, fix)
        except Reported:
            pass

    def guard(self, text: Scalar | None, want: Want | None = None) -> Guard | None:
        """A guard from its text; None where there is none, or where it has a fault (noted)."""
        if text is None:
            return None
        with self.catching(text):
            try:
                node = resolve(parse(text), self.scope, want.unit if want else None)
            except GuardFault as told:
                raise _unquoted(text, want, told) from None
            if want is not None and self.judged:
                check(node, want)
            return self.finish(text, node)
        return None

    def finish(self, text: Scalar, node: Node) -> Guard:
        """A guard from its resolved tree."""
        return Guard(
            str(text),
            text.span,
            node,
            type_of(node),
            compile_node(node, self.value_runs, self.per_carb),
            uses(node, self.value_uses),
        )

    def constant(self, text: Scalar, value: Fraction, unit: str) -> Guard:
        """A guard that is one number in base units."""
        kind = Type("number", UNITS[unit].dimension, unit or None, value, value)
        return self.finish(text, Number(0, len(text), value, unit, type=kind))

    def number(self, text: Scalar, unit: str | None, what: str = "a number") -> Fraction | None:
        """A quantity in base units; a bare number takes `unit`. None where its unit measures something else (noted)."""
        value, found = parse_quantity(text, unit or "")
        wanted = UNITS[unit or ""]
        if found.dimension != wanted.dimension:
            self.fault(
                "unit-mismatch",
                text.span,
                f"`{text}` is a {found.dimension}; {what} here is in {wanted.name or 'plain numbers'}.",
            )
            return None
        return to_base(value, found)

    def pair(self, part: Part, key: str, unit: str | None) -> tuple[Fraction, Fraction] | None:
        """The list `[low, high]` under a key of a part, in base units."""
        items = getattr(part, key)
        if len(items) != 2:
            if not part.lacks_item(key):
                self.fault("bad-range", part.value_span(key), "A range is its least and its greatest: `[low, high]`.")
            return None
        low, high = (self.number(i, unit, "the range") for i in items)
        if low is None or high is None:
            return None
        if low >= high:
            self.fault("bad-range", items[0].span, f"`{items[0]}` is not below `{items[1]}`.", "Swap them.")
            return None
        return low, high

    def template(self, text: Scalar | None) -> Template | None:
        """A text with its `{name}` places; None where there is none."""
        if text is None:
            return None
        parts: list[str | tuple[Guard, str | None]] = []
        at = 0
        for match in _PLACEHOLDER.finditer(text):
            if match.start() > at:
                parts.append(text[at : match.start()])
            at = match.end()
            with self.catching(text):
                parts.append(self.placeholder(text, match))
        parts.append(text[at:])
        self.stray(text)
        return Template(str(text), text.span, tuple(p for p in parts if p != ""))

    def placeholder(self, text: Scalar, match: re.Match[str]) -> tuple[Guard, str | None]:
        found = _NAMED.fullmatch(match.group(1))
        start, end = match.span()
        if not found:
            raise GuardFault(
                "bad-placeholder",
                f"`{match.group()}` is neither `{{name}}` nor `{{name:unit}}`.",
                start,
                end,
                "Give an expression a name under `values`.",
            )
        name, unit = found.groups()
        start += 1 + match.group(1).index(name)
        node: Node = Name(start, start + len(name), name)
        if name == HERE:
            if self.here is None:
                raise GuardFault(
                    "unknown-name",
                    "Only a file with `here:` knows the place that it works at.",
                    start,
                    start + len(name),
                    "Name the place, or leave it away.",
                )
            return self.finish(text, replace(node, type=Type("choice"))), None
        if name in self.words:
            said = replace(node, type=Type("choice"))
            if unit is not None:
                self.unit_of(said, unit, end - 1 - len(unit), end - 1)
            return self.finish(text, said), None
        if name in self.scope.screws:
            node = Call(node.start, node.end, "position", node)
        node = resolve(node, self.scope)
        if unit is not None:
            self.unit_of(node, unit, end - 1 - len(unit), end - 1)
        return self.finish(text, node), unit

    def unit_of(self, node: Node, unit: str, start: int, end: int) -> None:
        kind = type_of(node)
        if unit not in UNITS:
            raise GuardFault(
                "unknown-unit", f"`{unit}` is no unit that the program knows.", start, end, did_you_mean(unit, UNITS)
            )
        if kind.kind != "number" or UNITS[unit].dimension != kind.dimension:
            shown = f"in {kind.unit or 'plain numbers'}" if kind.kind == "number" else "not a number"
            raise GuardFault("unit-mismatch", f"This is {shown}; it can't be shown in {unit}.", start, end)

    def plain(self, text: Scalar | None) -> str:
        """A text in which only `{here}` and the names of `words` are filled in."""
        if text is None:
            return ""
        for match in _PLACEHOLDER.finditer(text):
            if (match.group(1) != HERE or self.here is None) and match.group(1) not in self.words:
                self.fault(
                    "bad-placeholder",
                    text.at(*match.span()),
                    "Values are not shown in this text.",
                    "Say it in `do` or `note` of the step.",
                )
        self.stray(text)
        return str(text)

    def phase(self, text: Scalar | None) -> str:
        """A phase of the work; any word but one that looks like a slip."""
        close = nearest(text, PHASES, 0.75) if text is not None and text not in PHASES else None
        if text is not None and close is not None:
            self.judge("unknown-word", text.span, f"`{text}` is no phase.", f"Did you mean '{close}'?", close)
        return str(text or "")

    def stray(self, text: Scalar) -> None:
        rest = _PLACEHOLDER.sub(lambda m: " " * len(m.group()), text)
        at = next((i for i, c in enumerate(rest) if c in "{}"), None)
        if at is not None:
            self.fault(
                "bad-placeholder",
                text.at(at, at + 1),
                f"A lone `{rest[at]}` stands in this text.",
                "Write `{name}`, or use round brackets.",
            )


def check(node: Node, want: Want) -> None:
    """Raise `GuardFault` where a resolved tree isn't what is wanted."""
    kind = type_of(node)
    if kind.kind != want.kind:
        words = {"number": "A number", "bool": "Something true or false", "choice": "A word"}
        hint = (
            "Compare it: `> 0`."
            if (want.kind, kind.kind) == ("bool", "number")
            else ("Compare it: `== 'word'`." if (want.kind, kind.kind) == ("bool", "choice") else "")
        )
        raise _misfit("wrong-kind", node, f"{words[want.kind]} belongs here.", hint)
    if want.each != "any" and kind.each != want.each and not (kind.each is None and want.or_single):
        if want.each is None:
            hint = "Write `any(...)` or `all(...)`." if kind.kind == "bool" else "Take its max, min, mean or spread."
            raise _misfit(
                "row-not-single", node, f"A single value belongs here; this is a row over each {kind.each}.", hint
            )
        raise _misfit("single-not-row", node, f"A row over each {want.each} belongs here.")
    if kind.kind == "number":
        _check_number(node, kind, want)
    if kind.holes and not want.holes:
        raise _misfit(
            "may-be-missing",
            node,
            "This may be missing when it is needed: not taken, or a count lost.",
            "Take it without `may_lack`, or use `when: known(...)`.",
        )


def _check_number(node: Node, kind: Type, want: Want) -> None:
    if want.dimension is not None and kind.dimension != want.dimension:
        given = "a plain number" if kind.dimension == "number" else kind.dimension
        needed = "a plain number" if want.dimension == "number" else want.dimension
        raise _misfit("unit-mismatch", node, f"This is {given}; {needed} belongs here.")
    if not ranges.within(range_of(kind), want.range):
        raise _misfit(
            "out-of-range",
            node,
            f"This can be {said(kind.low, kind.high, kind.unit)}; it must lie within "
            f"{said(*want.range, want.unit or kind.unit)}.",
        )


def _misfit(code: str, node: Node, message: str, hint: str = "") -> GuardFault:
    return GuardFault(code, message, node.start, node.end, hint)


def said(low: Fraction | None, high: Fraction | None, unit: str | None) -> str:
    """A closed range in words, in `unit`."""

    def side(x: Fraction | None) -> str:
        if x is None:
            return "anything"
        u = UNITS[unit or ""]
        return f"{float((x - u.offset) / u.factor):g}"

    if low == high and low is not None:
        return f"{side(low)} {unit or ''}".rstrip()
    return f"{side(low)} to {side(high)} {unit or ''}".rstrip()
