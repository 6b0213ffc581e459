"""The search for the best mixture put together: positions, air, speed and lambda by answer, and the picture fitted to
them.

It reads evidence and fits `crest`; which screw to turn next is `mixture`'s business.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from engine.carburation.estimation import pace
from engine.carburation.estimation.air_drawn import Drawn, drawn
from engine.carburation.estimation.crest import Screws
from engine.carburation.estimation.foresee import Gas, Shot
from engine.carburation.estimation.picture import Idle
from engine.carburation.estimation.seen import Seen, history, screw_places
from engine.carburation.estimation.stretches import believed, changes, stretches
from engine.carburation.rules import bands
from engine.evidence import Evidence, Inputs, Place, ScrewView
from engine.job.model import Job
from engine.vocabulary.screws import FLATS_PER_TURN, JET_NUT_START

#: Share of mid-band fuel that a turn changes, by kind of screw [derived from the bands: a size of idle jet, about a
#: fifth of
#: its area, moves a short taper's rest by 0.75 turn and a long taper's by 1; assumed for the others].
SLOPE = {"short taper": 0.30, "long taper": 0.22, "air screw": 0.20, "fuel screw": 0.20, "jet nut": 0.15}
#: Scatter of ln lambda as a meter gives it, and of CO as a share of itself [assumed].
LAMBDA_SCATTER, CO_SCATTER = 0.010, 0.06
#: CO % = a (1 - lambda)^2 + b (1 - lambda) + c, for lambda 0.80 to 0.98 [derived: equilibrium gas].
CO_FIT = (11.357, 35.828, -0.0084)
#: Below this CO, %, a cylinder is lean, or so rich that it does not fire: a bound and no figure [derived].
NO_CO = 0.7
#: A meter reading beyond this may be oxygen from misfire: only a bound [common practice].
MISFIRE_LAMBDA = 1.12
#: A stall says that the engine could not hold about this speed [assumed].
STALLED, STALLED_SD = 480.0, 120.0
#: A barrel that spits back stands about here, lambda, and the scatter of its logarithm [assumed].
SPAT, SPAT_SD = 1.18, 0.10


@dataclass(frozen=True, slots=True)
class Search:
    """`spots`: the screws' places. `at`: where they stand. `idle`: the picture, or None before any reading. `shots`:
    what was seen with the jets of now. `meter_rows`: how often a meter was read since."""

    spots: tuple[Place, ...]
    at: tuple[float | None, ...]
    screws: Screws
    idle: Idle | None
    shots: tuple[Shot, ...]
    meter_rows: int
    #: Kind of the last answer's symptom, and the screws (by index) leaned just before it.
    last_symptom: tuple[str, tuple[int, ...]] | None = None
    #: Which setting of the air each of `shots` belongs to.
    settings: tuple[tuple[float, ...], ...] = ()
    #: How much more the speed scatters than the meter does.
    rough: float = 1.0
    drawn: Drawn | None = None

    def response(self, i: int) -> tuple[float, float, float]:
        """How far the speed answered when screw i alone was turned, at most, in standard deviations of such a
        difference;
        and from where to where that screw was turned."""
        most, visited = 0.0, [s.at[i] for s in self.shots]
        for (one, a), (two, b) in pairwise(zip(self.settings, self.shots, strict=True)):
            alone = one == two and all(
                abs(x - y) < 0.03 for k, (x, y) in enumerate(zip(a.at, b.at, strict=True)) if k != i
            )
            if alone and abs(a.at[i] - b.at[i]) > 0.1 and a.speed and b.speed:
                most = max(most, abs(a.speed - b.speed) / math.hypot(a.noise, b.noise) / self.rough)
        return most, min(visited, default=0.0), max(visited, default=0.0)


def kind(job: Job, view: ScrewView, low: float | None = None, high: float | None = None) -> Screws:
    """What is known of screws of this kind before they are turned: mid band, effect, direction."""
    name = job.bank.mixture_screw or "short taper"
    band = bands.band_of(job)
    if low is None or high is None:
        low, high = (float(v) for v in band.rest) if band else (float(view.range[0]), float(view.range[1]))
        if band is None:
            low = high = JET_NUT_START / FLATS_PER_TURN
    grows = view.outward if view.counts == "out" else view.inward
    known = name in SLOPE
    return Screws(
        0.5 * (low + high),
        SLOPE.get(name, 0.2),
        0.30 if known else 0.5,
        1 if grows == "richer" else -1,
        job.bank.manifold == "shared",
    )


def lambda_of(quantity: str, value: float) -> Gas | None:
    """Lambda from one reading (CO in %); None where it says nothing (a cold probe, no gas)."""
    if quantity == "lambda":
        if not 0.5 <= value <= 1.9:
            return None
        return Gas(value, LAMBDA_SCATTER if value < MISFIRE_LAMBDA else 0.12)
    if not 0.0 <= value <= 14.0:
        return None
    if value < NO_CO:
        return Gas(0.985, 0.02, True)
    a, b, c = CO_FIT
    lam = 1.0 - (math.sqrt(b * b + 4.0 * a * max(value - c, 0.0)) - b) / (2.0 * a)
    slope = 1.0 / (35.8 + 22.7 * (1.0 - lam))  # of the fitted curve, lambda per point
    return Gas(lam, max(0.006, slope * CO_SCATTER * value / lam))


def meter_row(seen: Seen, n: int) -> tuple[Gas | None, ...] | None:
    """Lambda by screw as a meter showed it in this answer, from lambda or CO, several cylinders of a screw averaged."""
    for quantity, scale in (("lambda", 1.0), ("CO", 100.0)):  # CO comes as a share
        row = seen.row(quantity)
        if row is None or len(row) < n or len(row) % n:
            continue
        per = len(row) // n
        out = []
        for i in range(n):
            told = [lambda_of(quantity, scale * v) for v in row[i * per : (i + 1) * per] if v is not None]
            good = [t for t in told if t]
            out.append(
                Gas(sum(t.lam for t in good) / len(good), max(t.sd for t in good), any(t.least for t in good))
                if good
                else None
            )
        return tuple(out)
    return None


def _spat(seen: Seen, view: ScrewView, spots: Sequence[Place]) -> tuple[Gas | None, ...] | None:
    """Barrels that were seen to spit back, or the one whose screw alone was leaned just before it spat: too lean."""
    for row in seen.answer.names.values():
        if (
            len(row) == len(spots)
            and "spit-back" in seen.answer.readings
            and "yes" in row
            and set(row) <= {"yes", "no"}
        ):
            return tuple(Gas(SPAT, SPAT_SD) if v == "yes" else None for v in row)
    if seen.answer.symptom_kind != "spit-back":
        return None
    leaned = [m.place for m in seen.answer.moves if m.screw == view.name and m.effect == "leaner"]
    if len(leaned) != 1 or len(seen.answer.moves) != 1:
        return None
    return tuple(Gas(SPAT, SPAT_SD) if p == leaned[0] else None for p in spots)


def search(job: Job, inputs: Inputs, evidence: Evidence, low: float | None = None, high: float | None = None) -> Search:
    """Everything known of the mixture, fitted. Answers without known positions or air are passed over."""
    view = inputs.screws["screw"]
    spots = screw_places(view, job, inputs)
    n = len(spots)
    screws = kind(job, view, low, high)
    seen = history(evidence, [view])
    told = drawn(job, inputs, evidence, spots)
    air = told.rows
    now_air = next((row for row in reversed(air) if row is not None), (1.0,) * n)
    at = tuple(None if v is None else float(v) for v in view.positions)
    view_of_speed = inputs.readings.get("speed")  # unbound: averaged, as the search for it asks
    noise = pace.scatter(view_of_speed) if view_of_speed is not None else pace.SCATTER / pace.AVERAGED**0.5
    jets: list[tuple[int, tuple[tuple[int, float, float], ...], tuple[tuple[int, int], ...]]] = []
    shots: list[tuple[int, tuple[float, ...], Shot]] = []
    rows = 0
    segment = 0
    parts_before: dict[Place, float] = _fitted(job, spots)
    for k, s in enumerate(seen):
        changed = {
            spots.index(p.place): (parts_before.get(p.place), float(p.size))
            for p in s.answer.parts
            if "jet" in p.part and p.place in spots
        }
        if changed:
            segment += 1
            jets.append((segment, *changes(changed)))
            parts_before |= {spots[i]: size for i, (_, size) in changed.items()}
            rows = 0
        stands = [s.stands.get((view.name, p)) for p in spots]
        here = air[k]
        if here is None or any(v is None for v in stands):
            continue
        meter = meter_row(s, n)
        speed = s.speed()
        if meter is None:
            meter = _spat(s, view, spots)
        if s.answer.symptom_kind == "stall" and s.answer.moves:
            speed, scatter = STALLED, STALLED_SD
        else:
            scatter = noise
        if (speed is None and meter is None) or (speed is not None and speed < 200.0):
            continue
        if meter and meter_row(s, n) is not None:
            rows += 1
        shots.append((segment, here, Shot(tuple(stands), speed, scatter, len(seen) - 1 - k, meter)))  # type: ignore
    idle, rough = None, 1.0
    if shots:
        idle, rough = believed(screws, stretches(shots, jets), now_air, float(job.engine.idle_speed))
    mine = [(air, shot) for g, air, shot in shots if g == segment]
    return Search(
        spots,
        at,
        screws,
        idle,
        tuple(s for _, s in mine),
        rows,
        _symptom(seen, view, spots),
        tuple(a for a, _ in mine),
        rough,
        told,
    )


def _symptom(seen: Sequence[Seen], view: ScrewView, spots: Sequence[Place]) -> tuple[str, tuple[int, ...]] | None:
    """A symptom that came with a leaned screw, if nothing was read or turned since."""
    for s in reversed(seen):
        leaned = tuple(
            spots.index(m.place)
            for m in s.answer.moves
            if m.screw == view.name and m.effect == "leaner" and m.place in spots
        )
        if s.answer.symptom_kind:
            return (s.answer.symptom_kind, leaned) if leaned else None
        if s.answer.moves or ("engine speed" in s.answer.readings and s.idling):
            return None
    return None


def _fitted(job: Job, spots: Sequence[Place]) -> dict[Place, float]:
    row = job.row("idle_jet")
    if row is None:
        return {}
    per = job.bank.barrels_per_carb
    return {p: float(row[(p.carb - 1) * per + (p.barrel or 1) - 1]) for p in spots if p.carb is not None}
