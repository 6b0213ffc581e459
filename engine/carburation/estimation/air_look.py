"""The bank's air as an adviser of air sees it: rows, bodies, screws and speed put together from inputs and evidence.

It binds what was declared to what the estimation needs, and chooses between ways in which bodies can be coupled by what
the readings say. It gives no advice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from engine.carburation.estimation import flows, pace
from engine.carburation.estimation.asks import AirOfBank, Least
from engine.carburation.estimation.fit import within
from engine.carburation.estimation.flows import Flows
from engine.carburation.estimation.pace import Pace
from engine.carburation.estimation.seen import (
    Key,
    Seen,
    fitted_screw,
    history,
    numbers,
    row_places,
    screw_places,
    step_of,
    value,
)
from engine.evidence import Evidence, Place, ScrewView
from engine.job.model import Job

Spots = Mapping[Place, Sequence[int]]


@dataclass(frozen=True, slots=True)
class Look:
    """`bodies`: row indices carb by carb. `plates`, `couplings`, `bypasses`: screws by place, in the order they are
    set."""

    job: Job
    flows: Flows
    seen: Sequence[Seen]
    bodies: tuple[tuple[int, ...], ...]
    plates: tuple[Key, ...]
    couplings: tuple[Key, ...]
    bypasses: Mapping[int, Key]
    stands: Mapping[Key, float | None]
    pace: Pace
    tolerance: float
    least: float

    @property
    def estimate(self) -> list[float]:
        """Best estimate of every place's reading."""
        return self.flows.belief.mean[: len(self.flows.places)]

    def allowed(self, row: Sequence[float] | None = None) -> float:
        """How far a place may lie from the mean."""
        row = row or self.estimate
        return max(self.least, self.tolerance * abs(sum(row)) / len(row))

    def sureness(self, group: Sequence[int] | None = None) -> float:
        """How likely it is that every place of the group lies within tolerance of the group's mean."""
        members = list(group) if group is not None else list(range(len(self.flows.places)))
        half, p = self.allowed(), 1.0
        for i in members:
            p *= within(*self.flows.deviation(i, members), half)
        return p

    def gap(self) -> float:
        """The furthest place from the mean, as a share of it."""
        row = self.estimate
        mean = sum(row) / len(row)
        return max(abs(v - mean) for v in row) / mean if mean > 0 else 2.0


def least(inputs: Least, quantity: str) -> float:
    """The difference within which everything is good, in the reading's own unit."""
    return value(inputs.least_depression if quantity == "depression" else inputs.least_flow, 0.0)


def plate_spots(view: ScrewView, spots: Sequence[Place], rows: Sequence[Place], coupled: bool, master: int) -> Spots:
    """Which row indices each speed screw moves: its own body, or all of a coupled bank."""
    everything = list(range(len(rows)))
    out: dict[Place, Sequence[int]] = {}
    for p in spots:
        if p.carb is None:
            out[p] = everything
        elif coupled:
            if p.carb == master:
                out[p] = everything
        else:
            out[p] = [i for i, r in enumerate(rows) if r.carb == p.carb and p.barrel in (None, r.barrel)]
    return out


def coupling_spots(view: ScrewView, spots: Sequence[Place], rows: Sequence[Place], carbs: int) -> list[Spots]:
    """Ways in which balance screws between bodies may act: on all beyond, on the next alone, or pair against pair."""

    def beyond(test: Callable[[int, int], bool]) -> Spots:
        gaps = [(p, p.carb) for p in spots]
        bodies = [(i, r.carb) for i, r in enumerate(rows) if r.carb is not None]
        return {p: [i for i, carb in bodies if gap is not None and test(gap, carb)] for p, gap in gaps}

    if view.each == "carb":
        return [beyond(lambda g, c: c == g)]
    ways = [beyond(lambda g, c: c > g)]
    if carbs > 2:
        ways.append(beyond(lambda g, c: c == g + 1))
    if carbs > 3:
        ways.append(beyond(lambda g, c: c > g if g >= carbs / 2 else g < c <= carbs / 2))
    return ways


def look(job: Job, inputs: AirOfBank, evidence: Evidence) -> Look:
    """Put together what is known of the air. The row must have been found sound (`gauge.problem`)."""
    view = inputs.flow
    rows = row_places(view, job, inputs)
    row = numbers(view.row or ())
    taken = [v for v in row if v is not None]
    mean = sum(taken) / len(taken)
    coupling, bypass = fitted_screw(inputs.coupling), fitted_screw(inputs.bypass)
    plate = fitted_screw(inputs.screw)
    master = int(value(inputs.master, 1.0))
    screws = [s for s in (plate, coupling, bypass) if s is not None]
    seen = history(evidence, screws)
    table: list[tuple[ScrewView, Spots]] = []
    if plate is not None:
        spots = screw_places(plate, job, inputs)
        table.append((plate, plate_spots(plate, spots, rows, coupling is not None, master)))
    if bypass is not None:
        spots = screw_places(bypass, job, inputs)
        table.append((bypass, {p: [i for i, r in enumerate(rows) if r == p] for p in spots}))
    ways: list[Spots | None] = [None]
    if coupling is not None:
        ways = list(coupling_spots(coupling, screw_places(coupling, job, inputs), rows, job.bank.carbs))
    best: Flows | None = None
    for n, way in enumerate(ways):
        full = [*table, (coupling, way)] if coupling is not None and way is not None else table
        found = flows.make(view.quantity, rows, mean, full, disturbed(job), step_of(view, 0.0)).follow(seen)
        found.fitness += 2.0 if n == 0 else 0.0  # the usual way, unless the readings speak against it
        if best is None or found.fitness > best.fitness:
            best = found
    assert best is not None
    keys = list(best.screws)
    named = {s.name: [k for k in keys if k[0] == s.name] for s in screws}
    stands = {k: None if v is None else float(v) for k, v in evidence.positions.items() if k[0] in named}
    bodies: dict[int | None, list[int]] = {}
    for i, p in enumerate(rows):
        bodies.setdefault(p.carb, []).append(i)
    by_row = {i: k for k in named.get(bypass.name, []) for i in best.screws[k].moves} if bypass else {}
    return Look(
        job,
        best,
        seen,
        tuple(tuple(b) for b in bodies.values()),
        tuple(named[plate.name]) if plate else (),
        tuple(named[coupling.name]) if coupling else (),
        by_row,
        stands,
        pace.follow(seen, pace.scatter(inputs.speed), lambda s: air_change(s, best)),
        float(inputs.tolerance),
        least(inputs, view.quantity),
    )


def disturbed(job: Job) -> list[Place]:
    """The places whose gauge reading is known to be spoilt, barrel by barrel."""
    out = []
    for p in job.bank.disturbed:
        barrels = [p.barrel] if p.barrel else range(1, job.bank.barrels_per_carb + 1)
        out += [Place(p.carb, b) for b in barrels]
    return out


def air_change(seen: Seen, flows_: Flows) -> float | None:
    """By what share the whole bank's air changed just before an answer, as the belief has the screws' effects."""
    change = 0.0
    n = len(flows_.places)
    for key, by in seen.turned.items():
        screw = flows_.screws.get(key)
        if screw is None:
            continue
        if by is None or abs(by) > flows.FARTHEST:
            return None
        change += (
            abs(screw.sign)
            * (screw.sign if flows_.quantity != "depression" else -screw.sign)
            * flows_.belief.mean[screw.index]
            * by
            * len(screw.moves)
            / n
        )
    return change / flows_.mean
