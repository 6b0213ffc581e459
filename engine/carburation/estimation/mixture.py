"""What is believed of the mixture of every barrel, joined from sweeps of speed or from a meter, from the band in which
a screw rests, and from the jets; it gives no advice.

A barrel is a handful of equally likely pairs (law of screw and torque, richness); whatever is asked of it, where its
crest lies in turns, how likely its mixture is right at some place, how the speed will change, is a mean over them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from engine.carburation.estimation import laws
from engine.carburation.estimation.bank import DELIVERY, SHIFT, Barrel, Jet, Weighed, weigh
from engine.carburation.estimation.fit import normal_cdf
from engine.carburation.estimation.laws import COUNT, GRID, STEP, Law, Screws
from engine.carburation.estimation.sweeps import Rows

#: So many pairs stand for a barrel.
PAIRS = 64
#: The crest of torque, lambda, before a meter tells [assumed: 0.86 to 0.94 by chamber and residuals].
CREST, CREST_SD = 0.90, 0.023
#: Near its best, lambda; torque within this share of its best, and on the lean side of it, is what a technician sets.
NEAR = (0.82, 1.00)
WITHIN = 0.02
#: Each barrel rests this far from mid band, turns [assumed: a quarter turn on sound engines].
REST = 0.25
#: A screw that does nothing, or a barrel that does no work, before anything was seen [assumed].
DEAD = 0.02
#: A barrel whose torque changes by less than this share over all its screw's travel does not answer [assumed].
MUTE = 0.10
#: Silence explains a barrel about as well where its ln likelihood is so near the best picture's [assumed].
AS_WELL = 1.0
#: How freely what was seen chooses between laws: the laws are a handful and none is quite true [assumed].
BELIEVED = 0.6


@dataclass(frozen=True, slots=True)
class Told:
    """What was seen of one barrel with one jet: `rows` of squared misfit by law and richness, from `count` differences;
    `dead` the misfit if its screw did nothing; `meter` whether a meter told it (then nothing is relative)."""

    rows: Rows | None = None
    count: int = 0
    dead: float = 0.0
    meter: bool = False


@dataclass(frozen=True, slots=True)
class Mixture:
    """The belief. `pairs[i]`: (law, richness) of barrel i, equally likely. `crest`: ln of the mixture at the crest of
    torque, mean and standard deviation, or (ln of where mixture belongs, 0) where a meter gives it. `dead[i]`: how
    likely barrel i does not answer. `noise`: how much more the speed scatters than was assumed."""

    screws: Screws
    pairs: tuple[tuple[tuple[int, float], ...], ...]
    crest: tuple[float, float]
    weighed: Weighed
    dead: tuple[float, ...]
    noise: float
    metered: bool
    slope: float
    window: tuple[float, float]

    def xs(self, i: int, turns: float) -> list[float]:
        """ln of barrel i's mixture at `turns` against the crest's (with a meter: against where it belongs), by pair."""
        fuel = laws.fuels(self.screws, round(turns, 4))
        return [r + fuel[h] for h, r in self.pairs[i]]

    def lam(self, i: int, turns: float) -> tuple[float, float]:
        """Lambda of barrel i at `turns`: mean and standard deviation."""
        xs = self.xs(i, turns)
        mean = sum(xs) / len(xs)
        var = sum((x - mean) ** 2 for x in xs) / len(xs) + self.crest[1] ** 2
        lam = math.exp(-mean - self.crest[0])
        return lam, lam * math.sqrt(var)

    def doubt(self, i: int, turns: float) -> float:
        """Standard deviation of ln mixture against the crest."""
        xs = self.xs(i, turns)
        mean = sum(xs) / len(xs)
        return math.sqrt(sum((x - mean) ** 2 for x in xs) / len(xs))

    def inside(self, i: int, turns: float, low: float, high: float) -> float:
        """How likely lambda lies within [low, high] at `turns`."""
        table = _window(self.crest, low, high)
        return sum([table[laws.place(x)] for x in self.xs(i, turns)]) / PAIRS

    def worth(self, i: int, turns: float) -> float:
        """What it is worth to have barrel i's screw there: near its best counts most, then where mixture belongs, then
        the lean side of the crest."""
        table = _places(self.crest, self.window, self.metered)
        fuel, place = laws.fuels(self.screws, round(turns, 4)), laws.place
        if self.metered:
            return sum([table[place(r + fuel[h])] for h, r in self.pairs[i]]) / PAIRS
        lean = _lean_sides(self.screws.mid)
        return sum([table[k] + lean[h][k] for h, r in self.pairs[i] for k in (place(r + fuel[h]),)]) / PAIRS

    def gains(self, i: int, at: float, to: float) -> list[float]:
        """Change of torque, in cylinders at their best, when barrel i's screw goes from `at` to `to`, pair by pair."""
        s = self.screws
        table, place = laws.torques(s.mid), laws.place
        was, now = laws.fuels(s, round(at, 4)), laws.fuels(s, round(to, 4))
        return [table[h][place(r + now[h])] - table[h][place(r + was[h])] for h, r in self.pairs[i]]

    def silent(self, i: int, low: float, high: float) -> float:
        """How likely barrel i's torque hardly changes between `low` and `high`: its screw does nothing, or nothing that
        it does lets the cylinder work."""
        s = self.screws
        table, place = laws.torques(s.mid), laws.place
        fuels = [laws.fuels(s, round(low + k * (high - low) / 4.0, 4)) for k in range(5)]
        mute = 0
        for h, r in self.pairs[i]:
            row = [table[h][place(r + f[h])] for f in fuels]
            mute += max(row) - min(row) < MUTE
        return self.dead[i] + (1.0 - self.dead[i]) * mute / PAIRS


