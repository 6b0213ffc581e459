"""Files to a `Program`: reads a procedure and all that it calls, reports every fault of every file; it runs nothing.

A called file is looked for beside its caller, then along the search path. Where the caller itself lies in a folder of
the search path, the path's order decides, so that a shop's file outranks a shipped one of the same name.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from engine.contract import Registry
from engine.procedure.build import kits, vocabulary
from engine.procedure.build.links import check_closure
from engine.procedure.build.procedure import build
from engine.procedure.build.replaced import blamed
from engine.procedure.build.shelf import Shelf
from engine.procedure.model.base import read_model
from engine.procedure.model.file import ProcedurePart
from engine.procedure.program import Kit, Procedure, Program
from engine.procedure.source import files
from engine.procedure.source.problems import Problem, did_you_mean, in_order
from engine.procedure.source.spans import Source, Span
from engine.procedure.source.tree import Map, Scalar, Tree, mapping, read_tree, scalar
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

_TOP = Span(1, 1, 1, 1)
#: Files that may be open in each other; the shipped ones come to five.
DEEPEST = 30


@dataclass(frozen=True, slots=True)
class Loaded:
    """What came of loading: the program, if no file has an error; every problem, in order; the texts, by path."""

    program: Program | None
    problems: tuple[Problem, ...]
    sources: Mapping[str, Source] = field(default_factory=dict)
    #: The declarations of a kit that was loaded by itself, as a file that does nothing.
    kit: Procedure | None = None

    @property
    def sound(self) -> bool:
        """Whether there is a program to run."""
        return self.program is not None


#: Finds a file by the name in a call: (name, caller) -> its text, what is wrong with it, or None.
Find = Callable[[str, Source], Source | Problem | None]


def load(
    path_or_name: str | Path, search: Sequence[Path], advisers: Registry, without: Collection[Path] = ()
) -> Loaded:
    """Load a procedure by its path, or by its name along `search`, with every file that it calls. `without` are kits
    that are passed over."""
    main = _main_file(path_or_name, search)
    if isinstance(main, Problem):
        return Loaded(None, (main,))

    def folder(user: Source) -> Path | None:
        """Where to look before the search path: beside the file, unless that is a part of the path."""
        beside = Path(user.path).parent
        return None if any(_same(beside, s) or _same(beside, s / files.KITS) for s in search) else beside

    def find(name: str, caller: Source) -> Source | Problem | None:
        path = files.find(name, folder(caller), search)
        return None if path is None else files.read_source(path)

    def find_kit(name: str, user: Source) -> Source | Problem | None:
        folders = files.kit_folders(folder(user), search)
        path = files.find(name, None, [f for f in folders if f / f"{name}{files.SUFFIX}" not in without])
        return None if path is None else files.read_source(path)

    shelf = Shelf(find_kit, lambda user: files.names(None, files.kit_folders(folder(user), search)))
    words, faults = vocabulary.of_folders([Path(main.path).parent, *search])
    closure = _Closure(find, shelf, advisers, lambda: files.names(Path(main.path).parent, search), words)
    closure.problems += faults
    loaded = closure.load(main)
    return replace(loaded, problems=in_order(blamed(loaded.problems, loaded.sources.values(), search)))


def load_texts(texts: Mapping[str, str], main: str, advisers: Registry, judged: bool = True) -> Loaded:
    """Load from texts by name. A run's own files, from its record, are not `judged` again: they were sound when the run
    was started, and are read by their structure only, with the contracts of then as `advisers`.
    """

    first = _text(texts, main)
    if not isinstance(first, Source):
        return Loaded(None, (first,) if first else ())
    find: Find = lambda name, _: _text(texts, name)  # noqa: E731
    return _Closure(find, shelf_of(texts), advisers, lambda: sorted(texts), judged=judged).load(first)


def shelf_of(texts: Mapping[str, str]) -> Shelf:
    """The kits among texts by name: those that begin with `kits/`."""
    known = sorted(n.removeprefix(f"{files.KITS}/") for n in texts if n.startswith(f"{files.KITS}/"))
    return Shelf(lambda name, _: _text(texts, f"{files.KITS}/{name}"), lambda _: known)


def _text(texts: Mapping[str, str], name: str) -> Source | Problem | None:
    if name not in texts:
        return None
    data = texts[name].encode("utf-8", "surrogatepass")
    return files.decode(data, name.rpartition("/")[2], f"{name}{files.SUFFIX}")


def _main_file(path_or_name: str | Path, search: Sequence[Path]) -> Source | Problem:
    text = str(path_or_name)
    path = Path(path_or_name)
    try:
        is_file, is_there = path.is_file(), path.exists()
    except (OSError, ValueError):
        is_file, is_there = True, True  # no file can have that name, and reading it says so
    if is_file or path.suffix != "" or len(path.parts) != 1:
        return files.read_source(path)
    found = files.find(text, None, search)
    if found is not None or is_there:  # a folder of the same name hides no procedure
        return files.read_source(found or path)
    hint = did_you_mean(text, files.names(None, search), "Known procedures")
    return Problem("unknown-file", text, _TOP, f"There is no procedure `{text}`.", hint=hint or "Give a file's path.")


def _same(a: Path, b: Path) -> bool:
    try:
        return a.resolve() == b.resolve()
    except OSError:
        return False


class _Closure:
    """A main file and all that it calls: read, built from the innermost outwards, checked against each other."""

    def __init__(
        self,
        find: Find,
        shelf: Shelf,
        advisers: Registry,
        known: Callable[[], list[str]],
        words: Vocabulary = SHIPPED,
        judged: bool = True,
    ) -> None:
        self.find, self.shelf, self.advisers, self.known, self.judged = find, shelf, advisers, known, judged
        self.vocabulary = words
        self.sources: dict[str, Source] = {}
        self.problems: list[Problem] = []
        self.built: dict[str, Procedure | None] = {}
        self.complete: dict[str, Procedure] = {}
        self.open: list[str] = []

    def load(self, main: Source) -> Loaded:
        tree, faults = read_tree(main)
        if kits.is_kit(tree):
            return self.load_kit(main)
        self.visit(main, tree, faults)
        if self.judged:
            self.problems += check_closure(self.complete)
        problems = in_order([*self.problems, *self.shelf.problems])
        if any(p.severity == "error" for p in problems):
            return Loaded(None, problems, self.texts())
        inner = {n: p for n, p in self.complete.items() if n != main.name}
        procedures = {main.name: self.complete[main.name]} | inner
        digest = _digest(procedures, self.shelf.kits)
        return Loaded(Program(main.name, procedures, digest, dict(self.shelf.kits)), problems, self.texts())

    def load_kit(self, source: Source) -> Loaded:
        """A kit by itself: there is nothing to run, and every fault of its declarations is told."""
        tree, sections = self.shelf.read(source)
        if tree is not None and sections is not None:
            self.visit(source, kits.alone(tree, sections, source.name), [])
        problems = in_order([*self.problems, *self.shelf.problems])
        sound = not any(p.severity == "error" for p in problems)
        return Loaded(None, problems, self.texts(), self.complete.get(source.name) if sound else None)

    def texts(self) -> dict[str, Source]:
        return {s.path: s for s in (*self.sources.values(), *(k.source for k in self.shelf.kits.values()))}

    def visit(self, source: Source, tree: Map | None, faults: list[Problem]) -> None:
        self.sources[source.name] = source
        self.built[source.name] = None
        self.open.append(source.name)
        part, problems = modelled(source, tree, self.shelf) if tree is not None else (None, [])
        problems = [*faults, *problems]
        called: dict[str, Procedure | None] = {}
        for name in _calls(part) if part is not None else ():
            if name not in called:
                called[str(name)] = self.callee(name, source)
        if part is not None:
            procedure, faults = build(source, part, self.advisers, called, self.vocabulary, self.judged)
            problems += faults
            self.complete[source.name] = procedure
            if not any(p.severity == "error" for p in problems):
                self.built[source.name] = procedure
        self.problems += problems
        self.open.pop()

    def callee(self, name: Scalar, caller: Source) -> Procedure | None:
        if name in self.open:
            circle = " calls ".join([*self.open[self.open.index(str(name)) :], str(name)])
            self.fault(
                "call-cycle",
                caller,
                name,
                f"Files call each other in a circle: {circle}.",
                "A run of it would never end. Call from outside instead.",
            )
            return None
        if len(self.open) >= DEEPEST:
            self.fault(
                "calls-too-deep",
                caller,
                name,
                f"Files call each other more than {DEEPEST} deep: {' calls '.join(self.open[:3])} ... calls {name}.",
                "Nobody could say where the technician is. Lead on from the file above instead of calling further.",
            )
            return None
        if name not in self.sources:
            found = self.find(str(name), caller)
            if found is None:
                hint = did_you_mean(name, self.known()) or f"It should be in `{name}{files.SUFFIX}` beside this file."
                self.fault("unknown-file", caller, name, f"There is no procedure `{name}` to call.", hint)
                return None
            if isinstance(found, Problem):
                self.problems.append(found)
                return None
            self.visit(found, *read_tree(found))
        return self.built[str(name)]

    def fault(self, code: str, source: Source, name: Scalar, message: str, hint: str) -> None:
        self.problems.append(Problem(code, source.path, name.span, message, hint=hint))


def modelled(source: Source, tree: Map, shelf: Shelf) -> tuple[ProcedurePart | None, list[Problem]]:
    """A file with what it takes of its kits as its model; what is missing at the top is made up, so that the rest can
    be looked at."""
    kits.take_over(tree, shelf.below(tree, source))
    hint = "Take it out of `uses`."
    problems = [
        Problem("unused-kit", source.path, k.span, f"Nothing of the kit `{k}` is used.", "", hint, "warning")
        for k in shelf.unused(tree)
    ]
    start = next(iter(_steps(tree)), None)
    fill: dict[str, Tree] = {
        "procedure": scalar(source.name, tree.head),
        "title": scalar(source.name, tree.head),
        "revision": scalar("1", tree.head),
        "for": mapping(
            tree.head,
            {
                "family": scalar("any", tree.head),
                "carbs": mapping(tree.head, {"from": scalar("1", tree.head), "to": scalar("12", tree.head)}),
            },
        ),
    }
    if start is not None:
        fill["start"] = start
    part, faults = read_model(ProcedurePart, tree, source.path, fill)
    return part, [*faults, *problems]


def _steps(tree: Map) -> Map:
    steps = tree.get("steps")
    return steps if isinstance(steps, Map) else Map()


def _calls(part: ProcedurePart) -> Iterator[Scalar]:
    """Every file that a file calls, where it says so."""
    for step in part.steps.values():
        if step.call is not None:
            yield step.call
        yield from (w.call for w in step.symptoms.values() if w.call is not None)
    yield from (s.call for s in part.symptoms.values() if s.call is not None)


def _digest(procedures: Mapping[str, Procedure], kits: Mapping[str, Kit]) -> str:
    """One SHA-256 over the list of files: main first, then by name, then the kits by name, each with name, revision and
    its text's hash."""
    main, *rest = procedures
    named = [(n, procedures[n]) for n in (main, *sorted(rest))] + [
        (f"{files.KITS}/{n}", kit) for n, kit in sorted(kits.items())
    ]
    rows = [[n, p.revision, hashlib.sha256(p.source.text.encode()).hexdigest()] for n, p in named]
    return hashlib.sha256(json.dumps(rows, ensure_ascii=False, separators=(",", ":")).encode()).hexdigest()
