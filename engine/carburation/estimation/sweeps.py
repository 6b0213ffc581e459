"""Speeds read while one screw was turned, and what they say of that barrel's richness, law by law; it holds no belief.

Only differences within a sweep count, so neither the engine's best speed nor what the other barrels do is needed. The
speed wanders, so the nearest readings are compared: a covariance that grows with the time between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from engine.carburation.estimation import laws
from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.fit import cholesky, inverse
from engine.carburation.estimation.laws import Screws

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array

#: How well the picture itself fits, as a share of the change of speed that was seen [assumed].
PICTURE = 0.10
#: Beyond this change, in cylinders, a cylinder begins to miss, and the picture fits by this share worse [assumed].
MISSES, MISSING = 0.20, 0.5
#: The speed wanders slowly and forgets where it was over so many answers [assumed: about a minute].
FORGETS = 1.5
#: A stall on the turn of one screw says that its cylinder did about so much less of its work, with its doubt, in
#: cylinders: what else held the engine up then nobody knows [assumed].
STALL_COSTS, STALL_SD = 0.8, 0.3
#: So many readings make one sweep: a longer one is cut, since the wander makes far readings strangers [assumed].
LONGEST = 10


def picture(change: float) -> float:
    """How far the picture may be out at a change of torque, in cylinders."""
    return PICTURE * abs(change) + MISSING * max(0.0, abs(change) - MISSES)


@dataclass(frozen=True, slots=True)
class Noise:
    """Doubt of one reading of speed, rpm: `scatter` of the reading, how wide the engine's speed slowly wanders, and the
    `step` in which the tachometer shows it."""

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
    stalled: bool = False


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


def misfit(screws: Screws, sweep: Sweep, wander: float) -> tuple[Array, int]:
    """Squared misfit of a sweep for every law and richness, in units of the assumed noise, and how many differences.

    `wander`: how wide the speed wanders, rpm.
    """
    return _misfit(screws, _told(sweep, wander))


def weighed(
    screws: Screws, sweep: Sweep, wander: float, by: float = 0.0, blur: float = 0.0
) -> tuple[Array, int, float]:
    """What a sweep is worth: misfits, differences, and the misfit if the screw did nothing; told for other air (see
    `shifted`) where `blur` is given. One that no law explains well says the less."""
    seen = _told(sweep, wander)
    rows, count = _misfit(screws, seen)
    part = min(1.0, count / max(float(rows.min()), 1e-9))
    if blur:
        rows = _misfit_shifted(screws, seen, part, round(by, 3), round(blur, 3))
    elif part < 1.0:
        rows = rows * part
    return rows, count, part * _silent(seen)


def silent(sweep: Sweep, wander: float) -> float:
    """Squared misfit of a sweep if the screw did nothing."""
    return _silent(_told(sweep, wander))


def _silent(seen: Seen) -> float:
    _, ys, weight = seen
    n = len(ys)
    return sum(ys[i] * weight[i][j] * ys[j] for i in range(n) for j in range(n))


Seen = tuple[tuple[float, ...], tuple[float, ...], tuple[tuple[float, ...], ...]]


def _told(sweep: Sweep, wander: float) -> Seen:
    """Places of the screw, torques, and the weight of their squared misfit once the unknown level is taken out:
    P - P 1 1' P / (1' P 1), where P is the inverse of their covariance."""
    first = sweep.looks[0].speed
    ys = _torques(sweep, first)
    slopes = [y / (laws.ELASTICITY * k.speed) for y, k in zip(ys, sweep.looks, strict=True)]
    best = max(ys)
    n = len(ys)
    cov = [
        [
            slopes[i] * slopes[j] * wander**2 * math.exp(-abs(a.when - b.when) / FORGETS)
            for j, b in enumerate(sweep.looks)
        ]
        for i, a in enumerate(sweep.looks)
    ]
    for k, look in enumerate(sweep.looks):
        cov[k][k] += STALL_SD**2 if look.stalled else (slopes[k] * look.sd) ** 2 + picture(ys[k] - best) ** 2
    p = inverse(cholesky(cov))
    sums = [sum(row) for row in p]
    all_ = sum(sums)
    weight = tuple(tuple(p[i][j] - sums[i] * sums[j] / all_ for j in range(n)) for i in range(n))
    return tuple(k.at for k in sweep.looks), tuple(ys), weight


def _torques(sweep: Sweep, first: float) -> list[float]:
    """Torque of the whole engine at each look, in cylinders. One screw stops its own cylinder at most."""
    ys: list[float] = []
    ran = sweep.whole
    for k in sweep.looks:
        y = torque_of(k.speed, first, sweep.whole)
        ys.append(max(y, ran - STALL_COSTS) if k.stalled else y)
        ran = ran if k.stalled else y
    return ys


@lru_cache(maxsize=96)
def _misfit(screws: Screws, seen: Seen) -> tuple[Array, int]:
    """A pure function and kept: a run asks for its earlier sweeps at every later answer."""
    ats, ys, weight = seen
    w, y = np.array(weight), np.array(ys)
    push = w @ y
    places: dict[float, list[int]] = {}  # looks at one place share one row
    for k, at in enumerate(ats):
        places.setdefault(at, []).append(k)
    groups = list(places.values())
    tables = [laws.rows(screws, at) for at in places]
    total = np.full_like(tables[0], float(push @ y))
    for a, table in enumerate(tables):
        inner = float(w[np.ix_(groups[a], groups[a])].sum()) * table - 2.0 * float(push[groups[a]].sum())
        for b in range(a):
            inner += 2.0 * float(w[np.ix_(groups[a], groups[b])].sum()) * tables[b]
        total += inner * table
    return np.maximum(total, 0.0), len(ats) - 1


@lru_cache(maxsize=96)
def _misfit_shifted(screws: Screws, seen: Seen, part: float, by: float, blur: float) -> Array:
    return shifted(_misfit(screws, seen)[0] * part, by, blur)


def shifted(rows: Array, by: float, blur: float) -> Array:
    """Misfits told for other air: richness grows by `by`, with a doubt of `blur` (standard deviation)."""
    by, blur = round(by, 3), round(blur, 3)
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
    least = rows.min(axis=1, keepdims=True)
    like = np.exp(-0.5 * np.minimum(rows - least, 80.0))
    count = rows.shape[1]
    there = np.arange(count + len(reach) - 1) + low - far
    wide = like[:, np.minimum(np.maximum(there, 0), count - 1)]  # the grid's ends go on for ever
    told = np.zeros_like(like)
    for k, w in enumerate(reach):
        told += w * wide[:, k : k + count]
    moved: Array = least - 2.0 * np.log(told + 1e-30)
    return moved
