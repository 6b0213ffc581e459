"""Files to a `Program`: reads a procedure and all that it calls, reports every fault of every file; it runs nothing.

A called file is looked for beside its caller, then along the search path. Where the caller itself lies in a folder of
the search path, the path's order decides, so that a shop's file outranks a shipped one of the same name.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from engine.contract import Registry
from engine.procedure.build.links import check_closure
from engine.procedure.build.procedure import build
from engine.procedure.model.base import read_model
from engine.procedure.model.file import ProcedurePart
from engine.procedure.program import Procedure, Program
from engine.procedure.source import files
from engine.procedure.source.problems import Problem, did_you_mean, in_order
from engine.procedure.source.spans import Source, Span
from engine.procedure.source.tree import Map, Scalar, Tree, mapping, read_tree, scalar

_TOP = Span(1, 1, 1, 1)
#: Files that may be open in each other; the shipped ones come to five.
DEEPEST = 30


@dataclass(frozen=True, slots=True)
class Loaded:
    """What came of loading: the program, if no file has an error; every problem, in order; the texts, by path."""

    program: Program | None
    problems: tuple[Problem, ...]
    sources: Mapping[str, Source] = field(default_factory=dict)

    @property
    def sound(self) -> bool:
        """Whether there is a program to run."""
        return self.program is not None


#: Finds a file by the name in a call: (name, caller or None) -> its text, what is wrong with it, or None.
Find = Callable[[str, Source | None], Source | Problem | None]


def load(path_or_name: str | Path, search: Sequence[Path], advisers: Registry) -> Loaded:
    """Load a procedure by its path, or by its name along `search`, with every file that it calls."""
    main = _main_file(path_or_name, search)
    if isinstance(main, Problem):
        return Loaded(None, (main,))
    places: dict[str, Path] = {main.name: Path(main.path).parent}

    def find(name: str, caller: Source | None) -> Source | Problem | None:
        beside = places.get(caller.name) if caller is not None else None
        on_path = beside is not None and any(_same(beside, s) for s in search)
        path = files.find(name, None if on_path else beside, search)
        if path is None:
            return None
        places[name] = path.parent
        return files.read_source(path)

    return _Closure(find, advisers, lambda: files.names(Path(main.path).parent, search)).load(main)


def load_texts(texts: Mapping[str, str], main: str, advisers: Registry, judged: bool = True) -> Loaded:
    """Load from texts by name. A run's own files, from its record, are not `judged` again: they were sound when the run
    was started, and are read by their structure only, with the contracts of then as `advisers`.
    """

    def source(name: str) -> Source | Problem:
        return files.decode(texts[name].encode("utf-8", "surrogatepass"), name, f"{name}{files.SUFFIX}")

    first = source(main)
    if isinstance(first, Problem):
        return Loaded(None, (first,))
    closure = _Closure(lambda name, _: source(name) if name in texts else None, advisers, lambda: sorted(texts), judged)
    return closure.load(first)


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

    def __init__(self, find: Find, advisers: Registry, known: Callable[[], list[str]], judged: bool = True) -> None:
        self.find, self.advisers, self.known, self.judged = find, advisers, known, judged
        self.sources: dict[str, Source] = {}
        self.problems: list[Problem] = []
        self.built: dict[str, Procedure | None] = {}
        self.complete: dict[str, Procedure] = {}
        self.open: list[str] = []

    def load(self, main: Source) -> Loaded:
        self.visit(main)
        if self.judged:
            self.problems += check_closure(self.complete)
        problems = in_order(self.problems)
        texts = {s.path: s for s in self.sources.values()}
        if any(p.severity == "error" for p in problems):
            return Loaded(None, problems, texts)
        inner = {n: p for n, p in self.complete.items() if n != main.name}
        procedures = {main.name: self.complete[main.name]} | inner
        return Loaded(Program(main.name, procedures, _digest(procedures)), problems, texts)

    def visit(self, source: Source) -> None:
        self.sources[source.name] = source
        self.built[source.name] = None
        self.open.append(source.name)
        part, problems = _read(source)
        called: dict[str, Procedure | None] = {}
        for name in _calls(part) if part is not None else ():
            if name not in called:
                called[str(name)] = self.callee(name, source)
        if part is not None:
            procedure, faults = build(source, part, self.advisers, called, self.judged)
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
            self.visit(found)
        return self.built[str(name)]

    def fault(self, code: str, source: Source, name: Scalar, message: str, hint: str) -> None:
        self.problems.append(Problem(code, source.path, name.span, message, hint=hint))


def _read(source: Source) -> tuple[ProcedurePart | None, list[Problem]]:
    """A file as its model; what is missing at the top is made up, so that the rest can be looked at."""
    tree, problems = read_tree(source)
    if tree is None:
        return None, problems
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
    return part, problems + faults


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


def _digest(procedures: Mapping[str, Procedure]) -> str:
    """One SHA-256 over the list of files: main first, then by name, each with name, revision and its text's hash."""
    main, *rest = procedures
    rows = [
        [p.name, p.revision, hashlib.sha256(p.source.text.encode()).hexdigest()]
        for p in (procedures[n] for n in (main, *sorted(rest)))
    ]
    return hashlib.sha256(json.dumps(rows, ensure_ascii=False, separators=(",", ":")).encode()).hexdigest()