@lru_cache(maxsize=64)
def _window(crest: tuple[float, float], low: float, high: float) -> tuple[float, ...]:
    """How likely lambda is within [low, high], by ln mixture against the crest."""
    c, sd = crest[0], max(crest[1], 0.4 * STEP)
    rich, lean = -math.log(low) - c, -math.log(high) - c
    return laws.over_table(lambda x: normal_cdf((rich - x) / sd) - normal_cdf((lean - x) / sd))


@lru_cache(maxsize=256)
def _lean_side(steep: float) -> tuple[float, ...]:
    """How likely torque is within its share of the best and on the lean side, by ln mixture against the crest."""
    edge = -math.sqrt(WITHIN / (laws.LEAN * steep)) / laws.CREST
    return laws.over_table(lambda x: min(1.0, max(0.0, 0.5 - x / STEP)) * min(1.0, max(0.0, (x - edge) / STEP + 0.5)))


@lru_cache(maxsize=64)
def _places(crest: tuple[float, float], window: tuple[float, float], metered: bool) -> tuple[float, ...]:
    """What a mixture is worth by where lambda lies, by ln mixture against the crest."""
    near, right = _window(crest, *NEAR), _window(crest, *window)
    by = 0.5 if metered else 0.3
    return tuple([0.5 * a + by * b for a, b in zip(near, right, strict=True)])


@lru_cache(maxsize=4)
def _lean_sides(mid: float) -> tuple[tuple[float, ...], ...]:
    """What the lean side of the crest is worth, law by law."""
    return tuple(tuple([0.2 * v for v in _lean_side(law.steep)]) for law in laws.laws(mid))


def believed(
    screws: Screws,
    told: Sequence[Sequence[Told]],
    had: Sequence[Sequence[int]],
    jets: Sequence[Jet],
    step: float,
    usual: float | None,
    shifts: Sequence[tuple[float, float, float]],
    window: tuple[float, float],
    merged: tuple[float, float] | None = None,
    at: Sequence[float] = (),
) -> Mixture:
    """Join everything. `told[i][g]`: what was seen of barrel i with its g-th jet, which is jet `had[i][g]`. `shifts`:
    what else moves a barrel, with its doubt, and how likely it has a fault of its own. `merged`: ln of the mean mixture
    at a common tailpipe, with its doubt, the screws standing `at`."""
    table = laws.laws(screws.mid)
    metered = any(t.meter for mine in told for t in mine)
    noise = _noise(told)
    likes = [[_likelihood(t, noise) for t in mine] for mine in told]
    heard = [
        [None if _explained(t, noise) else like for t, like in zip(mine, rows, strict=True)]
        for mine, rows in zip(told, likes, strict=True)
    ]
    wide = [_wide(law) for law in table]
    odds = _law_odds(table, heard)
    slope = sum(w * law.slope for w, law in zip(odds, table, strict=True))
    barrels = []
    for i, mine in enumerate(heard):
        rows = tuple(_over_laws(screws, odds, like, wide) for like in mine)
        shift, doubt, fault = shifts[i]
        rest = REST * laws.usual_slope(screws)
        barrels.append(Barrel(tuple(had[i]), rows, shift, math.hypot(doubt, DELIVERY), rest, fault))
    told_odds = tuple(round(w, 2) for w in odds)
    weighed = weigh(barrels, jets, step, lambda ln: laws.jet_in_rest(screws, round(ln, 3), told_odds), usual)
    pairs, dead = [], []
    for i, mine in enumerate(likes):
        pairs.append(_drawn(screws, odds, mine[-1], weighed.prior[i], heard[i][-1] is not mine[-1]))
        dead.append(_dead(told[i], likes[i], odds, noise))
    crest = _crest(weighed, metered)
    if merged is not None and not metered and at:
        crest = _by_pipe(crest, merged, screws, pairs, at)
    return Mixture(screws, tuple(pairs), crest, weighed, tuple(dead), math.sqrt(noise), metered, slope, window)


