"""How fast the engine idles now, and how its speed answers to air, learned from what was seen; it gives no advice."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from engine.carburation.estimation.seen import Seen
from engine.evidence import ReadingView

#: Scatter of one speed reading, rpm; a reading that is averaged is the mean of about three [assumed].
SCATTER, AVERAGED = 3.0, 3.0
#: Relative change of idle speed per relative change of air [derived: power falls with speed times friction that itself
#: grows a little with speed, so a little below one].
ELASTICITY, ELASTICITY_SD = 0.9, 0.3
#: How far the speed wanders by itself between two steps, rpm [assumed].
DRIFT = 2.0


@dataclass(frozen=True, slots=True)
class Pace:
    """`now` rpm with `sd`, from `count` readings since anything was turned; `elasticity` with `elasticity_sd`."""

    now: float | None
    sd: float
    count: int
    elasticity: float
    elasticity_sd: float

    def air_for(self, target: float, limit: float = 0.15) -> float:
        """The share by which all air must change to bring the speed to target, within +-limit; cautious where
        unsure."""
        if self.now is None or self.now <= 0:
            return 0.0
        e = max(self.elasticity, 0.4)
        return max(-limit, min(limit, (target / self.now - 1.0) * e / (e * e + self.elasticity_sd**2)))


def scatter(view: ReadingView | None) -> float:
    """Standard deviation of one speed reading, rpm."""
    return SCATTER / math.sqrt(AVERAGED) if view is not None and view.average else SCATTER


def follow(history: Sequence[Seen], noise: float, change_of_air: Callable[[Seen], float | None]) -> Pace:
    """Learn from all idle speeds in order.

    `change_of_air` says by what share the air changed just before an answer's readings, or None where nobody knows.
    Mixture moves and parts change the speed too, so what lies across them teaches nothing about air.
    """
    estimate, var = ELASTICITY, ELASTICITY_SD**2
    before: float | None = None
    share: float | None = 0.0
    total, count = 0.0, 0
    for seen in history:
        change = change_of_air(seen)
        if seen.answer.parts or any(m.effect not in ("more air", "less air") for m in seen.answer.moves):
            before, share = None, 0.0
            estimate = 0.5 * (estimate + ELASTICITY)  # another mixture answers to air otherwise
            var = max(var, (0.8 * ELASTICITY_SD) ** 2)
        if change is None:
            share = None
        elif share is not None:
            share += change
        if seen.answer.moves or seen.answer.parts:
            total, count = 0.0, 0
        speed = seen.speed()
        if speed is None:
            continue
        if before and share is not None and abs(share) > 0.005:
            weight = before * share
            error = 2.0 * noise * noise + DRIFT**2 + (0.15 * estimate * weight) ** 2
            gain = var * weight / (weight * weight * var + error)
            estimate += gain * (speed - before - weight * estimate)
            var *= 1.0 - gain * weight
            estimate = max(0.25, min(2.5, estimate))
        before, share = speed, 0.0
        total, count = total + speed, count + 1
    now = total / count if count else None
    return Pace(now, noise / math.sqrt(count) if count else 1e3, count, estimate, math.sqrt(var))
