"""What the proofs of one file share: its guards in normal form, the worlds of its facts, how long its rows can be."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cached_property
from typing import Any

from engine.procedure.check.guards.forms import Atom, Range, Terms
from engine.procedure.check.guards.formulas import Effort, Formula, TooComplex, conjunction, literals, negation
from engine.procedure.check.guards.normal import Normal
from engine.procedure.check.guards.space import Space, cut, side
from engine.procedure.check.guards.theory import Theory
from engine.procedure.check.guards.worlds import Worlds
from engine.procedure.language.expr import And, Arith, Compare, Name, Node, Not, Or
from engine.procedure.language.expr import Call as Function
from engine.procedure.program import Call, Guard, Procedure, Program, Step, Template
from engine.quantity.units import to_base
from engine.vocabulary.quantities import UNTURNED
from engine.vocabulary.states import ENGINE, RUNNING

#: The work that the proofs of one file may take; the longest shipped file takes a hundredth of it.
EFFORT = 2_500_000


class Study:
    """One file under proof. Everything in it is worked out once and kept."""

    def __init__(self, program: Program, procedure: Procedure) -> None:
        self.program = program
        self.procedure = procedure
        self.path = procedure.source.path
        grids = {
            n: (to_base(Fraction(0), r.type.unit or ""), r.step)
            for n, r in procedure.readings.items()
            if r.step and r.rounds
        }
        self.normal = Normal(
            {n: v.guard.node for n, v in procedure.values.items()},
            procedure.screws,
            self.places,
            asked_of(procedure),
            grids,
        )
        self.effort = Effort(EFFORT)
        #: How many more faults are shown with a way that leads to them.
        self.ways_to_show = 40
        self._formulas: dict[int, Formula | TooComplex] = {}
        self.worlds = Worlds({})
        self.worlds = Worlds(self._facts(), side)

    # ---- guards

    def formula(self, guard: Guard | None) -> Formula:
        """A guard's formula; no guard always holds. Raises `TooComplex`."""
        if guard is None:
            return True
        found = self._formulas.get(id(guard))
        if found is None:
            try:
                found = self.normal.formula(guard.node)
            except TooComplex as fault:
                found = fault
            self._formulas[id(guard)] = found
        if isinstance(found, TooComplex):
            raise TooComplex
        return found

    def told_apart(self, guard: Guard) -> list[Formula]:
        """What a guard that is kept or given back may be, a formula each; nothing for a number or a row."""
        if guard.type.each is not None or guard.type.kind == "number":
            return []
        try:
            if guard.type.kind == "bool":
                return [self.formula(guard)]
            return list(self.normal.options(guard.node).values())
        except TooComplex:
            return []

    def may_hold(self, formula: Formula) -> int:
        """The worlds in which a formula may be true: all those in which it is, and perhaps more."""
        if isinstance(formula, bool):
            return self.worlds.all if formula else 0
        if formula[0] in ("and", "or"):
            masks = [self.may_hold(i) for i in formula[1]]
            result = self.worlds.all if formula[0] == "and" else 0
            for mask in masks:
                result = result & mask if formula[0] == "and" else result | mask
            return result
        surely = self.worlds.mask(formula)
        return self.worlds.all if surely is None else surely

    def holds_in(self, guard: Guard | None) -> int:
        """The worlds in which a guard may be true."""
        try:
            return self.may_hold(self.formula(guard))
        except TooComplex:
            return self.worlds.all

    def surely_in(self, guard: Guard | None) -> int:
        """The worlds in which a guard is certainly true."""
        try:
            return self.worlds.all & ~self.may_hold(negation(self.formula(guard)))
        except TooComplex:
            return 0

    def _facts(self) -> dict[Atom, list[Any]]:
        """The facts that some guard asks about, with their cells; those asked for most come first."""
        cuts: dict[Atom, list[Fraction]] = {}
        asked: dict[Atom, int] = {}
        names = self.procedure.facts
        for guard in guards_of(self.procedure):
            if guard.type.kind != "bool":
                continue
            try:
                formula = self.formula(guard)
            except TooComplex:
                continue
            for literal in literals(formula):
                if literal[0] == "enum" and literal[1][1] in names:
                    atom = literal[1]
                elif literal[0] == "lin" and len(literal[1]) == 1 and literal[1][0][0][1] in names:
                    atom = literal[1][0][0]
                    cuts.setdefault(atom, []).append(literal[2])
                else:
                    continue
                asked[atom] = asked.get(atom, 0) + 1
        found: dict[Atom, list[Any]] = {}
        for atom in sorted(asked, key=lambda a: (-asked[a], a)):
            if atom in cuts:
                found[atom] = cut(self.normal.atom_range(atom), cuts[atom], self.normal.grid.get(atom))
            else:
                found[atom] = list(self.normal.choices[atom])
        return found

    # ---- rows

    @cached_property
    def _places(self) -> dict[str, tuple[int, int | None]]:
        layout = self.procedure.layout
        (c1, c2), (b1, b2) = layout.carbs, layout.barrels_per_carb
        found = {
            "carb": (c1, c2),
            "barrel": (c1 * b1, c2 * b2),
            "gap": (max(c1 - 1, 0), max(c2 - 1, 0)),
            "cylinder": (1, None),
            "bank": (1, 1),
        }
        here = getattr(self.procedure, "here", None)
        if here == "carb":
            found |= {"carb": (1, 1), "barrel": (b1, b2), "gap": (0, 1)}
        elif here == "barrel":
            found |= {"carb": (1, 1), "barrel": (1, 1), "gap": (0, 1)}
        return found

    def places(self, each: str | None) -> tuple[int, int | None]:
        """The least and greatest number of places of a row by what it runs over; None: any number."""
        return self._places.get(each or "bank", (1, None))

    def range_of(self, terms: Terms) -> Range:
        """The range of a form by intervals."""
        return self.normal.range((terms, Fraction(0)))

    @cached_property
    def watched(self) -> frozenset[str]:
        """The readings that turning a screw changes: what is read of a running engine, but for its spark."""
        known = self.procedure.vocabulary.quantities
        return frozenset(
            n
            for n, r in self.procedure.readings.items()
            if r.quantity in known and known[r.quantity].needs == (ENGINE, RUNNING) and r.quantity not in UNTURNED
        )

    # ---- spaces

    def space(self, formulas: list[Formula]) -> Space:
        """The cells that these formulas cut."""
        return Space(formulas, self.worlds, self.normal, self.effort)

    def theory(self, space: Space, pick: Any) -> Theory:
        """The judge of that space's boxes."""
        return Theory(space, self.normal, pick)

    def possible(self, formulas: list[Formula], worlds: int = -1) -> bool:
        """Whether all of them can hold at once in some of the worlds; true where that is too complex to tell."""
        try:
            together = conjunction(formulas)
            space = self.space([together])
            theory = self.theory(space, midway)
            return any(theory.possible((b[0] & worlds, *b[1:])) for b in space.boxes(together) if b[0] & worlds)
        except TooComplex:
            return True


