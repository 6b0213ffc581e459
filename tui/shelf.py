"""The procedure files of a shop: which there are, which fit a job, which stand on their own; it paints nothing.

The shop's own folder outranks the shipped one: of two files of one name the first on the path counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from engine.units import from_base
from tui import words
from tui.desk import Entry
from tui.intake import Fact, Family

if TYPE_CHECKING:
    from engine.job import Job
    from engine.procedure.load import Loaded
    from engine.procedure.program import Fact as DeclaredFact
    from engine.procedure.program import Procedure

_loaded: dict[Path, tuple[tuple[tuple[str, float], ...], Loaded]] = {}


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
    if kept is not None and all(stamp(Path(name)) == when for name, when in kept[0]):
        return kept[1]
    from engine.advisers import shipped
    from engine.procedure.load import load

    found = load(path, folders, shipped())
    names = {str(path), *found.sources}
    _loaded[path] = (tuple((name, stamp(Path(name))) for name in sorted(names)), found)
    return found


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
        hint = "part of another routine" if part else words_of(main.layout)
        out.append(((part, not own, -len(program.files), main.title), Entry(main.title, hint, path)))
    return [entry for _, entry in sorted(out, key=lambda pair: pair[0])]


def families(folders: Sequence[Path]) -> list[Family]:
    """Every family that a sound procedure names, the one with the longest routine first."""
    found: dict[str, list[Procedure]] = {}
    size: dict[str, int] = {}
    for path in paths(folders):
        program = loaded(path, folders).program
        if program is None:
            continue
        main = program.files[program.main]
        for name in main.layout.families:
            if name != "any":
                found.setdefault(name, []).extend(program.files.values())
                size[name] = max(size.get(name, 0), len(program.files))
    return [_family(name, found[name]) for name in sorted(found, key=lambda n: (-size[n], n))]


def _family(name: str, files: Sequence[Procedure]) -> Family:
    own = [f for f in files if name in f.layout.families]
    carbs = min(f.layout.carbs[0] for f in own), max(f.layout.carbs[1] for f in own)
    barrels = min(f.layout.barrels_per_carb[0] for f in own), max(f.layout.barrels_per_carb[1] for f in own)
    facts: dict[str, Fact] = {}
    for file in files:
        for fact in file.facts.values():
            facts.setdefault(fact.path, _fact(fact))
    terms = {k: v for f in reversed(own) for k, v in f.terms.items()}
    return Family(name, carbs, barrels, terms, tuple(facts.values()))


def _fact(fact: DeclaredFact) -> Fact:
    kind = fact.type
    default = "" if fact.default is None else words.number(fact.default, kind.unit)
    if kind.kind != "number":
        return Fact(fact.path, kind.choices, yes_no=kind.kind == "bool", default=default)
    unit = kind.unit or ""
    low, high = (None if v is None else from_base(v, unit) for v in (kind.low, kind.high))
    if isinstance(fact.default, Fraction):
        default = words.number(from_base(fact.default, unit), unit)
    return Fact(fact.path, (), unit, low, high, default=default)
