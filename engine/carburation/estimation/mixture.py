"""What is believed of the mixture of every barrel, joined from sweeps of speed or from a meter, from the band in which
a screw rests, and from the jets; it gives no advice.

A barrel is a handful of equally likely pairs (law of screw and torque, richness); whatever is asked of it, where its
crest lies in turns, how likely its mixture is right at some place, how the speed will change, is a mean over them.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from engine.carburation.estimation import laws
from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.bank import DELIVERY, SHIFT, Barrel, Jet, Weighed, weigh
from engine.carburation.estimation.laws import COUNT, STEP, Screws

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array, Places

#: So many pairs stand for a barrel [assumed: as many as there is time for].
PAIRS = 96
#: The crest of torque, lambda, before a meter tells [assumed: 0.86 to 0.94 by chamber and residuals].
CREST, CREST_SD = 0.90, 0.023
#: Near its best, lambda [common practice].
NEAR = (0.82, 1.00)
#: Each barrel rests this far from mid band, turns [assumed: a quarter turn on sound engines].
REST = 0.25
#: The middle of a band lies this far lean of the crest of torque, ln [derived: a right setting lies at lambda 0.86 to
#: 0.96, the crest at 0.86 to 0.94].
LEAN_OF_CREST = 0.015
#: A screw that does nothing, or a barrel that does no work, before anything was seen [assumed].
DEAD = 0.02
#: A barrel whose torque changes by less than this share over all its screw's travel does not answer [assumed].
MUTE = 0.10
#: Silence explains a barrel about as well where its ln likelihood is so near the best picture's [assumed].
AS_WELL = 1.0
#: How freely what was seen chooses between laws, and among how many it must leave the choice open: none of them is
#: quite true [assumed].
BELIEVED, LEAST_LAWS = 0.6, 10.0
#: What the picture itself leaves untold of a mixture found by speed, ln: no law is quite true, and neither hand nor
#: thread puts a screw quite where it is counted [assumed].
UNTOLD = 0.022
#: So many readings' worth of what is assumed of the scatter holds back what is seen of it.
HELD_BACK = 4.0


@dataclass(frozen=True, slots=True)
class Told:
    """What was seen of one barrel with one jet: `rows` of squared misfit by law and richness, from `count` differences;
    `dead` the misfit if its screw did nothing; `meter` whether a meter told it (then nothing is relative)."""

    rows: Array | None = None
    count: int = 0
    dead: float = 0.0
    meter: bool = False


@dataclass(frozen=True, slots=True)
class Joint:
    """Two readings between which several units were turned at once: from where and to where by unit, by how much the
    torque of the whole engine changed, in cylinders at their best, and how unsure that is."""

    turned: Mapping[int, tuple[float, float]]
    change: float
    sd: float


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """The belief. `law[i]`, `rich[i]`: pairs of law and richness of barrel i, equally likely. `crest`: ln of the
    mixture at the crest of torque, mean and standard deviation, or (ln of where mixture belongs, 0) where a meter gives
    it. `dead[i]`: how likely barrel i does not answer. `noise`: how much more the speed scatters than was assumed.
    `heard[i]`: how a test by ear changes the odds that it does not answer."""

    screws: Screws
    law: tuple[Places, ...]
    rich: tuple[Array, ...]
    crest: tuple[float, float]
    weighed: Weighed
    dead: tuple[float, ...]
    noise: float
    metered: bool
    slope: float
    window: tuple[float, float]
    heard: tuple[float, ...] = ()

    def xs(self, i: int, turns: float) -> Array:
        """ln of barrel i's mixture at `turns` against the crest's (with a meter: against where it belongs), by pair."""
        there: Array = self.rich[i] + laws.fuels(self.screws, round(turns, 4))[self.law[i]]
        return there

    def torques(self, i: int, turns: float) -> Array:
        """Torque of barrel i at `turns`, in cylinders at their best, by pair."""
        return laws.laws(self.screws.mid).torque(self.xs(i, turns), self.law[i])

    def lam(self, i: int, turns: float) -> tuple[float, float]:
        """Lambda of barrel i at `turns`: mean and standard deviation."""
        xs = self.xs(i, turns)
        lam = math.exp(-float(xs.mean()) - self.crest[0])
        return lam, lam * math.sqrt(float(xs.var()) + self.crest[1] ** 2)

    def doubt(self, i: int, turns: float) -> float:
        """Standard deviation of ln mixture against the crest."""
        return float(self.xs(i, turns).std())

    def inside(self, i: int, turns: float, low: float, high: float) -> float:
        """How likely lambda lies within [low, high] at `turns`."""
        return float(self._within(self.xs(i, turns), low, high).mean())

    def _within(self, xs: Array, low: float, high: float) -> Array:
        table = _window(self.crest, 0.4 * STEP if self.metered else UNTOLD, low, high)
        there: Array = table[((np.minimum(np.maximum(xs, -FAR), FAR) + FAR) * FINE + 0.5).astype(np.intp)]
        return there

    def worth(self, i: int, turns: float) -> float:
        """What it is worth to have barrel i's screw there: near its best counts most, then where mixture belongs."""
        return self.worths(i, (turns,))[0]

    def worths(self, i: int, places: Sequence[float]) -> list[float]:
        """The same at many places."""
        fuel = np.stack([laws.fuels(self.screws, round(t, 4)) for t in places])
        xs = self.rich[i][None, :] + fuel[:, self.law[i]]
        near, right = self._within(xs, *NEAR), self._within(xs, *self.window)
        both: Array = (0.5 * near + 0.5 * right) if self.metered else (0.65 * near + 0.35 * right)
        told: list[float] = both.mean(axis=1).tolist()
        return told

    def gains(self, i: int, at: float, to: float) -> Array:
        """Change of torque, in cylinders at their best, when barrel i's screw goes from `at` to `to`, pair by pair."""
        return self.torques(i, to) - self.torques(i, at)

    def silent(self, i: int, low: float, high: float) -> float:
        """How likely barrel i's torque hardly changes between `low` and `high`: its screw does nothing, or nothing that
        it does lets the cylinder work."""
        fuel = np.stack([laws.fuels(self.screws, round(low + k * (high - low) / 4.0, 4)) for k in range(5)])
        law = self.law[i]
        seen = laws.laws(self.screws.mid).torque(self.rich[i] + fuel[:, law], law)
        mute = float((np.ptp(seen, axis=0) < MUTE).mean())
        silent = self.dead[i] + (1.0 - self.dead[i]) * mute
        odds = self.heard[i] if self.heard else 1.0
        return odds * silent / (odds * silent + 1.0 - silent) if silent < 1.0 else 1.0


