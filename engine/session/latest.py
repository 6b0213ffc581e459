"""The newest row of every reading, how it came down, and whether it still says how the engine stands; it decides
nothing.

Rows are compared only with rows that were taken the same way: idle never with a held speed.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import Any

from engine.run.layout import RunLayout
from engine.run.scope import scope
from engine.run.state import Frame, Past, Positions, State, walk
from engine.session.declared import shown, width
from engine.session.view import Latest
from engine.vocabulary.states import ENGINE, HOLD, RUNNING

#: The phase whose figures stay as the engine came in.
AS_FOUND = "as found"


def latest(plan: RunLayout, state: State) -> tuple[Latest, ...]:
    """Every reading that was taken, the newest first, with the spreads of its rows from the oldest on, of those that
    were taken as the newest was."""
    rows: dict[str, list[tuple[Past, tuple[Any, ...]]]] = {}
    changes: dict[int, tuple[str, str]] = {}
    changed = _change(state.made)
    part = changed if state.made is not None and state.made.parts else ""
    for past in walk(state.past):
        changes[past.seq] = changed, part
        for name, value in (past.event.readings or {}).items():
            rows.setdefault(name, []).append((past, value if isinstance(value, tuple) else (value,)))
        now = _change(past.made)
        changed, part = now or changed, now if past.made is not None and past.made.parts else part
    found = []
    for name, taken in rows.items():
        past, row = taken[0]
        reading = past.state.frame.at.file.procedure.readings[name]
        unit, hold = reading.type.unit, held(past)
        spreads = [_spread(r) for p, r in reversed(taken) if held(p) == hold]
        found.append(
            Latest(
                name,
                reading.quantity,
                reading.type.each,
                unit,
                shown(row, unit),
                _tolerance(past, name, row),
                tuple(width(s, unit) for s in spreads if s is not None),
                hold=hold,
                found=_phase(past.state.frame) == AS_FOUND,
                since=changes[past.seq][not by_turning(hold, reading.quantity)],
                at=past.event.at,
                step=None if reading.step is None else width(reading.step, unit),
            )
        )
    return tuple(found)


def by_turning(hold: str, quantity: str) -> bool:
    """Whether a turned screw makes a row old: a level, a compression, a jet read with the engine off stay so."""
    return hold != "stopped" or quantity.endswith("position")


#: What is said of a row since which a screw was turned.
TURNED = "a screw was turned"


def _change(made: Any) -> str:
    """What hands changed, in a word; empty where they changed nothing."""
    if made is None or not (made.moves or made.parts):
        return ""
    return "a part was changed" if made.parts else TURNED


def held(past: Past) -> str:
    """How the engine ran when an answer was given: `stopped`, `idle`, or a held speed as `1500 rpm`."""
    now = past.state.world.conditions
    if now.get(ENGINE) != RUNNING:
        return "stopped"
    hold = now.get(HOLD)
    return f"{int(hold)} rpm" if isinstance(hold, Fraction | int) and not isinstance(hold, bool) else "idle"


def phase(state: State) -> str:
    """Where in the work: as the step says, else its file, else the calling step; where none does, where the work was
    before."""
    return _phase(state.frame) or next((said for past in walk(state.past) if (said := _phase(past.state.frame))), "")


def _phase(frame: Frame | None) -> str:
    while frame is not None:
        said = frame.at.step.phase or frame.at.file.procedure.phase
        if said:
            return said
        frame = frame.caller
    return ""


def read_with(state: State) -> Iterator[tuple[Past, Positions]]:
    """Every answer that stands, newest first, with where the screws stood when it was given: its own moves made, those
    of the step after it not."""
    after = state.made.before if state.made is not None else state.world.positions
    for past in walk(state.past):
        yield past, after
        after = past.made.before if past.made is not None else past.state.world.positions


def _spread(row: tuple[Any, ...]) -> Fraction | None:
    there = [v for v in row if isinstance(v, Fraction)]
    return max(there) - min(there) if len(there) > 1 else None


def _tolerance(past: Past, name: str, row: tuple[Any, ...]) -> Fraction | None:
    """The spread that the step's adviser is told to allow: an amount, or a share of the mean to either side of it."""
    frame = past.state.frame
    for advise in frame.at.step.advise:
        bound_to = {b.target for b in advise.bindings.values() if b.kind == "reading"}
        told = advise.bindings.get("tolerance")
        if name in bound_to and told is not None and told.guard is not None:
            value = told.guard.run(scope(frame, past.state.world.positions).names)
            kind = frame.at.file.procedure.readings[name].type
            if not isinstance(value, Fraction):
                return None
            if told.guard.type.dimension == kind.dimension:
                return width(value, kind.unit)
            there = [v for v in row if isinstance(v, Fraction)]
            return width(2 * value * sum(there) / len(there), kind.unit) if there else None
    return None
