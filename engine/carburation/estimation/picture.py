"""An idling engine as a technician may picture it: what is believed of its mixture, barrel by barrel, and how surely.

A picture holds for one setting of the air and one set of jets: where either is changed the belief is carried over, with
the doubt that the change brings. It gives no advice and knows no engine but through the evidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from engine.carburation.estimation.crest import Screws
from engine.carburation.estimation.fit import cholesky, inverse
from engine.carburation.estimation.foresee import ALPHA, CREEPS, EPS, OWN, SLOPE, Shot, predict

#: Change of speed per change of torque, as shares [derived: loss grows a little faster than speed].
SPEED, SPEED_SD = 0.92, 0.12
#: How the barrels' richness may lie before anything was seen, as shares: all alike, and each by itself [assumed: a
#: size of idle jet is about a fifth of its area].
ALL_SD, OWN_SD = 0.16, 0.14
#: At a choked idle the fuel hardly follows the air, so more air is leaner by its share; how unsure that is, per share
#: of change, for all barrels alike and for each by itself [assumed: the progression holes feed as the plates open].
LEANS_ALL, LEANS_EACH = 0.3, 0.3
#: How well the speed at other air is foreseen, per share of change, and at least [assumed].
AIR_DOUBT, AIR_LEAST = 0.35, 0.004
#: How far the speed may creep from one answer to the next, as a share [assumed: it creeps up for 15 to 20 minutes].
CREEP = 0.0008
#: What fitting a jet leaves in doubt about every barrel, and about the speed, as shares [assumed].
FITTED, FITTED_SPEED = 0.02, 0.03
#: A fit worse than the best by this misfit is not worth a thought.
UNLIKELY = 12.0


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed before: means and information of [ln speed, elasticity, ln slope, creep, ln richness of
    each]."""

    mean: tuple[float, ...]
    info: tuple[tuple[float, ...], ...]


def fresh(n: int, screws: Screws, speed: float) -> Prior:
    """The belief before anything was seen: mid band is right, within what wrong jets do."""
    mean = (math.log(speed), SPEED, math.log(screws.slope), 0.0, *([math.log(1.0 / 0.91)] * n))
    size = n + OWN
    info = [[0.0] * size for _ in range(size)]
    for i, sd in enumerate((0.4, SPEED_SD, screws.slope_sd, CREEP)):
        info[i][i] = 1.0 / sd**2
    own, every = 1.0 / OWN_SD**2, 0.0
    every = -(ALL_SD**2) * own * own / (1.0 + n * ALL_SD**2 * own)  # Sherman-Morrison
    for i in range(n):
        for j in range(n):
            info[OWN + i][OWN + j] = every + (own if i == j else 0.0)
    return Prior(mean, tuple(map(tuple, info)))


@dataclass(frozen=True, slots=True)
class Idle:
    """The fitted picture at the air `air`: `mean` and `cov` of the unknowns; `misfit` of its `shots` and prior."""

    screws: Screws
    air: tuple[float, ...]
    mean: tuple[float, ...]
    cov: tuple[tuple[float, ...], ...]
    misfit: float
    shots: int
    #: Age of the latest shot.
    last: int = 0

    @property
    def slope(self) -> float:
        """Share of fuel per turn, as learned."""
        return math.exp(self.mean[SLOPE])

    @property
    def elasticity(self) -> float:
        """Change of speed per change of torque, as shares."""
        return self.mean[EPS]

    def phi(self, i: int, turns: float) -> float:
        """Equivalence ratio of barrel i with its screw at `turns`."""
        return math.exp(self.mean[OWN + i]) * self.screws.fuel(turns, self.slope)

    def phi_sd(self, i: int, turns: float) -> float:
        """Standard deviation of `phi` there."""
        fuel = self.screws.fuel(turns, self.slope)
        by_slope = self.screws.sign * self.slope * (turns - self.screws.mid) / fuel
        k = OWN + i
        var = self.cov[k][k] + 2 * by_slope * self.cov[k][SLOPE] + by_slope**2 * self.cov[SLOPE][SLOPE]
        return self.phi(i, turns) * math.sqrt(max(var, 0.0))

    def where(self, i: int, phi: float) -> float:
        """Screw position at which barrel i has mixture `phi`."""
        fuel = phi / math.exp(self.mean[OWN + i])
        return self.screws.mid + self.screws.sign * (fuel - 1.0) / self.slope

    def speed(self, at: Sequence[float], age: int | None = None) -> float:
        """Speed expected with the screws `at`, or that the picture gives for a moment of that age."""
        shot = Shot(tuple(at), None, 1.0, self.last if age is None else age)
        return math.exp(predict(self.screws, self.air, self.mean, shot)[0])


