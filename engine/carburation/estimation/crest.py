"""How fuel makes torque in an idling cylinder, and a mixture screw makes fuel, as a technician may picture them.

A torque crest at the best mixture falls faster on the lean side, so a plain parabola through the speeds would sit too
rich. Pure functions; it fits nothing and knows no engine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Torque against fuel-air equivalence ratio phi: 1 - a (phi - 1.12)^2, a = 1.1 rich, 2.0 lean, at fixed air [from
#: memory: Heywood ch. 15]; misfire about lambda 1.2 at idle [assumed], and lumps beyond phi 1.6 [from memory: limits of
#: flame].
CREST, RICH, LEAN = 1.12, 1.1, 2.0
LEAN_LIMIT, LEAN_WIDTH = 1.20, 0.03
RICH_LIMIT, RICH_WIDTH = 1.62, 0.06
#: Turns over which a needle comes off its seat [assumed: less than half a turn is the richest jet's rest].
SEAT = 0.3


def torque(phi: float) -> float:
    """Torque of a barrel at equivalence ratio `phi`, against its best at the same air."""
    return torque_and_slope(phi)[0]


def torque_and_slope(phi: float) -> tuple[float, float]:
    """`torque(phi)` and its change per ln phi."""
    off = phi - CREST
    fall = RICH if off > 0.0 else LEAN
    base = 1.0 - fall * off * off
    if base <= 0.0 or phi <= 0.05:
        return 0.0, 0.0
    if off > 0.2:
        late = (phi - RICH_LIMIT) / RICH_WIDTH
        by = -phi / RICH_WIDTH
    else:
        late = (1.0 / phi - LEAN_LIMIT) / LEAN_WIDTH
        by = 1.0 / (phi * LEAN_WIDTH)
    if late > 40.0:
        return 0.0, 0.0
    fires = 1.0 / (1.0 + math.exp(late))
    return base * fires, -2.0 * fall * off * phi * fires + base * fires * (1.0 - fires) * by


@dataclass(frozen=True, slots=True)
class Screws:
    """Mixture screws of one kind: fuel grows by share `slope` of its mid-band figure per turn of richness; `mid` is mid
    band; `sign` +1 where a growing position is richer. `slope_sd` is how unsure that is, as a share. `shared`: one
    plenum
    feeds all cylinders, so that only the sum of the screws counts."""

    mid: float
    slope: float
    slope_sd: float = 0.30
    sign: int = 1
    shared: bool = False

    def fuel(self, turns: float, slope: float) -> float:
        """Fuel at `turns`, against mid band; a needle near its seat shuts all off (an air screw does not)."""
        fuel = max(0.08, 1.0 + self.sign * slope * (turns - self.mid))
        return fuel * min(1.0, 0.05 + turns / SEAT) if self.sign > 0 and turns < SEAT else fuel
