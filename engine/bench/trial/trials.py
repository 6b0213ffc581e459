"""Runs a procedure over many random engines, closed-loop through the session of a real job, and judges by the truth.

Each engine gets a job, a book in memory, a session and a pair of hands that mend leaks and levels when they find them;
beside it the technicians of reference work on fresh copies of the same engine. The registry of advisers is handed in.
Workers are spawned.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians.all_knowing import all_knowing, mendable
from engine.bench.technicians.hands import Hands, Work
from engine.bench.technicians.patient import Patient
from engine.bench.technicians.plain_ones import MidBand, Sweeper
from engine.bench.trial.claims import Claim, ClaimWatch
from engine.bench.trial.fleet import SIDEDRAUGHT, Counts, Specimen, random_engine, random_job
from engine.bench.trial.jet_watch import Fate, JetWatch
from engine.bench.trial.judging import State, found_faults, judged, names, said_mute
from engine.book.book import Book
from engine.evidence import Finding
from engine.job.model import Job
from engine.procedure.build.load import load
from engine.procedure.program import Program
from engine.protocol.talk import parse_answer, step_message
from engine.session.session import Session

#: No run of a sound procedure needs more answers than this; a trial that does is reported as unfinished.
MOST_ANSWERS = 1500
_CLOCK = "2000-01-01T00:00:00+00:00"


@dataclass(frozen=True, slots=True)
class TrialPlan:
    """What a trial runs: a procedure by name or path, where to look, the makers of the registry, the shop's meters."""

    procedure: str
    search: tuple[Path, ...]
    advisers: Callable[[], Mapping[str, Any]]
    family: str = SIDEDRAUGHT
    counts: Counts | None = None  # of bodies and barrels that the procedure is for
    job: str | None = None  # as JSON: every engine is one of this job; None: drawn
    meter: str | None = None  # None, "lambda" or "co", a cylinder at a time
    references: bool = True
    fleet: str = "varied"
    tachometer: float | None = None  # the step of every engine's; None: as drawn

    @property
    def instruments(self) -> dict[str, Any]:
        """Fields of the job for the meters of this trial."""
        tools: dict[str, Any] = {f"{self.meter}_meter": True} if self.meter else {}
        return tools | ({"tachometer_step": self.tachometer} if self.tachometer else {})


@dataclass(frozen=True, slots=True)
class Reference:
    """What a technician of reference did to a copy of the engine."""

    state: State
    work: Work


@dataclass(frozen=True, slots=True)
class Outcome:
    """One engine, tried. `problem`: why the run did not end by itself, if so.

    Pairs are (so many, of so many): `accused` sound jets with a standing finding, `mute` working screws said not to
    answer, `named` faults by kind. `fates` counts what became of the wrong jets.
    """

    seed: int
    faults: tuple[str, ...]
    mendable: bool
    outcome: str
    say: str
    state: State
    work: Work
    jets: tuple[tuple[str, str], ...]
    fates: Mapping[Fate, int]
    accused: tuple[int, int]
    wrong_left: int
    needless: int
    claims: tuple[Claim, ...]
    barrels: int
    mute: tuple[int, int]
    named: Mapping[str, tuple[int, int]]
    says_why: bool
    problem: str | None = None
    references: Mapping[str, Reference] = field(default_factory=dict)


class _Listening(Mapping[str, Any]):
    """The registry, with an ear at the advisers whose names tell what they judge."""

    def __init__(self, registry: Mapping[str, Any], ears: Mapping[str, Callable[[Any], None]]) -> None:
        self._registry = registry
        self._heard = {n: self._with_ear(a, ears[w]) for n, a in registry.items() for w in ears if w in n}

    @staticmethod
    def _with_ear(adviser: Any, ear: Callable[[Any], None]) -> Any:
        def run(job: Job, inputs: Any, evidence: Any) -> Any:
            advice = adviser.run(job, inputs, evidence)
            ear(advice)
            return advice

        return replace(adviser, run=run)

    def __getitem__(self, name: str) -> Any:
        return self._heard.get(name) or self._registry[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._registry)

    def __len__(self) -> int:
        return len(self._registry)


def play(
    session: Session,
    hands: Hands,
    watch: JetWatch | None = None,
    most: int = MOST_ANSWERS,
) -> tuple[list[Finding], str | None]:
    """Let hands answer a session until it ends; every finding that was raised, and why it did not end, if so."""
    raised: list[Finding] = []
    for _ in range(most):
        if session.over:
            return raised, None
        step = step_message(session.view)
        reply = session.answer(parse_answer(hands.answer(step)))
        if reply.recorded is None:
            return raised, f"{step['step']}: {reply.problem}"
        raised += reply.findings
        if watch is not None:
            watch.fitted()
    return raised, None if session.over else f"no end after {most} answers"


