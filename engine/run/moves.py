"""Which moves and parts a step asks for, and where the screws stand after they were made; it turns nothing itself.

A position counts in turns from the screw's zero: outwards from a seat, inwards from any other zero (a contact).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any, Literal

from engine.evidence import Advice, Move, Part, Place
from engine.procedure.program import FitSpec, Guard, MoveSpec, Screw
from engine.run.layout import RunLayout, belongs, counts_out
from engine.run.scope import Scope, scope
from engine.run.state import Positions, State


def asked(plan: RunLayout, state: State) -> tuple[tuple[Move, ...], tuple[Part, ...]]:
    """The moves and parts that the step in force still asks for.

    Once they were made, only a move to a position is asked for again, and only where the count was lost since.
    """
    at = state.frame.at
    step = at.step
    if state.gate is not None or not (step.moves or step.make or step.fit):
        return (), ()
    look = scope(state.frame, state.world.positions)
    moves = [m for spec in step.moves for m in _from_file(spec, look)]
    parts = [p for spec in step.fit for p in _parts(spec, look)]
    advice = next((g.advice for g in state.frame.advice if g.name == step.make and not g.made), None)
    if advice is not None:
        moves += advised(plan, advice, state.world.positions)
        parts += advice.parts
    if state.made is not None:
        moves = [
            m
            for m in moves
            if m.position is not None and m.aim is None and state.world.positions.get((m.screw, m.place)) is None
        ]
        parts = []
    return tuple(moves), tuple(parts)


def _from_file(spec: MoveSpec, look: Scope) -> Iterable[Move]:
    screw = look.file.screws[spec.screw]
    places = look.file.places(spec.screw, look.here)
    if spec.only:
        chosen = {Place(*p) for p in spec.only}
        places = tuple(p for p in places if p in chosen)
    for place in places:
        if not _holds(spec.when, look, place):
            continue
        now = look.positions.get((spec.screw, place))
        if spec.to is not None:
            move = to_position(screw, place, now, _at(spec.to, look, place))
        else:
            assert spec.by is not None
            move = by_amount(screw, place, now, _at(spec.by, look, place), spec.direction)
        if move is not None:
            yield move


Turn = Literal["in", "out"]


def ways_of(screw: Screw) -> tuple[Turn, Turn]:
    """Which way a screw's position grows, and which way it shrinks."""
    return ("out", "in") if counts_out(screw) else ("in", "out")


def to_position(screw: Screw, place: Place, now: Fraction | None, target: Fraction | None) -> Move | None:
    """A move to a position; None if it stands there already, or if the target is a hole."""
    if target is None or now == target:
        return None
    grows, shrinks = ways_of(screw)
    if now is None:
        # From an unknown position: what is at its zero, or beyond it, is reached the way that the count shrinks.
        direction, turns = (shrinks if target <= 0 else grows), None
    else:
        direction, turns = (grows if target > now else shrinks), abs(target - now)
    return Move(screw.name, place, direction, _effect(screw, direction), turns, target)


def by_amount(
    screw: Screw, place: Place, now: Fraction | None, amount: Fraction | None, way: str | None
) -> Move | None:
    """A move by an amount, stopped at the ends of the screw's range; without a direction, a positive amount is
    inwards.
    """
    if not amount:
        return None
    direction: Turn = "out" if way == "out" else "in"
    if amount < 0:
        amount, direction = -amount, ("out" if direction == "in" else "in")
    grows = direction == ("out" if counts_out(screw) else "in")
    after = None
    if now is not None:
        low, high = screw.range
        after = min(max(now + amount if grows else now - amount, low), high)
        amount = abs(after - now)
        if not amount:
            return None
    return Move(screw.name, place, direction, _effect(screw, direction), amount, after)


def advised(plan: RunLayout, advice: Advice, positions: Positions) -> list[Move]:
    """The moves of an advice, with the position that each leads to from where its screw stands now."""
    found = []
    for move in advice.moves:
        now = positions.get((move.screw, move.place))
        if move.turns == 0 and move.aim is None:
            continue
        if move.aim is None and move.turns is not None and now is not None:
            move = replace(move, position=_after(plan.screws[move.screw], now, move.turns, move.direction))
        found.append(move)
    return found


def _after(screw: Screw, now: Fraction, turns: Fraction, direction: str) -> Fraction:
    return now + turns if direction == ("out" if counts_out(screw) else "in") else now - turns


def _effect(screw: Screw, direction: str) -> str:
    return screw.inward if direction == "in" else screw.outward


def _parts(spec: FitSpec, look: Scope) -> Iterable[Part]:
    places = look.file.plan.bank.places(spec.each, look.here)
    if spec.only:
        chosen = {Place(*p) for p in spec.only}
        places = tuple(p for p in places if p in chosen)
    for place in places:
        if _holds(spec.when, look, place):
            size = _at(spec.size, look, place)
            if size is not None:
                yield Part(spec.part, place, size)


def _holds(when: Guard | None, look: Scope, place: Place) -> bool:
    return when is None or bool(_at(when, look, place))


def _at(guard: Guard, look: Scope, place: Place) -> Any:
    """The value of a row at a place: the row's own place that belongs to it; a single value stands for every place."""
    value = guard.run(look.names)
    if not isinstance(value, tuple):
        return value
    row = look.file.plan.bank.places(guard.type.each, look.here)
    for item, where in zip(value, row, strict=False):
        if where == place or (where.carb == place.carb and (where.barrel is None or place.barrel is None)):
            return item
    return None


def turned(plan: RunLayout, positions: Positions, moves: Iterable[Move]) -> Positions:
    """Where the screws stand after these moves. A move by aim that reports no turns leaves its screw's count
    unknown.
    """
    found = dict(positions)
    for move in moves:
        key = (move.screw, move.place)
        now = found.get(key)
        if move.aim is not None and move.turns is None and move.position is None:
            found[key] = None
        elif move.position is not None:
            found[key] = move.position
        elif move.turns is not None and now is not None:
            found[key] = _after(plan.screws[move.screw], now, move.turns, move.direction)
        else:
            found[key] = None
    return found


def fitted(
    parts: Mapping[tuple[str, Place], Fraction],
    new: Iterable[Part],
    bank_barrels: tuple[Place, ...],
) -> dict[tuple[str, Place], Fraction]:
    """The parts after these were fitted; a part fitted to a whole carb is fitted to each of its barrels."""
    found = dict(parts)
    for part in new:
        if (part.part, part.place) not in found and part.place.barrel is None:
            inside = [p for p in bank_barrels if belongs(p, part.place) and (part.part, p) in found]
            if inside:
                found.update({(part.part, p): part.size for p in inside})
                continue
        found[part.part, part.place] = part.size
    return found
