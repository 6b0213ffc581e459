"""What nobody knows of a mixture screw and of a torque curve: a handful of laws, each with its weight before anything
is seen. It fits nothing and holds no figure of any engine.

A barrel is told by its richness: ln of the mixture that it would have with its screw in mid band, against the mixture
at the crest of its torque. Where a law says how the screw changes the fuel, richness and the crest's place in turns are
one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING

from engine.carburation.estimation.arrays import np

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array, Places

#: Richness is believed on this grid, in ln: from two sizes of idle jet too small to two too large, and somewhat beyond
#: [derived: 2 ln(40/50) = -0.45 and 2 ln(60/50) = 0.36, and the barrels' own scatter].
LOW, STEP, COUNT = -0.84, 0.02, 76
GRID = tuple(LOW + STEP * k for k in range(COUNT))

#: So many laws, spread evenly over what is not known: each is as likely as the next before anything is seen
#: [assumed: as many as there is time for].
LAWS = 160
#: Fuel changes near mid band as turns to this power, median and scatter of its ln [assumed: a tapered needle in a hole;
#: 0.25 is a screw that needs two and a half times the turns for a quarter more fuel, 1 is straight from the seat; a
#: size of idle jet, a fifth of its area, moves a short taper by about 0.75 turn and a long one by one: 0.3 and 0.5].
POWER, POWER_SD = 0.36, 0.45
#: How the law bends: 0 grows like interest, the power itself is straight, 1 is that power from the seat on, more shuts
#: off above the seat [assumed: anything between; dead travel of up to a quarter turn].
MOST_BENT = 1.2
#: How steeply torque falls beside its crest against the published shape, scatter of its ln, and of the ratio of its two
#: sides [assumed: width of the curve a third either way].
STEEP_SD, SIDES_SD = 0.35, 0.20
#: The published shape of torque against fuel: 1 - a (phi - 1.12)^2, a = 1.1 rich, 2.0 lean [from memory: Heywood
#: ch. 15].
CREST, RICH, LEAN = 1.12, 1.1, 2.0
#: Misfire, in ln of the mixture against the crest: lean at about lambda 1.2, with its scatter, rich at about phi 1.6
#: [assumed: limits 1.12 to 1.28, crest 0.86 to 0.94].
LEAN_OUT, LEAN_OUT_SD, RICH_OUT = -0.29, 0.055, 0.40
#: Over what range of it a cylinder begins to miss [assumed].
OUT_WIDTH = 0.04
#: Change of speed per change of torque, as shares [derived: loss grows a little faster than speed].
ELASTICITY = 0.92


@dataclass(frozen=True, slots=True)
class Screws:
    """Mixture screws of one kind: mid band in turns, `sign` +1 where a growing position is richer, and how many barrels
    share the engine's torque (`share` 1: this screw rules the whole engine)."""

    mid: float
    sign: int
    share: int


@dataclass(frozen=True, slots=True, eq=False)
class Laws:
    """Ways it may be, each an entry of every row: fuel changes by share `slope` a turn at mid band and `bent` tells how
    that changes; torque is `steep` times as steep as published, `sides` times that on the rich side; it misses leaner
    than `out`. `mid`: mid band in turns."""

    mid: float
    slope: Array
    bent: Array
    steep: Array
    sides: Array
    out: Array

    def fuel(self, screws: Screws, turns: float) -> Array:
        """ln of the fuel at `turns` against mid band, law by law."""
        bend = self.bent / self.mid
        return self.slope / bend * np.log(np.maximum(0.02, 1.0 + bend * screws.sign * (turns - self.mid)))

    def turned(self, ln: float | Array) -> Array:
        """How far from mid band the fuel is `ln` times that of mid band, turns towards richer: what `fuel` undoes. A
        row of them gives a row a law."""
        bend, slope = self.bent / self.mid, self.slope
        if isinstance(ln, np.ndarray):
            bend, slope = bend[:, None], slope[:, None]
        turns: Array = (np.exp(np.clip(ln * bend / slope, -20.0, 20.0)) - 1.0) / bend
        return turns

    def torque(self, x: Array, law: Places | None = None) -> Array:
        """Torque of a cylinder whose mixture is exp(`x`) times that of its crest, against its best at the same air.

        `x`: a row a law; or flat, or rows of that, with the `law` that holds for each place of it.
        """
        if law is None:
            steep, sides, out = (row[:, None] for row in (self.steep, self.sides, self.out))
        else:
            steep, sides, out = self.steep[law], self.sides[law], self.out[law]
        x = np.minimum(np.maximum(x, -FAR), FAR)
        off = CREST * (np.exp(x) - 1.0)
        base = 1.0 - steep * np.where(off > 0.0, RICH * sides, LEAN) * off * off
        late = np.where(x < 0.0, out - x, x - RICH_OUT) / OUT_WIDTH
        return np.maximum(base, 0.0) / (1.0 + np.exp(np.minimum(40.0, late)))


