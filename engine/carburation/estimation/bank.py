"""The barrels of a bank weighed together: which jet is wrong and by how many sizes, which barrel has a fault of its
own, and so where each barrel's richness may lie. It reads no evidence and condemns nothing.

What a jet brings goes along with it when jets change places; what a barrel has by itself stays. So barrels that had the
same jet are weighed together, and a swap tells the two apart by as much as was seen before and after it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache, reduce
from itertools import product
from typing import TYPE_CHECKING

from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.laws import COUNT, STEP
from engine.carburation.estimation.rests import UNSURE, Moved, Rest

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array, Places

#: How often jets are wrong before anything was seen: all by a size either way, and one by itself by one size or two
#: either way [assumed, not counted: an engine comes because it runs badly].
ALL_WRONG, ONE_WRONG, TWO_SIZES = 0.06, 0.06, 0.5
#: A jet fresh from the shelf is not what its number says [assumed].
SHELF_WRONG = 0.02
#: How far the right jet lies from the trade's table by cylinder, in sizes [assumed: makers differ by about one]; and
#: how often the table does not hold for an engine at all, its jets lying so many times further off [assumed].
OFF_TABLE, NO_TABLE, NO_TABLE_WIDE = 0.8, 0.01, 6.0
#: How far an engine shifts all its screws alike, in ln of fuel [assumed: its crest, its fuel, its compression].
SHIFT = 0.045
#: So many times that shift is weighed [derived: two standard deviations either way].
SHIFTS = (-2.0, -1.0, 0.0, 1.0, 2.0)
#: A barrel may have a fault of its own (a leak, dirt): how often before and after the checks for it showed nothing
#: [assumed: a check misses about one of seven, and does not look for all].
OWN_FAULT, UNSEEN_FAULT = 0.04, 0.012
#: How much a barrel draws and delivers otherwise than its neighbours, in ln [assumed].
DELIVERY = 0.035
#: The barrels of one engine rest as far apart as they do on sound engines, or closer, by these shares and odds
#: [assumed: what is usual of all engines need not hold on one; its own barrels tell].
APART = ((0.35, 0.5), (1.0, 0.5))
#: Sizes that a jet may be off by [assumed: further off it is seen before the idle is set]; and all jets alike.
SIZES, ALL_BY = (-2, -1, 0, 1, 2), (-1, 0, 1)
#: Of so many jets that changed places every one is tried with every other [assumed: as many as there is time for].
MOST_AT_ONCE = 3


@dataclass(frozen=True, slots=True)
class Jet:
    """One jet of the bank: the `number` it bears, and whether it came from the shelf in this run."""

    number: float
    fresh: bool = False

    @property
    def row(self) -> tuple[float, ...]:
        """How likely it is so many sizes off its number, for all of `SIZES`."""
        return _FRESH if self.fresh else _FITTED

    def odds(self, false: int) -> float:
        """How likely it is `false` sizes off its number, before anything was seen."""
        if self.fresh:
            return 1.0 - SHELF_WRONG if not false else SHELF_WRONG / 4.0
        if not false:
            return 1.0 - 2 * ONE_WRONG
        return ONE_WRONG * (TWO_SIZES if abs(false) == 2 else 1.0) / (1.0 + TWO_SIZES)


_FITTED, _FRESH = (tuple(Jet(0.0, fresh).odds(false) for false in SIZES) for fresh in (False, True))


@dataclass(frozen=True, slots=True, eq=False)
class Barrel:
    """One barrel: the jets that it had, oldest first, and how likely each richness is by what was seen with each
    (`likes`: rows over the grid, greatest 1; all ones where nothing was seen). `shift` and `doubt`: what else moves it,
    in ln (a level, a leak, its air), and how unsure that is; `rest`: how far barrels rest apart by themselves; `fault`:
    how likely it has a fault of its own."""

    jets: tuple[int, ...]
    likes: tuple[Array, ...]
    shift: float = 0.0
    doubt: float = DELIVERY
    rest: float = 0.08
    fault: float = OWN_FAULT


@dataclass(frozen=True, slots=True, eq=False)
class Weighed:
    """`sizes[i]`: probabilities that barrel i's jet needs -2..2 sizes more. `all_by`: the same for all alike (-1, 0,
    1). `own[i]`: that the barrel has a fault of its own. `prior[i]`: how likely each richness is by all but what was
    seen with the jet of now. `common`: mean and standard deviation of what shifts all screws alike."""

    sizes: tuple[dict[int, float], ...]
    all_by: dict[int, float]
    own: tuple[float, ...]
    prior: tuple[Array, ...]
    common: tuple[float, float]

    def likeliest(self, i: int) -> tuple[int, float]:
        """The likeliest number of sizes of barrel i, and how likely it is wrong in that direction (right, if 0)."""
        p = self.sizes[i]
        best = max(p, key=lambda s: p[s])
        if best == 0:
            return 0, p[0]
        return best, sum(v for s, v in p.items() if s * best > 0)


def richness(size: float, step: float, sizes: int) -> float:
    """ln of the fuel that a jet `sizes` too small lacks: areas go with the square of the number."""
    return 2.0 * math.log(max(size + sizes * step, 1.0) / size)


def weigh(
    barrels: Sequence[Barrel],
    jets: Sequence[Jet],
    step: float,
    moves: Callable[[float], tuple[float, float]] = lambda ln: (ln, 0.0),
    usual: float | None = None,
) -> Weighed:
    """Weigh all barrels. `step`: of the stocked sizes; `moves`: how far so much more fuel (ln) moves a rest, and how
    unsure that is; `usual`: the number that the table gives for such a cylinder."""
    first = [jets[b.jets[0]].number for b in barrels]
    fitted = max(first, key=lambda z: (first.count(z), -abs(z - (usual or z))))
    rights = [fitted + all_ * step for all_ in ALL_BY]
    known = cache(moves)
    numbers = {jets[j].number for b in barrels for j in b.jets}
    moved = {number: _moved(number, rights, step, known) for number in numbers}
    groups = [_Group({i: barrels[i] for i in mine}, jets, moved) for mine in _groups(barrels)]
    before = [
        (ALL_WRONG if all_ else 1.0 - 2 * ALL_WRONG)
        * (1.0 if usual is None else _by_table((right - usual) / (OFF_TABLE * step)))
        for all_, right in zip(ALL_BY, rights, strict=True)
    ]
    scenes = np.log(np.multiply.outer([by for _, by in APART], before))[..., None] - 0.5 * np.array(SHIFTS) ** 2
    for group in groups:
        scenes = scenes + np.log(group.under)
    weights = np.exp(scenes - scenes.max())
    weights[weights < 1e-6] = 0.0
    return _gathered(len(barrels), groups, weights)


def _by_table(off: float) -> float:
    """How likely the right jet lies so far from the table's, but for a constant."""
    return math.exp(-0.5 * off * off) + NO_TABLE * math.exp(-0.5 * (off / NO_TABLE_WIDE) ** 2)


