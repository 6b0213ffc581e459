"""A person can be taken out of the book for good: of its tables, texts, search index and copies; every chain still
holds.
"""

from __future__ import annotations

import gzip
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from valve_runs import ADVISERS, CLOCK, DONE, Answer, answered, begun, valve_job, valves

from engine.book import codec
from engine.book.backup import copied, copies
from engine.book.book import Book
from engine.book.forget import finish, forget, inside, matches
from engine.book.verify import verify
from engine.job.model import Vehicle
from engine.session.session import Session

KEPT = Path(__file__).parents[2] / "kept" / "state_6e732ba" / "jobs.book.gz"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shop" / "jobs.book"


def worked(path: Path) -> Session:
    """A run with notes of which one names the customer."""
    book = Book.open(path)
    return answered(begun(book), DONE, Answer(note="Sample rang at nine."), Answer(note="Bonnet up."))


def holds(folder: Path, word: bytes) -> list[str]:
    return [p.name for p in folder.rglob("*") if p.is_file() and word in p.read_bytes()]


class TestWhatIsFound:
    def test_visits_by_any_of_their_words_whatever_the_case(self, path: Path) -> None:
        book = worked(path).book
        (match,) = matches(book, "sAMPLE")
        assert match.job == 1
        assert set(match.where) == {"customer", "text in run 1.1"}
        assert matches(book, "bonnet")[0].where == ("text in run 1.1",)
        assert matches(book, "nobody") == matches(book, " ") == []

    def test_a_name_that_is_part_of_another_is_not_that_other(self, path: Path) -> None:
        book = worked(path).book
        other = Vehicle(description="cart", registration="SAMPLER 11")
        book.take_in(valve_job().model_copy(update={"customer": "A. Sampleson", "vehicle": other}), "2031-05-05")
        assert [m.job for m in matches(book, "A. Sample")] == [1]
        assert [m.job for m in matches(book, "sampler 1")] == []
        assert [m.job for m in matches(book, "sampler11")] == [2], "a registration, however it is spaced"
        assert inside(book, "A. Sample") == [2] and inside(book, "Sampleson") == []

    @pytest.mark.parametrize("asked", ["SAMPLE 1", "sample-1", "sample1"])
    def test_a_registration_is_found_in_any_words_however_it_is_spaced(self, path: Path, asked: str) -> None:
        session = worked(path)
        notes = ("Parked beside SAMPLE 1.", "sample-1 came first", "SAMPLE 11", "xsample1", "SAMPLE, 1 of 2")
        answered(session, *[Answer(note=note) for note in notes])
        session.close()
        forget(session.book, [m.job for m in matches(session.book, asked)], asked)
        again = Session.reopen(session.book, session.run, advisers=ADVISERS, clock=lambda: CLOCK, reading=True)
        assert [text for _, text in again.state.notes][2:] == [codec.TAKEN_OUT] * 2 + [*notes[2:4], codec.TAKEN_OUT]

    def test_a_script_without_gaps_is_found_inside_its_words(self, path: Path) -> None:
        book = worked(path).book
        book.take_in(valve_job().model_copy(update={"customer": "見本太郎様"}), "2031-05-05")
        assert [m.job for m in matches(book, "見本太郎")] == [2]


class TestWhatIsTakenOut:
    def test_of_a_visit_of_somebody_else_the_texts_alone(self, path: Path) -> None:
        """Who worked for a customer, or is named beside the work, takes no customer out with him."""
        book = Book.open(path)
        told = {"customer": "B. Other", "title": "C. Sample says it spits"}
        number = book.take_in(valve_job().model_copy(update=told), "2031-05-05")
        book.set_recheck(number, "2031-09-01", "", "C. Sample asked for it")
        session = Session.start(valves(), book.job(number), book=book, advisers=ADVISERS, job_number=number)
        answered(session, Answer(done=True, by="C. Sample"), Answer(note="Bonnet up."))
        session.close()
        copied(book._db, path.parent / "jobs.book.backups" / "2031-01-01.book")
        (match,) = matches(book, "C. Sample")
        assert not match.theirs
        forget(book, [number], "C. Sample")
        assert holds(path.parent, b"C. Sample") == []
        assert (book.job(number).customer, book.job(number).title) == ("B. Other", "")
        assert [r.due for r in book.rechecks()] == ["2031-09-01"]
        assert verify(path).whole
        again = Session.reopen(book, session.run, advisers=ADVISERS, reading=True)
        assert [text for _, text in again.state.notes] == ["Bonnet up."]
        with closing(Book.open(copies(path)[0], reading=True)) as copy:
            assert copy.job(number).customer == "B. Other" and verify(copy.path).whole

    def test_tables_texts_index_and_copies_hold_not_a_byte_of_it(self, path: Path) -> None:
        session = worked(path)
        book = session.book
        book.keep_draft(session.run, 3, {"note": "Sample again"})
        session.close()
        copied(book._db, path.parent / "jobs.book.backups" / "2031-01-01.book")
        assert len(holds(path.parent, b"Sample")) >= 2
        done = forget(book, [1], "Sample")
        assert (done.visits, done.texts) == (1, 1)
        assert holds(path.parent, b"Sample") == holds(path.parent, b"sample") == []
        assert book.found("sample") == []
        assert book.found("bonnet") == [1]
        assert (book.job(1).customer, book.draft(session.run, 3)) == ("", {})

    def test_the_chain_holds_and_the_run_goes_on(self, path: Path) -> None:
        session = worked(path)
        head = session.book.head(session.run)
        session.close()
        forget(session.book, [1], "Sample")
        again = Session.reopen(session.book, session.run, advisers=ADVISERS, clock=lambda: CLOCK)
        assert session.book.head(session.run) == head
        assert [text for _, text in again.state.notes] == [codec.TAKEN_OUT, "Bonnet up."]
        assert answered(again, Answer(note="Going on.")).state.seq == 4
        report = verify(path)
        assert report.whole
        assert any("words were taken out at a person's request" in line for line in report.said)

    def test_no_salt_stays_with_which_a_name_could_be_guessed(self, path: Path) -> None:
        session = worked(path)
        forget(session.book, [1], "Sample")
        salts = session.book._read("SELECT salt FROM words WHERE gone IS NOT NULL")
        assert salts and all(salt == b"" for (salt,) in salts)

    def test_who_answered_is_taken_out_too(self, path: Path) -> None:
        book = Book.open(path)
        session = answered(begun(book), Answer(done=True, by="C. Sample"))
        book.add_staff("C. Sample")
        session.close()
        forget(book, [1], "C. Sample")
        assert [s.name for s in book.staff()] == [codec.TAKEN_OUT]
        assert holds(path.parent, b"C. Sample") == []


