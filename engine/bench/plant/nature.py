"""What nobody knows of the engine in front of him, drawn for each engine; it turns, reads and fits nothing.

The plain fleet gives every engine the same nature. The varied fleet draws it: law of the screw, crest of torque, where
each barrel rests, how mixture follows air, drift and wander of the speed, the hand, the gauge's seat, ears that err.
The spans are this file's own [assumed, from physics and judgement; no source]; no adviser may read them, nor they it.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

from engine.bench.plant import assumed as a
from engine.job.model import Job

FLEETS = ("varied", "plain")

SHAPES = ("straight", "saturating", "concave", "convex")  # of fuel against turns [assumed: even chances]
SATURATES = (0.8, 1.6)  # at 1.5 two and a half the turns give a quarter more fuel [assumed]
CONCAVE, CONVEX = (0.45, 0.8), (1.3, 2.0)  # powers of the turns [assumed]
SLOPE_SHARE = (0.65, 1.5)  # of the table's slope at the rest, drawn evenly in its logarithm [assumed]
SATURATING_LEAST = 0.85  # a needle that saturates early and is blunt could not be sold [assumed]
DEAD_CHANCE, DEAD_TURNS = 0.5, (0.03, 0.25)  # travel at the seat that does nothing [assumed: up to a quarter turn]
ONSET_TURNS = (0.06, 0.20)  # over which a needle leaves its seat [assumed]
REST_TURNS = 0.25  # sd of where sound barrels rest [assumed]
DELIVERY = 0.05  # sd of what sound barrels deliver [assumed]
WIDEST = 2.2  # draws of the two above are kept within so many sd [assumed: further out is a fault]
CREST_LAMBDA = (0.86, 0.94)  # [assumed, by chamber and residuals]
CREST_WIDTH = (0.7, 1.3)  # of the torque curve, against the fit in `assumed` [assumed]
LEAN_LIMIT = (1.12, 1.28)  # lambda [assumed]
FOLLOWS = (0.0, 1.0)  # richness falls with this power of the air past the plate [assumed]
DRIFT, DRIFT_MINUTES = (-0.04, 0.03), (10.0, 40.0)  # of friction as found, and how long it lasts [assumed]
WANDER_RPM, WANDER_MINUTES = (0.0, 8.0), 1.0  # sd of a slow wander of the speed, and its memory [assumed]
HAND_TURNS, BACKLASH_TURNS = 1 / 40, (0.0, 0.03)  # sd of a counted mixture move; play on going back [assumed]
SEATING = 0.02  # sd of how the gauge sits on a mouth, constant a barrel [assumed]
TACHOMETER_RPM = (1, 5, 10, 25)  # steps of what it shows [assumed: even chances]
EARS = 0.15  # of faults that a test by ear misses, and of tests (a row each) that cry wolf somewhere [assumed]
LEVEL_MM = 0.5  # a level is read to this, either way [assumed]


@dataclass(frozen=True, slots=True)
class Needle:
    """How a mixture screw meters: `slope` is the share of fuel a turn where it rests (negative: leaner outward).

    `bend` is the shape's own number; nothing passes within `dead` turns of the seat, and all after `onset` more or so.
    """

    shape: str
    slope: float
    bend: float = 1.0
    dead: float = 0.0
    onset: float = a.SCREW_ONSET
    least: float = 0.0

    def passes(self, turns: float, rest: float) -> float:
        """Fuel at `turns` from the seat, 1 where it rests with the right jet (`rest`)."""
        reach = max(0.2, rest - self.dead)
        past = (turns - self.dead) / reach
        rises = 1.0 + self.slope * reach * self._shape(past)
        if self.slope < 0:  # an air screw shut gives the richest
            return max(0.25, rises)
        return max(self.least, rises) * (1.0 - math.exp(-max(0.0, turns - self.dead) / self.onset) if self.onset else 1)

    def _shape(self, past: float) -> float:
        """Nought at 1 with slope 1 there; `past` is 1 at the rest and 0 where the dead travel ends."""
        if self.shape == "saturating":
            return (1.0 - math.exp(-self.bend * (past - 1.0))) / self.bend
        if self.shape in ("concave", "convex"):
            bent: float = (max(0.0, past) ** self.bend - 1.0) / self.bend
            return bent
        return past - 1.0


@dataclass(frozen=True, slots=True)
class Burning:
    """Torque against mixture: equivalence ratio of the crest, how it falls on either side, lambda that misfires."""

    crest: float = a.BEST_PHI
    rich_fall: float = a.RICH_FALL
    lean_fall: float = a.LEAN_FALL
    lean_limit: float = a.LEAN_LIMIT


PLAIN_BURNING = Burning()


@dataclass(frozen=True, slots=True)
class Nature:
    """One engine's. `rest_off` (turns), `delivery` and `seating` (factors) have a value a barrel."""

    needle: Needle
    burning: Burning
    rest_off: tuple[float, ...]
    delivery: tuple[float, ...]
    seating: tuple[float, ...]
    follows: float = 1.0
    drift: float = 0.0
    drift_minutes: float = 20.0
    wander: float = 0.0
    hand: float = a.COUNT_SCATTER["jet"]
    backlash: float = 0.0
    tachometer: float = 0.0
    ears: float = 0.0
    level: float = 0.0


