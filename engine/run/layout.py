"""A program made ready for one run: facts, settings, places and each step's own work laid out once; it holds no state.

The machine reads these instead of the files, so that a plain gate costs no more than its guards.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from functools import cached_property
from typing import Any

from engine.evidence import Place
from engine.job.model import Job
from engine.procedure.language.names import PER_CARB
from engine.procedure.program import Procedure, Program, Reading, ReadSpec, Screw, Step
from engine.quantity.measure import of_base
from engine.run import bind
from engine.run.acts import Act, Exit, Way, entering, leaving, way_on
from engine.run.events import FORMAT

Run = Callable[[Mapping[str, Any]], Any]
Position = tuple[str, str, tuple[Place, ...], bool, tuple[Fraction, Fraction]]


class RunLayout:
    """One program on one job. `settings` are those in force, with where each came from; `format` is what the run's
    first event says that it was recorded in (`engine.run.events.FORMAT`).
    """

    def __init__(
        self,
        program: Program,
        job: Job,
        settings: bind.Settings,
        facts: Mapping[str, Mapping[str, Any]],
        format: int = FORMAT,
    ) -> None:
        self.format = format
        self.program, self.job, self.settings, self.facts = program, job, settings, facts
        self.bank = Bank(job)
        self.files: dict[str, FilePlan] = {name: FilePlan(self, p) for name, p in program.files.items()}
        self.main = self.files[program.main]
        #: A screw's name is global over the closure.
        self.screws: dict[str, Screw] = {n: s for p in program.files.values() for n, s in p.screws.items()}
        #: Everything that demands a caution in some file: a state `key: value`, a hazard, a tool.
        self.demanded = frozenset(d for f in self.files.values() for d in f.demanding)
        for file in self.files.values():
            for step in file.steps.values():
                step.link()


def prepare(
    program: Program,
    job: Job,
    shop: Mapping[str, Any] | None = None,
    in_force: bind.Settings | None = None,
    format: int = FORMAT,
) -> RunLayout:
    """Bind a program to a job. `in_force` are settings frozen earlier; else they are worked out from file, shop and
    job.

    Raises `NotForThisJob` with a sentence where family, counts, a fact or a setting does not fit.
    """
    main = program.files[program.main]
    if in_force is None:
        bind.fits(main.layout, job, main.title)
        bind.complete(main)
        bind.engine_said(program, job)
    known = {name: bind.facts(p, job, in_force is None) for name, p in program.files.items()}
    if in_force is None:
        in_force = bind.settings(program, known, shop or {}, job)
    return RunLayout(program, job, in_force, known, format)


class Bank:
    """The places of the job's bank: rows run carb 1 barrel 1, carb 1 barrel 2, carb 2 barrel 1 ..."""

    def __init__(self, job: Job) -> None:
        carbs, per, cylinders = job.bank.carbs, job.bank.barrels_per_carb, job.engine.cylinders
        self.rows: dict[str, tuple[Place, ...]] = {
            "carb": tuple(Place(c) for c in range(1, carbs + 1)),
            "barrel": tuple(Place(c, b) for c in range(1, carbs + 1) for b in range(1, per + 1)),
            "gap": tuple(Place(c) for c in range(1, carbs)),
            "cylinder": tuple(Place(n) for n in range(1, cylinders + 1)),
            "bank": (Place(),),
        }

    def places(self, each: str | None, here: Place | None = None) -> tuple[Place, ...]:
        """The places of a row; with `here`, only those that belong to it."""
        row = self.rows[each or "bank"]
        return row if here is None or each in (None, "bank") else tuple(p for p in row if belongs(p, here))


def belongs(place: Place, here: Place) -> bool:
    """Whether a place is `here`, a barrel of the carb that is here, or the carb of the barrel that is here."""
    return place.carb == here.carb and (here.barrel is None or place.barrel is None or place.barrel == here.barrel)


