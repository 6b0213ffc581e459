"""Runs a procedure over many random engines, closed-loop through the session of a real job, and judges by the truth.

Each engine gets a job, a book in memory, a session and a pair of hands; beside it the two technicians of reference
work on fresh copies of the same engine. The registry of advisers is handed in. Workers are spawned.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from engine.bench.technicians.all_knowing import all_knowing, mendable
from engine.bench.technicians.hands import Hands, Work
from engine.bench.technicians.patient import Patient
from engine.bench.trial.fleet import SIDEDRAUGHT, Specimen, random_engine, random_job
from engine.bench.trial.judging import JetWatch, State, found_faults, judged, names
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
class Outcome:
    """One engine, tried. `problem`: why the run did not end by itself, if so. The references' work and state beside."""

    seed: int
    faults: tuple[str, ...]
    mendable: bool
    outcome: str
    say: str
    state: State
    work: Work
    jets: tuple[tuple[str, str], ...]
    jets_named: tuple[int, int]
    needless: int
    named: Mapping[str, tuple[int, int]]
    says_why: bool
    problem: str | None = None
    patient: State | None = None
    patient_work: Work | None = None
    best: State | None = None
    best_work: Work | None = None


class _Listening(Mapping[str, Any]):
    """The registry, with an ear at the adviser that judges jets."""

    def __init__(self, registry: Mapping[str, Any], watch: JetWatch) -> None:
        self._registry, self._watch = registry, watch
        self._heard = {n: self._with_ear(a) for n, a in registry.items() if "jets" in n}

    def _with_ear(self, adviser: Any) -> Any:
        def run(job: Job, inputs: Any, evidence: Any) -> Any:
            advice = adviser.run(job, inputs, evidence)
            self._watch.heard(advice)
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


def try_one(program: Program, advisers: Mapping[str, Any], plan: TrialPlan, seed: int) -> Outcome:
    """Run the procedure on engine number `seed` and judge it; the references on copies of it."""
    specimen = specimen_of(plan, seed)
    engine = specimen.engine()
    hands, watch = Hands(engine), JetWatch(engine)
    book = Book.memory()
    ears = _Listening(advisers, watch)
    session = Session.start(program, specimen.job, book=book, advisers=ears, clock=lambda: _CLOCK)
    raised, problem = play(session, hands, watch)
    end = session.view.end
    standing = list(end.findings) if end is not None else []
    state = judged(engine)
    best_engine = specimen.engine()
    best_work = all_knowing(best_engine)
    can = mendable(best_engine)
    plates = [f for f in engine.faults if f.kind in ("plate out of step", "twisted spindle")]
    worst = max(plates, key=lambda f: abs(f.size), default=None)
    out = Outcome(
        seed=seed,
        faults=tuple(f.kind for f in specimen.faults),
        mendable=can,
        outcome=end.outcome if end else "unfinished",
        say=end.say if end else "",
        state=state,
        work=hands.work,
        jets=watch.verdicts(),
        jets_named=watch.named(),
        needless=watch.needless,
        named=found_faults(engine, raised),
        problem=problem,
        says_why=worst is not None and names(engine, worst, standing),
    )
    if not plan.references:
        return out
    patient_engine = specimen.engine()
    patient_work = Patient(patient_engine).run()
    return replace(
        out, patient=judged(patient_engine), patient_work=patient_work, best=judged(best_engine), best_work=best_work
    )


def specimen_of(plan: TrialPlan, seed: int) -> Specimen:
    """Engine number `seed` of the plan's family, with its meters."""
    return random_engine(seed, random_job(seed, plan.family, **plan.instruments), plan.fleet)


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


def _end_with_parent() -> None:
    """In a worker: end when the process that started it has ended, however it did."""

    def wait() -> None:
        parent = multiprocessing.parent_process()
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


def run(
    plan: TrialPlan,
    seeds: Sequence[int],
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> list[Outcome]:
    """Try every engine of `seeds`, in their order; `progress(done, of)` after each. Raises `Unsound`."""
    loaded(plan)
    out: list[Outcome] = []
    if workers <= 1:
        for seed in seeds:
            out.append(_work((plan, seed)))
            if progress:
                progress(len(out), len(seeds))
        return out
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=spawn, initializer=_end_with_parent) as pool:
        for one in pool.map(_work, [(plan, s) for s in seeds], chunksize=max(1, min(8, len(seeds) // (4 * workers)))):
            out.append(one)
            if progress:
                progress(len(out), len(seeds))
    return out
