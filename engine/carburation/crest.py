"""An idling engine as a technician may picture it, fitted to what was seen: speed from air and mixture, barrel by
barrel.

Speed follows torque; a barrel's torque is its air times a factor that has a crest at the best mixture; its mixture
follows
its screw, and gets leaner as its air grows, since at a choked idle the fuel hardly follows the air. The crest falls
faster
on the lean side, so a plain parabola would sit too rich. Fitted by Gauss-Newton to all speeds, and to lambda where it
is
read; it gives no advice and knows no engine but through the evidence.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from engine.carburation.fit import cholesky, inverse, solve

#: Torque against fuel-air equivalence ratio phi: 1 - a (phi - 1.12)^2, a = 1.1 rich, 2.0 lean, at fixed air [from
#: memory:
#: Heywood ch. 15]; misfire about lambda 1.2 at idle [assumed], and lumps beyond phi 1.6 [from memory: limits of flame].
CREST, RICH, LEAN = 1.12, 1.1, 2.0
LEAN_LIMIT, LEAN_WIDTH = 1.20, 0.03
RICH_LIMIT, RICH_WIDTH = 1.62, 0.06
#: Change of speed per change of torque, as shares [derived: loss grows a little faster than speed].
SPEED, SPEED_SD = 0.92, 0.12
#: How the barrels' richness may lie before anything was seen, as shares: all alike, and each by itself [assumed: a
#: size of
#: idle jet is about a fifth of its area].
ALL_SD, OWN_SD = 0.16, 0.14
#: How well the picture itself fits, as a share of speed, and per share of torque away from now [assumed].
PICTURE, FAR = 0.0012, 0.08
#: How well the air of another moment is known against that of now, per share of difference [assumed].
AIR_DOUBT = 0.25
#: How far the speed may creep from one answer to the next, as a share [assumed: it creeps up for 15 to 20 minutes].
CREEP = 0.0008
#: Turns over which a needle comes off its seat [assumed: less than half a turn is the richest jet's rest].
SEAT = 0.3
_ALPHA, _EPS, _SLOPE, _CREEP = 0, 1, 2, 3
#: From here on the unknowns are ln richness, barrel by barrel.
OWN = 4


def torque(phi: float) -> float:
    """Torque of a barrel at equivalence ratio `phi`, against its best at the same air."""
    return _torque_and_slope(phi)[0]


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


@dataclass(frozen=True, slots=True)
class Shot:
    """What was seen at one moment: each barrel's air and screw, speed with its scatter, lambda by barrel; `age` in
    answers."""

    air: tuple[float, ...]
    at: tuple[float, ...]
    speed: float | None
    noise: float
    age: int
    lambdas: tuple[tuple[float, float] | None, ...] | None = None


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
    """The fitted picture: `mean` and `cov` of the unknowns, now."""

    screws: Screws
    air: tuple[float, ...]
    mean: tuple[float, ...]
    cov: tuple[tuple[float, ...], ...]
    misfit: float
    shots: int

    @property
    def slope(self) -> float:
        """Share of fuel per turn, as learned."""
        return math.exp(self.mean[_SLOPE])

    @property
    def elasticity(self) -> float:
        """Change of speed per change of torque, as shares."""
        return self.mean[_EPS]

    def phi(self, i: int, turns: float, air: float | None = None) -> float:
        """Equivalence ratio of barrel i with its screw at `turns` (and its air changed to `air`)."""
        rich = math.exp(self.mean[OWN + i]) * self.screws.fuel(turns, self.slope)
        return rich if air is None else rich * self.air[i] / air

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

    def at_shot(self, shot: Shot) -> float:
        """Speed that the picture gives for a moment that was seen."""
        return math.exp(_predict(self.screws, self.air, self.mean, shot)[0])

    def speed(self, at: Sequence[float], air: Sequence[float] | None = None) -> float:
        """Speed expected with the screws `at`."""
        shot = Shot(tuple(air or self.air), tuple(at), None, 1.0, 0)
        return math.exp(_predict(self.screws, self.air, self.mean, shot)[0])


def _predict(screws: Screws, now: Sequence[float], mean: Sequence[float], shot: Shot) -> tuple[float, list[float]]:
    """ln speed of a shot, and its slope against every unknown."""
    slope, eps = math.exp(mean[_SLOPE]), mean[_EPS]
    if screws.shared:
        return _plenum(screws, now, mean, shot)
    total = whole = by_slope = 0.0
    by_own = []
    fuel_at, mid, sign, exp = screws.fuel, screws.mid, screws.sign, math.exp
    for own, air, turns, here in zip(mean[OWN:], shot.air, shot.at, now, strict=True):
        fuel = fuel_at(turns, slope)
        f, d = _torque_and_slope(exp(own) * fuel * here / air)
        total += air * f
        whole += here
        d *= air
        by_own.append(d)
        by_slope += d * sign * slope * (turns - mid) / fuel
    share = max(total / whole, 1e-3)
    log = math.log(share)
    scale = eps / (share * whole)
    grad = [1.0, log, scale * by_slope, -float(shot.age), *(scale * d for d in by_own)]
    return mean[_ALPHA] + eps * log - mean[_CREEP] * shot.age, grad


def _torque_and_slope(phi: float) -> tuple[float, float]:
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


def _plenum(screws: Screws, now: Sequence[float], mean: Sequence[float], shot: Shot) -> tuple[float, list[float]]:
    """The same where one plenum mixes all: one mixture, one crest."""
    slope, eps, air = math.exp(mean[_SLOPE]), mean[_EPS], sum(shot.air)
    fuels = [screws.fuel(t, slope) for t in shot.at]
    parts = [math.exp(mean[OWN + i]) * f * now[i] / air for i, f in enumerate(fuels)]
    phi = sum(parts)
    f, d = _torque_and_slope(phi)
    f = max(f, 1e-3)
    log = math.log(f * air / sum(now))
    by = [eps * d / f * p / phi for p in parts]
    by_slope = sum(b * screws.sign * slope * (t - screws.mid) / u for b, t, u in zip(by, shot.at, fuels, strict=True))
    return mean[_ALPHA] + eps * log - mean[_CREEP] * shot.age, [1.0, log, by_slope, -float(shot.age), *by]


def fit(screws: Screws, shots: Sequence[Shot], prior: Prior, now: Sequence[float], start: Sequence[float] | None = None,
        rounds: int = 24) -> Idle:
    """The likeliest picture given all shots and a prior, with its covariance (Laplace). `now`: air at present."""
    mean = list(start or prior.mean)
    noise = _noise(screws, shots, now, mean)
    info, push, best = _normal(screws, shots, noise, prior, now, mean)
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
        trial[_EPS] = max(0.5, min(1.5, trial[_EPS]))
        more, shove, cost = _normal(screws, shots, noise, prior, now, trial)
        if cost > best + 1e-9:
            damp = max(6.0 * damp, 0.03)
            if damp > 1e4:
                break
            continue
        gained, mean, info, push, best, damp = best - cost, trial, more, shove, cost, damp / 6.0
        if gained < 1e-2 and turn > 2:
            break
        if turn in (1, 3):                                     # the picture moved: weigh the far shots anew
            noise = _noise(screws, shots, now, mean)
            info, push, best = _normal(screws, shots, noise, prior, now, mean)
    cov = inverse(cholesky(info))
    return Idle(screws, tuple(now), tuple(mean), tuple(map(tuple, cov)), best, len(shots))


def _noise(screws: Screws, shots: Sequence[Shot], now: Sequence[float], mean: Sequence[float]) -> list[float]:
    """Standard deviation of ln speed of each shot: the meter's, the picture's own, and more the farther from now."""
    if not shots:
        return []
    last = _predict(screws, now, mean, shots[-1])[0]
    here = math.log(sum(now))
    return [math.sqrt((shot.noise / (shot.speed or 900.0)) ** 2 + PICTURE ** 2
                      + (AIR_DOUBT * (math.log(sum(shot.air)) - here)) ** 2
                      + (FAR * (_predict(screws, now, mean, shot)[0] - last)) ** 2) for shot in shots]


def _normal(screws: Screws, shots: Sequence[Shot], noise: Sequence[float], prior: Prior, now: Sequence[float],
            mean: Sequence[float]) -> tuple[list[list[float]], list[float], float]:
    """Information, push towards better, and the cost, at `mean`."""
    size = len(mean)
    info = [list(r) for r in prior.info]
    off = [prior.mean[i] - mean[i] for i in range(size)]
    push = [sum(a * b for a, b in zip(row, off, strict=True)) for row in prior.info]
    cost = sum(a * b for a, b in zip(push, off, strict=True))
    slope = math.exp(mean[_SLOPE])
    for shot, sd in zip(shots, noise, strict=True):
        if shot.speed is not None:
            guess, grad = _predict(screws, now, mean, shot)
            r = (math.log(shot.speed) - guess) / sd
            wild = abs(r) > 3.0                                # Huber: one wild reading does not rule
            cost += 6.0 * abs(r) - 9.0 if wild else r * r
            weight = (3.0 / abs(r) if wild else 1.0) / (sd * sd)
            scaled = [weight * g for g in grad]
            for i, a in enumerate(scaled):
                if a:
                    row = info[i]
                    for j in range(i + 1):
                        row[j] += a * grad[j]
                    push[i] += a * r * sd
        for i, seen in enumerate(shot.lambdas or ()):
            if seen is not None:
                fuel = screws.fuel(shot.at[i], slope)
                by = screws.sign * slope * (shot.at[i] - screws.mid) / fuel
                r = -math.log(seen[0]) - mean[OWN + i] - math.log(fuel * now[i] / shot.air[i])
                weight, k = 1.0 / seen[1] ** 2, OWN + i
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


def carry(idle: Idle, changed: Sequence[tuple[int, float, float]]) -> Prior:
    """The belief after jets were changed: barrel i's richness by factor, with so much doubt (as a share)."""
    mean = list(idle.mean)
    mean[_CREEP] = 0.0
    cov = [list(r) for r in idle.cov]
    for i in range(len(cov)):
        cov[i][_CREEP] = cov[_CREEP][i] = 0.0
    cov[_CREEP][_CREEP] = CREEP ** 2
    cov[_ALPHA][_ALPHA] += 0.03 ** 2
    for i in range(OWN, len(cov)):
        cov[i][i] += 0.02 ** 2
    for i, factor, doubt in changed:
        mean[OWN + i] += math.log(factor)
        cov[OWN + i][OWN + i] += doubt ** 2
    return Prior(tuple(mean), tuple(map(tuple, inverse(cholesky(cov)))))


def moved(prior: Prior, was: Sequence[float], now: Sequence[float]) -> Prior:
    """The same belief told for other air: richness is always that at the air of now."""
    mean = list(prior.mean)
    for i, (a, b) in enumerate(zip(was, now, strict=True)):
        mean[OWN + i] += math.log(a / b)
    return replace(prior, mean=tuple(mean))
