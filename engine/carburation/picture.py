"""An idling engine as a technician may picture it, fitted to what was seen: speed from mixture, barrel by barrel.

Speed follows torque; a barrel's torque is its air times a factor that has a crest at the best mixture; its mixture
follows its screw. The picture holds for one setting of the air and one set of jets: where either is changed, the belief
is carried over, with the doubt that the change brings. Fitted by Gauss-Newton to all speeds at that setting, and to
lambda where it is read; it gives no advice and knows no engine but through the evidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from operator import mul

from engine.carburation.crest import RICH_LIMIT, Screws, torque_and_slope
from engine.carburation.fit import cholesky, inverse, solve

#: Change of speed per change of torque, as shares [derived: loss grows a little faster than speed].
SPEED, SPEED_SD = 0.92, 0.12
#: How the barrels' richness may lie before anything was seen, as shares: all alike, and each by itself [assumed: a
#: size of idle jet is about a fifth of its area].
ALL_SD, OWN_SD = 0.16, 0.14
#: How well the picture itself fits, as a share of speed, and per share of torque away from now [assumed].
PICTURE, FAR = 0.0012, 0.08
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
_ALPHA, _EPS, _SLOPE, _CREEP = 0, 1, 2, 3
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
        info[i][i] = 1.0 / sd ** 2
    own, every = 1.0 / OWN_SD ** 2, 0.0
    every = -ALL_SD ** 2 * own * own / (1.0 + n * ALL_SD ** 2 * own)       # Sherman-Morrison
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
        return math.exp(self.mean[_SLOPE])

    @property
    def elasticity(self) -> float:
        """Change of speed per change of torque, as shares."""
        return self.mean[_EPS]

    def phi(self, i: int, turns: float) -> float:
        """Equivalence ratio of barrel i with its screw at `turns`."""
        return math.exp(self.mean[OWN + i]) * self.screws.fuel(turns, self.slope)

    def phi_sd(self, i: int, turns: float) -> float:
        """Standard deviation of `phi` there."""
        fuel = self.screws.fuel(turns, self.slope)
        by_slope = self.screws.sign * self.slope * (turns - self.screws.mid) / fuel
        k = OWN + i
        var = self.cov[k][k] + 2 * by_slope * self.cov[k][_SLOPE] + by_slope ** 2 * self.cov[_SLOPE][_SLOPE]
        return self.phi(i, turns) * math.sqrt(max(var, 0.0))

    def where(self, i: int, phi: float) -> float:
        """Screw position at which barrel i has mixture `phi`."""
        fuel = phi / math.exp(self.mean[OWN + i])
        return self.screws.mid + self.screws.sign * (fuel - 1.0) / self.slope

    def speed(self, at: Sequence[float], age: int | None = None) -> float:
        """Speed expected with the screws `at`, or that the picture gives for a moment of that age."""
        shot = Shot(tuple(at), None, 1.0, self.last if age is None else age)
        return math.exp(_predict(self.screws, self.air, self.mean, shot)[0])


class _Barrels(dict):
    """By (barrel, turns): its torque, how that changes per ln richness, and per ln slope, each times its air.

    A screw stands at a few places in many shots, so that each is worked out once.
    """

    def __init__(self, screws: Screws, air: Sequence[float], mean: Sequence[float]) -> None:
        self.screws, self.air, self.whole = screws, air, sum(air)
        self.slope, self.rich = math.exp(mean[_SLOPE]), [math.exp(m) for m in mean[OWN:]]

    def __missing__(self, key: tuple[int, float]) -> tuple[float, float, float]:
        i, turns = key
        fuel, air = self.screws.fuel(turns, self.slope), self.air[i]
        f, d = torque_and_slope(self.rich[i] * fuel)
        d *= air
        found = self[key] = (air * f, d, d * self.screws.sign * self.slope * (turns - self.screws.mid) / fuel)
        return found


def _predict(screws: Screws, air: Sequence[float], mean: Sequence[float], shot: Shot, known: _Barrels | None = None
             ) -> tuple[float, list[float]]:
    """ln speed of a shot, and its slope against every unknown."""
    if screws.shared:
        return _plenum(screws, mean, shot)
    known = known if known is not None else _Barrels(screws, air, mean)
    total = by_slope = 0.0
    by_own = []
    for key in enumerate(shot.at):
        f, d, by = known[key]
        total += f
        by_own.append(d)
        by_slope += by
    share = max(total / known.whole, 1e-3)
    log, eps = math.log(share), mean[_EPS]
    scale = eps / (share * known.whole)
    return (mean[_ALPHA] + eps * log - mean[_CREEP] * shot.age,
            [1.0, log, scale * by_slope, -float(shot.age), *[scale * d for d in by_own]])


def _plenum(screws: Screws, mean: Sequence[float], shot: Shot) -> tuple[float, list[float]]:
    """The same where one plenum mixes all: one mixture, one crest."""
    slope, eps = math.exp(mean[_SLOPE]), mean[_EPS]
    fuels = [screws.fuel(t, slope) for t in shot.at]
    parts = [math.exp(mean[OWN + i]) * f / len(fuels) for i, f in enumerate(fuels)]
    phi = sum(parts)
    f, d = torque_and_slope(phi)
    f = max(f, 1e-3)
    log = math.log(f)
    by = [eps * d / f * p / phi for p in parts]
    by_slope = sum(b * screws.sign * slope * (t - screws.mid) / u for b, t, u in zip(by, shot.at, fuels, strict=True))
    return mean[_ALPHA] + eps * log - mean[_CREEP] * shot.age, [1.0, log, by_slope, -float(shot.age), *by]


@lru_cache(maxsize=256)
def fit(screws: Screws, shots: tuple[Shot, ...], prior: Prior, air: tuple[float, ...],
        start: tuple[float, ...] | None = None, rounds: int = 24) -> Idle:
    """The likeliest picture given all shots at the air `air` (kg/h, or any unit) and a prior, with its covariance
    (Laplace); wider where it fits badly. A pure function, and kept: a run asks for its early stretches again and again.
    """
    mean = list(start or prior.mean)
    _bound(mean)
    noise = _noise(screws, shots, air, mean)
    info, push, best = _normal(screws, shots, noise, prior, air, mean)
    damp = 0.0
    for turn in range(rounds):
        try:
            low = cholesky([[v * (1.0 + damp) if i == j else v for j, v in enumerate(r)] for i, r in enumerate(info)])
        except ValueError:
            damp = max(10.0 * damp, 1e-3)
            continue
        step = solve(low, push)
        longest = max((abs(s) for s in step[OWN:]), default=0.0)
        cut = min(1.0, 0.35 / longest) if longest > 0.0 else 1.0
        trial = [m + cut * s for m, s in zip(mean, step, strict=True)]
        _bound(trial)
        more, shove, cost = _normal(screws, shots, noise, prior, air, trial)
        if cost > best + 1e-9:
            damp = max(6.0 * damp, 0.03)
            if damp > 1e4:
                break
            continue
        gained, mean, info, push, best, damp = best - cost, trial, more, shove, cost, damp / 6.0
        if gained < 1e-2 + 3e-3 * best and turn > (0 if start else 2):
            break
        if turn in ((1,) if start else (1, 3)):                # the picture moved: weigh the far shots anew
            noise = _noise(screws, shots, air, mean)
            info, push, best = _normal(screws, shots, noise, prior, air, mean)
    wide = max(1.0, best / max(4, len(shots)))
    cov = tuple(tuple(wide * v for v in row) for row in inverse(cholesky(info)))
    return Idle(screws, tuple(air), tuple(mean), cov, best, len(shots), shots[-1].age if shots else 0)


def _bound(mean: list[float]) -> None:
    """Keep a trial where the picture means something, so that no figure runs away."""
    mean[_EPS] = max(0.5, min(1.5, mean[_EPS]))
    mean[_SLOPE] = max(math.log(0.02), min(math.log(1.5), mean[_SLOPE]))
    mean[OWN:] = [max(-1.5, min(1.5, m)) for m in mean[OWN:]]


def elsewhere(idle: Idle, richer: float, stronger: float) -> tuple[float, ...]:
    """Where to begin another fit: all barrels richer and the screws stronger, as logarithms."""
    mean = [m + (richer if i >= OWN else 0.0) for i, m in enumerate(idle.mean)]
    mean[_SLOPE] += stronger
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


def _noise(screws: Screws, shots: Sequence[Shot], air: Sequence[float], mean: Sequence[float]) -> list[float]:
    """Standard deviation of ln speed of each shot: the meter's, the picture's own, and more the farther from now."""
    if not shots:
        return []
    known = _Barrels(screws, air, mean)
    last = _predict(screws, air, mean, shots[-1], known)[0]
    return [math.sqrt((shot.noise / (shot.speed or 900.0)) ** 2 + PICTURE ** 2
                      + (FAR * (_predict(screws, air, mean, shot, known)[0] - last)) ** 2) for shot in shots]


def _normal(screws: Screws, shots: Sequence[Shot], noise: Sequence[float], prior: Prior, air: Sequence[float],
            mean: Sequence[float]) -> tuple[list[list[float]], list[float], float]:
    """Information, push towards better, and the cost, at `mean`."""
    size = len(mean)
    info = [list(r) for r in prior.info]
    off = [prior.mean[i] - mean[i] for i in range(size)]
    push = [sum(map(mul, row, off)) for row in prior.info]
    cost = sum(map(mul, push, off))
    slope, known = math.exp(mean[_SLOPE]), _Barrels(screws, air, mean)
    for shot, sd in zip(shots, noise, strict=True):
        if shot.speed is not None:
            guess, grad = _predict(screws, air, mean, shot, known)
            r = (math.log(shot.speed) - guess) / sd
            wild = abs(r) > 3.0                                # Huber: one wild reading does not rule
            cost += 6.0 * abs(r) - 9.0 if wild else r * r
            weight = (3.0 / abs(r) if wild else 1.0) / (sd * sd)
            for i, g in enumerate(grad):
                if g:
                    a, row = weight * g, info[i]
                    for j in range(i + 1):
                        row[j] += a * grad[j]
                    push[i] += a * r * sd
        for i, seen in enumerate(shot.lambdas or ()):
            if seen is not None:
                fuel = screws.fuel(shot.at[i], slope)
                by = screws.sign * slope * (shot.at[i] - screws.mid) / fuel
                r = -math.log(seen.lam) - mean[OWN + i] - math.log(fuel)
                if seen.least and (r >= 0.0 or mean[OWN + i] + math.log(fuel) > math.log(RICH_LIMIT)):
                    continue
                weight, k = 1.0 / seen.sd ** 2, OWN + i
                cost += weight * r * r
                info[k][k] += weight
                info[k][_SLOPE] += weight * by
                info[_SLOPE][_SLOPE] += weight * by * by
                push[k] += weight * r
                push[_SLOPE] += weight * by * r
    for i in range(size):                                      # only the lower triangle was built
        for j in range(i):
            info[j][i] = info[i][j]
    return info, push, cost


@lru_cache(maxsize=256)
def carry(idle: Idle, air: tuple[float, ...], jets: tuple[tuple[int, float, float], ...] = (),
          swaps: tuple[tuple[int, int], ...] = ()) -> Prior:
    """The belief for other air and other jets.

    `jets`: barrel i's richness by factor, with so much doubt (as a share). `swaps`: pairs of barrels whose jets of one
    number changed places: what sets them apart goes along with the jets, or it stays, at even chances.
    """
    mean, cov = list(idle.mean), [list(r) for r in idle.cov]
    mean[_ALPHA] -= mean[_CREEP] * idle.last
    mean[_CREEP] = 0.0
    for i in range(len(cov)):
        cov[i][_CREEP] = cov[_CREEP][i] = 0.0
    cov[_CREEP][_CREEP] = CREEP ** 2
    more = [math.log(b / a) for a, b in zip(idle.air, air, strict=True)]
    whole = math.log(sum(air) / sum(idle.air))
    mean[_ALPHA] += mean[_EPS] * whole
    cov[_ALPHA][_ALPHA] += AIR_LEAST ** 2 + (AIR_DOUBT * whole) ** 2
    for i, by in enumerate(more):
        mean[OWN + i] -= by
        cov[OWN + i][OWN + i] += (LEANS_EACH * by) ** 2
        for j, too in enumerate(more):
            cov[OWN + i][OWN + j] += LEANS_ALL ** 2 * by * too
    if jets or swaps:
        cov[_ALPHA][_ALPHA] += FITTED_SPEED ** 2
        for i in range(OWN, len(cov)):
            cov[i][i] += FITTED ** 2
    for i, factor, doubt in jets:
        mean[OWN + i] += math.log(factor)
        cov[OWN + i][OWN + i] += doubt ** 2
    for i, j in swaps:
        half = 0.5 * (mean[OWN + i] - mean[OWN + j])
        mean[OWN + i] -= half
        mean[OWN + j] += half
        for k, other in ((i, j), (j, i)):
            cov[OWN + k][OWN + k] += half * half + FITTED ** 2
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