class TestOlderBooks:
    def older(self, path: Path) -> Book:
        path.parent.mkdir(parents=True)
        path.write_bytes(gzip.decompress(KEPT.read_bytes()))
        return Book.open(path)

    def test_a_tombstone_stands_in_events_that_verify_names(self, path: Path) -> None:
        book = self.older(path)
        found = matches(book, "bonnet up at nine")
        assert found
        heads = {r.run: book.head(r.run) for r in book.runs()}
        done = forget(book, [m.job for m in found], "bonnet up at nine")
        assert done.texts >= 1
        assert {r.run: book.head(r.run) for r in book.runs()} == heads
        assert all(r.problem is None for r in book.runs())
        report = verify(path)
        assert report.whole
        assert any("words were taken out at a person's request" in line for line in report.said)
        assert matches(book, "bonnet up at nine") == []
        assert holds(path.parent, b"onnet up at nine") == []

    def test_only_a_tombstone_may_write_over_an_event(self, path: Path) -> None:
        book = self.older(path)
        found = matches(book, "bonnet up at nine")
        forget(book, [m.job for m in found], "bonnet up at nine")
        book.close()
        db = sqlite3.connect(path)
        for sql in ("UPDATE event SET body = x'00'", "UPDATE tombstone SET body = x'00'", "DELETE FROM tombstone"):
            with pytest.raises(sqlite3.DatabaseError, match="append-only"):
                db.execute(sql)


class TestWhatCanNotBeReached:
    def test_job_files_and_what_is_kept_aside_are_named(self, path: Path, tmp_path: Path) -> None:
        session = worked(path)
        (tmp_path / "jobs").mkdir()
        (tmp_path / "jobs" / "a-sample.yaml").write_text("customer: A. Sample\n", encoding="utf-8")
        (tmp_path / "jobs" / "other.yaml").write_text("customer: B. Other\n", encoding="utf-8")
        (path.parent / "jobs.book.damaged-1").write_bytes(b"")
        left = forget(session.book, [1], "Sample", tmp_path / "jobs").left
        assert [n for n in left if "a-sample.yaml still names the person" in n]
        assert not [n for n in left if "other.yaml" in n]
        assert [n for n in left if "jobs.book.damaged-1" in n]
        assert [n for n in left if "printed, exported or sent" in n]

    def test_a_window_that_reads_is_said_and_it_is_finished_later(self, path: Path) -> None:
        session = worked(path)
        reader = sqlite3.connect(path, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM event").fetchone()
        left = forget(session.book, [1], "Sample").left
        assert any("Another window has the book open" in n for n in left)
        reader.execute("ROLLBACK")
        reader.close()
        session.book.close()
        Book.open(path).close()
        assert holds(path.parent, b"Sample") == []

    def test_a_copy_that_can_not_be_cleaned_now_is_cleaned_later(self, path: Path) -> None:
        session = worked(path)
        copy = path.parent / "jobs.book.backups" / "2031-01-01.book"
        copied(session.book._db, copy)
        whole = copy.read_bytes()
        copy.write_bytes(b"not now" * 1000)
        assert any("could not be cleaned yet" in n for n in forget(session.book, [1], "Sample").left)
        copy.write_bytes(whole)
        assert finish(session.book) == []
        assert holds(path.parent, b"Sample") == []
        assert len(copies(path)) == 1

    @pytest.mark.parametrize("spoilt", ["[1]", '{"vehicle": [1], "customer": 5}', "no json", '{"title": {}}'])
    def test_a_visit_that_can_not_be_read_keeps_nobody_from_being_forgotten(self, path: Path, spoilt: str) -> None:
        """In the book or in a copy: what is the matter with one row locks nobody out."""
        session = worked(path)
        book = session.book
        number = book.take_in(valve_job().model_copy(update={"customer": "B. Other"}), "2031-05-05")
        session.close()
        book.close()
        copy = path.parent / "jobs.book.backups" / "2031-01-01.book"
        copy.parent.mkdir(exist_ok=True)
        for place, job in ((path, number), (copy, number)):
            if place is copy:
                copy.write_bytes(path.read_bytes())
            db = sqlite3.connect(place, isolation_level=None)
            db.execute("UPDATE job SET told = CAST(? AS BLOB) WHERE job = ?", (spoilt, job))
            db.close()
        with closing(Book.open(path, backups=False)) as again:
            forget(again, [m.job for m in matches(again, "A. Sample")], "A. Sample")
            assert again.job(1).customer == "" and again.jobs()[0].problem
        assert holds(path.parent, b"A. Sample") == []
        Book.open(path).close()
