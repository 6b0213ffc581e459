"""The families that the procedures of a shop are written for, and what each needs to be asked; it loads, and paints
nothing."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from engine.quantity import wording
from engine.quantity.units import from_base
from tui.catalogue.shelf import loaded, paths
from tui.control.job_form import Fact, Family

if TYPE_CHECKING:
    from engine.procedure.program import Fact as DeclaredFact
    from engine.procedure.program import Procedure


#: Where a job says of which kind its mixture screws are.
SCREW = "bank.mixture_screw"


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
    known = dict.fromkeys(kind for f in own for kind in f.vocabulary.mixture_screws)
    # The kinds that its procedures ask for; all where none asks.
    asked = {kind for f in files for fact in f.facts.values() if fact.path == SCREW for kind in fact.type.choices}
    screws = [kind for kind in known if kind in asked] or list(known)
    return Family(name, carbs, barrels, terms, tuple(facts.values()), tuple(screws))


def _fact(fact: DeclaredFact) -> Fact:
    kind = fact.type
    default = "" if fact.default is None else wording.number(fact.default, kind.unit)
    if kind.kind != "number":
        return Fact(fact.path, kind.choices, yes_no=kind.kind == "bool", default=default)
    unit = kind.unit or ""
    low, high = (None if v is None else from_base(v, unit) for v in (kind.low, kind.high))
    if isinstance(fact.default, Fraction):
        default = wording.number(from_base(fact.default, unit), unit)
    return Fact(fact.path, (), unit, low, high, default=default)