def midway(_: Atom, low: Fraction | None, low_in: bool, high: Fraction | None, high_in: bool) -> Fraction:
    """Some number in a range that is known to hold one."""
    if low is None:
        return Fraction(0) if high is None else high - 1
    return low + 1 if high is None else (low + high) / 2


def asked_of(procedure: Procedure) -> frozenset[str]:
    """The names of which some guard of a file asks whether they are known."""
    return frozenset(n for g in guards_of(procedure) if "known" in g.text for n in _asked(g.node))


def _asked(node: Node) -> Iterator[str]:
    match node:
        case Function(function="known", argument=Name(name=name)):
            yield name
        case Function() | Not():
            yield from _asked(node.argument if isinstance(node, Function) else node.item)
        case And() | Or() | Compare():
            for item in node.items:
                yield from _asked(item)
        case Arith():
            yield from _asked(node.left)
            yield from _asked(node.right)


def guards_of(procedure: Procedure) -> Iterator[Guard]:
    """Every guard of a file, in the order of the file's rooms; a value's own guard with them."""
    for screw in procedure.screws.values():
        yield from (g for g in (screw.when, *(screw.band or ())) if g)
    for reading in procedure.readings.values():
        yield from (end for end in reading.healthy or () if isinstance(end, Guard))
    for symptom in procedure.symptoms.values():
        if isinstance(symptom.way, Call):
            yield from symptom.way.bindings.values()
    yield from (v.guard for v in procedure.values.values())
    yield from procedure.gives.values()
    for step in procedure.steps.values():
        yield from guards_of_step(step)


def guards_of_step(step: Step) -> Iterator[Guard]:
    """Every guard of a step but those inside its texts."""
    found: list[Guard | None] = [g for g in step.state.values() if isinstance(g, Guard)]
    for move in step.moves:
        found += [move.to, move.by, move.when]
    for fit in step.fit:
        found += [fit.size, fit.when]
    found += [read.when for read in step.read]
    found += [guard for _, guard in step.keep]
    for advise in step.advise:
        found += [advise.when, *(b.guard for b in advise.bindings.values())]
    for finding in step.findings:
        found += [finding.where, finding.when]
    if isinstance(step.way, tuple):
        for branch in step.way:
            found.append(branch.when)
            found += [g for f in branch.findings for g in (f.where, f.when)]
    elif isinstance(step.way, Call):
        found += [*step.way.bindings.values(), step.way.worst_by]
    for way in step.symptoms.values():
        if isinstance(way, Call):
            found += way.bindings.values()
    yield from (g for g in found if g is not None)


def guards_in(template: Template | None) -> Iterator[Guard]:
    """The guards inside a text's places."""
    if template is not None:
        yield from (part[0] for part in template.parts if not isinstance(part, str))
