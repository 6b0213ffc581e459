"""What a vehicle's last visit left is what its recheck starts from: found in the book, stored with the run."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from engine.bench.technicians.hands import Hands
from engine.bench.trial.fleet import faulted, random_job
from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.job.model import Job, LastVisit
from engine.procedure.build.load import load
from engine.protocol.talk import parse_answer, step_message
from engine.session.session import Session

PROCEDURES = Path(__file__).parents[3] / "procedures"


def of(plate: str) -> Job:
    """An invented single-carburettor car with this registration."""
    told = random_job(3, "single downdraught").model_dump(mode="json")
    return Job.model_validate(told | {"vehicle": {"registration": plate}})


def visit(book: Book, job: Job, hands: Hands, way: str, day: str) -> tuple[Session, list[str]]:
    """One visit from as found to as left; what was proposed, and how many steps it took."""
    program = load("single-carburettor", (PROCEDURES,), shipped()).program
    session = Session.start(program, job, book=book, advisers=shipped(), clock=lambda: f"{day}T00:00:00+00:00")
    steps = []
    while not session.over and len(steps) < 300:
        message = step_message(session.view)
        steps.append(message["do"] if message["title"] == "How far back?" else message["step"])
        given = hands.answer(message)
        if "how_far" in given.get("readings", {}):
            given["readings"]["how_far"] = way
        assert session.answer(parse_answer(given)).recorded is not None
    return session, steps


@pytest.fixture(scope="module")
def visits():
    """A full routine, and the recheck after it, of one car on one book."""
    book, job = Book.memory(), of("SAMPLE 1")
    hands = Hands(faulted(job, [], 3).engine())
    first = visit(book, job, hands, "full routine from zero", "2000-01-01")
    return book, first, visit(book, job, hands, "recheck only", "2000-02-01")


def test_a_first_visit_has_nothing_to_start_from(visits):
    _, (session, _), _ = visits
    assert session.plan.job.last_visit == LastVisit()


def test_a_recheck_starts_from_what_the_last_visit_left(visits):
    _, (before, _), (session, steps) = visits
    left, end = session.plan.job.last_visit, before.view.end
    assert left.job == 1 and left.day == "2000-01-01"
    assert left.mixture_screws == end.as_left["mixture_screw"].row
    assert left.idle_speed == next(x.row[0] for x in end.as_left.values() if x.quantity == "engine speed")
    assert any("as it left here last time" in step for step in steps)
    assert len(steps) < 30 and session.view.end.outcome == "ok"


def test_the_run_keeps_it_and_opens_with_it(visits):
    book, _, (session, _) = visits
    again = Session.reopen(book, session.run, advisers=shipped(), reading=True)
    assert again.plan.job.last_visit == session.plan.job.last_visit


def test_another_vehicle_of_the_book_is_no_last_visit(visits):
    book, _, _ = visits
    job = of("SAMPLE 2")
    program = load("single-carburettor", (PROCEDURES,), shipped()).program
    assert Session.start(program, job, book=book, advisers=shipped()).plan.job.last_visit == LastVisit()


def test_a_job_file_may_name_it_and_then_the_book_is_not_asked(visits):
    book, _, _ = visits
    told = of("SAMPLE 1").model_dump(mode="json") | {"last_visit": {"idle_speed": "870 rpm"}}
    program = load("single-carburettor", (PROCEDURES,), shipped()).program
    session = Session.start(program, Job.model_validate(told), book=book, advisers=shipped())
    assert session.plan.job.last_visit.idle_speed == Fraction(870)
