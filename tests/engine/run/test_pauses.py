"""A run that waits for parts, and one that was left for hours: what must be said again when the work goes on."""

from __future__ import annotations

import pytest
from valve_runs import ADVISERS, CLOCK, DONE, Answer, answered, begun, gate

from engine.book import codec
from engine.session.session import Session, paused
from tui.commandline.listing import job_lines
from tui.control.board import board

WAIT = Answer(wait_for_parts={"parts": ["gland packing"], "note": "ordered by telephone"})
LATER = "2031-05-04T12:30:00+00:00"


def opened(session: Session, at: str = CLOCK, reading: bool = False) -> Session:
    return Session.reopen(session.book, session.run, advisers=ADVISERS, clock=lambda: at, reading=reading)


def kinds(session: Session) -> list[str]:
    return [codec.load(e.body)["kind"] for e in session.book.events(session.run)]


def test_it_waits_and_says_for_what() -> None:
    session = answered(begun(), DONE, WAIT)
    assert session.view.waiting == ("gland packing",)
    problem = session.answer(DONE).problem
    assert problem is not None
    assert "gland packing" in problem
    answered(session, Answer(note="They called: Friday."), Answer(resume=True))
    assert session.view.waiting == ()


@pytest.mark.parametrize(
    "given", [{}, {"parts": []}, {"parts": "packing"}, {"parts": [{}]}, {"parts": [" "]}, [], {"x": 1}]
)
def test_a_wait_for_nothing_is_refused(given: object) -> None:
    assert begun().answer(Answer(wait_for_parts=given)).recorded is None  # type: ignore[arg-type]


def test_opened_again_it_goes_on_and_only_looking_at_it_changes_nothing() -> None:
    session = answered(begun(), DONE, WAIT)
    assert opened(session, reading=True).view.waiting == ("gland packing",)
    assert kinds(session)[-1] == "waiting"
    assert opened(session).view.waiting == ()
    assert kinds(session)[-1] == "resumed"


def test_after_a_pause_dangers_are_to_be_understood_again_and_the_engine_may_be_cold() -> None:
    session = answered(begun(), DONE, DONE, Answer(understood=True))
    assert not any(c.understand for c in session.view.cautions)
    again = opened(session, LATER)
    assert kinds(session)[-1] == "resumed"
    assert any(c.understand for c in again.view.cautions)
    assert opened(session, LATER).view == again.view
    assert kinds(session).count("resumed") == 1


def test_opened_again_at_once_nothing_is_said() -> None:
    session = answered(begun(), DONE, DONE, Answer(understood=True))
    assert not any(c.understand for c in opened(session).view.cautions)
    assert kinds(session)[-1] == "understood"


@pytest.mark.parametrize(
    ("before", "now", "is_one"),
    [
        ("2031-05-04T10:00:00+00:00", "2031-05-04T12:00:00+00:00", False),
        ("2031-05-04T10:00:00+00:00", "2031-05-04T12:00:01+00:00", True),
        ("2031-05-04T10:00:00+02:00", "2031-05-04T10:30:00+00:00", True),
        ("2031-05-04T10:00:00+00:00", "2031-05-03T10:00:00+00:00", True),  # set back: nobody knows how long
        ("2031-05-04T10:00:00+00:00", "2031-05-04T09:59:30+00:00", False),  # a clock that keeps itself right
        ("2031-05-04T10:00:00", "2031-05-04T18:00:00+00:00", False),
        ("", "2031-05-04T18:00:00+00:00", False),
    ],
)
def test_what_a_pause_is(before: str, now: str, is_one: bool) -> None:
    assert paused(before, now) is is_one


def test_who_answers_is_recorded_with_the_answer() -> None:
    session = begun()
    session.by = "M1"
    answered(session, DONE, Answer(done=True, by="A2"))
    assert [codec.body_of(e).get("by") for e in session.book.events(session.run)] == [None, "M1", "A2"]
    assert session.answer(gate(5, 5, by="x" * 81)).recorded is None
    assert session.answer(gate(5, 5, by="\ud800")).recorded is None


def test_it_is_listed_with_its_parts_until_it_is_gone_on_with() -> None:
    """A note, or the end of a client's lines, ends no wait."""
    session = answered(begun(), DONE, WAIT, Answer(note="They called: Friday."), Answer(suspend=True))
    assert "      1.1  since 2031-05-04: gland packing" in [*job_lines(session.book)]
    assert [told.how for told in board(session.book).waiting] == ["gland packing"]
    assert board(session.book).open == ()
    answered(session, Answer(resume=True))
    assert "Waiting for parts:" not in [*job_lines(session.book)]
    assert board(session.book).waiting == ()