def _noise(told: Sequence[Sequence[Told]]) -> float:
    """By how much the squared misfit of the best picture is larger than assumed, held back by four readings' worth of
    what was assumed."""
    excess, count = 4.0, 4.0
    for mine in told:
        for t in mine:
            if t.rows is not None and not t.meter and t.count > 1:
                excess += min(t.dead, min(min(row) for row in t.rows))
                count += max(0.0, t.count - 1.5)
    return min(9.0, max(0.5, excess / count))


def _explained(t: Told, noise: float) -> bool:
    """Whether silence explains what was seen about as well as any picture: then it teaches nothing of laws and jets."""
    if t.rows is None or t.meter or t.count < 3:
        return False
    return 0.5 / noise * (t.dead - min(min(row) for row in t.rows)) < AS_WELL


@dataclass(frozen=True, slots=True)
class _Like:
    """What was seen of a barrel: by law, how likely each richness is (greatest 1), and ln of how much better the law
    that fits best does."""

    rows: list[list[float]]
    worse: list[float]


def _likelihood(t: Told, noise: float) -> _Like | None:
    """Likelihood of every law and richness; None where nothing was seen."""
    if t.rows is None:
        return None
    by = 0.5 if t.meter else 0.5 / noise
    bests = [min(row) for row in t.rows]
    least = min(bests)
    exp = math.exp
    return _Like(
        [[exp(-by * min(v - best, 60.0)) for v in row] for row, best in zip(t.rows, bests, strict=True)],
        [-by * (best - least) for best in bests],
    )


@lru_cache(maxsize=64)
def _wide(law: Law) -> tuple[float, ...]:
    """A belief of one barrel before the others are weighed: a jet right, or wrong by a size or two."""
    own = math.hypot(REST * law.slope, SHIFT)
    parts = ((0.0, 0.76), (-0.20, 0.08), (0.19, 0.08), (-0.44, 0.04), (0.36, 0.04))
    row = [1e-4 + sum(w * math.exp(-0.5 * ((r - m) / own) ** 2) for m, w in parts) for r in GRID]
    total = sum(row)
    return tuple(v / total for v in row)


#: Where all barrels may lie alike, in ln: about mid band, or a size of jet to either side, with odds [assumed].
_ALIKE = tuple(
    (c, sum(w * math.exp(-0.5 * ((c - m) / SHIFT) ** 2) for m, w in ((0.0, 0.8), (-0.2, 0.1), (0.19, 0.1))))
    for c in (-0.35, -0.28, -0.21, -0.14, -0.07, 0.0, 0.07, 0.14, 0.21, 0.28)
)
#: How often a barrel is out alone, and how far, in ln [assumed: see `bank`].
_ALONE, _ALONE_SD = 0.2, 0.3


def _law_odds(table: Sequence[Law], likes: Sequence[Sequence[_Like | None]]) -> list[float]:
    """How likely each law is by how near together, and how near to mid band, it lets the barrels rest."""
    logs = []
    for h, law in enumerate(table):
        seen = [_moments(like.rows[h]) for mine in likes for like in mine if like is not None]
        worse = sum(like.worse[h] for mine in likes for like in mine if like is not None)
        own = (0.7 * REST * law.slope) ** 2 + DELIVERY**2
        whole = 0.0
        for c, odds in _ALIKE:
            for area, mean, var in seen:
                off = (mean - c) ** 2
                near, far = var + own, var + _ALONE_SD**2
                odds *= area * (
                    (1.0 - _ALONE) * math.exp(-0.5 * off / near) / math.sqrt(near)
                    + _ALONE * math.exp(-0.5 * off / far) / math.sqrt(far)
                )
            whole += odds
        logs.append(BELIEVED * (math.log(whole + 1e-300) + worse))
    top = max(logs)
    odds_of = [math.exp(v - top) for v in logs]
    total = sum(odds_of)
    return [v / total for v in odds_of]


def _moments(row: Sequence[float]) -> tuple[float, float, float]:
    """Area, mean and variance of a likelihood over the grid."""
    area = sum(row) + 1e-12
    mean = sum([v * r for v, r in zip(row, GRID, strict=True)]) / area
    var = sum([v * r * r for v, r in zip(row, GRID, strict=True)]) / area - mean * mean
    return area, mean, max(var, STEP * STEP)