#: What a jet does to the rest of its screw is unsure by this share at least: so far from mid band no law is quite true
#: [assumed].
FAR_UNSURE = 0.15
#: Mixtures further from the crest than this, ln, are not told apart [assumed: no engine fires there].
FAR = 1.5


def _spread(k: int, base: int) -> float:
    """The k-th number of an even spread over 0 to 1 (van der Corput)."""
    out, part = 0.0, 1.0 / base
    k += 1
    while k:
        k, digit = divmod(k, base)
        out += digit * part
        part /= base
    return out


@lru_cache(maxsize=32)
def laws(mid: float) -> Laws:
    """Every law for screws with this mid band, each as likely as the next."""
    bell = NormalDist().inv_cdf
    ways = [
        (
            POWER * math.exp(POWER_SD * bell((k + 0.5) / LAWS)) / mid,
            MOST_BENT * _spread(k, 2),
            math.exp(STEEP_SD * bell(_spread(k, 3))),
            math.exp(SIDES_SD * bell(_spread(k, 7))),
            LEAN_OUT + LEAN_OUT_SD * max(-2.0, min(2.0, bell(_spread(k, 5)))),
        )
        for k in range(LAWS)
    ]
    return Laws(mid, *(np.array(row) for row in zip(*ways, strict=True)))


@lru_cache(maxsize=4096)
def fuels(screws: Screws, turns: float) -> Array:
    """ln of the fuel at `turns` against mid band, law by law."""
    return laws(screws.mid).fuel(screws, turns)


@lru_cache(maxsize=96)
def rows(screws: Screws, turns: float) -> Array:
    """Torque of a cylinder against its best with its screw at `turns`: a row a law, for every richness of the grid."""
    return laws(screws.mid).torque(grid()[None, :] + fuels(screws, turns)[:, None])


@lru_cache(maxsize=1)
def grid() -> Array:
    """The grid of richness as one row."""
    return np.array(GRID)


def usual_slope(screws: Screws) -> float:
    """Share of fuel a turn of the middle law."""
    return POWER / screws.mid


@lru_cache(maxsize=8)
def to_rests(screws: Screws) -> tuple[Places, Places, Array]:
    """Law by law, how richness and rest tell of each other. A barrel's rest is how far from mid band its screw belongs,
    told as richness by the usual slope: where laws differ they agree on it, since turns are what is seen.

    Three tables, a row a law: the place of each rest on the grid of richness, of each richness on the grid of rests,
    and by how much a step of richness is more than one of rest.
    """
    usual, all_ = usual_slope(screws), laws(screws.mid)
    rests = -usual * all_.turned(-grid())
    back = np.stack([-all_.fuel(screws, screws.mid - screws.sign * rest / usual) for rest in GRID], axis=1)
    wide = np.maximum(0.05, np.abs(np.gradient(rests, STEP, axis=1)))
    return on_grid(back), on_grid(rests), wide


def on_grid(r: Array) -> Places:
    """The places of richness on the grid, its ends for what lies beyond."""
    return np.clip(np.rint((r - LOW) / STEP), 0, COUNT - 1).astype(np.intp)


def jet_in_rest(screws: Screws, ln: float, odds: Array) -> tuple[float, float]:
    """What `ln` more fuel by its jet does to a barrel's rest, mean and standard deviation over the laws by `odds`."""
    rests = -usual_slope(screws) * np.clip(laws(screws.mid).turned(-ln), -3.0, 3.0)
    mean = float(odds @ rests)
    return mean, math.hypot(math.sqrt(max(0.0, float(odds @ (rests - mean) ** 2))), FAR_UNSURE * mean)