def _moved(number: float, rights: Sequence[float], step: float, moves: Callable[[float], tuple[float, float]]) -> Moved:
    """What a jet of that number does, by the right size and by how many sizes it is off."""
    truths = [[_truth(number + false * step, right, step, moves) for false in SIZES] for right in rights]
    mean, unsure, needs = (np.array([[t[k] for t in row] for row in truths]) for k in range(3))
    return Moved(mean, unsure, needs)


def _truth(
    size: float, right: float, step: float, moves: Callable[[float], tuple[float, float]]
) -> tuple[float, int, int]:
    """The same of a jet whose true size is told: see `Moved`."""
    mean, sd = moves(2.0 * math.log(max(size, 1.0) / max(right, 1.0)))
    needs = max(SIZES[0], min(SIZES[-1], round((right - size) / step)))
    return mean, min(len(UNSURE) - 1, round(0.5 * sd / STEP)), SIZES.index(needs)


def _groups(barrels: Sequence[Barrel]) -> list[list[int]]:
    """Barrels that had a jet in common, together."""
    groups: list[tuple[set[int], set[int]]] = []
    for i, b in enumerate(barrels):
        mine, had = {i}, set(b.jets)
        for g in [g for g in groups if g[1] & had]:
            groups.remove(g)
            mine, had = mine | g[0], had | g[1]
        groups.append((mine, had))
    return [sorted(mine) for mine, _ in groups]


