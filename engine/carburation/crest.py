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
#: Heywood ch. 15]; misfire about lambda 1.2 at idle [assumed].
CREST, RICH, LEAN = 1.12, 1.1, 2.0
LEAN_LIMIT, LEAN_WIDTH = 1.20, 0.03
#: Change of speed per change of torque, as shares [derived: loss grows a little faster than speed].
SPEED, SPEED_SD = 0.85, 0.15
#: How the barrels' richness may lie before anything was seen, as shares: all alike, and each by itself [assumed: a
#: size of
#: idle jet is about a fifth of its area].
ALL_SD, OWN_SD = 0.16, 0.14
#: How well the picture itself fits, as a share of speed, and per share of torque away from now [assumed].
PICTURE, FAR = 0.0012, 0.08
#: How far the speed may creep from one answer to the next, as a share [assumed: it creeps up for 15 to 20 minutes].
CREEP = 0.0008
_ALPHA, _EPS, _SLOPE, _CREEP, _OWN = 0, 1, 2, 3, 4


def torque(phi: float) -> float:
    """Torque of a barrel at equivalence ratio `phi`, against its best at the same air."""
    if phi <= 0.05:
        return 0.0
    base = 1.0 - (RICH if phi > CREST else LEAN) * (phi - CREST) ** 2
    if base <= 0.0:
        return 0.0
    late = (1.0 / phi - LEAN_LIMIT) / LEAN_WIDTH
    return base / (1.0 + math.exp(late)) if late < 40.0 else 0.0


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
        """Fuel at `turns`, against mid band."""
        return max(0.08, 1.0 + self.sign * slope * (turns - self.mid))


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
    size = n + _OWN
    info = [[0.0] * size for _ in range(size)]
    for i, sd in enumerate((0.4, SPEED_SD, screws.slope_sd, CREEP)):
        info[i][i] = 1.0 / sd ** 2
    own, every = 1.0 / OWN_SD ** 2, 0.0
    every = -ALL_SD ** 2 * own * own / (1.0 + n * ALL_SD ** 2 * own)       # Sherman-Morrison
    for i in range(n):
        for j in range(n):
            info[_OWN + i][_OWN + j] = every + (own if i == j else 0.0)
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

    def phi(self, i: int, turns: float, air: float | None = None) -> float:
        """Equivalence ratio of barrel i with its screw at `turns` (and its air changed to `air`)."""
        rich = math.exp(self.mean[_OWN + i]) * self.screws.fuel(turns, self.slope)
        return rich if air is None else rich * self.air[i] / air

    def phi_sd(self, i: int, turns: float) -> float:
        """Standard deviation of `phi` there."""
        fuel = self.screws.fuel(turns, self.slope)
        by_slope = self.screws.sign * self.slope * (turns - self.screws.mid) / fuel
        k = _OWN + i
        var = self.cov[k][k] + 2 * by_slope * self.cov[k][_SLOPE] + by_slope ** 2 * self.cov[_SLOPE][_SLOPE]
        return self.phi(i, turns) * math.sqrt(max(var, 0.0))

    def where(self, i: int, phi: float) -> float:
        """Screw position at which barrel i has mixture `phi`."""
        fuel = phi / math.exp(self.mean[_OWN + i])
        return self.screws.mid + self.screws.sign * (fuel - 1.0) / self.slope

    def speed(self, at: Sequence[float], air: Sequence[float] | None = None) -> float:
        """Speed expected with the screws `at`."""
        shot = Shot(tuple(air or self.air), tuple(at), None, 1.0, 0)
        return math.exp(_predict(self.screws, self.air, self.mean, shot)[0])


