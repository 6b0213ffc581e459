"""Looking after a book: what verify says, copies by request and by themselves, putting one back, moving to a new PC."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from valve_runs import ADVISERS, DONE, LONG_WAY, Answer, answered, begun

from engine.book import backup as backup_module
from engine.book.backup import KEPT, backup, copies
from engine.book.book import Book
from engine.book.log import log_path
from engine.book.restore import restore
from engine.book.trouble import BookTrouble
from engine.book.verify import verify
from engine.session.session import Session


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A book with one whole run of many kinds of answers."""
    place = tmp_path / "shop" / "jobs.book"
    book = Book.open(place)
    answered(begun(book), *LONG_WAY)
    book.close()
    return place


def copy_of(path: Path, to: Path) -> Path:
    with closing(Book.open(path, reading=True)) as book:
        return backup(book, to)


def altered(path: Path, sql: str, *values: object) -> None:
    db = sqlite3.connect(path, isolation_level=None)
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f"DROP TRIGGER {name}")
    assert db.execute(sql, values).rowcount
    db.close()


class TestVerify:
    def test_a_whole_book_is_said_to_be_whole(self, path: Path) -> None:
        report = verify(path)
        assert report.whole
        said = "\n".join(report.lines())
        for part in ("1 jobs, 1 runs, 19 events", "Structure: sound", "every link of 1 runs holds", "Whole: nothing"):
            assert part in said

    @pytest.mark.parametrize(
        ("sql", "says"),
        [
            ("UPDATE event SET body = x'7b7d' WHERE seq = 3", "read of run 1.1 from its start: 3 events"),
            ("DELETE FROM event WHERE seq = 18", "19 events were acknowledged, and 18 can be read"),
            ("DELETE FROM head", "its count is missing"),
            ("UPDATE head SET events = 18", "its count was altered"),
            ("UPDATE words SET text = 'Loose' WHERE text LIKE 'Stiff%'", "event 2: 'text' is not what was written"),
            ("UPDATE text SET bytes = x'00'", "A procedure text"),
            ("UPDATE job SET told = x'00'", "Job 1: its row can't be read"),
            ("UPDATE customer SET name = 'B. Sample'", "Customer 1: its row can't be read"),
            ("UPDATE run SET title = 'Another'", "Run 1.1: its row in the list was altered"),
            ("DELETE FROM search WHERE 1", "search index"),
        ],
    )  # fmt: skip
    def test_what_was_altered_is_named(self, path: Path, sql: str, says: str) -> None:
        if "search" in sql:
            sql = "DELETE FROM search_data WHERE id > 10"
        altered(path, sql)
        report = verify(path)
        assert not report.whole
        assert any(says in line for line in report.wrong), report.wrong
        assert any("Rules that keep the record" in line for line in report.wrong)

    def test_the_runs_that_are_safe_are_named(self, path: Path) -> None:
        book = Book.open(path)
        answered(begun(book), DONE)
        book.close()
        altered(path, "DELETE FROM event WHERE seq = 5")
        report = verify(path)
        assert (report.safe, report.lost) == (["2.1"], ["1.1"])

    def test_it_changes_nothing(self, path: Path) -> None:
        before = path.read_bytes()
        verify(path)
        assert path.read_bytes() == before

    def test_it_looks_at_a_book_in_use(self, path: Path) -> None:
        book = Book.open(path)
        session = Session.reopen(book, "1.1", advisers=ADVISERS)
        answered(session, Answer(note="One more."))
        report = verify(path)
        assert report.whole
        assert any("20 events" in line for line in report.said)