#: A window is kept as a table over ln mixture, so far either way, in steps of a two-hundredth
#: [assumed: finer than a turn can be set].
FAR, FINE = 1.5, 200


@lru_cache(maxsize=32)
def _window(crest: tuple[float, float], untold: float, low: float, high: float) -> Array:
    """How likely lambda lies within [low, high], by ln mixture against the crest."""
    xs = np.arange(int(2 * FAR * FINE) + 1) / FINE - FAR
    c, sd = crest[0], math.hypot(crest[1], untold)
    return _normal((-math.log(low) - c - xs) / sd) - _normal((-math.log(high) - c - xs) / sd)


def _normal(z: Array) -> Array:
    """Probability that a standard normal lies below z, to three parts in ten thousand [a fit by tanh]."""
    half: Array = 0.5 * (1.0 + np.tanh(math.sqrt(2.0 / math.pi) * (z + 0.044715 * z * z * z)))
    return half


def believed(
    screws: Screws,
    told: Sequence[Sequence[Told]],
    had: Sequence[Sequence[int]],
    jets: Sequence[Jet],
    step: float,
    usual: float | None,
    shifts: Sequence[tuple[float, float, float]],
    window: tuple[float, float],
    joint: Sequence[Joint] = (),
    again: tuple[float, int] = (0.0, 0),
    merged: tuple[float, float] | None = None,
    at: Sequence[float] = (),
    by_ear: tuple[float, ...] = (),
) -> Mixture:
    """Join everything. `told[i][g]`: what was seen of barrel i with its g-th jet, which is jet `had[i][g]`. `shifts`:
    what else moves a barrel, with its doubt, and how likely it has a fault of its own. `joint`: what was seen of
    several at once with the jets of now. `again`: squares of differences between readings of one place, in units of
    what was assumed, and how many. `merged`: ln of the mean mixture at a common tailpipe, with its doubt, the
    screws standing `at`. `by_ear`: how a test by ear changes the odds that a barrel does not answer."""
    metered = any(t.meter for mine in told for t in mine)
    noise = _noise(told, again)
    likes = [[_likelihood(t, noise) for t in mine] for mine in told]
    heard = [
        [None if _explained(t, noise) else like for t, like in zip(mine, rows, strict=True)]
        for mine, rows in zip(told, likes, strict=True)
    ]
    wide = _wide(screws)
    together = np.zeros(laws.LAWS)
    if joint and not metered:
        more, together = _from_joint(screws, wide, [mine[-1] for mine in heard], joint, noise)
        for mine, row in zip(heard, more, strict=True):
            mine[-1] = _and(mine[-1], row)
    odds = _law_odds(screws, heard, together)
    slope = float(odds @ laws.laws(screws.mid).slope)
    barrels = []
    for i, mine in enumerate(heard):
        rows = tuple(_over_laws(screws, odds, like, wide) for like in mine)
        shift, doubt, fault = shifts[i]
        rest = REST * laws.usual_slope(screws)
        barrels.append(
            Barrel(
                tuple(had[i]),
                rows,
                shift if metered else shift - LEAN_OF_CREST,
                math.hypot(doubt, DELIVERY),
                rest,
                fault,
            )
        )
    weighed = weigh(barrels, jets, step, lambda ln: laws.jet_in_rest(screws, ln, odds), usual)
    law, rich, dead = [], [], []
    for i, mine in enumerate(likes):
        silent = heard[i][-1] is None and mine[-1] is not None
        hs, rs = _drawn(screws, odds, mine[-1] if silent else heard[i][-1], weighed.prior[i], silent)
        law.append(hs)
        rich.append(rs)
        dead.append(_dead(told[i], mine, odds, noise))
    crest = _crest(weighed, metered)
    if merged is not None and not metered and at:
        crest = _by_pipe(crest, merged, screws, law, rich, at)
    return Mixture(
        screws, tuple(law), tuple(rich), crest, weighed, tuple(dead), math.sqrt(noise), metered, slope, window, by_ear
    )


