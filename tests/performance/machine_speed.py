"""Steps per second through the run's own step function, beside three state machine libraries; folding a record."""

from __future__ import annotations

import contextlib
import gc
import tempfile
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import flat
from figure import Figure

from engine.book import codec
from engine.book.book import Book
from engine.run.admit import admit
from engine.run.answer import Answer
from engine.run.events import Event
from engine.run.layout import prepare
from engine.run.machine import begin, step
from engine.session.session import Session, folded

ROUNDS = 30
EVENTS = 10_000


def figures() -> Iterator[Figure]:
    """The lines of the table."""
    values = flat.readings()
    rates, visited = {}, {}
    for name, build in {"transitions": _transitions, "python-statemachine": _statemachine, "sismic": _sismic}.items():
        with contextlib.suppress(ImportError):
            rates[name], visited[name] = _rate(build(), values)
    ours, where = _ours(values)
    for name, seen in visited.items():
        assert seen == where, f"{name} does not visit the same steps"
    for name, rate in rates.items():
        yield Figure(f"steps per second, {name}", f"{rate:,.0f}")
    fastest = max(rates.values(), default=None)
    goal = "at least 5 x the fastest" if fastest else "(install the bench extra)"
    yield Figure("steps per second, our step function", f"{ours:,.0f}", goal, fastest and ours >= 5 * fastest)
    if fastest:
        yield Figure("  as a multiple of the fastest", f"{ours / fastest:.1f}")
    admitted = _admitted(values)
    yield Figure(
        "  with the answer's admission (names, ranges)", f"{admitted:,.0f}", "at least 78,000", admitted >= 78e3
    )
    yield from _fold(values)
    yield from _append()


def _best(once: Callable[[], float]) -> float:
    gc.disable()
    try:
        return max(once() for _ in range(ROUNDS))
    finally:
        gc.enable()


def _rate(
    machine: tuple[Callable[[], None], Callable[[int], None], Callable[[], str]], values: list[int]
) -> tuple[float, list[str]]:
    reset, send, state = machine
    reset()
    seen = []
    for value in values:
        send(value)
        seen.append(state())

    def once() -> float:
        reset()
        began = time.perf_counter()
        for value in values:
            send(value)
        return len(values) / (time.perf_counter() - began)

    return _best(once), seen


def _ours(values: list[int]) -> tuple[float, list[str]]:
    plan = prepare(flat.program(), flat.JOB)
    events, seen = [], []
    state, _ = begin(plan, _nobody)
    for value in values:
        events.append(Event("readings", {f"r{state.frame.at.name[1:]}": Fraction(value)}))
        state, _ = step(plan, state, events[-1], _nobody)
        seen.append(state.frame.at.name)

    def once() -> float:
        state, _ = begin(plan, _nobody)
        began = time.perf_counter()
        for event in events:
            state, _ = step(plan, state, event, _nobody)
        return len(events) / (time.perf_counter() - began)

    return _best(once), seen


def _admitted(values: list[int]) -> float:
    plan = prepare(flat.program(), flat.JOB)

    def once() -> float:
        state, _ = begin(plan, _nobody)
        began = time.perf_counter()
        for value in values:
            answer = Answer(readings={f"r{state.frame.at.name[1:]}": value})
            state, _ = step(plan, state, admit(plan, state, answer), _nobody)
        return len(values) / (time.perf_counter() - began)

    return _best(once)


def _nobody(request: Any) -> Any:
    raise AssertionError("nothing is advised in this workload")


def _fold(values: list[int]) -> Iterator[Figure]:
    """A record of many answers, read from a book on disk, its chain checked, folded again."""
    plan = prepare(flat.program(), flat.JOB)
    with tempfile.TemporaryDirectory() as folder:
        book = Book.open(Path(folder) / "jobs.book")
        session = Session.start(flat.program(), flat.JOB, book=book, advisers={}, clock=lambda: "2031-05-04T10:00:00")
        book._db.execute("PRAGMA synchronous = OFF")
        for index in range(EVENTS):
            session.answer(Answer(readings={f"r{session.state.frame.at.name[1:]}": values[index % len(values)]}))
        took = []
        for _ in range(5):
            began = time.perf_counter()
            state = folded(plan, [codec.body_of(e) for e in book.events(session.run)])
            took.append(time.perf_counter() - began)
        assert state.seq == EVENTS
        assert state.frame.at.name == session.state.frame.at.name
        book.close()
    yield Figure(
        f"{EVENTS:,} events read, checked and folded again",
        f"{min(took) * 1000:,.0f} ms",
        "at most 200 ms",
        min(took) <= 0.2,
    )


