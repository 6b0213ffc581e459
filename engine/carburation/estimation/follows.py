"""How mixture follows air, learned from barrels that were swept at one air and again at another; it believes nothing
else.

More air past a plate may lean its barrel or, where the first hole comes or goes with the plate, the other way round.
Nobody knows which, nor how much, until two sweeps of one barrel disagree.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING

from engine.carburation.estimation import laws, sweeps
from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.laws import Screws
from engine.carburation.estimation.sweeps import Sweep

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array

#: How richness falls as air grows, as an exponent, and how unsure that is [assumed: between not at all and in
#: proportion, and the other way round where the first progression hole comes or goes with the plate].
FOLLOWS, FOLLOWS_SD = 0.3, 0.6
#: Exponents that are weighed [derived: two and a half of the deviations above, either way].
EXPONENTS = tuple(FOLLOWS + 0.15 * k for k in range(-10, 11))
#: Air that differs by less than this (ln) is one air [derived: the gauge tells no finer].
ONE_AIR = 0.01
#: How freely sweeps choose an exponent: neither law nor air is quite as told [assumed].
BELIEVED = 0.5
#: What stays unsure of the exponent, however much was seen: barrels need not be alike in it [assumed].
LEAST_SD = 0.15
#: Half a step of the grid hides what lies between its places [exact].
STEP_BLUR = 0.5 * laws.STEP


def learned(screws: Screws, found: Iterable[Sweep], wander: float) -> tuple[float, float]:
    """The exponent with which richness falls as air grows, by sweeps with one set of jets: mean and standard
    deviation. `wander`: how wide the speed wanders, rpm."""
    logs = np.array([-0.5 * ((f - FOLLOWS) / FOLLOWS_SD) ** 2 for f in EXPONENTS])
    by_unit: dict[int, list[list[Sweep]]] = {}
    for sweep in found:
        airs = by_unit.setdefault(sweep.unit, [])
        same = next((mine for mine in airs if abs(math.log(mine[0].air / sweep.air)) < ONE_AIR), None)
        if same is None:
            airs.append([sweep])
        else:
            same.append(sweep)
    for airs in by_unit.values():
        for before, after in pairwise(airs):
            logs = logs + BELIEVED * np.array(_agreement(screws, tuple(before), tuple(after), wander))
    odds = np.exp(logs - logs.max())
    odds /= odds.sum()
    mean = float(odds @ np.array(EXPONENTS))
    var = float(odds @ (np.array(EXPONENTS) - mean) ** 2)
    return mean, math.hypot(math.sqrt(var), LEAST_SD)


@lru_cache(maxsize=64)
def _agreement(screws: Screws, before: tuple[Sweep, ...], after: tuple[Sweep, ...], wander: float) -> tuple[float, ...]:
    """ln of how well sweeps of one barrel at two airs agree, by exponent. Pure and kept: a run asks again and again."""
    one, two = (np.sum([sweeps.weighed(screws, w, wander)[0] for w in mine], axis=0) for mine in (before, after))
    more = math.log(after[0].air / before[0].air)
    return tuple(_agree(one, two, -f * more) for f in EXPONENTS)


def _agree(before: Array, after: Array, by: float) -> float:
    """ln of how well two sweeps of one barrel agree if it became richer by `by` between them."""
    both = sweeps.shifted(before, by, STEP_BLUR) + after
    least = float(both.min())
    return math.log(float(np.exp(-0.5 * np.minimum(both - least, 80.0)).sum())) - 0.5 * least
