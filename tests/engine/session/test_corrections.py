"""Corrections without erasing: an earlier answer is struck with what followed, shown first, and stays visible as
struck.
"""

from __future__ import annotations

import gzip
import sqlite3
from pathlib import Path

import pytest
from valve_runs import ADVISERS, DONE, LONG_WAY, Answer, answered, begun, gate, valve_job

from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.carburation.registry import shipped
from engine.run.machine import step
from engine.run.moves import asked
from engine.session.corrected import _hands_since, correct, correction
from engine.session.session import NotForThisJob, Session
from engine.session.struck import struck, would_strike
from engine.sheet.document import document
from engine.sheet.gather import gathered, sheet_of
from engine.sheet.plain_text import lines

KEPT = Path(__file__).parents[2] / "kept" / "state_6e732ba" / "jobs.book.gz"


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


class TestWhatTheSealCovers:
    def sheet(self, session: Session) -> str:
        return "\n".join(lines(document(gathered(session))))

    def test_nothing_is_marked_where_nothing_was_changed(self) -> None:
        assert "NOT UNDER THE SEAL" not in self.sheet(worked())

    def test_a_customer_who_was_changed_since_is_marked(self) -> None:
        session = worked()
        session.book.rewrite_persons(1, valve_job().model_copy(update={"customer": "B. Other"}))
        said = self.sheet(session)
        assert "B. Other" in said
        assert "customer: changed since the run was started" in said

    def test_engine_and_bank_are_those_that_were_sealed(self, tmp_path: Path) -> None:
        book = Book.open(tmp_path / "jobs.book")
        session = answered(begun(book), DONE)
        before = self.sheet(session)
        db = sqlite3.connect(tmp_path / "jobs.book", isolation_level=None)
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute("UPDATE job SET facts = CAST(replace(facts, 'carbs', 'Carbs') AS BLOB)")
        db.execute("UPDATE run SET title = 'Another'")
        said = self.sheet(session)
        assert "its row can't be read" in " ".join(said.split())
        top = [line for line in before.splitlines() if line.startswith(("Engine", "Carburettors", "Procedure"))]
        assert len(top) == 3 and all(line in said.splitlines() for line in top)
        assert book.runs()[0].problem == "its row was altered since it was started"

    def test_a_run_of_an_older_book_says_what_it_seals(self, tmp_path: Path) -> None:
        path = tmp_path / "jobs.book"
        path.write_bytes(gzip.decompress(KEPT.read_bytes()))
        book = Book.open(path, reading=True)
        named = next(row.job for row in book.jobs() if row.customer)
        said = "\n".join(lines(document(sheet_of(book, f"{named}.1", shipped()))))
        assert "a run of an older version seals its measurements alone" in " ".join(said.split())

    def test_what_was_struck_is_printed_as_struck(self) -> None:
        said = self.sheet(answered(worked(), Answer(strike=4), gate(5, 6.5)))
        assert "STRUCK, and not counted above" in said


class TestAWrongFact:
    def right(self, **bank: object) -> dict[str, object]:
        facts = valve_job().engineering()
        return {**facts, "bank": {**facts["bank"], **bank}}

    def test_the_run_goes_on_from_the_last_gate_that_does_not_rest_on_it(self) -> None:
        session = answered(begun(), DONE, DONE, Answer(note="Stiff."), Answer(understood=True), gate(4, 7.5), DONE)
        facts = {**valve_job().engineering(), "settings": {"target": "7 L/min"}}
        found = correction(session, facts)
        new = correct(session, found)
        assert new.run == "1.2"
        assert 0 < found.stay < session.state.seq
        assert found.again == len(session.view.trail) - len(new.view.trail)
        assert [m.said for m in new.view.trail] == [m.said for m in session.view.trail][: len(new.view.trail)]
        assert [text for _, text in new.state.notes] == ["Stiff."]

    def test_where_nothing_rests_on_it_all_is_kept(self) -> None:
        session = worked()
        found = correction(session, {**valve_job().engineering(), "conditions": {"altitude": "100 m"}})
        assert (found.again, found.stay, len(found.kept)) == (0, session.state.seq, session.state.seq)

    def test_the_old_run_stays_and_says_what_took_its_place(self, tmp_path: Path) -> None:
        book = Book.open(tmp_path / "jobs.book")
        session = answered(begun(book), DONE, DONE)
        before = book.events(session.run)
        new = correct(session, correction(session, {**valve_job().engineering(), "settings": {"target": "7 L/min"}}))
        assert book.events(session.run) == before
        assert {r.run: r.next for r in book.runs()} == {"1.1": "1.2", "1.2": None}
        assert book.job(1).settings == {"target": "7 L/min"}
        new.close()
        again = Session.reopen(book, new.run, advisers=ADVISERS)
        assert again.view.trail == new.view.trail
        assert b'"corrects":"1.1"' in book.events(new.run)[0].body
        answered(again, *([DONE] if not again.view.read else [gate(4, 7.5)]))

    def test_facts_that_the_procedure_is_not_for_are_refused(self) -> None:
        session = worked()
        with pytest.raises((NotForThisJob, ValueError)):
            correction(session, self.right(carbs=5))

    @pytest.mark.parametrize("answers", range(8, len(LONG_WAY) + 1))
    def test_what_hands_did_since_stays_done_and_is_known_to_the_run_that_goes_on(self, answers: int) -> None:
        """No screw is turned back by putting a fact right: a run that counted from where they once stood would lie."""
        session = answered(begun(), *LONG_WAY[:answers])
        new = correct(session, correction(session, self.other_target()))
        assert new.view.step == "turn" and new.view.moves_made
        assert new.state.world.positions == session.state.world.positions
        assert new.state.world.parts == session.state.world.parts
        again = Session.reopen(session.book, new.run, advisers=ADVISERS, reading=True)
        assert again.state.world == new.state.world
        assert "No screw was turned back" in answered(new, Answer(undo=True)).state.because[0]

    def test_a_step_that_brings_a_screw_to_a_position_asks_for_it_again(self) -> None:
        """What was turned since is not where the step wants it, whatever was turned there before."""
        session = worked()
        (screws,) = {key[0] for key in session.state.world.positions}
        found = correction(session, self.other_target())
        early = begun().plan
        bare = answered(begun(), DONE)
        told = _hands_since(early, session.state, bare.state)
        assert told is not None and told.kind == "moved"
        state, _ = step(early, bare.state, told, lambda request: (_ for _ in ()).throw(AssertionError))
        assert {m.position for m in asked(early, state)[0]} == {m.position for m in asked(early, bare.state)[0]}
        assert found.plan.screws.keys() == {screws}

    def test_an_answer_that_was_struck_does_not_stand_again(self) -> None:
        session = answered(worked(), Answer(strike=4))
        new = correct(session, correction(session, self.other_target()))
        assert new.view.step == "measure"
        assert [m.seq for m in new.view.trail] == [m.seq for m in session.view.trail] == [1, 2]
        assert [s.answer.seq for s in struck(new)] == [4]

    def other_target(self) -> dict[str, object]:
        return {**valve_job().engineering(), "settings": {"target": "7 L/min"}}

    def test_the_run_whose_place_was_taken_is_looked_at_and_not_gone_on_with(self) -> None:
        session = worked()
        new = correct(session, correction(session, self.other_target()))
        with pytest.raises(BookTrouble, match=r"run 1\.2 took its place"):
            Session.reopen(session.book, session.run, advisers=ADVISERS)
        assert Session.reopen(session.book, session.run, advisers=ADVISERS, reading=True).view.trail
        assert Session.reopen(session.book, new.run, advisers=ADVISERS).run == "1.2"