def _noise(told: Sequence[Sequence[Told]], again: tuple[float, int]) -> float:
    """By how much the speed scatters more than assumed, as a factor of its square: by what was read `again` at one
    place (squares in units of what was assumed, and how many) and by what the best picture leaves over, held back by
    so many readings' worth of what was assumed."""
    excess, count = HELD_BACK + again[0], HELD_BACK + again[1]
    for mine in told:
        for t in mine:
            if t.rows is not None and not t.meter and t.count > 2:
                excess += min(t.dead, float(t.rows.min()))
                count += t.count - 2.0
    return min(9.0, max(0.5, excess / count))


def _explained(t: Told, noise: float) -> bool:
    """Whether silence explains what was seen about as well as any picture: then it teaches nothing of laws and jets."""
    if t.rows is None or t.meter or t.count < 3:
        return False
    return 0.5 / noise * (t.dead - float(t.rows.min())) < AS_WELL


@dataclass(frozen=True, slots=True, eq=False)
class _Like:
    """What was seen of a barrel: by law, how likely each richness is (greatest 1), and ln of how much better the law
    that fits best does."""

    rows: Array
    worse: Array


def _likelihood(t: Told, noise: float) -> _Like | None:
    """Likelihood of every law and richness; None where nothing was seen."""
    return None if t.rows is None else _like(t.rows * (0.5 if t.meter else 0.5 / noise))


def _like(minus: Array) -> _Like:
    """The likelihood whose logarithm is `minus` this, but for a constant."""
    bests = minus.min(axis=1)
    return _Like(np.exp(-np.minimum(minus - bests[:, None], 30.0)), float(bests.min()) - bests)