def _append() -> Iterator[Figure]:
    """Answers through a session with a book on disk, every one committed."""
    with tempfile.TemporaryDirectory() as folder:
        book = Book.open(Path(folder) / "jobs.book")
        session = Session.start(flat.program(), flat.JOB, book=book, advisers={})
        took = []
        for value in flat.readings():
            began = time.perf_counter()
            session.answer(Answer(readings={f"r{session.state.frame.at.name[1:]}": value}))
            took.append(time.perf_counter() - began)
        book.close()
    took.sort()
    yield Figure(
        "an answer: admitted, stepped, committed (median, p95)",
        f"{took[len(took) // 2] * 1000:.2f}, {took[len(took) * 95 // 100] * 1000:.2f} ms",
    )


# ---- the others, each in its own manner, on the same workload


def _transitions() -> tuple[Callable[[], None], Callable[[int], None], Callable[[], str]]:
    from transitions import Machine

    class Model:
        value = 0
        state = "s0"

    model = Model()
    machine = Machine(model, states=[f"s{i}" for i in range(flat.STEPS)], initial="s0", auto_transitions=False)

    def between(low: int, high: int) -> Callable[[], bool]:
        return lambda: low <= model.value < high

    for i in range(flat.STEPS):
        for low, high, to in flat.exits(i):
            machine.add_transition("read", f"s{i}", f"s{to}", conditions=between(low, high))

    def send(value: int) -> None:
        model.value = value
        model.read()  # type: ignore[attr-defined]

    def reset() -> None:
        model.state = "s0"

    return reset, send, lambda: model.state


def _statemachine() -> tuple[Callable[[], None], Callable[[int], None], Callable[[], str]]:
    from statemachine import State, StateMachine

    def between(low: int, high: int) -> Callable[..., bool]:
        def holds(machine: Any) -> bool:
            return low <= machine.value < high

        return holds

    states = {f"s{i}": State(initial=i == 0) for i in range(flat.STEPS)}
    body: dict[str, Any] = {"value": 0, **states}
    event = None
    for i in range(flat.STEPS):
        for k, (low, high, to) in enumerate(flat.exits(i)):
            name = f"holds_{i}_{k}"
            body[name] = between(low, high)
            one = states[f"s{i}"].to(states[f"s{to}"], cond=name)
            event = one if event is None else event | one
    body["read"] = event
    kind = type("Flat", (StateMachine,), body)
    held: dict[str, Any] = {}

    def reset() -> None:
        held["machine"] = kind()

    def send(value: int) -> None:
        machine = held["machine"]
        machine.value = value
        machine.read()

    return reset, send, lambda: next(iter(held["machine"].configuration)).id


def _sismic() -> tuple[Callable[[], None], Callable[[int], None], Callable[[], str]]:
    from sismic.interpreter import Interpreter
    from sismic.model import BasicState, CompoundState, Statechart, Transition

    chart = Statechart("flat")
    chart.add_state(CompoundState("all", initial="s0"), parent=None)
    for i in range(flat.STEPS):
        chart.add_state(BasicState(f"s{i}"), parent="all")
    for i in range(flat.STEPS):
        for low, high, to in flat.exits(i):
            chart.add_transition(Transition(f"s{i}", f"s{to}", event="read", guard=f"{low} <= event.value < {high}"))
    held: dict[str, Any] = {}

    def reset() -> None:
        held["it"] = Interpreter(chart)
        held["it"].execute()

    def send(value: int) -> None:
        held["it"].queue("read", value=value)
        held["it"].execute_once()

    return reset, send, lambda: next(s for s in held["it"].configuration if s != "all")