def _over_laws(
    screws: Screws, odds: Sequence[float], like: _Like | None, wide: Sequence[Sequence[float]]
) -> list[float]:
    """Likelihood of a rest, whichever law holds, greatest 1."""
    if like is None:
        return [1.0] * COUNT
    out = [0.0] * COUNT
    for w, row, p, (to_richness, _, _) in zip(odds, like.rows, wide, laws.to_rests(screws), strict=True):
        if w < 1e-3:
            continue
        z = w / (sum([a * b for a, b in zip(row, p, strict=True)]) + 1e-30)
        out = [o + z * row[k] for o, k in zip(out, to_richness, strict=True)]
    top = max(out) + 1e-300
    return [v / top for v in out]


def _drawn(
    screws: Screws, odds: Sequence[float], like: _Like | None, prior: Sequence[float], apart: bool
) -> tuple[tuple[int, float], ...]:
    """So many equally likely pairs of law and richness, evenly through their joint odds; `prior` is over rests.

    `odds` of the laws hold what all barrels told, but for one that stands `apart`: its own telling is weighed in here.
    """
    rests = laws.to_rests(screws)
    heaps: list[tuple[int, list[float], float]] = []
    for h, w in enumerate(odds):
        if w < 1e-3:
            continue
        joint = [prior[k] * d for k, d in zip(rests[h][1], rests[h][2], strict=True)]
        if like is not None:
            joint = [a * b for a, b in zip(like.rows[h], joint, strict=True)]
        z = sum(joint)
        if z > 0.0:
            heaps.append((h, joint, w * math.exp(like.worse[h]) if apart and like is not None else w / z))
    whole = sum(by * sum(joint) for _, joint, by in heaps)
    out: list[tuple[int, float]] = []
    gone, due = 0.0, 0.5 / PAIRS
    for h, joint, by in heaps:
        by /= whole
        for k, p in enumerate(joint):
            p *= by
            if p < 1e-7:
                continue
            while due < gone + p and len(out) < PAIRS:
                out.append((h, GRID[k] + STEP * ((due - gone) / p - 0.5)))
                due += 1.0 / PAIRS
            gone += p
    while len(out) < PAIRS:
        out.append(out[-1] if out else (0, 0.0))
    return tuple(out)


def _dead(told: Sequence[Told], likes: Sequence[_Like | None], odds: Sequence[float], noise: float) -> float:
    """How likely the barrel does not answer at all, against every richness that it may have."""
    t, like = told[-1], likes[-1]
    if t.rows is None or like is None or t.meter:
        return DEAD
    least = min(min(row) for row in t.rows)
    alive = 0.0
    for w, row, worse in zip(odds, like.rows, like.worse, strict=True):
        alive += w * math.exp(worse) * sum(row) / COUNT
    silent = math.exp(-0.5 / noise * max(-40.0, min(60.0, t.dead - least)))
    return DEAD * silent / (DEAD * silent + (1.0 - DEAD) * alive + 1e-30)


def _crest(weighed: Weighed, metered: bool) -> tuple[float, float]:
    """ln of the mixture at the crest: what shifts all screws alike is in part a crest that lies elsewhere."""
    if metered:
        return -math.log(0.91), 0.0
    own = CREST_SD / CREST
    mean, sd = weighed.common
    part = own * own / SHIFT**2
    # all screws stand lean of the crest (common below nought): the crest is rich of the usual
    ln = -math.log(CREST) - part * mean
    return round(ln, 3), round(math.sqrt(own * own * (1.0 - part) + (part * sd) ** 2), 3)


def _by_pipe(
    crest: tuple[float, float],
    merged: tuple[float, float],
    screws: Screws,
    pairs: Sequence[Sequence[tuple[int, float]]],
    at: Sequence[float],
) -> tuple[float, float]:
    """A meter at the common tailpipe tells the mean of all cylinders: with where each stands to the crest, the
    crest."""
    xs = [[r + laws.fuels(screws, t)[h] for h, r in mine] for mine, t in zip(pairs, at, strict=True)]
    means = [sum(x) / len(x) for x in xs]
    n = len(xs)
    var = sum(sum((v - m) ** 2 for v in x) / len(x) for x, m in zip(xs, means, strict=True)) / n**2
    told, sd = merged[0] - sum(means) / n, math.sqrt(merged[1] ** 2 + var)
    gain = crest[1] ** 2 / (crest[1] ** 2 + sd * sd)
    return round(crest[0] + gain * (told - crest[0]), 3), round(crest[1] * math.sqrt(1.0 - gain), 3)
