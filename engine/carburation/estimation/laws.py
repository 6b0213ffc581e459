"""What nobody knows of a mixture screw and of a torque curve: a handful of laws, each with its weight before anything
is seen. It fits nothing and holds no figure of any engine.

A barrel is told by its richness: ln of the mixture that it would have with its screw in mid band, against the mixture
at the crest of its torque. Where a law says how the screw changes the fuel, richness and the crest's place in turns are
one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist

#: Richness is believed on this grid, in ln: from two sizes of idle jet too small to two too large, and somewhat beyond
#: [derived: 2 ln(40/50) = -0.45 and 2 ln(60/50) = 0.36, and the barrels' own scatter].
LOW, STEP, COUNT = -0.84, 0.02, 76
GRID = tuple(LOW + STEP * k for k in range(COUNT))

#: So many laws, spread evenly over what is not known: each is as likely as the next before anything is seen.
LAWS = 36
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


@dataclass(frozen=True, slots=True)
class Law:
    """One way it may be: fuel changes by share `slope` a turn at mid band and `bent` tells how that changes; torque is
    `steep` times as steep as published, `sides` times that on the rich side; it misses leaner than `out`."""

    slope: float
    bent: float
    steep: float
    sides: float
    out: float

    def fuel(self, screws: Screws, turns: float) -> float:
        """ln of the fuel at `turns`, against mid band."""
        u = screws.sign * (turns - screws.mid)
        bend = self.bent / screws.mid
        return self.slope / bend * math.log(max(0.02, 1.0 + bend * u)) if bend > 1e-3 else self.slope * u

    def turned(self, screws: Screws, ln: float) -> float:
        """How far from mid band the fuel is `ln` times that of mid band, turns towards richer: what `fuel` undoes."""
        bend = self.bent / screws.mid
        if bend <= 1e-3:
            return ln / self.slope
        return (math.exp(max(-20.0, min(20.0, ln * bend / self.slope))) - 1.0) / bend

    def torque(self, x: float) -> float:
        """Torque of a cylinder whose mixture is exp(`x`) times that of its crest, against its best at the same air."""
        off = CREST * (math.exp(x) - 1.0)
        base = 1.0 - self.steep * (RICH * self.sides if off > 0.0 else LEAN) * off * off
        if base <= 0.0:
            return 0.0
        late = (self.out - x) / OUT_WIDTH if x < 0.0 else (x - RICH_OUT) / OUT_WIDTH
        return base / (1.0 + math.exp(min(40.0, late)))


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
def laws(mid: float) -> tuple[Law, ...]:
    """Every law for screws with this mid band, each as likely as the next."""
    normal = NormalDist()
    return tuple(
        Law(
            POWER * math.exp(POWER_SD * normal.inv_cdf((k + 0.5) / LAWS)) / mid,
            MOST_BENT * _spread(k, 2),
            math.exp(STEEP_SD * normal.inv_cdf(_spread(k, 3))),
            math.exp(SIDES_SD * normal.inv_cdf(_spread(k, 7))),
            LEAN_OUT + LEAN_OUT_SD * max(-2.0, min(2.0, normal.inv_cdf(_spread(k, 5)))),
        )
        for k in range(LAWS)
    )


#: Tables over ln mixture against the crest run so far either way, in steps of a two-hundredth.
FAR, FINE = 1.5, 200


def place(x: float) -> int:
    """Where ln mixture `x` stands in such a table."""
    return int(((x if x < FAR else FAR) if x > -FAR else -FAR) * FINE + (FAR * FINE + 0.5))


def over_table(function: Callable[[float], float]) -> tuple[float, ...]:
    """A table of a function of ln mixture."""
    return tuple(function(k / FINE - FAR) for k in range(int(2 * FAR * FINE) + 1))


@lru_cache(maxsize=16)
def torques(mid: float) -> tuple[tuple[float, ...], ...]:
    """Torque of a cylinder against its best, law by law, by ln mixture."""
    return tuple(over_table(law.torque) for law in laws(mid))


@lru_cache(maxsize=4096)
def fuels(screws: Screws, turns: float) -> tuple[float, ...]:
    """ln of the fuel at `turns` against mid band, law by law."""
    return tuple(law.fuel(screws, turns) for law in laws(screws.mid))


@lru_cache(maxsize=512)
def rows(screws: Screws, turns: float) -> tuple[tuple[float, ...], ...]:
    """Torque of a cylinder against its best with its screw at `turns`, law by law, for every richness of the grid."""
    out = []
    for table, fuel in zip(torques(screws.mid), fuels(screws, turns), strict=True):
        out.append(tuple([table[place(r + fuel)] for r in GRID]))
    return tuple(out)


def usual_slope(screws: Screws) -> float:
    """Share of fuel a turn of the middle law."""
    return POWER / screws.mid


@lru_cache(maxsize=8)
def to_rests(screws: Screws) -> tuple[tuple[tuple[int, ...], tuple[int, ...], tuple[float, ...]], ...]:
    """Law by law, how richness and rest tell of each other. A barrel's rest is how far from mid band its screw belongs,
    told as richness by the usual slope: where laws differ they agree on it, since turns are what is seen.

    Three rows: the place of each rest on the grid of richness, of each richness on the grid of rests, and by how much a
    step of richness is more than one of rest.
    """
    usual = usual_slope(screws)
    out = []
    for law in laws(screws.mid):
        rests = [-usual * law.turned(screws, -r) for r in GRID]
        back = []
        for rest in GRID:
            turned = -rest / usual  # towards richer
            back.append(-law.fuel(screws, screws.mid + screws.sign * turned))
        wide = [
            max(
                0.05,
                abs(rests[min(COUNT - 1, k + 1)] - rests[max(0, k - 1)]) / (STEP * (2 if 0 < k < COUNT - 1 else 1)),
            )
            for k in range(COUNT)
        ]
        out.append((tuple(map(_on_grid, back)), tuple(map(_on_grid, rests)), tuple(wide)))
    return tuple(out)


def _on_grid(r: float) -> int:
    return min(COUNT - 1, max(0, round((r - LOW) / STEP)))


@lru_cache(maxsize=1024)
def jet_in_rest(screws: Screws, ln: float, odds: tuple[float, ...]) -> tuple[float, float]:
    """What `ln` more fuel by its jet does to a barrel's rest, mean and standard deviation over the laws by `odds`."""
    usual = usual_slope(screws)
    rests = [-usual * max(-3.0, min(3.0, law.turned(screws, -ln))) for law in laws(screws.mid)]
    mean = sum(w * v for w, v in zip(odds, rests, strict=True))
    return mean, math.sqrt(sum(w * (v - mean) ** 2 for w, v in zip(odds, rests, strict=True)))
