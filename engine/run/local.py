"""What a place means to a step: a finding's places, the order of a call, a row's value here; it changes nothing."""

from __future__ import annotations

from typing import Any

from engine.evidence import Finding, Place
from engine.procedure.program import Call, FindingSpec, Guard
from engine.run.scope import Scope
from engine.run.texts import render


def finding_of(spec: FindingSpec, scope: Scope) -> Finding | None:
    """The finding that a step or branch raises with these names; None where its condition or its places don't hold."""
    if spec.when is not None and not spec.when.run(scope.names):
        return None
    where = _where(spec, scope)
    if where is None:
        return None
    say, todo = render(spec.say, scope, where), render(spec.do, scope, where)
    cylinders = spec.place is None and spec.where is not None and spec.where.type.each == "cylinder"
    return Finding(
        spec.code, spec.severity, where, say, todo, source=scope.file.name, each="cylinder" if cylinders else ""
    )


def _where(spec: FindingSpec, scope: Scope) -> tuple[Place, ...] | None:
    """The places that it concerns; None where it concerns none and so is not raised."""
    here = scope.here
    if spec.place is not None:
        return (Place(*spec.place),)
    if spec.where is None:
        return () if here is None else (here,)
    value = spec.where.run(scope.names)
    if not isinstance(value, tuple):
        return (() if here is None else (here,)) if value else None
    row = scope.file.plan.bank.places(spec.where.type.each, here)
    return tuple(p for p, holds in zip(row, value, strict=False) if holds) or None


def in_order(spec: Call, scope: Scope) -> tuple[Place, ...]:
    """The places at which a file is called in turn: along the bank, or the worst first; missing values come last."""
    row = scope.file.plan.bank.places(spec.each, scope.here)
    values = spec.worst_by.run(scope.names) if spec.order == "worst" and spec.worst_by is not None else None
    if not isinstance(values, tuple):
        return row
    ranked = sorted(zip(row, values, strict=False), key=lambda pv: (pv[1] is None, -(pv[1] or 0)))
    return tuple(p for p, _ in ranked)


def at_here(guard: Guard, scope: Scope, here: Place | None) -> Any:
    """What a call binds: of a row bound to a file that is called once a place, the value at that place."""
    value, outer = guard.run(scope.names), scope.here
    if not isinstance(value, tuple) or here is None or outer == here:
        return value
    for item, place in zip(value, scope.file.plan.bank.places(guard.type.each, outer), strict=False):
        if place == here or (place.carb == here.carb and place.barrel is None):
            return item
    return value
