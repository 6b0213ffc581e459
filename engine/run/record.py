"""As found and as left: which readings and positions a `record` keeps; it formats nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine.evidence import Place
from engine.run.layout import RunLayout
from engine.run.state import Frame, Past, Recorded, World, walk

Record = Mapping[str, Mapping[str, Recorded]]


def take(
    plan: RunLayout,
    kept: Record,
    which: str,
    frame: Frame,
    readings: Mapping[str, Any],
    world: World,
    past: Past | None,
) -> Record:
    """Keep the readings of this answer, or at a step that reads nothing the newest of the whole run, and every
    position known.

    As found, what the first visit says of a place stays, "not taken" too; as left, the last value stands.
    """
    first = which == "as found"
    lines = dict(kept.get(which, {}))
    taken = _rows(plan, frame, readings) if readings else _newest(plan, past)
    for name, line in taken.items():
        lines[name] = _merged(lines.get(name), line, first)
    for name, screw in plan.screws.items():
        places = frame.at.file.plan.bank.places(screw.each)
        by_place = {p: world.positions[name, p] for p in places if world.positions.get((name, p)) is not None}
        if by_place:
            line = Recorded(f"{screw.acts} screw position", screw.unit, screw.each, by_place)
            lines[name] = _merged(lines.get(name), line, first)
    return {**kept, which: lines}


def _merged(old: Recorded | None, new: Recorded, first: bool) -> Recorded:
    if old is None:
        return new
    if first:
        return old._replace(by_place={**new.by_place, **old.by_place})
    return new._replace(by_place={**old.by_place, **{p: v for p, v in new.by_place.items() if v is not None}})


def _rows(plan: RunLayout, frame: Frame, readings: Mapping[str, Any]) -> dict[str, Recorded]:
    found = {}
    for name, value in readings.items():
        reading = frame.at.file.procedure.readings[name]
        each = reading.type.each
        row = value if isinstance(value, tuple) else (value,)
        if each is not None:
            places = plan.bank.places(each, frame.here)
        elif reading.of is not None:
            places = (Place(*reading.of),)
        else:
            places = (frame.here or Place(),)
            each = None if frame.here is None else "carb" if frame.here.barrel is None else "barrel"
        found[name] = Recorded(reading.quantity, reading.type.unit, each, dict(zip(places, row, strict=False)))
    return found


def _newest(plan: RunLayout, past: Past | None) -> dict[str, Recorded]:
    found: dict[str, Recorded] = {}
    for answer in walk(past):
        if answer.event.readings:
            for name, line in _rows(plan, answer.state.frame, answer.event.readings).items():
                found[name] = _merged(line, found[name], False) if name in found else line
    return found
