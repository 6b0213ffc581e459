"""Runs of the two valves: the procedure of the made-up trade, its job, and answers that lead through all of it."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from water_trade import ADVISERS, water_job

from engine.book.book import Book
from engine.job.model import Job
from engine.procedure.build.load import load
from engine.procedure.program import Program
from engine.session.session import Answer, Session

PROCEDURES = Path(__file__).parent / "conformance"
CLOCK = "2031-05-04T10:00:00+00:00"


@cache
def valves() -> Program:
    """The two valves and the file that their symptom calls."""
    return written(PROCEDURES / "balance_two_valves.yaml")


def written(path: Path) -> Program:
    """A procedure from a file; its problems as the failure where it has any."""
    loaded = load(path, [], ADVISERS)
    assert loaded.program is not None, "\n".join(map(str, loaded.problems))
    return loaded.program


def valve_job(**more: Any) -> Job:
    """Two valves with a flow meter, brought by an invented customer."""
    job = water_job(family="twin valve header", instruments={"flow_meter": True}, **more)
    return Job.model_validate({**job.model_dump(), "title": "Uneven since spring", "customer": "A. Sample"})


def begun(book: Book | None = None, program: Program | None = None, **more: Any) -> Session:
    """A run of the two valves that has just started, on a clock that stands still."""
    return Session.start(
        program or valves(), valve_job(**more), book=book or Book.memory(), advisers=ADVISERS, clock=lambda: CLOCK
    )


def gate(*flow: float, **more: Any) -> Answer:
    """The readings of the two valves."""
    return Answer(readings={"flow": list(flow), "sound": "steady", "drips": "no"}, understood=True, **more)


DONE = Answer(done=True)

#: Every kind of answer, a call by a symptom, undo across that call, and an end.
LONG_WAY = (
    DONE,
    Answer(note="Stiff spindle on valve 2."),
    Answer(
        done=True,
        moved=[
            {"screw": "spindle", "carb": 1, "barrel": None, "turns": 2, "direction": "out"},
            {"screw": "spindle", "carb": 2, "barrel": None, "position": 1.875},
        ],
    ),
    Answer(understood=True),
    gate(4, 7.5),
    Answer(undo=True),
    Answer(redo=True),
    DONE,
    Answer(symptom="hammer", understood=True),
    Answer(readings={"air": "yes"}),
    Answer(undo=True),
    Answer(undo=True),
    Answer(symptom="hammer"),
    Answer(readings={"air": "no"}),
    Answer(lost=["spindle"]),
    gate(5.4, 6.5),
    Answer(done=True, fitted=[{"part": "washer", "carb": 2, "barrel": None, "size": 12}]),
    gate(6, 6.2),
)


def answered(session: Session, *answers: Answer) -> Session:
    """A session after these answers, none of which is refused."""
    for number, answer in enumerate(answers):
        reply = session.answer(answer)
        assert reply.problem is None, f"answer {number}: {reply.problem}"
    return session
