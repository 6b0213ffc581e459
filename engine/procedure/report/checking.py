"""The command's work without the command: load and prove files, render the problems; it prints nothing and exits
nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from engine.contract import Registry
from engine.procedure.build.load import Loaded, load
from engine.procedure.build.replaced import CODE, callers, hides, of_kit, replaces, users
from engine.procedure.check import check
from engine.procedure.check.style import sources_said
from engine.procedure.program import Procedure, Program
from engine.procedure.report import shop_settings
from engine.procedure.report.rendering import FORMATS, render
from engine.procedure.source.files import KITS, read_source
from engine.procedure.source.problems import Problem, in_order
from engine.procedure.source.settings_named import settings_named
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
        found = (*loaded.problems, *sources_said(loaded.kit), *_used(loaded.kit, search, advisers))
        return Checked(str(path), None, in_order(found), loaded.sources, True, True)
    found = (*loaded.problems, *_proofs(loaded, advisers), *_called(loaded, search, advisers))
    problems = in_order(dict.fromkeys(_blamed(found, path, loaded, search, advisers)))
    return Checked(str(path), loaded.program, problems, loaded.sources, loaded.program is not None)


def _proofs(loaded: Loaded, advisers: Registry) -> tuple[Problem, ...]:
    return check(loaded.program, advisers) if loaded.program is not None else ()


def _used(kit: Procedure, search: Sequence[Path], advisers: Registry) -> Iterator[Problem]:
    """What files that use a kit miss in it, where it stands in for another of its name."""
    path = Path(kit.source.path)
    for user in users(path, search) if hides(path, search) else ():
        with_it = load(user, search, advisers)
        told = _blamed(with_it.problems, user, with_it, search, advisers)
        yield from (p for p in told if p.code == CODE and p.path == str(path))


def _blamed(
    found: Sequence[Problem], path: str | Path, loaded: Loaded, search: Sequence[Path], advisers: Registry
) -> Iterator[Problem]:
    """The problems, those that a file has only with a kit in place of another told in that kit: whoever put it there
    can't mend the file."""
    errors = [p for p in found if p.severity == "error"]
    kits = [s for s in loaded.sources.values() if Path(s.path).parent.name == KITS and hides(Path(s.path), search)]
    blame: dict[Problem, Problem] = {}
    for kit in kits if errors else ():
        folder = Path(kit.path).parent.parent.resolve()
        other = load(path, search, advisers, (Path(kit.path),))
        before = {(p.code, p.message) for p in (*other.problems, *_proofs(other, advisers))}
        for problem in errors:
            theirs = Path(problem.path).resolve()
            if folder not in theirs.parents and (problem.code, problem.message) not in before:
                blame.setdefault(problem, of_kit(problem, theirs.stem, kit))
    return (blame.get(p, p) for p in found)


def _called(loaded: Loaded, search: Sequence[Path], advisers: Registry) -> Iterator[Problem]:
    """What those that call a file miss in it, where it stands in for another of its name."""
    if loaded.program is None:
        return
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
    settings: Path | None = None,
) -> tuple[str, int]:
    """The text of `evendraw check` and its exit code; `settings` are a shop's. Raises ValueError for an unknown
    format."""
    if format not in FORMATS:
        raise ValueError(f"there is no format '{format}'; there are {', '.join(FORMATS)}")
    found = check_files(paths, search, advisers)
    every = [p for c in found for p in c.problems]
    texts = {path: s for c in found for path, s in c.sources.items()}
    shop = read_source(settings) if settings is not None and settings.exists() else None
    if isinstance(shop, Problem):
        every.append(shop)
    elif shop is not None:
        texts[shop.path] = shop
        programs = [c.program for c in found if c.program is not None]
        every += shop_settings.problems(shop, programs, settings_named(search))
    problems = [replace(p, path=short(p.path)) for p in every]
    sources = {short(path): s for path, s in texts.items()}
    text = render(problems, sources, format, all(c.proved for c in found), all(c.kit for c in found))
    return text, UNSOUND if any(p.severity == "error" for p in problems) else SOUND