def _and(one: _Like | None, minus: Array) -> _Like:
    """A likelihood, and another beside it that says nothing of the laws by itself."""
    if one is None:
        like = _like(minus)
        return _Like(like.rows, np.zeros_like(like.worse))
    return _Like(_like(minus - np.log(one.rows + 1e-30)).rows, one.worse)


@lru_cache(maxsize=8)
def _wide(screws: Screws) -> Array:
    """A belief of one barrel before the others are weighed, law by law: a jet right, or wrong by a size or two."""
    own = np.hypot(REST * laws.laws(screws.mid).slope, SHIFT)[:, None]
    parts = ((0.0, 0.76), (-0.20, 0.08), (0.19, 0.08), (-0.44, 0.04), (0.36, 0.04))
    rows = np.full((laws.LAWS, COUNT), 1e-4)
    for m, w in parts:
        rows += w * np.exp(-0.5 * ((laws.grid()[None, :] + LEAN_OF_CREST - m) / own) ** 2)
    spread: Array = rows / rows.sum(axis=1, keepdims=True)
    return spread


def _from_joint(
    screws: Screws, wide: Array, heard: Sequence[_Like | None], joint: Sequence[Joint], noise: float
) -> tuple[list[Array], Array]:
    """What was seen of several barrels turned at once tells of each, the others being as they are believed: minus its
    ln likelihood by law and richness; and of the laws."""
    count = len(heard)
    own = [np.zeros_like(wide) for _ in range(count)]
    told = np.zeros(laws.LAWS)
    believed_ = []
    for like in heard:
        rows = wide if like is None else wide * like.rows + 1e-12
        believed_.append(rows / rows.sum(axis=1, keepdims=True))
    for j in joint:
        gains = {u: laws.rows(screws, round(b, 4)) - laws.rows(screws, round(a, 4)) for u, (a, b) in j.turned.items()}
        means = {u: (believed_[u] * g).sum(axis=1) for u, g in gains.items()}
        vars_ = {u: (believed_[u] * g * g).sum(axis=1) - means[u] ** 2 for u, g in gains.items()}
        mean, var = sum(means.values()), sum(vars_.values()) + noise * j.sd**2
        told += -0.5 * np.minimum((j.change - mean) ** 2 / var, 20.0) - 0.5 * np.log(var)
        for u, g in gains.items():
            left, wide_ = j.change - (mean - means[u]), np.maximum(var - vars_[u], 1e-6)
            own[u] += 0.5 * np.minimum((left[:, None] - g) ** 2 / wide_[:, None], 20.0)
    return own, told


#: Where all barrels may lie alike, in ln: about mid band, or a size of jet to either side, with odds [assumed].
_ALIKE = tuple(
    (c, sum(w * math.exp(-0.5 * ((c - m) / SHIFT) ** 2) for m, w in ((0.0, 0.8), (-0.2, 0.1), (0.19, 0.1))))
    for c in (-0.35, -0.28, -0.21, -0.14, -0.07, 0.0, 0.07, 0.14, 0.21, 0.28)
)
#: How often a barrel is out alone, and how far, in ln [assumed: see `bank`].
_ALONE, _ALONE_SD = 0.2, 0.3


def _law_odds(screws: Screws, likes: Sequence[Sequence[_Like | None]], together: Array) -> Array:
    """How likely each law is by how near together, and how near to mid band, it lets the barrels rest, and by what was
    seen of them `together`; never so sure that a handful of laws is left."""
    seen = [like for mine in likes for like in mine if like is not None]
    logs = together.copy()
    own = (0.7 * REST * laws.laws(screws.mid).slope) ** 2 + DELIVERY**2
    whole = np.zeros((laws.LAWS, len(_ALIKE)))
    whole += np.log([odds for _, odds in _ALIKE])[None, :]
    about = np.array([c for c, _ in _ALIKE])[None, :] - LEAN_OF_CREST
    for like in seen:
        area, mean, var = _moments(like.rows)
        off = (mean[:, None] - about) ** 2
        near, far = (var + own)[:, None], (var + _ALONE_SD**2)[:, None]
        whole += np.log(area)[:, None] + np.log(
            (1.0 - _ALONE) * np.exp(-0.5 * off / near) / np.sqrt(near)
            + _ALONE * np.exp(-0.5 * off / far) / np.sqrt(far)
            + 1e-30
        )
        logs += like.worse
    top = whole.max(axis=1)
    logs += top + np.log(np.exp(whole - top[:, None]).sum(axis=1))
    logs -= logs.max()
    by = BELIEVED
    for _ in range(20):
        odds = np.exp(by * logs)
        odds /= odds.sum()
        if 1.0 / float((odds**2).sum()) >= LEAST_LAWS:
            break
        by *= 0.8
    return odds


