"""The speed that a picture of an idling engine foresees, with its slopes against everything unknown; it fits nothing.

Speed follows torque; a barrel's torque is its air times a factor that has a crest at the best mixture; its mixture
follows its screw.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from engine.carburation.estimation.crest import Screws, torque_and_slope

#: The unknowns: ln speed at the best mixture, elasticity, ln slope, creep.
ALPHA, EPS, SLOPE, CREEPS = 0, 1, 2, 3
#: From here on the unknowns are ln richness, barrel by barrel.
OWN = 4


@dataclass(frozen=True, slots=True)
class Gas:
    """What a meter told of one barrel: lambda and the scatter of its logarithm; `least`: it is that or leaner, or so
    rich that it does not fire."""

    lam: float
    sd: float
    least: bool = False


@dataclass(frozen=True, slots=True)
class Shot:
    """What was seen at one moment: each barrel's screw, the speed with its scatter, the gas by barrel; `age` in answers
    against the first of its stretch, so negative."""

    at: tuple[float, ...]
    speed: float | None
    noise: float
    age: int
    lambdas: tuple[Gas | None, ...] | None = None


class Barrels(dict):
    """By (barrel, turns): its torque, how that changes per ln richness, and per ln slope, each times its air.

    A screw stands at a few places in many shots, so that each is worked out once.
    """

    def __init__(self, screws: Screws, air: Sequence[float], mean: Sequence[float]) -> None:
        self.screws, self.air, self.whole = screws, air, sum(air)
        self.slope, self.rich = math.exp(mean[SLOPE]), [math.exp(m) for m in mean[OWN:]]

    def __missing__(self, key: tuple[int, float]) -> tuple[float, float, float]:
        i, turns = key
        fuel, air = self.screws.fuel(turns, self.slope), self.air[i]
        f, d = torque_and_slope(self.rich[i] * fuel)
        d *= air
        found = self[key] = (air * f, d, d * self.screws.sign * self.slope * (turns - self.screws.mid) / fuel)
        return found


def predict(
    screws: Screws, air: Sequence[float], mean: Sequence[float], shot: Shot, known: Barrels | None = None
) -> tuple[float, list[float]]:
    """ln speed of a shot, and its slope against every unknown."""
    if screws.shared:
        return _plenum(screws, mean, shot)
    known = known if known is not None else Barrels(screws, air, mean)
    total = by_slope = 0.0
    by_own = []
    for key in enumerate(shot.at):
        f, d, by = known[key]
        total += f
        by_own.append(d)
        by_slope += by
    share = max(total / known.whole, 1e-3)
    log, eps = math.log(share), mean[EPS]
    scale = eps / (share * known.whole)
    return (
        mean[ALPHA] + eps * log - mean[CREEPS] * shot.age,
        [1.0, log, scale * by_slope, -float(shot.age), *[scale * d for d in by_own]],
    )


def _plenum(screws: Screws, mean: Sequence[float], shot: Shot) -> tuple[float, list[float]]:
    """The same where one plenum mixes all: one mixture, one crest."""
    slope, eps = math.exp(mean[SLOPE]), mean[EPS]
    fuels = [screws.fuel(t, slope) for t in shot.at]
    parts = [math.exp(mean[OWN + i]) * f / len(fuels) for i, f in enumerate(fuels)]
    phi = sum(parts)
    f, d = torque_and_slope(phi)
    f = max(f, 1e-3)
    log = math.log(f)
    by = [eps * d / f * p / phi for p in parts]
    by_slope = sum(b * screws.sign * slope * (t - screws.mid) / u for b, t, u in zip(by, shot.at, fuels, strict=True))
    return mean[ALPHA] + eps * log - mean[CREEPS] * shot.age, [1.0, log, by_slope, -float(shot.age), *by]
