"""The barrels of a bank weighed together: which jet is wrong and by how many sizes, which barrel has a fault of its
own, and so where each barrel's richness may lie. It reads no evidence and condemns nothing.

What a jet brings goes along with it when jets change places; what a barrel has by itself stays. So barrels that had the
same jet are weighed together, and a swap tells the two apart by as much as was seen before and after it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import TYPE_CHECKING

from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.laws import COUNT, LOW, STEP

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array

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
#: A barrel may have a fault of its own (a leak, dirt): how often before and after the checks for it showed nothing, and
#: how much it moves, in ln [assumed: a check misses about one of seven, and does not look for all].
OWN_FAULT, UNSEEN_FAULT, OWN_FAULT_SD = 0.04, 0.012, 0.28
#: The widest part of a barrel's own, in steps of the grid [assumed: beyond it nothing weighs].
MARGIN = 28
#: How much a barrel draws and delivers otherwise than its neighbours, in ln [assumed].
DELIVERY = 0.035
#: The barrels of one engine rest as far apart as they do on sound engines, or closer, by these shares and odds
#: [assumed: what is usual of all engines need not hold on one; its own barrels tell].
APART = ((0.35, 0.5), (1.0, 0.5))
#: From one jet to the next a barrel's rest moves by itself by so many steps of the grid: its air, its screw [assumed].
CHANGED = 1.5
#: Sizes that a jet may be off by [assumed: further off it is seen before the idle is set].
SIZES = (-2, -1, 0, 1, 2)

#: What is known of a barrel by its places on the grid and how unsure they are: see `_evidence`.
_Known = dict[tuple[tuple[int, int], ...], tuple[float, float]]


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
    groups = _groups(barrels)
    first = [jets[b.jets[0]].number for b in barrels]
    fitted = max(first, key=lambda z: (first.count(z), -abs(z - (usual or z))))
    scenes: list[_Scene] = []
    for apart, by_apart in APART:
        kernels = [_Kernels(math.hypot(b.doubt, apart * b.rest), b.fault) for b in barrels]
        plain: list[_Known] = [{} for _ in barrels]
        for all_ in (-1, 0, 1):
            right = fitted + all_ * step
            odds = (ALL_WRONG if all_ else 1.0 - 2 * ALL_WRONG) * (
                1.0 if usual is None else _by_table((right - usual) / (OFF_TABLE * step))
            )
            truths = _Truths(right, step, moves)
            for shift in (-2.0, -1.0, 0.0, 1.0, 2.0):
                cases = [_cases(g, barrels, jets, truths, shift * SHIFT, kernels, plain) for g in groups]
                total = math.log(odds * by_apart) - 0.5 * shift**2
                total += sum(math.log(sum(c.odds for c in mine) + 1e-300) for mine in cases)
                scenes.append(_Scene(total, all_, shift * SHIFT, cases, kernels, plain))
    return _gathered(barrels, groups, scenes)


def _by_table(off: float) -> float:
    """How likely the right jet lies so far from the table's, but for a constant."""
    return math.exp(-0.5 * off * off) + NO_TABLE * math.exp(-0.5 * (off / NO_TABLE_WIDE) ** 2)


@dataclass(slots=True)
class _Scene:
    """One way the whole bank may be: how likely (ln), all jets' sizes, the common shift, and how its groups may be."""

    odds: float
    all_by: int
    shift: float
    cases: list[list[_Case]]
    kernels: list[_Kernels]
    plain: list[_Known]


@dataclass(slots=True)
class _Case:
    """One way the jets of a group may be: how likely with all that was seen; of each barrel the sizes needed, where
    richness lies without its own part (places of the grid, jet by jet), and how likely that is by the others alone."""

    odds: float
    needs: tuple[int, ...]
    at: tuple[tuple[tuple[int, int], ...], ...]
    others: tuple[float, ...]


def _groups(barrels: Sequence[Barrel]) -> list[list[int]]:
    """Barrels that had a jet in common, together (at most three jets to a group, else the barrels stand alone)."""
    groups: list[tuple[set[int], set[int]]] = []
    for i, b in enumerate(barrels):
        mine, had = {i}, set(b.jets)
        for g in [g for g in groups if g[1] & had]:
            groups.remove(g)
            mine, had = mine | g[0], had | g[1]
        groups.append((mine, had))
    return [sorted(mine) for mine, _ in groups]


class _Truths:
    """What a jet does whose true size is told: where it puts a rest, its doubt in steps of the grid, sizes needed."""

    def __init__(self, right: float, step: float, moves: Callable[[float], tuple[float, float]]) -> None:
        self.right, self.step, self.moves = right, step, moves
        self.known: dict[float, tuple[float, int, int]] = {}
        self.rows: dict[float, list[tuple[float, int, int]]] = {}

    def row(self, number: float) -> list[tuple[float, int, int]]:
        """The same of a jet of that number for every size that it may be off by."""
        if number not in self.rows:
            self.rows[number] = [self.of(number + false * self.step) for false in SIZES]
        return self.rows[number]

    def of(self, size: float) -> tuple[float, int, int]:
        """Place of the rest, doubt in steps, and how many sizes more are needed."""
        if size not in self.known:
            mean, sd = self.moves(2.0 * math.log(max(size, 1.0) / max(self.right, 1.0)))
            needs = max(-2, min(2, round((self.right - size) / self.step)))
            self.known[size] = mean, min(12, 2 * round(0.5 * sd / STEP)), needs
        return self.known[size]


