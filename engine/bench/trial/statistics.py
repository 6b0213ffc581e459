"""The statistics of a trial as frozen data: shares, work, claims, each row against what is wanted; it runs nothing."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from engine.bench.technicians.hands import Work
from engine.bench.terms import Wanted, wanted
from engine.bench.trial.judging import State
from engine.bench.trial.trials import Outcome

WORK = ("rounds", "moves", "stops", "stalls")
STATES = ("in_tolerance", "near_best", "belongs", "lean_best")
SAID = ("small", "right", "large", "withheld")


@dataclass(frozen=True, slots=True)
class Share:
    """So many of so many."""

    good: int
    of: int

    @property
    def value(self) -> float | None:
        """The share, or None of nothing."""
        return self.good / self.of if self.of else None

    def __str__(self) -> str:
        return f"{100 * self.good / self.of:.1f} % ({self.good} of {self.of})" if self.of else "none"


@dataclass(frozen=True, slots=True)
class Spread:
    """Median and 90th percentile."""

    median: float
    p90: float


@dataclass(frozen=True, slots=True)
class Worker:
    """What one technician did: work by kind, and states over the mendable engines and over all."""

    work: Mapping[str, Spread]
    in_tolerance: Share
    near_best: Share
    belongs: Share
    lean_best: Share
    in_tolerance_all: Share
    near_best_all: Share
    belongs_all: Share
    lean_best_all: Share


@dataclass(frozen=True, slots=True)
class Criterion:
    """One line of what must be reached. `at_most`: the figure may not exceed what is wanted. `of`: of how many; `unit`:
    `%` of a share, `points` of a difference of shares, or a count."""

    name: str
    reached: float | None
    wanted: float
    at_most: bool
    of: int | None = None
    unit: str = "%"

    @property
    def met(self) -> bool | None:
        """Whether it is met; None where nothing was measured."""
        if self.reached is None:
            return None
        return self.reached <= self.wanted + 1e-12 if self.at_most else self.reached >= self.wanted - 1e-12


@dataclass(frozen=True, slots=True)
class Known:
    """The shares that are judged of one trial beside the technicians' own: each of the things that its row names."""

    claimed_high: Share
    claimed_good: Share
    confident: Share
    jets_told: Share
    jets_judged: Share
    accused: Share
    needless: Share
    ends_ok: Share
    ok_outside: Share
    unmendable_named: Share
    ok_not_in_tolerance: Share
    mute: Share
    dead_found: Share
    faults_named: Share


@dataclass(frozen=True, slots=True)
class Summary:
    """A whole trial. `workers`: the routine and the technicians of reference, by name. `fates` of the wrong jets."""

    procedure: str
    family: str
    fleet: str
    meter: str | None
    engines: int
    mendable: int
    outcomes: Mapping[str, int]
    workers: Mapping[str, Worker]
    jets: Mapping[str, Mapping[str, int]]
    fates: Mapping[str, int]
    wrong_left: Share
    known: Known
    faults_named: Mapping[str, Share]
    problems: tuple[str, ...]
    criteria: tuple[Criterion, ...]

    @property
    def routine(self) -> Worker:
        """What the procedure did."""
        return self.workers["routine"]

    def to_json(self) -> dict[str, Any]:
        """Plain data for `--json`."""
        found = asdict(self)
        found["criteria"] = [asdict(c) | {"met": c.met} for c in self.criteria]
        return found


def _spread(values: Iterable[float]) -> Spread:
    row = sorted(values)
    return Spread(_at(row, 0.5), _at(row, 0.9)) if row else Spread(0.0, 0.0)


def _at(row: Sequence[float], share: float) -> float:
    """The percentile of a sorted row, between its neighbours by rank."""
    place = share * (len(row) - 1)
    low = int(place)
    high = min(low + 1, len(row) - 1)
    return row[low] + (row[high] - row[low]) * (place - low)


def _worker(done: Sequence[tuple[bool, Work, State]]) -> Worker:
    """Of (mendable, work, state) an engine."""

    def share(name: str, mendable_only: bool) -> Share:
        these = [getattr(s, name) for m, _, s in done if m or not mendable_only]
        return Share(sum(these), len(these))

    return Worker(
        {k: _spread(getattr(w, k) for _, w, _ in done) for k in WORK},
        *(share(n, True) for n in STATES),
        *(share(n, False) for n in STATES),
    )


def _workers(outcomes: Sequence[Outcome]) -> dict[str, Worker]:
    out = {"routine": _worker([(o.mendable, o.work, o.state) for o in outcomes])}
    for name in outcomes[0].references:
        out[name] = _worker([(o.mendable, o.references[name].work, o.references[name].state) for o in outcomes])
    return out


def _pairs(pairs: Iterable[tuple[int, int]]) -> Share:
    rows = list(pairs)
    return Share(sum(good for good, _ in rows), sum(of for _, of in rows))


