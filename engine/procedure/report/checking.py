"""The command's work without the command: load and prove files, render the problems; it prints nothing and exits
nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from engine.contract import Registry
from engine.procedure.build.load import Loaded, load
from engine.procedure.build.replaced import CODE, callers, replaces
from engine.procedure.check import check
from engine.procedure.check.style import sources_said
from engine.procedure.program import Program
from engine.procedure.report.rendering import FORMATS, render
from engine.procedure.source.files import KITS
from engine.procedure.source.problems import Problem, in_order
from engine.procedure.source.spans import Source

#: Exit codes of `evendraw check`: sound (warnings allowed), and not.
SOUND, UNSOUND = 0, 1


@dataclass(frozen=True, slots=True)
class Checked:
    """What is known of a file and all that it calls. `program` is there where it loads, sound or not; `proved` says
    whether the proofs were made, which takes a file that loads."""

    path: str
    program: Program | None
    problems: tuple[Problem, ...]
    sources: Mapping[str, Source] = field(default_factory=dict)
    proved: bool = True
    #: It is a kit, which was checked by itself.
    kit: bool = False

    @property
    def sound(self) -> bool:
        """No error: it may be run, or used."""
        return (self.kit or self.program is not None) and not any(p.severity == "error" for p in self.problems)


def check_file(path: str | Path, search: Sequence[Path], advisers: Registry) -> Checked:
    """Load a file, by path or name, and prove it."""
    loaded = load(path, search, advisers)
    if loaded.kit is not None:
        problems = in_order((*loaded.problems, *sources_said(loaded.kit)))
        return Checked(str(path), None, problems, loaded.sources, True, True)
    if loaded.program is None:
        return Checked(str(path), None, loaded.problems, loaded.sources, False)
    problems = in_order((*loaded.problems, *check(loaded.program, advisers), *_called(loaded, search, advisers)))
    return Checked(str(path), loaded.program, problems, loaded.sources)


def _called(loaded: Loaded, search: Sequence[Path], advisers: Registry) -> Iterator[Problem]:
    """What those that call a file miss in it, where it stands in for another of its name."""
    assert loaded.program is not None
    path = Path(loaded.program.files[loaded.program.main].source.path)
    if replaces(path, search):
        for caller in callers(path, search):
            told = load(caller, search, advisers).problems
            yield from (p for p in told if p.code == CODE and p.path == str(path))


def check_files(paths: Iterable[str | Path], search: Sequence[Path], advisers: Registry) -> list[Checked]:
    """Each file in turn. One that an earlier one calls is not looked at twice."""
    found: list[Checked] = []
    seen: set[Path] = set()
    for path in paths:
        here = _resolved(path)
        if here is not None and here in seen:
            continue
        found.append(check_file(path, search, advisers))
        # A kit is checked whole by itself, and of a file only what that takes.
        files = (p for p in found[-1].sources if Path(p).parent.name != KITS)
        seen |= {r for p in files if (r := _resolved(p)) is not None}
    return found


def _resolved(path: str | Path) -> Path | None:
    try:
        made = Path(path)
        return made.resolve() if made.exists() else None
    except (OSError, ValueError):
        return None


def short(path: str) -> str:
    """A path as a person at this folder would say it: a file found on the search path is told once, by one name."""
    try:
        made = Path(path)
        return str(made.relative_to(Path.cwd())) if made.is_absolute() else path
    except (OSError, ValueError):
        return path


def run_check(
    paths: Sequence[str | Path],
    search: Sequence[Path],
    advisers: Registry,
    format: str = "full",
) -> tuple[str, int]:
    """The text of `evendraw check` and its exit code. Raises ValueError for an unknown format."""
    if format not in FORMATS:
        raise ValueError(f"there is no format '{format}'; there are {', '.join(FORMATS)}")
    found = check_files(paths, search, advisers)
    problems = [replace(p, path=short(p.path)) for c in found for p in c.problems]
    sources = {short(path): s for c in found for path, s in c.sources.items()}
    text = render(problems, sources, format, all(c.proved for c in found), all(c.kit for c in found))
    return text, UNSOUND if any(p.severity == "error" for p in problems) else SOUND