def _moments(rows: Array) -> tuple[Array, Array, Array]:
    """Area, mean and variance of likelihoods over the grid, law by law."""
    area = rows.sum(axis=1) + 1e-12
    mean = rows @ laws.grid() / area
    var = rows @ laws.grid() ** 2 / area - mean**2
    return area, mean, np.maximum(var, STEP * STEP)


def _over_laws(screws: Screws, odds: Array, like: _Like | None, wide: Array) -> Array:
    """Likelihood of a rest, whichever law holds, greatest 1."""
    if like is None:
        return np.ones(COUNT)
    z = odds / ((like.rows * wide).sum(axis=1) + 1e-30)
    out: Array = z @ np.take_along_axis(like.rows, laws.to_rests(screws)[0], axis=1)
    return out / (float(out.max()) + 1e-300)


def _drawn(screws: Screws, odds: Array, like: _Like | None, prior: Array, apart: bool) -> tuple[Places, Array]:
    """So many equally likely pairs of law and richness, evenly through their joint odds; `prior` is over rests.

    `odds` of the laws hold what all barrels told, but for one that stands `apart`: its own telling is weighed in here.
    """
    _, rests, wide = laws.to_rests(screws)
    joint = prior[rests] * wide
    if like is not None:
        joint = joint * like.rows
    whole = joint.sum(axis=1)
    by = odds * np.exp(like.worse) if apart and like is not None else odds / np.maximum(whole, 1e-300)
    by = np.where(whole > 0.0, by, 0.0)
    flat = np.cumsum((joint * by[:, None]).ravel())
    due = (np.arange(PAIRS) + 0.5) / PAIRS * flat[-1]
    spots = np.minimum(np.searchsorted(flat, due), flat.size - 1)
    before = np.where(spots > 0, flat[spots - 1], 0.0)
    within = (due - before) / np.maximum(flat[spots] - before, 1e-300) - 0.5
    return spots // COUNT, laws.grid()[spots % COUNT] + STEP * within


def _dead(told: Sequence[Told], likes: Sequence[_Like | None], odds: Array, noise: float) -> float:
    """How likely the barrel does not answer at all, against every richness that it may have."""
    t, like = told[-1], likes[-1]
    if t.rows is None or like is None or t.meter:
        return DEAD
    alive = float(odds @ (np.exp(like.worse) * like.rows.sum(axis=1))) / COUNT
    silent = math.exp(-0.5 / noise * max(-40.0, min(60.0, t.dead - float(t.rows.min()))))
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
    law: Sequence[Places],
    rich: Sequence[Array],
    at: Sequence[float],
) -> tuple[float, float]:
    """A meter at the common tailpipe tells the mean of all cylinders: with where each stands to the crest, the
    crest."""
    xs = [r + laws.fuels(screws, round(t, 4))[h] for h, r, t in zip(law, rich, at, strict=True)]
    n = len(xs)
    var = sum(float(x.var()) for x in xs) / n**2
    told, sd = merged[0] - sum(float(x.mean()) for x in xs) / n, math.sqrt(merged[1] ** 2 + var)
    gain = crest[1] ** 2 / (crest[1] ** 2 + sd * sd)
    return round(crest[0] + gain * (told - crest[0]), 3), round(crest[1] * math.sqrt(1.0 - gain), 3)
