"""What a run shows of its readings: how they were taken, whether they are old, how long the engine ran, and the search
of one mixture screw."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest

from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.evidence import Place
from engine.job.model import Job
from engine.procedure.build.load import load
from engine.session.latest import by_turning
from engine.session.session import Answer, Session
from engine.session.view import Latest, View

FILE = """
procedure: search
title: A search by hand
revision: 1
for: {family: sidedraught pair, carbs: 2, barrels_per_carb: 1}
declares: {families: {sidedraught pair: two bodies of a test}}
screws:
  mixture_screw: {each: carb, acts: mixture, at: jet, in: leaner, unit: turn, zero: seated, range: [0, 8]}
readings:
  flow: {ask: Airflow, quantity: airflow, each: carb, unit: kg/h, range: [0, 40], step: 0.1}
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 6000], step: 1}
  coolant:
    {ask: Coolant, quantity: coolant temperature, unit: degC, range: [-30, 130], step: 1, healthy: {from: 78, to: 92}}
start: found
steps:
  found:
    phase: as found
    state: {engine: running, hold: none}
    do: Read it.
    read: [coolant, flow]
    record: as found
    go: held
  held:
    state: {hold: 1800 rpm}
    do: Read it held.
    read: [flow]
    go: zero
  zero:
    state: {engine: stopped, hold: none}
    do: Set them.
    moves: [{screw: mixture_screw, each: carb, to: 1 turn}]
    go: first
  first:
    phase: mixture
    state: {engine: running}
    do: Read the speed.
    read: [speed]
    record: as left
    go: one
  one:
    do: Turn the first.
    moves: [{screw: mixture_screw, only: [{carb: 1}], by: 1/2 turn, direction: out}]
    read: [speed]
    go: other
  other:
    do: Turn the other.
    moves: [{screw: mixture_screw, only: [{carb: 2}], by: 1/2 turn, direction: out}]
    read: [speed]
    go: again
  again:
    do: And the first again.
    moves: [{screw: mixture_screw, only: [{carb: 1}], by: 1/2 turn, direction: out}]
    read: [speed]
    go: both
  both:
    do: And both.
    moves: [{screw: mixture_screw, each: carb, by: 1/2 turn, direction: out}]
    read: [speed]
    go: done
  done: {end: ok, say: Done.}
