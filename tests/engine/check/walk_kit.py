"""A technician who answers anything: random answers through the real machine, as a judge of what the proofs promise.

A sound program never leaves an answer without a way on and always ends; `walk` sees whether that is so.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from typing import Any

import pytest

from engine.contract import Adviser
from engine.evidence import Advice, Finding, Inputs, Move
from engine.job.model import Job
from engine.procedure.language import compile
from engine.procedure.language.expr import Type
from engine.procedure.program import Program
from engine.quantity.units import from_base
from engine.quantity.values import OverRange
from engine.run import gate
from engine.run.admit import asks, symptoms
from engine.run.bind import InForce
from engine.run.events import Event
from engine.run.layout import RunLayout
from engine.run.machine import begin, step
from engine.vocabulary.quantities import QUANTITIES
from engine.vocabulary.states import ENGINE, RUNNING, STOPPED

NEED_RUNNING, NEED_STOPPED = ({q.name for q in QUANTITIES if q.needs == (ENGINE, word)} for word in (RUNNING, STOPPED))

#: More answers than any sound run of the shipped files takes, symptoms at every turn included.
MOST = 20_000


def job_of(r: random.Random, program: Program) -> Job:
    """A job of some bank that the main file is for; what the facts ask is decided elsewhere."""
    layout = program.files[program.main].layout
    carbs = r.randint(*layout.carbs)
    barrels = r.randint(
        layout.barrels_per_carb[0], max(layout.barrels_per_carb[0], min(layout.barrels_per_carb[1], 16 // carbs))
    )
    family = layout.families[0] if layout.families else "any family"
    return Job.model_validate(
        {
            "engine": {"cylinders": r.randint(1, 16), "displacement": "1600 cc", "idle_speed": "900 rpm"},
            "bank": {"family": family, "carbs": carbs, "barrels_per_carb": barrels, "manifold": "shared"},
        }
    )


def plan_of(r: random.Random, program: Program) -> RunLayout:
    """A program on such a job, its facts and settings anything that they may be; one path of the job, one fact."""
    job = job_of(r, program)
    known: dict[str, Any] = {
        "bank.carbs": Fraction(job.bank.carbs),
        "engine.cylinders": Fraction(job.engine.cylinders),
        "bank.barrels_per_carb": Fraction(job.bank.barrels_per_carb),
    }
    facts = {
        p.name: {f.name: known.setdefault(f.path, value_of(r, f.type)) for f in p.facts.values()}
        for p in program.files.values()
    }
    settings = {
        p.name: {s.name: InForce(value_of(r, s.type), "job") for s in p.settings.values()}
        for p in program.files.values()
    }
    plan = RunLayout(program, job, settings, facts)
    # What only a caller says, where the file is walked by itself.
    lacking = {n: value_of(r, p.type) for n, p in plan.main.procedure.parameters.items() if p.default is None}
    plan.main.base.update(lacking)
    return plan


def value_of(r: random.Random, kind: Type) -> Any:
    """Any value of a type, its ends more often than their share."""
    if kind.kind == "bool":
        return r.random() < 0.5
    if kind.kind == "choice":
        return r.choice(kind.choices)
    low = kind.low if kind.low is not None else Fraction(0)
    high = kind.high if kind.high is not None else low + 100
    if r.random() < 0.2:
        return r.choice((low, high))
    value = low + (high - low) * Fraction(r.randrange(1001), 1000)
    return Fraction(round(value)) if kind.whole else value


def answer_of(r: random.Random, plan: RunLayout, state: Any, hostile: float = 0.1) -> Event:
    """Some answer to the step in force: its readings, or a symptom, so often as `hostile` says; at a stop one of its
    ways on."""
    if state.gate is not None:
        return Event("gate", gate=r.choice(gate.choices(state.gate)), text="any reason")
    if plan.screws and r.random() < hostile / 10:
        return Event("lost", lost=(r.choice(list(plan.screws)),))
    offered = symptoms(state)
    if offered and r.random() < hostile:
        return Event("symptom", symptom=r.choice(offered))
    readings = {}
    for read in asks(plan, state):
        kind = read.reading.type

        def one(read: Any = read, kind: Type = kind) -> Any:
            if read.may_lack and r.random() < 0.2:
                return None
            if read.reading.over_range and r.random() < 0.2:
                return OverRange(kind.high)
            value = value_of(r, kind)
            if kind.kind != "number":
                return value
            return read.measure.base(read.measure.taken(from_base(value, kind.unit or "")))

        places = plan.bank.places(kind.each, state.frame.here) if kind.each else None
        readings[read.name] = one() if places is None else tuple(one() for _ in places)
    return Event("readings", readings=readings) if readings else Event("done")


def advice_of(r: random.Random, plan: RunLayout, adviser: Adviser, inputs: Inputs) -> Advice:
    """Anything that an adviser's contract lets it say: outputs, moves of the screws it was handed, findings."""
    for name, value in inputs.values.items():
        kind = adviser.inputs[name].type
        assert value is not None or kind is None or kind.holes, f"{adviser.name} is asked with no {name}"
    moves = tuple(
        Move(screw.name, place, r.choice(("in", "out")), "other", Fraction(1, 8))
        for screw in inputs.screws.values()
        for place in plan.bank.places(screw.each, inputs.here)
        if adviser.makes and r.random() < 0.4
    )
    findings = tuple(
        Finding(code, raised.severity, (), "So.", "Mend it.")
        for code, raised in adviser.findings.items()
        if r.random() < 0.1
    )
    outputs = {n: value_of(r, o.type) for n, o in adviser.outputs.items()}
    return Advice(adviser.name, adviser.version, outputs, moves=moves, findings=findings)


