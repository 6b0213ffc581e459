"""What a place means to a step: a finding's places, the order of a call, a row's value here; it changes nothing."""

from __future__ import annotations

from typing import Any

from engine.evidence import Finding, Place
from engine.procedure.program import Call, FindingSpec, Guard
from engine.run.names import Names, file_of, here_of
from engine.run.texts import render


def finding_of(spec: FindingSpec, names: Names) -> Finding | None:
    """The finding that a step or branch raises with these names; None where its condition or its places don't hold."""
    if spec.when is not None and not spec.when.run(names):
        return None
    where = _where(spec, names)
    if where is None:
        return None
    say, todo = render(spec.say, names, where), render(spec.do, names, where)
    cylinders = spec.place is None and spec.where is not None and spec.where.type.each == "cylinder"
    return Finding(
        spec.code, spec.severity, where, say, todo, source=file_of(names).name, each="cylinder" if cylinders else ""
    )


def _where(spec: FindingSpec, names: Names) -> tuple[Place, ...] | None:
    """The places that it concerns; None where it concerns none and so is not raised."""
    here = here_of(names)
    if spec.place is not None:
        return (Place(*spec.place),)
    if spec.where is None:
        return () if here is None else (here,)
    value = spec.where.run(names)
    if not isinstance(value, tuple):
        return (() if here is None else (here,)) if value else None
    row = file_of(names).plan.bank.places(spec.where.type.each, here)
    return tuple(p for p, holds in zip(row, value, strict=False) if holds) or None


def in_order(spec: Call, names: Names) -> tuple[Place, ...]:
    """The places at which a file is called in turn: along the bank, or the worst first; missing values come last."""
    row = file_of(names).plan.bank.places(spec.each, here_of(names))
    values = spec.worst_by.run(names) if spec.order == "worst" and spec.worst_by is not None else None
    if not isinstance(values, tuple):
        return row
    ranked = sorted(zip(row, values, strict=False), key=lambda pv: (pv[1] is None, -(pv[1] or 0)))
    return tuple(p for p, _ in ranked)


def at_here(guard: Guard, names: Names, here: Place | None) -> Any:
    """What a call binds: of a row bound to a file that is called once a place, the value at that place."""
    value, outer = guard.run(names), here_of(names)
    if not isinstance(value, tuple) or here is None or outer == here:
        return value
    for item, place in zip(value, file_of(names).plan.bank.places(guard.type.each, outer), strict=False):
        if place == here or (place.carb == here.carb and place.barrel is None):
            return item
    return value