"""
JOB = {
    "engine": {"cylinders": 2, "displacement": "500 cc", "idle_speed": "900 rpm"},
    "bank": {"family": "sidedraught pair", "carbs": 2, "barrels_per_carb": 1},
}


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Any]:
    """A run whose clock goes on by ten minutes an answer."""
    path = tmp_path / "search.yaml"
    path.write_text(FILE, encoding="utf-8")
    loaded = load(path, (tmp_path,), shipped())
    assert loaded.program is not None, [str(p) for p in loaded.problems]
    minutes = iter(range(0, 600, 10))

    def clock() -> str:
        now = next(minutes)
        return f"2031-05-01T{8 + now // 60:02d}:{now % 60:02d}:00"

    book = Book.memory()
    yield Session.start(loaded.program, Job.model_validate(JOB), book=book, advisers=shipped(), clock=clock)
    book.close()


def give(run: Session, **readings: Any) -> View:
    answer = Answer(readings=readings, understood=True) if readings else Answer(done=True, understood=True)
    reply = run.answer(answer)
    assert reply.problem is None, reply.problem
    return run.view


def row(view: View, name: str) -> Latest:
    return next(each for each in view.latest if each.name == name)


def test_a_row_says_how_it_was_taken_and_that_it_is_as_found(run: Session) -> None:
    flow = row(give(run, coolant=85, flow=[5, 6]), "flow")
    assert (flow.hold, flow.found, flow.since) == ("idle", True, "")
    assert flow.at.startswith("2031-05-01")


def test_rows_of_a_held_speed_are_never_compared_with_those_of_idle(run: Session) -> None:
    give(run, coolant=85, flow=[5, 6])
    flow = row(give(run, flow=[20, 23]), "flow")
    assert (flow.hold, flow.found, flow.spreads) == ("1800 rpm", False, (F(3),))


def test_what_was_read_before_a_screw_was_turned_is_old(run: Session) -> None:
    give(run, coolant=85, flow=[5, 6])
    assert row(give(run, flow=[20, 23]), "flow").since == ""
    assert row(give(run), "flow").since == "a screw was turned"


def test_minutes_count_while_the_engine_runs_and_hot_ones_since_it_was_read_hot(run: Session) -> None:
    view = give(run, coolant=85, flow=[5, 6])
    assert view.hours is not None and (view.hours.running, view.hours.hot) == (10, 0)
    view = give(run, flow=[20, 23])
    assert view.hours is not None and (view.hours.running, view.hours.hot) == (20, 10)
    view = give(run)
    assert view.hours is not None and (view.hours.running, view.hours.hot) == (20, None), "it was stopped"
    view = give(run, speed=900)
    assert view.hours is not None and (view.hours.running, view.hours.hot) == (30, None)


def test_a_cold_engine_is_not_called_hot(run: Session) -> None:
    view = give(run, coolant=50, flow=[5, 6])
    assert view.hours is not None and view.hours.hot is None


def test_the_search_shows_each_reading_where_the_screw_stood(run: Session) -> None:
    for answer in ({"coolant": 85, "flow": [5, 6]}, {"flow": [20, 23]}, {}, {"speed": 900}):
        view = give(run, **answer)
    assert view.sweep is not None
    assert (view.sweep.place, view.sweep.quantity, view.sweep.to) == (Place(1), "engine speed", F(3, 2))
    assert [(s.position, s.value, s.alone) for s in view.sweep.spots] == [(F(1), F(900), True)]
    give(run, speed=930)
    view = give(run, speed=950)
    assert view.sweep is not None and view.sweep.to == F(2)
    # The other screw has been turned since: the first two readings were taken with it elsewhere.
    said = [(s.position, s.value, s.alone) for s in view.sweep.spots]
    assert said == [(F(1), F(900), False), (F(3, 2), F(930), False), (F(3, 2), F(950), True)]


def test_every_mixture_screw_that_is_in_hand_has_its_search(run: Session) -> None:
    for answer in ({"coolant": 85, "flow": [5, 6]}, {"flow": [20, 23]}, {}, {"speed": 900}):
        view = give(run, **answer)
    assert [s.place for s in view.sweeps] == [Place(1)], "one is turned at this step"
    for speed in (930, 950, 960):
        view = give(run, speed=speed)
    assert [(s.place, s.to) for s in view.sweeps] == [(Place(1), F(5, 2)), (Place(2), F(2))]


def test_a_step_that_names_no_phase_stands_where_the_work_was(run: Session) -> None:
    assert run.view.phase == "as found"
    assert give(run, coolant=85, flow=[5, 6]).phase == "as found"
    for answer in ({"flow": [20, 23]}, {}):
        view = give(run, **answer)
    assert view.phase == "mixture"
    assert give(run, speed=900).phase == "mixture"


def test_nobody_who_says_nothing_of_a_crest_is_made_to(run: Session) -> None:
    for answer in ({"coolant": 85, "flow": [5, 6]}, {"flow": [20, 23]}, {}, {"speed": 900}):
        view = give(run, **answer)
    assert view.sweep is not None
    assert (view.sweep.best, view.sweep.low, view.sweep.high, view.sweep.expect) == (None, None, None, None)


def test_the_steps_left_are_the_fewest_that_can_still_come(run: Session) -> None:
    left = [run.view.steps_left]
    for answer in ({"coolant": 85, "flow": [5, 6]}, {"flow": [20, 23]}, {}, {"speed": 900}, {"speed": 930}):
        left.append(give(run, **answer).steps_left)
    assert left == [8, 7, 6, 5, 4, 3]
    for answer in ({"speed": 950}, {"speed": 940}, {"speed": 945}):
        view = give(run, **answer)
    assert view.end is not None and view.steps_left == 0


@pytest.mark.parametrize("name", ["twin-choke-sidedraught", "constant-depression", "motorcycle-bank"])
def test_no_way_of_a_handful_of_steps_leads_through_a_shipped_routine(name: str) -> None:
    from engine.procedure.build.load import load as load_shipped
    from engine.run.layout import prepare
    from engine.run.machine import begin
    from engine.session.ahead import steps_left
    from engine.session.consult import Live

    folder = Path(__file__).parents[3] / "procedures"
    program = load_shipped(folder / f"{name}.yaml", (folder,), shipped()).program
    assert program is not None
    layout = program.files[program.main].layout
    carbs, barrels = layout.carbs[0], layout.barrels_per_carb[0]
    facts = {
        "engine": {"cylinders": carbs * barrels, "displacement": "1500 cc", "idle_speed": "900 rpm"},
        "bank": {"family": layout.families[0], "carbs": carbs, "barrels_per_carb": barrels},
    }
    plan = prepare(program, Job.model_validate(facts), {})
    state, _ = begin(plan, Live(shipped(), plan.job, plan.main.procedure.terms))
    fewest = steps_left(plan, state)
    # The shipped routines measure, set and hand over: no way of a handful of steps leads through one.
    assert fewest is not None and 10 <= fewest <= 60


def test_a_turned_screw_makes_no_level_old_and_a_changed_part_does() -> None:
    assert by_turning("idle", "airflow") and by_turning("1800 rpm", "engine speed")
    assert by_turning("stopped", "mixture screw position")
    assert not by_turning("stopped", "fuel level") and not by_turning("stopped", "compression")