def screw_of(job: Job) -> str:
    """The kind of mixture screw of a job, or the usual one of its kind of carburettor. A kind that only the job's shop
    knows moves like its next of kin."""
    nuts = "constant depression" in job.bank.family
    screw, declared = job.bank.mixture_screw or ("jet nut" if nuts else "short taper"), job.bank.mixture_screw_band
    if screw in a.BAND:
        return screw
    return "air screw" if declared is not None and declared.out == "leaner" else "fuel screw"


def plain(job: Job) -> Nature:
    """The nature that all engines of the plain fleet share."""
    n, screw = job.bank.barrels, screw_of(job)
    onset = 0.0 if screw == "jet nut" else a.SCREW_ONSET
    return Nature(
        Needle("straight", a.SCREW_SLOPE[screw], onset=onset),
        PLAIN_BURNING,
        rest_off=(0.0,) * n,
        delivery=(1.0,) * n,
        seating=(1.0,) * n,
        tachometer=_step_said(job) or 0.0,
    )


def varied(job: Job, seed: int | str) -> Nature:
    """The nature of engine number `seed` of the varied fleet."""
    rng = random.Random(f"nature {seed}")
    n, screw = job.bank.barrels, screw_of(job)
    width = rng.uniform(*CREST_WIDTH)
    burning = Burning(
        1.0 / rng.uniform(*CREST_LAMBDA),
        a.RICH_FALL / width**2,
        a.LEAN_FALL / width**2,
        rng.uniform(*LEAN_LIMIT),
    )
    return Nature(
        _needle(rng, screw),
        burning,
        rest_off=tuple(_within(rng, REST_TURNS) for _ in range(n)),
        delivery=tuple(1.0 + _within(rng, DELIVERY) for _ in range(n)),
        seating=tuple(rng.gauss(1.0, SEATING) for _ in range(n)),
        follows=0.0 if screw == "jet nut" else rng.uniform(*FOLLOWS),
        drift=rng.uniform(*DRIFT),
        drift_minutes=rng.uniform(*DRIFT_MINUTES),
        wander=rng.uniform(*WANDER_RPM),
        hand=HAND_TURNS,
        backlash=rng.uniform(*BACKLASH_TURNS),
        tachometer=_step_said(job) or tachometer(seed),
        ears=EARS,
        level=LEVEL_MM,
    )


def tachometer(seed: int | str) -> float:
    """The step, rpm, of what the tachometer beside varied engine number `seed` shows."""
    return float(random.Random(f"tachometer {seed}").choice(TACHOMETER_RPM))


def _step_said(job: Job) -> float | None:
    """What the job says of its tachometer, rpm."""
    said = job.at("instruments.tachometer_step")
    if isinstance(said, str):
        said = said.split()[0]
    return float(said) if said else None


def _within(rng: random.Random, sd: float) -> float:
    return max(-WIDEST * sd, min(WIDEST * sd, rng.gauss(0.0, sd)))


def _needle(rng: random.Random, screw: str) -> Needle:
    """A law drawn for a kind of screw. A nut sinks a tapered needle's jet and has neither seat nor dead travel."""
    shape = rng.choice(SHAPES)
    low, high = (math.log(x) for x in SLOPE_SHARE)
    share = math.exp(rng.uniform(low, high))
    bend = {"saturating": SATURATES, "concave": CONCAVE, "convex": CONVEX}.get(shape, (1.0, 1.0))
    if shape == "saturating":
        share = max(SATURATING_LEAST, share)
    law = Needle(shape, share * a.SCREW_SLOPE[screw], rng.uniform(*bend), onset=rng.uniform(*ONSET_TURNS))
    dead = rng.uniform(*DEAD_TURNS) if rng.random() < DEAD_CHANCE else 0.0
    if screw == "jet nut":
        return replace(law, onset=0.0)
    return replace(law, dead=0.0 if screw == "air screw" else dead)
