"""The likeliest picture of an idling engine, given what was seen at one setting of air and jets; it gives no advice.

Gauss-Newton to all speeds, and to lambda where it is read, with a belief from before; the covariance is Laplace's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from operator import mul

from engine.carburation.estimation.crest import RICH_LIMIT, Screws
from engine.carburation.estimation.fit import cholesky, inverse, solve
from engine.carburation.estimation.foresee import EPS, OWN, SLOPE, Barrels, Shot, predict
from engine.carburation.estimation.picture import Idle, Prior

#: How well the picture itself fits, as a share of speed, and per share of torque away from now [assumed].
PICTURE, FAR = 0.0012, 0.08


@lru_cache(maxsize=256)
def fitted(
    screws: Screws,
    shots: tuple[Shot, ...],
    prior: Prior,
    air: tuple[float, ...],
    start: tuple[float, ...] | None = None,
    rounds: int = 24,
) -> Idle:
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
        if turn in ((1,) if start else (1, 3)):  # the picture moved: weigh the far shots anew
            noise = _noise(screws, shots, air, mean)
            info, push, best = _normal(screws, shots, noise, prior, air, mean)
    wide = max(1.0, best / max(4, len(shots)))
    cov = tuple(tuple(wide * v for v in row) for row in inverse(cholesky(info)))
    return Idle(screws, tuple(air), tuple(mean), cov, best, len(shots), shots[-1].age if shots else 0)


def _bound(mean: list[float]) -> None:
    """Keep a trial where the picture means something, so that no figure runs away."""
    mean[EPS] = max(0.5, min(1.5, mean[EPS]))
    mean[SLOPE] = max(math.log(0.02), min(math.log(1.5), mean[SLOPE]))
    mean[OWN:] = [max(-1.5, min(1.5, m)) for m in mean[OWN:]]


def _noise(screws: Screws, shots: Sequence[Shot], air: Sequence[float], mean: Sequence[float]) -> list[float]:
    """Standard deviation of ln speed of each shot: the meter's, the picture's own, and more the farther from now."""
    if not shots:
        return []
    known = Barrels(screws, air, mean)
    last = predict(screws, air, mean, shots[-1], known)[0]
    return [
        math.sqrt(
            (shot.noise / (shot.speed or 900.0)) ** 2
            + PICTURE**2
            + (FAR * (predict(screws, air, mean, shot, known)[0] - last)) ** 2
        )
        for shot in shots
    ]


def _normal(
    screws: Screws,
    shots: Sequence[Shot],
    noise: Sequence[float],
    prior: Prior,
    air: Sequence[float],
    mean: Sequence[float],
) -> tuple[list[list[float]], list[float], float]:
    """Information, push towards better, and the cost, at `mean`."""
    size = len(mean)
    info = [list(r) for r in prior.info]
    off = [prior.mean[i] - mean[i] for i in range(size)]
    push = [sum(map(mul, row, off)) for row in prior.info]
    cost = sum(map(mul, push, off))
    slope, known = math.exp(mean[SLOPE]), Barrels(screws, air, mean)
    for shot, sd in zip(shots, noise, strict=True):
        if shot.speed is not None:
            guess, grad = predict(screws, air, mean, shot, known)
            r = (math.log(shot.speed) - guess) / sd
            wild = abs(r) > 3.0  # Huber: one wild reading does not rule
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
                weight, k = 1.0 / seen.sd**2, OWN + i
                cost += weight * r * r
                info[k][k] += weight
                info[k][SLOPE] += weight * by
                info[SLOPE][SLOPE] += weight * by * by
                push[k] += weight * r
                push[SLOPE] += weight * by * r
    for i in range(size):  # only the lower triangle was built
        for j in range(i):
            info[j][i] = info[i][j]
    return info, push, cost