def summary(procedure: str, family: str, meter: str | None, outcomes: Sequence[Outcome], fleet: str = "") -> Summary:
    """The statistics of a trial."""
    if not outcomes:
        raise ValueError("A trial without an engine has no statistics.")
    workers = _workers(outcomes)
    jets = Counter(pair for o in outcomes for pair in o.jets)
    fates = Counter[str]()
    for o in outcomes:
        fates.update(o.fates)
    known = _known(outcomes, jets, fates)
    kinds = sorted({k for o in outcomes for k in o.named})
    return Summary(
        procedure=procedure,
        family=family,
        fleet=fleet,
        meter=meter,
        engines=len(outcomes),
        mendable=sum(o.mendable for o in outcomes),
        outcomes=dict(Counter(o.outcome for o in outcomes)),
        workers=workers,
        jets={true: {said: jets[true, said] for said in SAID} for true in SAID[:3]},
        fates={k: fates[k] for k in ("out", "told", "hinted", "nothing")},
        wrong_left=Share(sum(o.wrong_left > 0 for o in outcomes), len(outcomes)),
        known=known,
        faults_named={k: _pairs(o.named.get(k, (0, 0)) for o in outcomes) for k in kinds},
        problems=tuple(f"engine {o.seed}: {o.problem}" for o in outcomes if o.problem),
        criteria=_criteria(wanted(family, meter), workers, known),
    )


def _known(outcomes: Sequence[Outcome], jets: Counter[tuple[str, str]], fates: Counter[str]) -> Known:
    claims = [c for o in outcomes for c in o.claims]
    high, good = ([c for c in claims if a <= c.sure < b] for a, b in ((0.95, 1.01), (0.80, 0.95)))
    can, lost = ([o for o in outcomes if o.mendable is m] for m in (True, False))
    ok = [o for o in outcomes if o.outcome == "ok"]
    dead = ("dead mixture screw", "broken screw tip")
    return Known(
        claimed_high=Share(sum(c.near_best for c in high), len(high)),
        claimed_good=Share(sum(c.near_best for c in good), len(good)),
        confident=Share(len(high) + len(good), sum(o.barrels for o in outcomes)),
        jets_told=Share(fates["out"] + fates["told"], sum(fates.values())),
        jets_judged=Share(sum(n for (_, said), n in jets.items() if said != "withheld"), sum(jets.values())),
        accused=_pairs(o.accused for o in outcomes),
        needless=Share(sum(o.needless > 0 for o in outcomes), len(outcomes)),
        ends_ok=Share(sum(o.outcome == "ok" for o in can), len(can)),
        ok_outside=Share(sum(not o.state.near_best for o in ok), len(ok)),
        unmendable_named=Share(sum(o.says_why for o in lost), len(lost)),
        ok_not_in_tolerance=Share(sum(not o.state.in_tolerance for o in ok), len(ok)),
        mute=_pairs(o.mute for o in outcomes),
        dead_found=_pairs(o.named[k] for o in outcomes for k in dead if k in o.named),
        faults_named=_pairs(pair for o in outcomes for pair in o.named.values()),
    )


def _criteria(want: Wanted, workers: Mapping[str, Worker], known: Known) -> tuple[Criterion, ...]:
    routine, patient = workers["routine"], workers.get("patient")

    def share(name: str, got: Share, due: float, at_most: bool = False) -> Criterion:
        return Criterion(name, got.value, due, at_most, got.of)

    def claimed(name: str, got: Share, due: float) -> Criterion:
        slack = 2.0 * math.sqrt(due * (1.0 - due) / got.of) if got.of else 0.0
        return share(name, got, due - slack)

    def ratio(kind: str) -> float | None:
        if patient is None or not patient.work[kind].median:
            return None
        return routine.work[kind].median / patient.work[kind].median

    plain = [workers[n].near_best.value for n in ("mid band", "sweeper") if n in workers]
    known_plain = [v for v in plain if v is not None]
    above = routine.near_best.value - max(known_plain) if known_plain and routine.near_best.value is not None else None
    rows = [
        share("in tolerance, of mendable engines", routine.in_tolerance, want.in_tolerance),
        share("every cylinder near its best (0.82 to 1.00)", routine.near_best, want.near_best),
        share("every cylinder where it belongs (0.86 to 0.96)", routine.belongs, want.belongs),
        share("within 2 % of its own best torque, on the lean side", routine.lean_best, want.lean_best),
        Criterion("near best, above the better plain technician", above, want.above_plain, False, unit="points"),
        claimed("claimed 95 to 100: true", known.claimed_high, want.claimed[0]),
        claimed("claimed 80 to 95: true", known.claimed_good, want.claimed[1]),
        share("barrels claimed at 80 or more", known.confident, want.confident),
        Criterion("moves against the patient technician", ratio("moves"), want.moves, True),
        Criterion("moves, 90th percentile", routine.work["moves"].p90, want.moves_p90, True, unit="count"),
        Criterion("measuring rounds against the patient technician", ratio("rounds"), want.rounds, True),
        share("wrong jets taken out or told", known.jets_told, want.jets_told),
        share("barrels with a verdict on the jet", known.jets_judged, want.jets_judged),
        share("sound jets with a standing jet finding", known.accused, want.accused, True),
        share("engines with a jet changed needlessly", known.needless, want.needless, True),
        share("mendable engines that end ok", known.ends_ok, want.ends_ok),
        share("ok but a cylinder outside near-best", known.ok_outside, want.ok_outside, True),
        share("unmendable: the true fault and place named", known.unmendable_named, want.unmendable_named),
        share("ends ok and is not in tolerance", known.ok_not_in_tolerance, want.ok_not_in_tolerance, True),
        share("a sound barrel said not to answer", known.mute, want.mute, True),
        share("dead mixture screws found", known.dead_found, want.dead_found),
    ]
    if want.faults is not None:
        rows.append(share("other faults named, or found and mended", known.faults_named, want.faults))
    return tuple(rows)
