"""How long the engine has run and been hot since the work began, by the clock of the answers; it reads no clock itself.

Time between two answers counts as the earlier one left the engine; a long pause counts as nothing.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from fractions import Fraction

from engine.procedure.program import Guard
from engine.run.state import Past, State, walk
from engine.session.latest import held
from engine.session.view import Hours

#: After so long the engine was left alone [common practice: it cools within hours].
PAUSE = timedelta(hours=2)


def hours(state: State, started: str) -> Hours:
    """Minutes that the engine ran up to the newest answer, and of those the minutes since a reading of a temperature
    said that it was hot, or None where nothing said so since it last stood."""
    run = hot = 0.0
    warm = False
    before = started
    for past in reversed(list(walk(state.past))):
        gap = _minutes(before, past.event.at)
        before = past.event.at or before
        if held(past) == "stopped":
            warm, hot = False, 0.0
            continue
        run += gap
        hot += gap if warm else 0.0
        if past.state.world.rested and not warm:
            hot = 0.0
        warm = warm or _says_hot(past)
    return Hours(int(run), int(hot) if warm else None)


def _minutes(before: str, now: str) -> float:
    """Minutes between two texts of a clock; none where one can't be read, the clock was set back, or after a pause."""
    try:
        gap = datetime.fromisoformat(now) - datetime.fromisoformat(before)
    except (TypeError, ValueError):
        return 0.0
    return gap.total_seconds() / 60 if timedelta(0) < gap <= PAUSE else 0.0


def _says_hot(past: Past) -> bool:
    """A temperature was read that is as high as a sound, hot engine's."""
    declared = past.state.frame.at.file.procedure.readings
    for name, value in (past.event.readings or {}).items():
        reading = declared.get(name)
        if reading is None or not reading.quantity.endswith("temperature") or not isinstance(reading.healthy, tuple):
            continue
        low = reading.healthy[0]
        if isinstance(low, Guard):
            low = low.run(past.state.frame.names)
        if isinstance(value, Fraction) and isinstance(low, Fraction) and value >= low:
            return True
    return False
