"""What was read against where one mixture screw stood: the search for its crest, made to be seen; it believes nothing
itself.

Points are taken from the answers alone. What is believed of the crest is what the adviser put out for it, where it
did.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from engine.evidence import Move, Place
from engine.run.layout import RunLayout
from engine.run.state import Past, Positions, State, walk
from engine.session.declared import shown
from engine.session.latest import held, read_with
from engine.session.view import Spot, Sweep

#: What tells of the mixture, what names its cylinder first: a meter in each pipe outranks the speed.
_TELLS = ("lambda", "CO", "engine speed")
#: Outputs under which an adviser says where each barrel's crest is believed, in turns, and between which places.
BEST, LOW, HIGH = "best", "best_low", "best_high"


def sweeps(plan: RunLayout, state: State, moves: Iterable[Move]) -> tuple[Sweep, ...]:
    """The searches for the mixture screws in hand: those that are to be turned, else those that were turned last; one
    that nothing was read of yet is left out."""
    file = state.frame.at.file
    mixture = {name for name, screw in file.screws.items() if screw.acts == "mixture"}
    due = [m for m in moves if m.screw in mixture]
    return tuple(
        found
        for move in due or _last_turned(state, mixture, file.name)
        if (found := _sweep(plan, state, move, due=bool(due))) is not None
    )


def _sweep(plan: RunLayout, state: State, move: Move, due: bool) -> Sweep | None:
    """The search for one mixture screw; `due`: its move is still to be made."""
    file = state.frame.at.file
    screw, place = move.screw, move.place
    here = (screw, place)
    now = _now(state)
    points: list[Spot] = []
    quantity = unit = ""
    for past, stood in read_with(state):
        if past.epoch != state.world.epoch or held(past) != "idle":
            continue
        if past.state.frame.at.file.name != file.name:
            continue
        found = _read(plan, past, place, quantity)
        position = stood.get(here)
        if found is None or position is None:
            continue
        quantity, unit, value = found
        alone = all(stood.get(key) == at for key, at in now.items() if key != here)
        points.append(Spot(shown(position, file.screws[screw].unit), value, alone, past.seq))
    if not points:
        return None
    row = file.screws[screw]
    to = shown(move.position, row.unit) if due and move.position is not None else None
    best, low, high = (_believed(state, plan, place, row.each, name, row.unit) for name in (BEST, LOW, HIGH))
    expect = _expected(state, plan, place, row.each, quantity, unit, to)
    return Sweep(screw, place, row.unit, quantity, unit, tuple(points[::-1]), to, expect, best, low, high)


def _now(state: State) -> Positions:
    return state.made.before if state.made is not None else state.world.positions


def _last_turned(state: State, mixture: set[str], file: str) -> list[Move]:
    """The mixture screws that this file turned last; at a step whose moves are made, those."""
    if state.made is not None and (moved := [m for m in state.made.moves if m.screw in mixture]):
        return moved
    for past in walk(state.past):
        if past.state.frame.at.file.name != file:
            return []
        if past.made is not None and (moved := [m for m in past.made.moves if m.screw in mixture]):
            return moved
    return []


def _read(plan: RunLayout, past: Past, place: Place, wanted: str) -> tuple[str, str, Fraction] | None:
    """Quantity, unit and value of what was read of a place's mixture; of the quantity that is `wanted`, once known."""
    declared = past.state.frame.at.file.procedure.readings
    for quantity in (wanted,) if wanted else _TELLS:
        for name, value in (past.event.readings or {}).items():
            reading = declared[name]
            if reading.quantity != quantity:
                continue
            if reading.type.each is not None and isinstance(value, tuple):
                places = plan.bank.places(reading.type.each, past.state.frame.here)
                at = next((n for n, p in enumerate(places) if p == place), None)
                value = value[at] if at is not None and at < len(value) else None
            if isinstance(value, Fraction):
                return quantity, reading.type.unit or "", shown(value, reading.type.unit)
    return None


def _expected(
    state: State, plan: RunLayout, place: Place, each: str, quantity: str, unit: str, to: Any
) -> Fraction | None:
    """What the newest advice expects to be read of a place once its screw is turned: one figure for the engine, or one
    a place."""
    if to is None:
        return None
    for given in state.frame.advice[:1]:
        row = given.advice.expect.get(quantity)
        if row is None:
            continue
        at = next((n for n, p in enumerate(plan.bank.places(each)) if p == place), 0) if len(row) > 1 else 0
        value = row[at] if at < len(row) else None
        return shown(value, unit) if isinstance(value, Fraction) else None
    return None


def _believed(state: State, plan: RunLayout, place: Place, each: str, name: str, unit: str) -> Fraction | None:
    """What the newest advice that says so believes of this place's crest."""
    for given in state.frame.advice:
        row = given.advice.outputs.get(name)
        if row is None:
            continue
        places = plan.bank.places(each)
        values = row if isinstance(row, tuple) else (row,)
        at = next((n for n, p in enumerate(places) if p == place), None)
        value = values[at] if at is not None and at < len(values) else None
        return shown(value, unit) if isinstance(value, Fraction) else None
    return None