@contextmanager
def telling() -> Iterator[list[str]]:
    """Of programs that are loaded in the block: the names that their guards ask for in a run and nobody had given.
    `known(x)` may ask for any."""
    missing: list[str] = []
    known = compile._known

    def fetch(name: str) -> compile.Run:
        def run(names: Any) -> Any:
            if name not in names:
                missing.append(name)
            return names.get(name)

        return run

    def asked(item: compile.Run) -> compile.Run:
        def run(names: Any) -> Any:
            before = len(missing)
            answer = known(item)(names)
            del missing[before:]
            return answer

        return run

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(compile, "_fetch", fetch)
        patch.setattr(compile, "_known", asked)
        yield missing


def walk(
    r: random.Random,
    program: Program,
    advisers: Any,
    most: int = MOST,
    seen: set[str] | None = None,
    hostile: float = 0.1,
    stubborn: float = 0.0,
) -> int:
    """Follow a program with random answers to its end. The number of answers; `seen` gathers the steps, "file.step".
    `hostile` is how often a symptom is given instead, `stubborn` how often a step gets the answer that it got before,
    which is how one goes round for ever.

    Raises what the machine raises where a program is not sound, and AssertionError where it does not end, takes a
    reading with the engine running or stopped that can't be taken so, or has a symptom that can't be told.
    """
    given: dict[Any, Event] = {}
    plan = plan_of(r, program)

    def advise(request: Any) -> Advice:
        return advice_of(r, plan, advisers[request.adviser], request.inputs())

    state, _ = begin(plan, advise)
    seen = set() if seen is None else seen
    for n in range(most):
        if state.end is not None:
            return n
        seen.add(state.frame.at.key)
        engine = state.world.conditions.get(ENGINE)
        for read in asks(plan, state):
            quantity = read.reading.quantity
            assert engine == RUNNING or quantity not in NEED_RUNNING, f"{quantity} at {state.frame.at.key}: {engine}"
            assert engine == STOPPED or quantity not in NEED_STOPPED, f"{quantity} at {state.frame.at.key}: {engine}"
        told = symptoms(state)
        lost = [s for s in state.frame.at.file.procedure.symptoms if s not in told and state.gate is None]
        assert not lost, f"{lost[0]} can't be told at {state.frame.at.key}"
        key = (state.frame.at.key, state.frame.here, state.gate is None, tuple(q.name for q in asks(plan, state)))
        before = given.get(key) if r.random() < stubborn else None
        again = before if before and before.kind != "lost" and before.symptom in (None, *told) else None
        answer = given[key] = again or answer_of(r, plan, state, hostile)
        state, _ = step(plan, state, answer, advise)
    raise AssertionError(f"no end after {most} answers, at {state.frame.at.key}")
