"""Speeds read while one screw was turned, and what they say of that barrel's richness, law by law; it holds no belief.

Only differences within a sweep count, so neither the engine's best speed nor what the other barrels do is needed. The
speed wanders, so the nearest readings are compared: a covariance that grows with the time between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

from engine.carburation.estimation import laws
from engine.carburation.estimation.fit import cholesky, inverse
from engine.carburation.estimation.laws import Screws

#: How well the picture itself fits, as a share of the change of speed that was seen [assumed].
PICTURE = 0.10
#: So many readings make one sweep: a longer one is cut, since the wander makes far readings strangers.
LONGEST = 6

Rows = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class Noise:
    """Doubt of one reading of speed, rpm: `scatter` of the reading, `wander` of the engine from one answer to the next,
    and the `step` in which the tachometer shows it."""

    scatter: float
    wander: float
    step: float = 1.0


@dataclass(frozen=True, slots=True)
class Look:
    """One reading: where the screw stood, the speed with its standard deviation, rpm, and when (in answers)."""

    at: float
    speed: float
    sd: float
    when: int


@dataclass(frozen=True, slots=True)
class Sweep:
    """Readings between which one unit's screws alone were turned, at the air `air` of its barrel; `whole`: the torque
    of the whole engine at its first reading, in cylinders at their best."""

    unit: int
    looks: tuple[Look, ...]
    air: float
    whole: float

    @property
    def tells(self) -> bool:
        """Whether the screw was turned at all."""
        return len({look.at for look in self.looks}) > 1


def torque_of(speed: float, first: float, whole: float) -> float:
    """Torque of the whole engine at `speed`, in cylinders, where it was `whole` at speed `first`."""
    torque: float = whole * (speed / first) ** (1.0 / laws.ELASTICITY)
    return torque


def misfit(screws: Screws, sweep: Sweep, wander: float) -> tuple[Rows, int]:
    """Squared misfit of a sweep for every law and richness, in units of the assumed noise, and how many differences.

    `wander`: how far the speed wanders from one answer to the next, rpm.
    """
    return _misfit(screws, _told(sweep, wander))


def silent(sweep: Sweep, wander: float) -> float:
    """Squared misfit of a sweep if the screw did nothing."""
    _, ys, weight = _told(sweep, wander)
    n = len(ys)
    return sum(ys[i] * weight[i][j] * ys[j] for i in range(n) for j in range(n))


Seen = tuple[tuple[float, ...], tuple[float, ...], tuple[tuple[float, ...], ...]]


def _told(sweep: Sweep, wander: float) -> Seen:
    """Places of the screw, torques, and the weight of their squared misfit once the unknown level is taken out:
    P - P 1 1' P / (1' P 1), where P is the inverse of their covariance."""
    first, start = sweep.looks[0].speed, sweep.looks[0].when
    ys = [torque_of(k.speed, first, sweep.whole) for k in sweep.looks]
    slopes = [y / (laws.ELASTICITY * k.speed) for y, k in zip(ys, sweep.looks, strict=True)]
    middle = sum(ys) / len(ys)
    n = len(ys)
    cov = [
        [slopes[i] * slopes[j] * wander**2 * (min(a.when, b.when) - start) for j, b in enumerate(sweep.looks)]
        for i, a in enumerate(sweep.looks)
    ]
    for k, look in enumerate(sweep.looks):
        cov[k][k] += (slopes[k] * look.sd) ** 2 + (PICTURE * (ys[k] - middle)) ** 2
    p = inverse(cholesky(cov))
    sums = [sum(row) for row in p]
    all_ = sum(sums)
    weight = tuple(tuple(p[i][j] - sums[i] * sums[j] / all_ for j in range(n)) for i in range(n))
    return tuple(k.at for k in sweep.looks), tuple(ys), weight


@lru_cache(maxsize=512)
def _misfit(screws: Screws, seen: Seen) -> tuple[Rows, int]:
    """A pure function and kept: a run asks for its earlier sweeps at every later answer."""
    ats, ys, weight = seen
    push = [sum(w * y for w, y in zip(row, ys, strict=True)) for row in weight]
    whole = sum(p * y for p, y in zip(push, ys, strict=True))
    places: dict[float, list[int]] = {}  # looks at one place share one row
    for k, at in enumerate(ats):
        places.setdefault(at, []).append(k)
    groups = list(places.values())
    tables = [laws.rows(screws, at) for at in places]
    pushes = [2.0 * sum(push[k] for k in g) for g in groups]
    weights = [[sum(weight[i][j] for i in a for j in b) for b in groups] for a in groups]
    out = []
    for h in range(len(tables[0])):
        total = [whole] * laws.COUNT
        for a, table in enumerate(tables):
            row, p, w = table[h], pushes[a], weights[a][a]
            total = [t - p * v + w * v * v for t, v in zip(total, row, strict=True)]
            for b in range(a):
                other, w = tables[b][h], 2.0 * weights[a][b]
                total = [t + w * u * v for t, u, v in zip(total, row, other, strict=True)]
        out.append(tuple([t if t > 0.0 else 0.0 for t in total]))
    return tuple(out), len(ats) - 1


def shifted(rows: Rows, by: float, blur: float) -> Rows:
    """Misfits told for other air: richness grows by `by`, with a doubt of `blur` (standard deviation)."""
    return _shifted(rows, round(by, 3), round(blur, 3))


@lru_cache(maxsize=256)
def _shifted(rows: Rows, by: float, blur: float) -> Rows:
    far = math.ceil(2.5 * blur / laws.STEP)
    kernel = [math.exp(-0.5 * (k * laws.STEP / blur) ** 2) for k in range(-far, far + 1)] if far else [1.0]
    scale = sum(kernel)
    low = math.floor(-by / laws.STEP)
    part = -by / laws.STEP - low
    # weights of the neighbours, shift and blur in one
    reach = [0.0] * (len(kernel) + 1)
    for k, w in enumerate(kernel):
        reach[k] += w * (1.0 - part) / scale
        reach[k + 1] += w * part / scale
    out = []
    for row in rows:
        least = min(row)
        like = [math.exp(-0.5 * min(v - least, 80.0)) for v in row]
        first, last = low - far, len(like) - 1
        wide = [like[min(last, max(0, k))] for k in range(first, first + len(like) + len(reach))]
        told = [0.0] * len(like)
        for k, w in enumerate(reach):
            told = [t + w * v for t, v in zip(told, wide[k : k + len(told)], strict=True)]
        out.append(tuple([least - 2.0 * math.log(t + 1e-30) for t in told]))
    return tuple(out)