def _predict(screws: Screws, now: Sequence[float], mean: Sequence[float], shot: Shot) -> tuple[float, list[float]]:
    """ln speed of a shot, and its slope against every unknown."""
    slope, eps = math.exp(mean[_SLOPE]), mean[_EPS]
    total = whole = 0.0
    by_own, by_slope = [], 0.0
    if screws.shared:
        return _plenum(screws, now, mean, shot)
    for i, air in enumerate(shot.air):
        turns = shot.at[i]
        fuel = screws.fuel(turns, slope)
        phi = math.exp(mean[_OWN + i]) * fuel * now[i] / air
        f = torque(phi)
        d = (torque(phi * 1.002) - f) / 0.002 * air            # per ln richness
        total += air * f
        whole += now[i]
        by_own.append(d)
        by_slope += d * screws.sign * slope * (turns - screws.mid) / fuel
    share = max(total / whole, 1e-3)
    log = math.log(share)
    scale = eps / max(total, 1e-3 * whole)
    grad = [1.0, log, scale * by_slope, -float(shot.age), *(scale * d for d in by_own)]
    return mean[_ALPHA] + eps * log - mean[_CREEP] * shot.age, grad


def _plenum(screws: Screws, now: Sequence[float], mean: Sequence[float], shot: Shot) -> tuple[float, list[float]]:
    """The same where one plenum mixes all: one mixture, one crest."""
    slope, eps, air = math.exp(mean[_SLOPE]), mean[_EPS], sum(shot.air)
    fuels = [screws.fuel(t, slope) for t in shot.at]
    parts = [math.exp(mean[_OWN + i]) * f * now[i] / air for i, f in enumerate(fuels)]
    phi = sum(parts)
    f = max(torque(phi), 1e-3)
    d = (torque(phi * 1.002) - f) / 0.002 / f
    log = math.log(f * air / sum(now))
    by = [eps * d * p / phi for p in parts]
    by_slope = sum(b * screws.sign * slope * (t - screws.mid) / u for b, t, u in zip(by, shot.at, fuels, strict=True))
    return mean[_ALPHA] + eps * log - mean[_CREEP] * shot.age, [1.0, log, by_slope, -float(shot.age), *by]


def fit(screws: Screws, shots: Sequence[Shot], prior: Prior, now: Sequence[float], start: Sequence[float] | None = None,
        rounds: int = 8) -> Idle:
    """The likeliest picture given all shots and a prior, with its covariance (Laplace). `now`: air at present."""
    mean = list(start or prior.mean)
    size = len(mean)
    bases = _bases(screws, shots, now, mean)

    def cost(at: Sequence[float]) -> float:
        off = [at[i] - prior.mean[i] for i in range(size)]
        total = sum(off[i] * sum(prior.info[i][j] * off[j] for j in range(size)) for i in range(size))
        for shot, noise in zip(shots, bases, strict=True):
            if shot.speed is not None:
                r = (math.log(shot.speed) - _predict(screws, now, at, shot)[0]) / noise
                total += _robust(r)
            for i, seen in enumerate(shot.lambdas or ()):
                if seen is not None:
                    total += ((-math.log(seen[0]) - _ln_phi(screws, now, at, shot, i)) / seen[1]) ** 2
        return total

    best = cost(mean)
    damp = 0.0
    info: list[list[float]] = []
    for _ in range(rounds):
        info, push = _normal(screws, shots, bases, prior, now, mean)
        for _try in range(4):
            try:
                low = cholesky([[v * (1.0 + damp) if i == j else v for j, v in enumerate(r)] for i,
                                r in enumerate(info)])
            except ValueError:
                damp = max(10.0 * damp, 1e-3)
                continue
            step = solve(low, push)
            longest = max(abs(s) for s in step[_OWN:]) if size > _OWN else 0.0
            cut = min(1.0, 0.35 / longest) if longest > 0 else 1.0
            trial = [m + cut * s for m, s in zip(mean, step, strict=True)]
            trial[_EPS] = max(0.3, min(1.6, trial[_EPS]))
            now_cost = cost(trial)
            if now_cost <= best + 1e-9:
                break
            damp = max(5.0 * damp, 0.05)
        else:
            break
        done = best - now_cost < 1e-3
        mean, best, damp = trial, now_cost, damp / 4
        bases = bases if done else _bases(screws, shots, now, mean)
        if done:
            break
        best = cost(mean)
    info, _ = _normal(screws, shots, bases, prior, now, mean)
    cov = inverse(cholesky(info))
    return Idle(screws, tuple(now), tuple(mean), tuple(map(tuple, cov)), best, len(shots))


