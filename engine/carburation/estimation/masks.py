"""What else moves a mixture screw's rest besides its jet, as the checks found it: leak, level, an open hole, plates
apart, a mixture not placed. It reads evidence and judges no jet.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from engine.carburation.estimation.asks import Checked
from engine.carburation.estimation.seen import numbers
from engine.evidence import Evidence, Place

#: Share of fuel for each mm of level, and its doubt [derived: 7.3 Pa a mm, on the head that drives 0.20 to 0.25 kg/h of
#: petrol through a 50 jet at a discharge of 0.6 to 0.8, both assumed: 1.6 to 4.4 % a mm].
LEVEL, LEVEL_SD = 0.030, 0.015
#: A level off by less is left out of account, mm [assumed: as near as it is measured].
LEVEL_OFF = 0.75
#: Share of air that the gauge does not see at a leak that mist shows, and its doubt [assumed: some tenths of a mm2 at
#: choked flow, against a few kg/h].
LEAK, LEAK_SD = 0.05, 0.05
#: Share of fuel for each share of air by which a barrel's plate stands off the rest: it feeds from its edge too
#: [assumed].
PLATE_SD = 0.5
#: Air this far from the bank's mean is worth naming as a reason [assumed: twice what is tuned to].
APART = 0.10
#: What spoils the verdict on one barrel's jet.
Spoilt = Literal[
    "hole uncovered", "level off", "leak not excluded", "mixture not found", "air not even", "between sizes"
]


@dataclass(frozen=True, slots=True)
class Mask:
    """One barrel: `leak` and `hole` as checked, `level` in mm, `apart` its air off the mean as a share."""

    leak: bool = False
    hole: bool = False
    level: float = 0.0
    apart: float = 0.0

    @property
    def shift(self) -> float:
        """ln of the fuel that the barrel lacks by its level and leak, jet aside."""
        return -LEVEL * self._level + (LEAK if self.leak else 0.0)

    @property
    def doubt(self) -> float:
        """Standard deviation of that."""
        return math.hypot(LEVEL_SD * self._level, LEAK_SD if self.leak else 0.0, PLATE_SD * self.apart)

    @property
    def level_off(self) -> bool:
        """Whether the level of its body is off by more than can be left out of account."""
        return self._level != 0.0

    @property
    def _level(self) -> float:
        return self.level if abs(self.level) > LEVEL_OFF else 0.0

    def reason(self, unplaced: bool = False) -> Spoilt:
        """Why its jet can't be told, in a word of the registry's: the gravest that holds (`unplaced`: its mixture was
        not found closely enough)."""
        if self.hole:
            return "hole uncovered"
        if self._level:
            return "level off"
        if self.leak:
            return "leak not excluded"
        if unplaced:
            return "mixture not found"
        return "air not even" if abs(self.apart) > APART else "between sizes"

    def hides(self, sizes: int) -> bool:
        """Whether what was found would look like a jet wrong that way (positive: too small)."""
        return (self.leak and sizes > 0) or (self._level * sizes < 0) or (self.hole and sizes < 0)


def masks(
    checked: Checked | None, evidence: Evidence, spots: Sequence[Place], air: Sequence[float]
) -> tuple[Mask, ...]:
    """What is known of every barrel: `checked` as given with the question, or else as last seen."""
    n = len(spots)
    leak = (_truths(checked.leak, n) if checked else None) or _yes(evidence, "air leak", n)
    hole = (_truths(checked.hole_uncovered, n) if checked else None) or [False] * n
    level = _level(checked, evidence, spots)
    mean = sum(air) / n
    return tuple(Mask(leak[i], hole[i], level[i], math.log(air[i] / mean)) for i in range(n))


def _truths(row: Sequence[bool | None] | None, n: int) -> list[bool] | None:
    return [bool(v) for v in row] if row is not None and len(row) == n else None


def _yes(evidence: Evidence, quantity: str, n: int) -> list[bool]:
    row = evidence.latest(quantity) or ()
    return [v == "yes" for v in row] if len(row) == n else [False] * n


def _level(checked: Checked | None, evidence: Evidence, spots: Sequence[Place]) -> list[float]:
    """Fuel level error of each barrel's body, mm; 0 where it was not measured."""
    view = None if checked is None else checked.level
    row = numbers(view.row if view is not None and view.row else evidence.latest("fuel level") or ())
    return [(row[p.carb - 1] or 0.0) if p.carb and p.carb <= len(row) else 0.0 for p in spots]
