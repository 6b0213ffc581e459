"""What was put right between readings, as later checks tell: a leak that shows no more, a level set, a screw that
answers again. What was read before holds for another barrel, or for one shifted; this says since when and by how
much. It judges nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from engine.carburation.estimation.masks import LEAK, LEAK_SD, LEVEL, LEVEL_OFF, LEVEL_SD
from engine.carburation.estimation.seen import Seen, numbers
from engine.evidence import Place

#: How often a test by ear misses a screw that does nothing, and how often it calls a sound one dead [assumed].
MISSED, WRONGLY = 0.2, 0.06


@dataclass(frozen=True, slots=True)
class Mend:
    """At answer `when` the barrel of screw `i` was found put right: it is richer by `by` than it was read before, with
    a doubt of `blur` (ln); `anew`: nothing of before tells anything of it."""

    when: int
    i: int
    by: float = 0.0
    blur: float = 0.0
    anew: bool = False


@dataclass(frozen=True, slots=True)
class Mends:
    """All mends, oldest first."""

    all: tuple[Mend, ...] = ()

    def since(self, i: int, when: int) -> tuple[float, float] | None:
        """By how much the barrel of screw `i` is richer now than at answer `when`, with its doubt (ln); None where what
        was read then tells nothing of it."""
        mine = [m for m in self.all if m.i == i and m.when > when]
        if any(m.anew for m in mine):
            return None
        return sum(m.by for m in mine), math.hypot(0.0, *(m.blur for m in mine))


def mends(seen: Sequence[Seen], spots: Sequence[Place]) -> Mends:
    """Everything that was put right, told by two checks of one kind: one that found it, a later one that did not."""
    out: list[Mend] = []
    bad: dict[tuple[str, int], float] = {}
    for k, s in enumerate(seen):
        for i, answers in enumerate(_by_screw(s, "screw answers", spots)):
            if answers == "no":
                bad["screw", i] = 1.0
            elif answers == "yes" and bad.pop(("screw", i), 0.0):
                out.append(Mend(k, i, anew=True))
        for i, leaks in enumerate(_by_screw(s, "air leak", spots)):
            if leaks == "yes":
                bad["leak", i] = 1.0
            elif leaks == "no" and bad.pop(("leak", i), 0.0):
                out.append(Mend(k, i, LEAK, math.hypot(LEAK_SD, LEAK)))  # nobody knows whether there was one
        for i, level in enumerate(numbers(_by_screw(s, "fuel level", spots))):
            if level is None:
                continue
            was = bad.pop(("level", i), 0.0)
            if was and abs(level) <= LEVEL_OFF:
                out.append(Mend(k, i, -LEVEL * (was - level), LEVEL_SD * abs(was - level)))
            elif abs(level) > LEVEL_OFF:
                bad["level", i] = was or level
    return Mends(tuple(out))


def answering(seen: Sequence[Seen], spots: Sequence[Place]) -> list[float]:
    """Screw by screw, how the tests of it by ear change the odds that it does nothing (1: none was made). One that
    answers after it did not was put right, and is judged from there."""
    told = [1.0] * len(spots)
    before = [""] * len(spots)
    for s in seen:
        for i, answers in enumerate(_by_screw(s, "screw answers", spots)):
            if answers not in ("yes", "no"):
                continue
            if before[i] == "no" and answers == "yes":
                told[i] = 1.0
            told[i] *= (1.0 - MISSED) / WRONGLY if answers == "no" else MISSED / (1.0 - WRONGLY)
            before[i] = str(answers)
    return told


def _by_screw(s: Seen, quantity: str, spots: Sequence[Place]) -> tuple[object, ...]:
    """A row of this answer, a value a screw: it is of barrels or of carburettors; empty where none was taken."""
    row = s.answer.readings.get(quantity)
    if row is None:
        return ()
    if len(row) == len(spots):
        return tuple(row)
    carbs = max((p.carb or 0 for p in spots), default=0)
    if len(row) == carbs:
        return tuple(row[p.carb - 1] if p.carb else None for p in spots)
    return ()
