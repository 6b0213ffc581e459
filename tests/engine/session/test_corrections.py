"""Corrections without erasing: an earlier answer is struck with what followed, shown first, and stays visible as
struck.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from valve_runs import ADVISERS, DONE, LONG_WAY, Answer, answered, begun, gate

from engine.book.book import Book
from engine.session.session import Session
from engine.session.struck import struck, would_strike


def worked() -> Session:
    return answered(begun(), DONE, DONE, Answer(understood=True), gate(4, 7.5), DONE)


class TestStriking:
    def test_what_would_go_is_shown_first(self) -> None:
        session = worked()
        assert [m.seq for m in would_strike(session, 4)] == [4, 5]
        assert would_strike(session, 4)[0].said.startswith("4")
        assert would_strike(session, 3) == would_strike(session, 99) == ()
        assert session.state.seq == 5

    def test_an_earlier_answer_takes_what_followed_with_it(self) -> None:
        session = worked()
        before = session.book.events(session.run)
        answered(session, Answer(strike=4))
        assert session.view.step == "measure"
        assert [m.seq for m in session.view.trail] == [1, 2]
        assert session.book.events(session.run)[: len(before)] == before
        assert "2 answers are struck" in session.state.because[0]

    def test_it_is_as_many_undos(self) -> None:
        one, other = answered(worked(), Answer(strike=2)), worked()
        answered(other, *[Answer(undo=True)] * 3)
        assert one.view.step == other.view.step
        assert one.state.world == other.state.world
        assert one.state.made == other.state.made

    def test_it_can_be_taken_up_again(self) -> None:
        session = worked()
        trail = session.view.trail
        answered(session, Answer(strike=2), Answer(redo=True))
        assert session.view.trail == trail

    def test_what_was_struck_stays_visible_and_a_right_one_stands_beside(self) -> None:
        session = answered(worked(), Answer(strike=4), gate(5, 6.5))
        assert [(s.answer.seq, s.by) for s in struck(session)] == [(4, 6), (5, 6)]
        assert [m.seq for m in session.view.trail] == [1, 2, 7]
        answered(session, Answer(undo=True))
        assert [(s.answer.seq, s.by) for s in struck(session)] == [(4, 6), (5, 6), (7, 8)]

    def test_an_ended_run_is_open_again(self) -> None:
        session = answered(begun(), *LONG_WAY)
        last = session.view.trail[-1].seq
        assert session.over
        answered(session, Answer(strike=last))
        assert not session.over

    @pytest.mark.parametrize("seq", [0, 3, 99, -1, True, "4"])
    def test_what_is_no_answer_that_stands_is_refused(self, seq: object) -> None:
        session = worked()
        reply = session.answer(Answer(strike=seq))  # type: ignore[arg-type]
        assert "no answer that stands" in (reply.problem or "")

    def test_the_record_folds_again(self, tmp_path: Path) -> None:
        book = Book.open(tmp_path / "jobs.book")
        session = answered(begun(book), DONE, DONE, Answer(understood=True), gate(4, 7.5), Answer(strike=2), DONE)
        session.close()
        assert Session.reopen(book, session.run, advisers=ADVISERS, reading=True).view.trail == session.view.trail


class TestNotes:
    def test_are_about_any_answer_with_a_photograph(self) -> None:
        session = answered(worked(), Answer(note="The needle sticks.", about=4, photo="IMG_0012.jpg"))
        (_, text) = session.state.notes[-1]
        assert text.endswith("(answer 4): The needle sticks. [photograph: IMG_0012.jpg]")
        assert session.book.found("IMG_0012") == [1]

    def test_about_nothing_that_stands_is_refused(self) -> None:
        assert "no answer that stands" in (worked().answer(Answer(note="a", about=77)).problem or "")
        assert "says nothing beside 'done'" in (worked().answer(Answer(done=True, photo="a.jpg")).problem or "")