class TestCopies:
    def test_a_live_book_is_copied_with_all_that_was_acknowledged(self, path: Path, tmp_path: Path) -> None:
        book = Book.open(path)
        session = answered(begun(book), DONE)
        copy = backup(book, tmp_path / "copy.book")
        assert Book.open(copy, reading=True).head(session.run) == book.head(session.run)
        assert copy.stat().st_mode & 0o077 == 0

    def test_a_folder_gets_a_name_with_the_day(self, path: Path, tmp_path: Path) -> None:
        (tmp_path / "stick").mkdir()
        copy = copy_of(path, tmp_path / "stick")
        assert copy.parent == tmp_path / "stick"
        assert verify(copy).whole

    def test_no_folder_is_made_for_it(self, path: Path, tmp_path: Path) -> None:
        """A copy meant for a stick that is not plugged in would stay on the disk that it is to outlive."""
        with pytest.raises(BookTrouble, match=r"There is no folder .*stick: nothing was copied"):
            copy_of(path, tmp_path / "stick" / "copy.book")
        assert not (tmp_path / "stick").exists()

    @pytest.mark.parametrize(
        ("fault", "says"),
        [
            (OSError(errno.ENOSPC, "No space left on device"), "the disk is full"),
            (sqlite3.OperationalError("database or disk is full"), "the disk is full"),
            (PermissionError(errno.EACCES, "Permission denied"), "this user may not write there"),
            (OSError(errno.EIO, "Input/output error"), "Input/output error"),
        ],
    )
    def test_one_that_can_not_be_made_says_why_and_asks_for_no_answer(
        self, path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: Exception, says: str
    ) -> None:
        def fails(*_: object) -> None:
            raise fault

        with closing(Book.open(path)) as book:
            monkeypatch.setattr(backup_module.os, "fsync", fails)
            with pytest.raises(BookTrouble, match=f"can't be written: {says}. The book stands as it was"):
                backup(book, tmp_path / "copy.book")
        assert not [*tmp_path.glob("copy*")]

    def test_nothing_is_written_over(self, path: Path, tmp_path: Path) -> None:
        (tmp_path / "copy.book").write_text("mine", encoding="utf-8")
        with pytest.raises(BookTrouble, match="nothing is written over"):
            backup(Book.open(path), tmp_path / "copy.book")

    def test_one_a_day_is_kept_by_itself_and_the_last_ten_stay(
        self, path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        for old in copies(path):
            old.unlink()
        for day in range(1, 14):
            monkeypatch.setattr(backup_module.time, "strftime", lambda _, day=day: f"2031-01-{day:02}")
            for _ in range(2):
                Book.open(path).close()
        names = [p.name for p in copies(path)]
        assert names == [f"2031-01-{day:02}.book" for day in range(4, 14)]
        assert len(names) == KEPT
        assert all(verify(p).whole for p in copies(path))

    def test_where_no_copy_can_be_kept_the_book_opens_and_says_so(self, path: Path) -> None:
        shutil.rmtree(path.parent / "jobs.book.backups", ignore_errors=True)
        (path.parent / "jobs.book.backups").write_text("in the way", encoding="utf-8")
        book = Book.open(path)
        assert any("copy of the job book could not be kept" in n for n in book.notices)
        assert book.job(1).customer == "A. Sample"


@pytest.mark.skipif(os.name == "nt", reason="Windows lets nobody take an open file away")
class TestTakenAway:
    @pytest.mark.parametrize("how", ["deleted", "moved", "replaced", "with its folder", "its log"])
    def test_nothing_is_called_recorded_and_what_was_is_kept(self, path: Path, tmp_path: Path, how: str) -> None:
        copy = copy_of(path, tmp_path / "copy.book")
        book = Book.open(path, backups=False)
        session = answered(begun(book), DONE, Answer(note="Late."))
        if how == "moved":
            path.rename(tmp_path / "away.book")
        elif how == "its log":
            log_path(path).unlink()
        elif how == "with its folder":
            shutil.rmtree(path.parent)
        else:
            path.unlink()
            if how == "replaced":
                shutil.copyfile(copy, path)
        stands = path.read_bytes() if path.exists() else None
        for _ in range(2):
            reply = session.answer(Answer(note="Lost?"))
            assert reply.unsaved and "moved, deleted or replaced" in (reply.problem or "")
        assert (path.read_bytes() if path.exists() else None) == stands
        (kept,) = path.parent.glob("jobs.book.rescued-*")
        assert str(kept) in (reply.problem or "")
        if how != "its log":  # which SQLite folds into the file as it closes
            book.close()
        restore(tmp_path / "back.book", kept)
        with closing(Book.open(tmp_path / "back.book", reading=True)) as back:
            assert [e.seq for e in back.events(session.run)] == [0, 1, 2] and verify(tmp_path / "back.book").whole


class TestPuttingBack:
    def test_the_copy_is_the_book_then_and_the_old_one_is_kept(self, path: Path, tmp_path: Path) -> None:
        copy = copy_of(path, tmp_path / "copy.book")
        book = Book.open(path)
        later = answered(begun(book), DONE).run
        book.close()
        kept = restore(path, copy)
        assert kept is not None
        assert [r.run for r in Book.open(path).runs()] == ["1.1"]
        assert later in [r.run for r in Book.open(kept, reading=True).runs()]

    def test_on_a_new_pc_where_no_book_is(self, path: Path, tmp_path: Path) -> None:
        copy = copy_of(path, tmp_path / "stick.book")
        new = tmp_path / "new" / "place" / "jobs.book"
        assert restore(new, copy) is None
        session = Session.reopen(Book.open(new), "1.1", advisers=ADVISERS)
        assert session.over
        assert new.stat().st_mode & 0o077 == 0

    def test_in_place_of_a_book_that_can_not_be_opened(self, path: Path, tmp_path: Path) -> None:
        copy = copy_of(path, tmp_path / "copy.book")
        path.write_bytes(b"no book any more" * 1000)
        kept = restore(path, copy)
        assert kept is not None and kept.read_bytes().startswith(b"no book any more")
        assert verify(path).whole

    def test_a_copy_that_is_not_whole_is_refused(self, path: Path, tmp_path: Path) -> None:
        copy = copy_of(path, tmp_path / "copy.book")
        altered(copy, "DELETE FROM event WHERE seq = 5")
        before = path.read_bytes()
        with pytest.raises(BookTrouble, match="not whole, so nothing was changed"):
            restore(path, copy)
        assert path.read_bytes() == before

    def test_while_another_window_has_the_book_nothing_is_changed(self, path: Path, tmp_path: Path) -> None:
        book = Book.open(path)
        copy = backup(book, tmp_path / "copy.book")
        begun(book)
        with pytest.raises(BookTrouble, match="open in another window"):
            restore(path, copy)
        assert len(book.runs()) == 2
        assert not [*path.parent.glob("*.part*"), *path.parent.glob("*.before-restore-*")], "nor left behind"