class FilePlan:
    """One file of the run: the names that never change, its screws' places, its steps."""

    def __init__(self, plan: RunLayout, procedure: Procedure) -> None:
        self.plan, self.procedure, self.name = plan, procedure, procedure.name
        self.base: dict[str, Any] = dict(plan.facts[procedure.name])
        self.base.update({n: s.value for n, s in plan.settings[procedure.name].items()})
        self.base.update({n: p.default for n, p in procedure.parameters.items() if p.default is not None})
        chief = plan.program.files[plan.program.main].words
        self.base.update({n: chief.get(n, said) for n, said in procedure.words.items()})
        rows = {n: r.type.each for n, r in procedure.readings.items()}
        #: Rows that have no place on this bank, such as over its gaps on a bank of one: nobody is asked for them.
        self.placeless = frozenset(n for n, each in rows.items() if each and not plan.bank.places(each))
        self.base.update(dict.fromkeys(self.placeless, ()))
        self.base[PER_CARB] = plan.job.bank.barrels_per_carb
        self.screws = procedure.screws
        self.fitted = {n: s.when is None or bool(s.when.run(self.base)) for n, s in procedure.screws.items()}
        self._places: dict[tuple[str, Place | None], tuple[Place, ...]] = {}
        self._keys: dict[Place | None, tuple[Position, ...]] = {}
        self.steps: dict[str, StepPlan] = {n: StepPlan(self, s) for n, s in procedure.steps.items()}
        self.start = procedure.start

    def places(self, screw: str, here: Place | None) -> tuple[Place, ...]:
        """The places of a screw in a frame; none where the job says that it is not fitted."""
        found = self._places.get((screw, here))
        if found is None:
            found = self.plan.bank.places(self.screws[screw].each, here) if self.fitted[screw] else ()
            self._places[screw, here] = found
        return found

    def position_keys(self, here: Place | None) -> tuple[Position, ...]:
        """For each screw: the name of its position in a guard, the screw, its places, whether it is one value, and from
        where to where it turns."""
        found = self._keys.get(here)
        if found is None:
            found = tuple(
                (f"position:{n}", n, self.places(n, here), self._single(s), s.range) for n, s in self.screws.items()
            )
            self._keys[here] = found
        return found

    def _single(self, screw: Screw) -> bool:
        """Whether a screw has one place in a frame of this file, so that its position is one value and no row."""
        here = self.procedure.here
        return screw.each in ("bank", here) or (here == "barrel" and screw.each == "carb")

    def place_words(self, place: Place) -> str:
        """`carb 2, barrel 1` in this family's words; a body with one barrel is named alone."""
        terms = self.procedure.terms
        word = terms.get("carb") or self.plan.main.procedure.terms.get("carb", "carb")
        if place.barrel is None or self.plan.job.bank.barrels_per_carb == 1:
            return f"{word} {place.carb}"
        barrel = terms.get("barrel") or self.plan.main.procedure.terms.get("barrel", "barrel")
        return f"{word} {place.carb}, {barrel} {place.barrel}"

    @cached_property
    def demanding(self) -> dict[str, tuple[str, ...]]:
        """The cautions by what demands them: a state `key: value`, a hazard, a tool."""
        found: dict[str, list[str]] = {}
        for name, caution in self.procedure.cautions.items():
            for demand in {*caution.demanded_by, name}:
                found.setdefault(" ".join(demand.split()), []).append(name)
        return {demand: tuple(names) for demand, names in found.items()}


class StepPlan:
    """One step, compiled: what it does on entering and on leaving, whether it waits, where it leads.

    `hands`: its answer may say that screws stand elsewhere. `plain`: its answer does nothing but take readings and
    branch. `easy`: entering it does nothing but count the visit and wait.
    """

    __slots__ = (
        "easy",
        "entering",
        "exits",
        "file",
        "hands",
        "key",
        "leaving",
        "limit",
        "name",
        "plain",
        "reads",
        "step",
        "waits",
        "way",
    )

    def __init__(self, file: FilePlan, step: Step) -> None:
        self.file, self.step, self.name = file, step, step.name
        self.key = f"{file.name}.{step.name}"
        self.limit = step.limit
        specs = tuple(spec for spec in step.read if spec.reading not in file.placeless)
        self.waits = step.waits_for(specs)
        self.reads = tuple(ReadPlan(file, spec) for spec in specs)
        self.hands = bool(step.moves or step.make or step.fit or any(r.reading.position_of for r in self.reads))
        self.entering: tuple[Act, ...] = entering(step)
        self.leaving: tuple[Act, ...] = leaving(step)
        self.easy = self.waits == "always" and not self.limit and not self.entering
        self.way: Way = ()
        #: The guarded ways on, where it has such.
        self.exits: tuple[Exit, ...] = ()
        self.plain = False

    def link(self) -> None:
        """Find the steps that this one leads to."""
        self.way = way_on(self.step, self.file.steps)
        self.exits = exits = self.way if isinstance(self.way, tuple) else ()
        self.plain = bool(exits) and not (self.hands or self.leaving or any(e.acts for e in exits) or self._looks())

    def _looks(self) -> bool:
        """Whether its branches ask where screws stand."""
        branches = self.step.way if isinstance(self.step.way, tuple) else ()
        return any(u.startswith("position:") for b in branches if b.when for u in b.when.uses)


class ReadPlan:
    """One reading that a step takes, and what its number must be."""

    __slots__ = ("listed", "may_lack", "measure", "name", "reading", "when")

    def __init__(self, file: FilePlan, spec: ReadSpec) -> None:
        self.name = spec.reading
        self.reading: Reading = file.procedure.readings[spec.reading]
        self.when: Run | None = spec.when.run if spec.when else None
        self.may_lack = spec.may_lack or self.reading.may_lack
        self.listed = spec.listed
        kind = self.reading.type
        self.measure = of_base(kind.unit, kind.low, kind.high, self.reading.step, self.reading.rounds)


def counts_out(screw: Screw) -> bool:
    """Which way a screw's position grows: out from a seat, in from any other zero (a contact)."""
    return screw.zero == "seated"
