"""The procedure files of a shop: which there are, which fit a job, which stand on their own; it paints nothing.

The shop's own folder outranks the shipped one: of two files of one name the first on the path counts.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from tui.control.desk import Entry
from tui.drawing.lines import Lines, clean, cut_line, wrapped

if TYPE_CHECKING:
    from engine.job.model import Job
    from engine.procedure.build.load import Loaded
    from engine.procedure.report.checking import Checked

Stamps = tuple[tuple[str, float], ...]
#: What is said of a file that others call.
PART = "part of another routine"
_loaded: dict[Path, tuple[Stamps, Loaded]] = {}


def paths(folders: Sequence[Path]) -> list[Path]:
    """Every procedure file along the path, one a name, by name."""
    found: dict[str, Path] = {}
    for folder in folders:
        try:
            for path in sorted(folder.glob("*.yaml")):
                if path.is_file():
                    found.setdefault(path.stem, path)
        except OSError:
            continue
    return [found[name] for name in sorted(found)]


def stamp(path: Path) -> float:
    """When a file was last written; -1 where it can't be seen."""
    try:
        return path.stat().st_mtime
    except OSError:
        return -1.0


def loaded(path: Path, folders: Sequence[Path]) -> Loaded:
    """A procedure with all that it calls, loaded again only where one of its files changed."""
    kept = _loaded.get(path)
    if kept is not None and not _changed(kept[0]):
        return kept[1]
    from engine.carburation.registry import shipped
    from engine.procedure.build.load import load

    found = load(path, folders, shipped())
    _loaded[path] = (_stamps(path, found.sources), found)
    return found


def _stamps(path: Path, sources: Iterable[str]) -> Stamps:
    return tuple((name, stamp(Path(name))) for name in sorted({str(path), *sources}))


def _changed(stamps: Stamps) -> bool:
    return any(stamp(Path(name)) != when for name, when in stamps)


def mains(folders: Sequence[Path]) -> list[Entry]:
    """Sound procedures that no other calls, the longest routine first: what can be run from its start."""
    programs = [(p, program) for p in paths(folders) if (program := loaded(p, folders).program) is not None]
    called = {name for _, program in programs for name in program.files if name != program.main}
    alone = [(p, g) for p, g in programs if g.main not in called]
    alone.sort(key=lambda pair: (-len(pair[1].files), pair[1].files[pair[1].main].title))
    return [Entry(g.files[g.main].title, words_of(g.files[g.main].layout), p) for p, g in alone]


def words_of(layout: object) -> str:
    """Which banks a file is for, in words."""
    families = getattr(layout, "families", ()) or ("any",)
    low, high = getattr(layout, "carbs", (1, 1))
    family = "every family" if "any" in families else ", ".join(families)
    return f"{family}, {low}" + (f" to {high}" if high != low else "") + " carburettor" + ("s" if high > 1 else "")


def fitting(folders: Sequence[Path], job: Job) -> list[Entry]:
    """Sound procedures for this job's bank: first those for its family that no other calls, then the rest."""
    out = []
    programs = [(p, program) for p in paths(folders) if (program := loaded(p, folders).program) is not None]
    called = {name for _, program in programs for name in program.files if name != program.main}
    for path, program in programs:
        main = program.files[program.main]
        families = main.layout.families
        own = job.bank.family in families
        if not (own or not families or "any" in families):
            continue
        if not main.layout.carbs[0] <= job.bank.carbs <= main.layout.carbs[1]:
            continue
        low, high = main.layout.barrels_per_carb
        if not low <= job.bank.barrels_per_carb <= high:
            continue
        part = program.main in called
        hint = PART if part else words_of(main.layout)
        out.append(((part, not own, -len(program.files), main.title), Entry(main.title, hint, path)))
    return [entry for _, entry in sorted(out, key=lambda pair: pair[0])]


# ---- soundness, route, dry run

_checked: dict[Path, tuple[Stamps, Checked]] = {}


def checked(path: Path, folders: Sequence[Path]) -> Checked:
    """A file proved with all that it calls; proved again only where one of its files changed."""
    kept = _checked.get(path)
    if kept is not None and not _changed(kept[0]):
        return kept[1]
    from engine.carburation.registry import shipped
    from engine.procedure.report.checking import check_file

    found = check_file(path, folders, shipped())
    _checked[path] = (_stamps(path, found.sources), found)
    return found


def stale(path: Path) -> bool:
    """One of the files that this one was proved with was changed since."""
    kept = _checked.get(path)
    return kept is None or _changed(kept[0])


