"""A file that stands in for another of its name, held against those that call it: what they miss is its own fault.

A shop's `air-balance.yaml` takes the place of the shipped one. Where a shipped file then calls it for an end that it
never comes to, nobody can mend the shipped file; so the fault is told in the shop's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from engine.procedure.source import files
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Source, Span

#: Faults of a call that its file may be to blame for, and what the caller then says.
_BLAMED = {
    "unknown-end": "which expects an end {names}",
    "unmapped-end": "which knows no end {names}",
    "unknown-setting": "which sets {names}",
    "missing-input": "which gives no {names}",
    "unknown-name": "which expects the result {names}",
    "place-mismatch": "",
    "layout-mismatch": "",
    "screw-mismatch": "",
    "out-of-range": "",
    "unit-mismatch": "",
}
CODE = "called-otherwise"


def blamed(problems: Iterable[Problem], sources: Iterable[Source], search: Sequence[Path]) -> list[Problem]:
    """The problems, those of calls told in the file that was put in place of another; `search` in its order."""
    known = list(sources)
    stand_in = {s.name: s for s in known if replaces(Path(s.path), search)}
    found = []
    for problem in problems:
        caller = next((s for s in known if s.path == problem.path), None)
        callee = _callee(problem, stand_in, caller) if caller is not None else None
        found.append(problem if callee is None or caller is None else _told(problem, caller, callee))
    return found


def replaces(path: Path, search: Sequence[Path]) -> bool:
    """Whether a file in a folder of the search path hides one of its name in a later folder."""
    places = [_resolved(folder) for folder in search]
    here = _resolved(path.parent)
    if here not in places:
        return False
    later = search[places.index(here) + 1 :]
    return files.find(path.stem, None, later) is not None


def hides(kit: Path, search: Sequence[Path]) -> bool:
    """Whether a kit in a folder of the search path hides one of its name in a later folder."""
    return replaces(kit, [folder / files.KITS for folder in search])


def users(kit: Path, search: Sequence[Path]) -> Iterator[Path]:
    """The files along the search path that use a kit by its name, each as it is found there."""
    use = re.compile(rf"^uses:[^\n]*\b{re.escape(kit.stem)}\b(?!-)", re.MULTILINE)
    for name in files.names(None, search):
        found = files.find(name, None, search)
        source = files.read_source(found) if found is not None else None
        if found is not None and isinstance(source, Source) and use.search(source.text):
            yield found


def of_kit(problem: Problem, user: str, kit: Source) -> Problem:
    """A problem that a file has only with a kit which hides another, told in that kit."""
    return replace(
        problem,
        code=CODE,
        path=kit.path,
        span=_top(kit),
        message=f"Used by `{user}`: {problem.message}",
        why="It stands in for a kit of the same name, and those that use that one would not find what they need.",
        hint="Declare what the kit that it replaces does, as gravely; or give it a name of its own.",
        fix=None,
    )


def stands_in(callee: Path, caller: Path) -> bool:
    """Whether a called file is another than the one of its name that lies beside its caller."""
    beside = caller.with_name(callee.name)
    return _resolved(beside) != _resolved(callee) and beside.is_file()


def callers(path: Path, search: Sequence[Path]) -> Iterator[Path]:
    """The files along the search path that call a file by its name, each as it is found there."""
    call = re.compile(rf"\bcall: *['\"]?{re.escape(path.stem)}\b(?!-)")
    for name in files.names(None, search):
        found = files.find(name, None, search)
        if found is None or _resolved(found) == _resolved(path):
            continue
        source = files.read_source(found)
        if isinstance(source, Source) and call.search(source.text):
            yield found


def _callee(problem: Problem, stand_in: dict[str, Source], caller: Source) -> Source | None:
    """The stand-in that a problem of a call is about."""
    if problem.code not in _BLAMED or problem.severity != "error":
        return None
    if problem.code == "unknown-name":
        match = re.search(r"`(\w+)\.\w+`", problem.message)
        named = match and re.search(
            rf"\bcall: *([\w-]+)[^\n]*(?:\n +[^\n]*){{0,4}}?\bas: *{match.group(1)}\b", caller.text
        )
        return stand_in.get(named.group(1)) if named else None
    return next((s for n, s in stand_in.items() if n != caller.name and f"`{n}`" in problem.message), None)


def _told(problem: Problem, caller: Source, callee: Source) -> Problem:
    names = [n for n in re.findall(r"`([^`]+)`", problem.message) if n != callee.name]
    if problem.code == "missing-input":
        names = re.findall(r"needs ([\w, ]+)\.", problem.message)
    words = _BLAMED[problem.code].format(names=", ".join(f"`{n.partition('.')[2] or n}`" for n in names))
    message = f"Called by `{caller.name}`, {words}." if words else f"Called by `{caller.name}`: {problem.message}"
    return replace(
        problem,
        code=CODE,
        path=callee.path,
        span=_top(callee),
        message=message,
        why="It stands in for a file of the same name, and those that call that one would not find what they need.",
        hint="Let it end, take and give back what the file that it replaces does; or give it a name of its own.",
        fix=None,
    )


def _top(source: Source) -> Span:
    """Where a file says its name."""
    for n, line in enumerate(source.text.split("\n"), 1):
        if line.startswith(("procedure:", "kit:")):
            return Span(n, 1, n, len(line.partition(":")[0]) + 1)
    return Span(1, 1, 1, 1)


def _resolved(path: Path) -> Path:
    try:
        return path.resolve()
    except OSError:
        return path
