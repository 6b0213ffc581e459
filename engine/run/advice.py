"""What a step hands to an adviser, built only when somebody asks: inputs by binding, evidence from the answers that
stand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from engine.evidence import Advice, Answered, Evidence, Inputs, ReadingView, ScrewView
from engine.procedure.program import Advise as AdviseSpec
from engine.run.layout import counts_out
from engine.run.scope import Scope
from engine.run.state import Frame, Past, World, walk


@dataclass(frozen=True, slots=True)
class Request:
    """One call of an adviser. `inputs` and `evidence` are worked out when called for: a fold reads the stored
    answer instead.
    """

    name: str
    adviser: str
    inputs: Callable[[], Inputs]
    evidence: Callable[[], Evidence]


Advise = Callable[[Request], Advice]


def request(spec: AdviseSpec, scope: Scope, world: World, past: Past | None, findings: tuple[Any, ...]) -> Request:
    """The request of a step with what it reads after the answer."""
    return Request(spec.name, spec.adviser, lambda: _inputs(spec, scope), lambda: evidence(world, past, findings))


def _inputs(spec: AdviseSpec, scope: Scope) -> Inputs:
    readings, screws, values = {}, {}, {}
    for name, binding in spec.bindings.items():
        if binding.kind == "reading":
            readings[name] = _reading(binding.target, scope)
        elif binding.kind == "screw":
            screws[name] = _screw(binding.target, scope)
        elif binding.guard is not None:
            values[name] = binding.guard.run(scope.names)
    return Inputs(readings, screws, values, scope.here)


def _reading(name: str, scope: Scope) -> ReadingView:
    reading = scope.file.procedure.readings[name]
    value = scope.names.get(name)
    row = None if value is None else value if isinstance(value, tuple) else (value,)
    return ReadingView(name, reading.quantity, reading.type.each, reading.type.unit, reading.average, row, reading.step)


def _screw(name: str, scope: Scope) -> ScrewView:
    screw = scope.file.screws[name]
    row = tuple(scope.positions.get((name, p)) for p in scope.file.places(name, scope.here))
    return ScrewView(
        name,
        screw.each,
        screw.acts,
        screw.at,
        screw.inward,
        screw.outward,
        screw.step,
        screw.range,
        row,
        "out" if counts_out(screw) else "in",
    )


def evidence(world: World, past: Past | None, findings: tuple[Any, ...] = ()) -> Evidence:
    """Every answer that stands, oldest first, and how things stand now."""
    answers = tuple(answered(p) for p in walk(past))[::-1]
    return Evidence(answers, world.positions, world.parts, world.conditions, world.epoch, findings)


def answered(past: Past) -> Answered:
    """One answer as an adviser sees it; worked out once."""
    if "answered" not in past.memo:
        past.memo["answered"] = _answered(past)
    found: Answered = past.memo["answered"]
    return found


def _answered(past: Past) -> Answered:
    state, event, made = past.state, past.event, past.made
    frame, world = state.frame, state.world
    by_name: dict[str, tuple[Any, ...]] = {}
    by_quantity: dict[str, tuple[Any, ...]] = {}
    declared = frame.at.file.procedure.readings
    for name, value in (event.readings or {}).items():
        row = value if isinstance(value, tuple) else (value,)
        by_name[name] = by_quantity[declared[name].quantity] = row
    symptom = _kind(past) if event.symptom else None
    return Answered(
        past.seq,
        frame.at.file.name,
        frame.at.name,
        frame.here,
        frame.visits.get(frame.at.name, 1),
        past.epoch,
        world.conditions,
        by_quantity,
        by_name,
        made.before if made else world.positions,
        made.moves if made else (),
        made.parts if made else (),
        event.symptom,
        symptom,
    )


def _kind(past: Past) -> str | None:
    frame: Frame | None = past.state.frame
    while frame is not None:
        found = frame.at.file.procedure.symptoms.get(past.event.symptom or "")
        if found is not None:
            return found.kind
        frame = frame.caller
    return None