def _robust(r: float) -> float:
    return r * r if abs(r) < 3.0 else 6.0 * abs(r) - 9.0       # Huber: one wild reading does not rule


def _bases(screws: Screws, shots: Sequence[Shot], now: Sequence[float], mean: Sequence[float]) -> list[float]:
    """Standard deviation of ln speed of each shot: the meter's, the picture's own, and more the farther from now."""
    if not shots:
        return []
    last = _predict(screws, now, mean, shots[-1])[0]
    out = []
    for shot in shots:
        away = _predict(screws, now, mean, shot)[0] - last
        out.append(math.sqrt((shot.noise / (shot.speed or 900.0)) ** 2 + PICTURE ** 2 + (FAR * away) ** 2))
    return out


def _ln_phi(screws: Screws, now: Sequence[float], mean: Sequence[float], shot: Shot, i: int) -> float:
    fuel = screws.fuel(shot.at[i], math.exp(mean[_SLOPE]))
    return mean[_OWN + i] + math.log(fuel * now[i] / shot.air[i])


def _normal(screws: Screws, shots: Sequence[Shot], bases: Sequence[float], prior: Prior, now: Sequence[float],
            mean: Sequence[float]) -> tuple[list[list[float]], list[float]]:
    size = len(mean)
    info = [list(r) for r in prior.info]
    off = [prior.mean[i] - mean[i] for i in range(size)]
    push = [sum(prior.info[i][j] * off[j] for j in range(size)) for i in range(size)]
    for shot, noise in zip(shots, bases, strict=True):
        if shot.speed is not None:
            guess, grad = _predict(screws, now, mean, shot)
            r = (math.log(shot.speed) - guess) / noise
            weight = (1.0 if abs(r) < 3.0 else 3.0 / abs(r)) / noise ** 2
            _add(info, push, [(k, g) for k, g in enumerate(grad) if g], weight, r * noise)
        for i, seen in enumerate(shot.lambdas or ()):
            if seen is not None:
                slope = math.exp(mean[_SLOPE])
                fuel = screws.fuel(shot.at[i], slope)
                by = screws.sign * slope * (shot.at[i] - screws.mid) / fuel
                r = -math.log(seen[0]) - _ln_phi(screws, now, mean, shot, i)
                _add(info, push, [(_OWN + i, 1.0), (_SLOPE, by)], 1.0 / seen[1] ** 2, r)
    return info, push


def _add(info: list[list[float]], push: list[float], grad: Sequence[tuple[int, float]], weight: float,
         r: float) -> None:
    for i, a in grad:
        row, wa = info[i], weight * a
        for j, b in grad:
            row[j] += wa * b
        push[i] += wa * r


def carry(idle: Idle, changed: Sequence[tuple[int, float, float]]) -> Prior:
    """The belief after jets were changed: barrel i's richness by factor, with so much doubt (as a share)."""
    mean = list(idle.mean)
    mean[_CREEP] = 0.0
    cov = [list(r) for r in idle.cov]
    for i in range(len(cov)):
        cov[i][_CREEP] = cov[_CREEP][i] = 0.0
    cov[_CREEP][_CREEP] = CREEP ** 2
    cov[_ALPHA][_ALPHA] += 0.03 ** 2
    for i in range(_OWN, len(cov)):
        cov[i][i] += 0.02 ** 2
    for i, factor, doubt in changed:
        mean[_OWN + i] += math.log(factor)
        cov[_OWN + i][_OWN + i] += doubt ** 2
    return Prior(tuple(mean), tuple(map(tuple, inverse(cholesky(cov)))))


def moved(prior: Prior, was: Sequence[float], now: Sequence[float]) -> Prior:
    """The same belief told for other air: richness is always that at the air of now."""
    mean = list(prior.mean)
    for i, (a, b) in enumerate(zip(was, now, strict=True)):
        mean[_OWN + i] += math.log(a / b)
    return replace(prior, mean=tuple(mean))