@dataclass(frozen=True, slots=True, eq=False)
class _Kernel:
    """A barrel's own part, from -MARGIN to MARGIN of the grid: weights in all, and of a fault of its own."""

    whole: Array
    fault: Array


class _Kernels:
    """A barrel's own part by how unsure it is, besides, what its jet does (in steps of the grid)."""

    def __init__(self, doubt: float, fault: float) -> None:
        self.doubt, self.fault = doubt, fault
        self.made: dict[int, _Kernel] = {}
        self.over: dict[int, tuple[list[float], list[float]]] = {}
        self.wide: dict[tuple[int, int], Array] = {}

    def single(self, like: Array, place: int, unsure: int) -> tuple[float, float]:
        """What `_evidence` says of a barrel that had one jet, at every place at once, kept."""
        if unsure not in self.over:
            kernel, ends = self.by(unsure), 2 * MARGIN
            row = np.concatenate((np.full(ends, like[0]), like, np.full(ends, like[-1])))
            self.over[unsure] = (
                (np.correlate(row, kernel.whole, "valid") + 1e-12).tolist(),
                np.correlate(row, kernel.fault, "valid").tolist(),
            )
        whole, fault = self.over[unsure]
        k = max(0, min(len(whole) - 1, place + MARGIN))
        return whole[k], fault[k]

    def blurred(self, likes: Sequence[Array], g: int, unsure: int) -> Array:
        """What was seen with the g-th jet, told for a jet whose effect is unsure by so many steps, kept."""
        if (g, unsure) not in self.wide:
            sure = math.hypot(unsure, CHANGED)
            off = np.arange(-math.ceil(2.5 * sure), math.ceil(2.5 * sure) + 1)
            bell = np.exp(-0.5 * (off / sure) ** 2)
            row = np.concatenate((np.full(len(off) // 2, likes[g][0]), likes[g], np.full(len(off) // 2, likes[g][-1])))
            self.wide[g, unsure] = np.correlate(row, bell / bell.sum(), "valid")
        return self.wide[g, unsure]

    def by(self, unsure: int) -> _Kernel:
        """The kernel for that doubt."""
        if unsure not in self.made:
            sure = max(math.hypot(self.doubt, unsure * STEP), 0.4 * STEP)
            off = STEP * np.arange(-MARGIN, MARGIN + 1)
            near, far = np.exp(-0.5 * (off / sure) ** 2), np.exp(-0.5 * (off / OWN_FAULT_SD) ** 2)
            fault = self.fault / far.sum() * far
            self.made[unsure] = _Kernel((1.0 - self.fault) / near.sum() * near + fault, fault)
        return self.made[unsure]


def _about(like: Array, k: int) -> Array:
    """A row about place k of the grid, as a kernel lies over it; its ends go on for ever."""
    if MARGIN <= k < COUNT - MARGIN:
        return like[k - MARGIN : k + MARGIN + 1]
    there: Array = like[np.minimum(np.maximum(np.arange(k - MARGIN, k + MARGIN + 1), 0), COUNT - 1)]
    return there


def _index(r: float) -> int:
    return round((r - LOW) / STEP)


def _clip(k: int) -> int:
    return 0 if k < 0 else COUNT - 1 if k >= COUNT else k


def _cases(
    group: Sequence[int],
    barrels: Sequence[Barrel],
    jets: Sequence[Jet],
    truths: _Truths,
    shift: float,
    kernels: Sequence[_Kernels],
    plain: list[_Known],
) -> list[_Case]:
    if len(group) == 1 and len(barrels[group[0]].jets) == 1:
        i = group[0]
        return _of_one(barrels[i], jets, truths, shift, kernels[i], plain[i])
    had = sorted({j for i in group for j in barrels[i].jets})
    tries: Sequence[tuple[int, ...]]
    tries = list(product(SIZES, repeat=len(had))) if len(had) <= 3 else _one_at_a_time(len(had))
    out = []
    for false in tries:
        truth = {j: truths.of(jets[j].number + f * truths.step) for j, f in zip(had, false, strict=True)}
        odds = 1.0
        for j, f in zip(had, false, strict=True):
            odds *= jets[j].odds(f)
        at, seen, needs = [], [], []
        for i in group:
            b = barrels[i]
            places = tuple((_index(shift + b.shift + truth[j][0]), truth[j][1]) for j in b.jets)
            seen.append(_evidence(b, places, kernels[i], plain[i])[0])
            at.append(places)
            needs.append(truth[b.jets[-1]][2])
        whole = odds * math.prod(seen)
        others = tuple(odds * math.prod(seen[:k] + seen[k + 1 :]) for k in range(len(group)))
        out.append(_Case(whole, tuple(needs), tuple(at), others))
    return out


def _of_one(
    b: Barrel,
    jets: Sequence[Jet],
    truths: _Truths,
    shift: float,
    kernels: _Kernels,
    plain: _Known,
) -> list[_Case]:
    """The same for a barrel that had one jet, shared with none."""
    jet, like, shifted = jets[b.jets[0]], b.likes[0], shift + b.shift
    out = []
    for (mean, unsure, needs), odds in zip(truths.row(jet.number), jet.row, strict=True):
        at = (_index(shifted + mean), unsure)
        out.append(_Case(odds * kernels.single(like, *at)[0], (needs,), ((at,),), (odds,)))
    return out


def _one_at_a_time(n: int) -> list[tuple[int, ...]]:
    """With many jets on the move, at most one of them is taken to be wrong."""
    zero = (0,) * n
    return [zero, *((*zero[:k], s, *zero[k + 1 :]) for k in range(n) for s in SIZES if s)]


def _evidence(
    b: Barrel,
    places: Sequence[tuple[int, int]],
    kernels: _Kernels,
    plain: _Known,
) -> tuple[float, float]:
    """How likely what was seen of a barrel is, with its rest at `places` by jet and its own part unknown; and how much
    of it by a fault of its own."""
    if len(places) == 1:
        return kernels.single(b.likes[0], *places[0])
    key = tuple(places)
    if key not in plain:
        kernel = kernels.by(0)
        seen = _about(kernels.blurred(b.likes, 0, places[0][1]), places[0][0])
        for g, (k, unsure) in enumerate(places[1:], 1):
            seen = seen * _about(kernels.blurred(b.likes, g, unsure), k)
        plain[key] = float(kernel.whole @ seen) + 1e-12, float(kernel.fault @ seen)
    return plain[key]


def _gathered(barrels: Sequence[Barrel], groups: Sequence[Sequence[int]], scenes: Sequence[_Scene]) -> Weighed:
    n = len(barrels)
    sizes: list[dict[int, float]] = [dict.fromkeys(SIZES, 0.0) for _ in range(n)]
    all_by = {-1: 0.0, 0: 0.0, 1: 0.0}
    rows = [np.full(COUNT, 1e-9) for _ in range(n)]
    own = [0.0] * n
    top = max(s.odds for s in scenes)
    whole = first = second = 0.0
    half = len(scenes) // len(APART)
    for start in range(0, len(scenes), half):
        spots: list[dict[tuple[tuple[int, int], ...], float]] = [{} for _ in range(n)]  # how likely by the others alone
        held: list[dict[tuple[tuple[int, int], ...], float]] = [{} for _ in range(n)]  # the same with what was seen
        for scene in scenes[start : start + half]:
            w = math.exp(scene.odds - top)
            if w < 1e-6:
                continue
            whole += w
            all_by[scene.all_by] += w
            first += w * scene.shift
            second += w * scene.shift**2
            for group, mine in zip(groups, scene.cases, strict=True):
                under = sum(c.odds for c in mine) + 1e-300
                for c in mine:
                    for k, i in enumerate(group):
                        sizes[i][c.needs[k]] += w * c.odds / under
                        here = c.at[k]
                        spots[i][here] = spots[i].get(here, 0.0) + w * c.others[k] / under
                        held[i][here] = held[i].get(here, 0.0) + w * c.odds / under
        kernels, plain = scenes[start].kernels, scenes[start].plain
        for i, b in enumerate(barrels):
            rows[i] += _placed(b, spots[i], kernels[i])
            for here, w in held[i].items():
                if w > 1e-4:
                    seen, bad = _evidence(b, here, kernels[i], plain[i])
                    own[i] += w * bad / seen
    mean = first / whole
    prior = [row / row.sum() for row in rows]
    return Weighed(
        tuple({s: v / whole for s, v in e.items()} for e in sizes),
        {a: v / whole for a, v in all_by.items()},
        tuple(v / whole for v in own),
        tuple(prior),
        (mean, math.sqrt(max(second / whole - mean * mean, 1e-6))),
    )


def _placed(b: Barrel, spots: Mapping[tuple[tuple[int, int], ...], float], kernels: _Kernels) -> Array:
    """How likely each rest of a barrel is with its jet of now, by all but what was seen with it."""
    row = np.zeros(COUNT + 2 * MARGIN)
    alone: dict[int, Array] = {}
    for here, w in spots.items():
        start = _clip(here[-1][0])
        if len(here) == 1:  # all that had one jet only are spread together
            alone.setdefault(here[0][1], np.zeros(COUNT))[start] += w
            continue
        part = w * kernels.by(here[-1][1]).whole
        for g, (k, unsure) in enumerate(here[:-1]):
            part = part * _about(kernels.blurred(b.likes, g, unsure), k)
        row[start : start + len(part)] += part
    for unsure, weights in alone.items():
        row += np.convolve(weights, kernels.by(unsure).whole)
    return row[MARGIN : MARGIN + COUNT]
