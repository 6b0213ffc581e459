"""The statistics of a trial as frozen data, as JSON and as a plain table; it runs and judges nothing."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from engine.bench.technicians.hands import Work
from engine.bench.terms import WANTED
from engine.bench.trial.judging import State
from engine.bench.trial.trials import Outcome

WORK = ("rounds", "moves", "stops", "stalls")
_WORDS = {"rounds": "measuring rounds", "moves": "moves", "stops": "engine stops", "stalls": "stalls"}


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
    in_tolerance_all: Share
    near_best_all: Share
    belongs_all: Share


@dataclass(frozen=True, slots=True)
class Criterion:
    """One line of what must be reached. `at_most`: the figure may not exceed what is wanted."""

    name: str
    reached: float | None
    wanted: float
    at_most: bool

    @property
    def met(self) -> bool | None:
        """Whether it is met; None where nothing was measured."""
        if self.reached is None:
            return None
        return self.reached <= self.wanted + 1e-12 if self.at_most else self.reached >= self.wanted - 1e-12


@dataclass(frozen=True, slots=True)
class Summary:
    """A whole trial."""

    procedure: str
    family: str
    meter: str | None
    engines: int
    mendable: int
    outcomes: Mapping[str, int]
    routine: Worker
    patient: Worker | None
    all_knowing: Worker | None
    jets: Mapping[str, Mapping[str, int]]
    jets_named: Share
    jets_judged: Share
    needless: Share
    faults_named: Mapping[str, Share]
    unmendable_named: Share
    ok_in_tolerance: Share
    problems: tuple[str, ...]
    criteria: tuple[Criterion, ...]

    def to_json(self) -> dict[str, Any]:
        """Plain data for `--json`."""
        found = asdict(self)
        found["criteria"] = [asdict(c) | {"met": c.met} for c in self.criteria]
        return found


def _spread(values: Iterable[float]) -> Spread:
    row = sorted(values)
    if not row:
        return Spread(0.0, 0.0)
    return Spread(_at(row, 0.5), _at(row, 0.9))


def _at(row: Sequence[float], share: float) -> float:
    """The percentile of a sorted row, between its neighbours by rank."""
    place = share * (len(row) - 1)
    low = int(place)
    high = min(low + 1, len(row) - 1)
    return row[low] + (row[high] - row[low]) * (place - low)


def _worker(
    outcomes: Sequence[Outcome],
    work: Callable[[Outcome], Work | None],
    state: Callable[[Outcome], State | None],
) -> Worker | None:
    rows = [(o.mendable, work(o), state(o)) for o in outcomes]
    done = [(m, w, s) for m, w, s in rows if w is not None and s is not None]
    if not done:
        return None

    def share(name: str, mendable_only: bool) -> Share:
        these = [getattr(s, name) for m, _, s in done if m or not mendable_only]
        return Share(sum(these), len(these))

    names = ("in_tolerance", "near_best", "belongs")
    return Worker(
        {k: _spread(getattr(w, k) for _, w, _ in done) for k in WORK},
        *(share(n, True) for n in names),
        *(share(n, False) for n in names),
    )


def summary(procedure: str, family: str, meter: str | None, outcomes: Sequence[Outcome]) -> Summary:
    """The statistics of a trial."""
    routine = _worker(outcomes, lambda o: o.work, lambda o: o.state)
    if routine is None:
        raise ValueError("A trial without an engine has no statistics.")
    patient = _worker(outcomes, lambda o: o.patient_work, lambda o: o.patient)
    jets = Counter(pair for o in outcomes for pair in o.jets)
    words = ("small", "right", "large", "withheld")
    table = {true: {said: jets[true, said] for said in words} for true in words[:3]}
    judged = sum(n for (_, said), n in jets.items() if said != "withheld")
    kinds = sorted({k for o in outcomes for k in o.named})
    lost = [o for o in outcomes if not o.mendable]
    ok = [o for o in outcomes if o.outcome == "ok"]
    known = dict(
        jets_named=Share(sum(o.jets_named[0] for o in outcomes), sum(o.jets_named[1] for o in outcomes)),
        jets_judged=Share(judged, sum(jets.values())),
        needless=Share(sum(o.needless > 0 for o in outcomes), len(outcomes)),
        unmendable_named=Share(sum(o.says_why for o in lost), len(lost)),
        ok_in_tolerance=Share(sum(o.state.in_tolerance for o in ok), len(ok)),
    )
    return Summary(
        procedure=procedure,
        family=family,
        meter=meter,
        engines=len(outcomes),
        mendable=sum(o.mendable for o in outcomes),
        outcomes=dict(Counter(o.outcome for o in outcomes)),
        routine=routine,
        patient=patient,
        all_knowing=_worker(outcomes, lambda o: o.best_work, lambda o: o.best),
        jets=table,
        faults_named={
            k: Share(sum(o.named.get(k, (0, 0))[0] for o in outcomes), sum(o.named.get(k, (0, 0))[1] for o in outcomes))
            for k in kinds
        },
        problems=tuple(f"engine {o.seed}: {o.problem}" for o in outcomes if o.problem),
        criteria=_criteria(meter, routine, patient, known),
        **known,
    )


def _criteria(
    meter: str | None,
    routine: Worker,
    patient: Worker | None,
    known: Mapping[str, Share],
) -> tuple[Criterion, ...]:
    wanted = WANTED["meter" if meter else "gauge only"]

    def ratio(kind: str) -> float | None:
        if patient is None or not patient.work[kind].median:
            return None
        return routine.work[kind].median / patient.work[kind].median

    return (
        Criterion("in tolerance, of mendable engines", routine.in_tolerance.value, wanted.in_tolerance, False),
        Criterion("every cylinder near its best", routine.near_best.value, wanted.near_best, False),
        Criterion("every cylinder where it belongs", routine.belongs.value, wanted.belongs, False),
        Criterion("moves against the patient technician", ratio("moves"), wanted.moves, True),
        Criterion("measuring rounds against the patient technician", ratio("rounds"), wanted.rounds, True),
        Criterion(
            "wrong idle jets named, or withheld for a true reason", known["jets_named"].value, wanted.jets_named, False
        ),
        Criterion("barrels on which a verdict is given", known["jets_judged"].value, wanted.jets_judged, False),
        Criterion("engines with a jet changed needlessly", known["needless"].value, wanted.needless, True),
        Criterion(
            "unmendable engines whose fault is named", known["unmendable_named"].value, wanted.unmendable_named, False
        ),
        Criterion("what ends ok is in tolerance", known["ok_in_tolerance"].value, wanted.ok_in_tolerance, False),
    )


def table(found: Summary) -> str:
    """The trial as a plain table."""
    meter = f"{found.meter} of each cylinder" if found.meter else "speed and airflow gauge only"
    lines = [
        f"{found.procedure}: {found.engines} virtual engines ({found.family}); {meter}",
        f"{found.mendable} mendable by screws and jets",
        f"ends: {', '.join(f'{n} {k}' for k, n in sorted(found.outcomes.items()))}",
        "",
    ]
    who = [("routine", found.routine), ("patient", found.patient), ("all-knowing", found.all_knowing)]
    there = [(n, w) for n, w in who if w is not None]
    lines.append(f"{'median / 90th percentile':34}" + "".join(f"{n:>16}" for n, _ in there))
    for kind in WORK:
        work = [w.work[kind] for _, w in there]
        lines.append(f"{_WORDS[kind]:34}" + "".join(f"{s.median:>9.0f} /{s.p90:>5.0f}" for s in work))
    lines += ["", f"{'of mendable engines':34}" + "".join(f"{n:>16}" for n, _ in there)]
    for key, words in (
        ("in_tolerance", "in tolerance"),
        ("near_best", "every cylinder near its best"),
        ("belongs", "every cylinder where it belongs"),
    ):
        lines.append(f"{words:34}" + "".join(f"{_percent(getattr(w, key)):>16}" for _, w in there))
    said = ("small", "right", "large", "withheld")
    lines += ["", f"{'idle jets, truth below, said:':34}" + "".join(f"{s:>10}" for s in said)]
    lines += [f"{'  ' + true:34}" + "".join(f"{n:>10}" for n in row.values()) for true, row in found.jets.items()]
    lines += ["", "other faults named"]
    lines += [f"  {kind:32}{share}" for kind, share in found.faults_named.items()]
    lines += ["", f"{'':56}{'reached':>9}{'wanted':>10}"]
    for c in found.criteria:
        reached = "not known" if c.reached is None else f"{100 * c.reached:.1f} %"
        sign = "at most" if c.at_most else "at least"
        verdict = {True: "met", False: "MISSED", None: ""}[c.met]
        lines.append(f"{c.name:56}{reached:>9}  {sign} {100 * c.wanted:.0f} %  {verdict}")
    if found.problems:
        lines += ["", f"runs that did not end by themselves: {len(found.problems)}"]
        lines += [f"  {p}" for p in found.problems[:10]]
    return "\n".join(lines)


def _percent(share: Share) -> str:
    return "none" if share.value is None else f"{100 * share.value:.1f} %"