def elsewhere(idle: Idle, richer: float, stronger: float) -> tuple[float, ...]:
    """Where to begin another fit: all barrels richer and the screws stronger, as logarithms."""
    mean = [m + (richer if i >= OWN else 0.0) for i, m in enumerate(idle.mean)]
    mean[SLOPE] += stronger
    return tuple(mean)


def mingled(fits: Sequence[Idle]) -> Idle:
    """The likeliest of several fits; where others are about as likely, what they say otherwise is added to its
    doubt."""
    best = min(fits, key=lambda i: i.misfit)
    cov = [list(row) for row in best.cov]
    told: list[Idle] = [best]
    for other in fits:
        if other.misfit > best.misfit + UNLIKELY or any(alike(other, known) for known in told):
            continue
        told.append(other)
        weight = math.exp(-0.5 * (other.misfit - best.misfit))
        away = [a - b for a, b in zip(other.mean, best.mean, strict=True)]
        for i, a in enumerate(away):
            for j, b in enumerate(away):
                cov[i][j] += weight * a * b
    return best if len(told) == 1 else replace(best, cov=tuple(map(tuple, cov)))


def alike(one: Idle, two: Idle) -> bool:
    """Whether two fits say the same of every barrel."""
    return all(abs(a - b) < 0.03 for a, b in zip(one.mean[OWN:], two.mean[OWN:], strict=True))


@lru_cache(maxsize=256)
def carry(
    idle: Idle,
    air: tuple[float, ...],
    jets: tuple[tuple[int, float, float], ...] = (),
    swaps: tuple[tuple[int, int], ...] = (),
) -> Prior:
    """The belief for other air and other jets.

    `jets`: barrel i's richness by factor, with so much doubt (as a share). `swaps`: pairs of barrels whose jets of one
    number changed places: what sets them apart goes along with the jets, or it stays, at even chances.
    """
    mean, cov = list(idle.mean), [list(r) for r in idle.cov]
    mean[ALPHA] -= mean[CREEPS] * idle.last
    mean[CREEPS] = 0.0
    for i in range(len(cov)):
        cov[i][CREEPS] = cov[CREEPS][i] = 0.0
    cov[CREEPS][CREEPS] = CREEP**2
    more = [math.log(b / a) for a, b in zip(idle.air, air, strict=True)]
    whole = math.log(sum(air) / sum(idle.air))
    mean[ALPHA] += mean[EPS] * whole
    cov[ALPHA][ALPHA] += AIR_LEAST**2 + (AIR_DOUBT * whole) ** 2
    for i, by in enumerate(more):
        mean[OWN + i] -= by
        cov[OWN + i][OWN + i] += (LEANS_EACH * by) ** 2
        for j, too in enumerate(more):
            cov[OWN + i][OWN + j] += LEANS_ALL**2 * by * too
    if jets or swaps:
        cov[ALPHA][ALPHA] += FITTED_SPEED**2
        for i in range(OWN, len(cov)):
            cov[i][i] += FITTED**2
    for i, factor, doubt in jets:
        mean[OWN + i] += math.log(factor)
        cov[OWN + i][OWN + i] += doubt**2
    for i, j in swaps:
        half = 0.5 * (mean[OWN + i] - mean[OWN + j])
        mean[OWN + i] -= half
        mean[OWN + j] += half
        for k, other in ((i, j), (j, i)):
            cov[OWN + k][OWN + k] += half * half + FITTED**2
            cov[OWN + k][OWN + other] -= half * half
    return Prior(tuple(mean), tuple(map(tuple, inverse(cholesky(cov)))))


def either(prior: Prior, swaps: Sequence[tuple[int, int]]) -> list[tuple[float, ...]]:
    """Where to begin fits after swaps: with what set the pairs apart one way round, and the other."""
    if not swaps:
        return []
    out, cov = [], inverse(cholesky(prior.info))
    for way in (1.0, -1.0):
        mean = list(prior.mean)
        for i, j in swaps:
            half = math.sqrt(max(0.0, -cov[OWN + i][OWN + j]))
            mean[OWN + i] += way * half
            mean[OWN + j] -= way * half
        out.append(tuple(mean))
    return out