#: The technicians of reference, in the order of the table.
REFERENCES: Mapping[str, Callable[[VirtualEngine], Work]] = {
    "patient": lambda engine: Patient(engine).run(),
    "mid band": lambda engine: MidBand(engine).run(),
    "sweeper": lambda engine: Sweeper(engine).run(),
}


def try_one(program: Program, advisers: Mapping[str, Any], plan: TrialPlan, seed: int) -> Outcome:
    """Run the procedure on engine number `seed` and judge it; the references on copies of it."""
    specimen = specimen_of(plan, seed)
    engine = specimen.engine()
    hands, jets, claims = Hands(engine, mends=True), JetWatch(engine), ClaimWatch(engine)
    ears = _Listening(advisers, {"jets": jets.heard, "mixture": claims.heard})
    session = Session.start(program, specimen.job, book=Book.memory(), advisers=ears, clock=lambda: _CLOCK)
    raised, problem = play(session, hands, jets)
    end = session.view.end
    standing = list(end.findings) if end is not None else []
    best = specimen.engine()
    best_work = all_knowing(best)
    plates = [f for f in engine.faults if f.kind in ("plate out of step", "twisted spindle")]
    worst = max(plates, key=lambda f: abs(f.size), default=None)
    out = Outcome(
        seed=seed,
        faults=tuple(f.kind for f in specimen.faults),
        mendable=mendable(best),
        outcome=end.outcome if end else "unfinished",
        say=end.say if end else "",
        jets=jets.verdicts(standing),
        fates=jets.fates(standing),
        accused=jets.accused(standing),
        wrong_left=jets.wrong_left(),
        needless=jets.needless,
        claims=claims.claims,
        barrels=sum(engine.body.feeds),
        mute=said_mute(engine, raised),
        named=found_faults(engine, raised),
        says_why=worst is not None and names(engine, worst, standing),
        state=judged(engine),
        work=hands.work,
        problem=problem,
    )
    if not plan.references:
        return out
    copies = {name: specimen.engine() for name in REFERENCES}
    beside = {name: Reference(work=does(copies[name]), state=judged(copies[name])) for name, does in REFERENCES.items()}
    return replace(out, references=beside | {"all-knowing": Reference(judged(best), best_work)})


def specimen_of(plan: TrialPlan, seed: int) -> Specimen:
    """Engine number `seed` of the plan's job, or of its family and counts, with its meters."""
    if plan.job is None:
        return random_engine(seed, random_job(seed, plan.family, plan.counts, **plan.instruments), plan.fleet)
    known = Job.model_validate_json(plan.job)
    tools = known.instruments.model_dump(mode="json") | plan.instruments
    job = Job.model_validate(known.model_dump(mode="json") | {"instruments": tools})
    return random_engine(seed, job, plan.fleet)


class Unsound(ValueError):
    """The procedure does not load; the message lists its problems, one a line."""


def loaded(plan: TrialPlan) -> tuple[Program, Mapping[str, Any]]:
    """The program and the registry of a plan. Raises `Unsound`."""
    advisers = plan.advisers()
    found = load(plan.procedure, list(plan.search), advisers)
    if found.program is None:
        raise Unsound("\n".join(str(p) for p in found.problems))
    return found.program, advisers


_AT_HAND: dict[TrialPlan, tuple[Program, Mapping[str, Any]]] = {}


def _work(job: tuple[TrialPlan, int]) -> Outcome:
    """One engine in a worker, which loads the procedure once."""
    plan, seed = job
    if plan not in _AT_HAND:
        _AT_HAND[plan] = loaded(plan)
    return try_one(*_AT_HAND[plan], plan, seed)


class WorkerLost(ValueError):
    """A worker process died; the message says what to do."""


def _begin() -> None:
    """A worker leaves an interrupt to its parent, and ends when its parent is gone, however that went."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()

    def ends_with_it() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=ends_with_it, daemon=True).start()


def run(
    plan: TrialPlan,
    seeds: Sequence[int],
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> list[Outcome]:
    """Try every engine of `seeds`, in their order; `progress(done, of)` after each. Raises `Unsound`, `WorkerLost`.

    However it ends, its workers end with it.
    """
    loaded(plan)
    out: list[Outcome] = []

    def note(one: Outcome) -> None:
        out.append(one)
        if progress:
            progress(len(out), len(seeds))

    if workers <= 1 or len(seeds) < 2:
        for seed in seeds:
            note(_work((plan, seed)))
        return out
    pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_begin)
    try:
        for one in pool.map(_work, [(plan, s) for s in seeds]):
            note(one)
    except BrokenProcessPool:
        raise WorkerLost("A worker process was ended from outside. Try again with fewer --workers.") from None
    except BaseException:
        for worker in multiprocessing.active_children():
            worker.terminate()
        raise
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
    return out