@lru_cache(maxsize=32)
def _tries(count: int) -> Places:
    """How far so many jets may be off, try by try (as places among `SIZES`). With many on the move, at most one of
    them is taken to be wrong."""
    every = range(len(SIZES))
    if count <= MOST_AT_ONCE:
        return np.array(list(product(every, repeat=count)))
    right = (SIZES.index(0),) * count
    return np.array([right, *((*right[:k], f, *right[k + 1 :]) for k in range(count) for f in every if SIZES[f])])


@lru_cache(maxsize=64)
def _ways(count: int, mine: tuple[int, ...]) -> tuple[Places, Places, Array]:
    """The tries of so many jets as a barrel knows them that had those of them: its ways, the way of each try, and a
    table that is 1 where a try has a way."""
    ways, way = np.unique(_tries(count)[:, mine], axis=0, return_inverse=True)
    way = way.reshape(-1)
    return ways, way, np.eye(len(ways))[way]


class _Group:
    """Barrels that had jets in common, and every try of how far each of these jets is off: how likely it is with all
    that was seen (`odds`, scene by scene), and all tries of a scene together (`under`)."""

    def __init__(self, barrels: Mapping[int, Barrel], jets: Sequence[Jet], moved: Mapping[float, Moved]) -> None:
        had = sorted({j for b in barrels.values() for j in b.jets})
        tries = _tries(len(had))
        self.barrels = list(barrels)
        self.rests: list[Rest] = []
        self.seen: list[Array] = []
        self.table: list[Array] = []
        self.before = np.prod([np.array(jets[j].row)[tries[:, k]] for k, j in enumerate(had)], axis=0)
        for b in barrels.values():
            ways, way, table = _ways(len(had), tuple(had.index(j) for j in b.jets))
            shifts = SHIFT * np.array(SHIFTS) + b.shift
            doubts = tuple(math.hypot(b.doubt, apart * b.rest) for apart, _ in APART)
            rest = Rest(b.likes, [moved[jets[j].number] for j in b.jets], ways, shifts, doubts, b.fault)
            self.rests.append(rest)
            self.seen.append(rest.seen[..., way])
            self.table.append(table)
        self.odds = reduce(np.multiply, self.seen, self.before)
        self.under = self.odds.sum(axis=-1) + 1e-300

    def told(self, scenes: Array) -> Iterator[tuple[int, Rest, Array, Array]]:
        """Of each barrel how likely each scene and each of its ways is, `scenes` being so likely; and that without what
        was seen of the barrel itself."""
        share = (scenes / self.under)[..., None]
        for k, (i, rest, table) in enumerate(zip(self.barrels, self.rests, self.table, strict=True)):
            others = reduce(np.multiply, self.seen[:k] + self.seen[k + 1 :], self.before)
            yield i, rest, (self.odds * share) @ table, (others * share) @ table


def _gathered(count: int, groups: Sequence[_Group], scenes: Array) -> Weighed:
    """What all groups tell of so many barrels, the scenes being so likely."""
    whole = float(scenes.sum())
    sizes: list[dict[int, float]] = [{}] * count
    own = [0.0] * count
    prior = [np.zeros(COUNT)] * count
    for group in groups:
        for i, rest, held, others in group.told(scenes):
            sizes[i] = dict(zip(SIZES, (rest.sizes(held) / whole).tolist(), strict=True))
            own[i] = rest.own(held) / whole
            row = rest.placed(others) + 1e-9
            prior[i] = row / row.sum()
    by_shift, shifts = scenes.sum(axis=(0, 1)), SHIFT * np.array(SHIFTS)
    mean = float(by_shift @ shifts) / whole
    var = float(by_shift @ shifts**2) / whole - mean * mean
    return Weighed(
        tuple(sizes),
        dict(zip(ALL_BY, (scenes.sum(axis=(0, 2)) / whole).tolist(), strict=True)),
        tuple(own),
        tuple(prior),
        (mean, math.sqrt(max(var, 1e-6))),
    )