def forget(path: Path) -> None:
    """Prove this file anew when it is next asked for."""
    _checked.pop(path, None)


def parts(files: Iterable[Path]) -> set[str]:
    """The names of those of these files that another of them calls, as far as they were read: parts of routines."""
    kept = [(p, f.program) for p, (_, f) in [*_loaded.items()]] + [(p, f.program) for p, (_, f) in [*_checked.items()]]
    wanted = set(files)
    return {name for path, g in kept if g is not None and path in wanted for name in g.files if name != g.main}


def editor() -> list[str]:
    """The command that opens the person's editor, by what the system names as it; empty where none is named."""
    for name in ("VISUAL", "EDITOR"):
        said = os.environ.get(name, "").strip()
        if said:
            return shlex.split(said, posix=os.name != "nt")
    found = shutil.which("notepad" if os.name == "nt" else "editor")
    return [found] if found else []


def own_copy(path: Path, folder: Path) -> Path:
    """A file of the shop's own: this one if it lies in that folder, else a copy of it there, which outranks it.

    Raises `OSError` where the folder can't be written.
    """
    target = folder / path.name
    if path.parent.resolve() != folder.resolve() and not target.exists():
        folder.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    return target


def problem_lines(found: Checked, cells: int) -> Lines:
    """What is wrong in a file, as the checker tells it, worst first."""
    from engine.procedure.report.rendering import full

    if not found.problems:
        said = "Sound: every step can be reached, every run ends, no answer is left without a way on."
        return wrapped(said, cells, "good")
    rank = {"error": 0, "warning": 1, "note": 2}
    out: Lines = []
    for problem in sorted(found.problems, key=lambda p: rank.get(p.severity, 3)):
        text = full((problem,), found.sources, found.proved).rstrip().rsplit("\n", 1)[0]
        role = "red" if problem.severity == "error" else "amber"
        for n, line in enumerate(text.splitlines()):
            out += _whole(line, cells, role if n == 0 else "ink")
        out.append(())
    return out


#: A line of the file as it stands, or the marks under it: of these the end may be cut, or the marks would move.
_QUOTED = re.compile(r"\s*(line\b|[~^]|\d*\s*[|│])")
#: What stands before the words of a line: blanks, and the branches of the route.
_BEFORE = re.compile(r"[\s│├└]*")


def _whole(line: str, cells: int, role: str) -> Lines:
    """A line of a report, wrapped behind what it begins with."""
    line = clean(line)
    if len(line) <= cells:
        return [((line, role),)]
    before = _BEFORE.match(line)
    lead = before[0] if before and len(before[0]) < cells // 2 else ""
    if _QUOTED.match(line) and not lead.strip():
        return [cut_line(((line, role),), cells)]
    return wrapped(line[len(lead) :], cells, role, head=(lead, role), indent=len(lead)) or [((line, role),)]


def route_lines(found: Checked, cells: int) -> Lines:
    """The way through a file as a text tree."""
    if found.program is None:
        return [(("It does not load, so it has no route: see its problems (F7).", "amber"),)]
    from engine.procedure.route.route import as_text, route_of

    text = as_text(route_of(found.program.files[found.program.main]))
    return [each for line in text.splitlines() for each in _whole(line, cells, "ink")]


def dry_run(path: Path, folders: Sequence[Path], engines: int) -> Iterator[str]:
    """Run a file on one virtual engine after another; a sentence for each, and one that sums up."""
    from engine.bench.trial import trials
    from engine.bench.trial.fleet import SIDEDRAUGHT
    from engine.carburation.registry import shipped

    program = loaded(path, folders).program
    if program is None:
        yield "It does not load, so it can't be run: see its problems (F7)."
        return
    families = [f for f in program.files[program.main].layout.families if f != "any"]
    family = families[0] if families else SIDEDRAUGHT
    plan = trials.TrialPlan(str(path), tuple(folders), shipped, family, references=False)
    even = ended = 0
    for seed in range(1, engines + 1):
        try:
            one = trials.try_one(program, shipped(), plan, seed)
        except Exception as fault:  # a file that breaks the bench is a result of a dry run, not an end of the program
            yield f"engine {seed}: could not be tried: {fault}"
            continue
        ended += one.problem is None
        even += one.outcome == "ok"
        hidden = ", ".join(one.faults) or "sound"
        yield f"engine {seed} ({hidden}): {one.problem or one.outcome}. {'' if one.problem else one.say}"
    yield f"{ended} of {engines} came to an end, {even} of them ok."
