"""The job book keeps what it acknowledged, changes nothing that was written, and says in sentences what it can't do."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from valve_runs import DONE, LONG_WAY, Answer, answered, begun, gate, valve_job

from engine.book import book as book_module
from engine.book.book import Book, chained
from engine.book.schema import VERSION
from engine.book.trouble import BookTrouble
from engine.book.verify import verify
from tests.modes import BOUND


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "shop" / "jobs.book"


def raw(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(path, isolation_level=None)


class TestHowItIsKept:
    def test_every_commit_is_on_the_disk_before_it_returns(self, path: Path) -> None:
        book = Book.open(path)
        pragma = {name: book._read(f"PRAGMA {name}")[0][0] for name in ("journal_mode", "synchronous", "foreign_keys")}
        assert pragma == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
        assert book._read("PRAGMA busy_timeout")[0][0] >= 1000

    def test_tables_are_strict(self, path: Path) -> None:
        Book.open(path).close()
        rows = raw(path).execute("PRAGMA table_list").fetchall()
        # The search index is SQLite's own kind of table, made anew at will.
        assert all(row[5] for row in rows if not row[1].startswith(("sqlite_", "search")))

    @pytest.mark.parametrize("table", ["event", "run", "text", "job"])
    @pytest.mark.parametrize(
        "change",
        [
            "UPDATE {} SET rowid = rowid + 1",
            "DELETE FROM {}",
            "INSERT OR REPLACE INTO {} SELECT * FROM {}",
            "INSERT OR REPLACE INTO {}(rowid, {}) SELECT rowid, 'x' FROM {}",
        ],
    )
    def test_what_was_written_is_never_changed(self, path: Path, table: str, change: str) -> None:
        book = Book.open(path)
        if "rowid, {}" in change:
            columns = {"event": "run, seq, body, hash", "run": "run, job, procedure, title, at"}
            new = {"event": "'9.9', 9, x'00', x'00'", "run": "'9.9', 1, 'a', 'a', 'a'"}
            if table not in columns:
                pytest.skip("its key is its rowid, or its hash")
            change = f"INSERT OR REPLACE INTO {table}(rowid, {columns[table]}) SELECT rowid, {new[table]} FROM {table}"
        answered(begun(book), DONE)
        with pytest.raises(sqlite3.DatabaseError, match="append-only"):
            raw(path).execute(change.format(table, table))

    def test_an_older_sqlite_is_said_so(self, path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(book_module.sqlite3, "sqlite_version_info", (3, 36, 0))
        monkeypatch.setattr(book_module.sqlite3, "sqlite_version", "3.36.0")
        with pytest.raises(BookTrouble, match=r"needs SQLite 3.37 or later, and this Python has 3.36.0"):
            Book.open(path)

    def test_the_texts_of_a_run_are_kept_byte_for_byte_and_once(self, path: Path) -> None:
        book = Book.open(path)
        first, second = begun(book), begun(book)
        started = json.loads(book.events(first.run)[0].body)
        hashes = [f["sha256"] for f in started["files"]]
        texts = book.texts(hashes)
        assert [hashlib.sha256(t).hexdigest() for t in texts] == hashes
        assert [f["name"] for f in started["files"]] == ["balance_two_valves", "bleed_line"]
        assert raw(path).execute("SELECT count(*) FROM text").fetchone() == (2,)
        assert second.run != first.run

    def test_a_run_outlives_its_files(self, path: Path, tmp_path: Path) -> None:
        from valve_runs import ADVISERS, PROCEDURES, written

        from engine.session.session import Session

        for name in ("balance_two_valves.yaml", "bleed_line.yaml"):
            (tmp_path / name).write_bytes((PROCEDURES / name).read_bytes())
        book = Book.open(path)
        session = answered(begun(book, written(tmp_path / "balance_two_valves.yaml")), DONE, DONE)
        (tmp_path / "balance_two_valves.yaml").write_text("nothing: left\n", encoding="utf-8")
        (tmp_path / "bleed_line.yaml").unlink()
        session.close()
        again = Session.reopen(book, session.run, advisers=ADVISERS)
        assert answered(again, gate(6, 6)).view.step == "balanced"

    def test_the_settings_in_force_are_kept_with_where_each_came_from(self) -> None:
        from valve_runs import ADVISERS, valves

        from engine.session.session import Session

        job = valve_job(settings={"target": "7 L/min"})
        session = Session.start(valves(), job, book=Book.memory(), advisers=ADVISERS, shop={"gap_ok": "0.25"})
        started = json.loads(session.book.events(session.run)[0].body)
        assert started["settings"]["balance_two_valves"] == {
            "target": [7, "job"],
            "gap_ok": [{"n": 1, "d": 4}, "shop"],
            "max_open": [{"n": 9, "d": 2}, "file"],
        }


class TestTheChain:
    def events(self, path: Path) -> list[tuple[Any, ...]]:
        return raw(path).execute("SELECT seq, key, body, hash FROM event ORDER BY seq").fetchall()

    def damaged(self, path: Path, sql: str, *values: Any) -> None:
        db = raw(path)
        for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            db.execute(f"DROP TRIGGER {name}")
        db.execute(sql, values)
        db.close()

    def written(self, path: Path) -> str:
        book = Book.open(path)
        session = answered(begun(book), *LONG_WAY)
        book.close()
        return session.run

    @pytest.mark.parametrize("seq", [0, 3, 18])
    def test_an_altered_event_is_found(self, path: Path, seq: int) -> None:
        run = self.written(path)
        body = self.events(path)[seq][2].replace(b"2031", b"2032", 1)
        self.damaged(path, "UPDATE event SET body = ? WHERE seq = ?", body, seq)
        with pytest.raises(BookTrouble, match=f"altered or damaged at event {seq}"):
            Book.open(path).events(run)

    def test_every_flipped_byte_of_an_event_is_found(self, path: Path) -> None:
        run = self.written(path)
        seq, key, body, stored = self.events(path)[3]
        head = self.events(path)[2][3]
        assert chained(head, run, seq, key, body) == stored
        for place in range(len(body)):
            other = bytearray(body)
            other[place] ^= 1
            assert chained(head, run, seq, key, bytes(other)) != stored

    def test_a_missing_event_is_found(self, path: Path) -> None:
        run = self.written(path)
        self.damaged(path, "DELETE FROM event WHERE seq = 5")
        with pytest.raises(BookTrouble, match="altered or damaged at event 5"):
            Book.open(path).events(run)

    def test_a_key_put_on_another_event_is_found(self, path: Path) -> None:
        run = self.written(path)
        self.damaged(path, "UPDATE event SET key = 'mine' WHERE seq = 4")
        with pytest.raises(BookTrouble, match="at event 4"):
            Book.open(path).events(run)

    def test_an_altered_procedure_text_is_found(self, path: Path) -> None:
        from valve_runs import ADVISERS

        from engine.session.session import Session

        run = self.written(path)
        self.damaged(path, "UPDATE text SET bytes = CAST(bytes || ' ' AS BLOB)")
        with pytest.raises(BookTrouble, match="was altered"):
            Session.reopen(Book.open(path), run, advisers=ADVISERS)

    def test_the_head_moves_with_every_event(self) -> None:
        session = begun()
        heads = {session.book.head(session.run)}
        for answer in LONG_WAY:
            answered(session, answer)
            heads.add(session.book.head(session.run))
        assert len(heads) == len(LONG_WAY) + 1


class TestKeys:
    def test_the_same_key_is_recorded_once(self) -> None:
        session = begun()
        first = session.answer(Answer(done=True, key="a"))
        again = session.answer(Answer(done=True, key="a"))
        assert (first.recorded, again.recorded, session.view.step) == (1, 1, "open")

    def test_a_key_is_known_after_the_run_was_opened_again(self, path: Path) -> None:
        from valve_runs import ADVISERS

        from engine.session.session import Session

        book = Book.open(path)
        session = begun(book)
        session.answer(Answer(done=True, key="a"))
        book.close()
        again = Session.reopen(Book.open(path), session.run, advisers=ADVISERS)
        assert again.answer(Answer(done=True, key="a")).recorded == 1
        assert again.view.step == "open"

    @pytest.mark.parametrize("n", range(len(LONG_WAY)))
    def test_whatever_was_answered_is_known_again_by_its_key(self, n: int) -> None:
        session = begun()
        said = [replace(answer, key=f"k{m}") for m, answer in enumerate(LONG_WAY)]
        seqs = [session.answer(answer).recorded for answer in said]
        assert session.answer(said[n]).recorded == seqs[n]
        assert session.answer(replace(said[n], answers=0)).recorded == seqs[n], "the step that it answered is past"

    def test_another_answer_with_a_key_of_before_is_refused_and_not_called_recorded(self) -> None:
        session = answered(begun(), Answer(note="one", key="a"))
        reply = session.answer(Answer(note="two", key="a"))
        assert reply.recorded is None and "another answer, event 1" in (reply.problem or "")
        assert session.answer(Answer(done=True, key="a")).recorded is None
        assert [text for _, text in session.state.notes] == ["one"]

    def test_a_refused_answer_uses_up_no_key(self) -> None:
        session = begun()
        assert session.answer(Answer(readings={"x": 1}, key="a")).recorded is None
        assert session.answer(Answer(done=True, key="a")).recorded == 1


class TestPersons:
    def test_stand_outside_the_record(self, path: Path) -> None:
        book = Book.open(path)
        session = answered(begun(book), *LONG_WAY)
        assert all(b"Sample" not in e.body and b"Uneven" not in e.body for e in book.events(session.run))

    def test_may_be_changed_and_emptied_and_the_chain_holds(self, path: Path) -> None:
        book = Book.open(path)
        session = answered(begun(book), *LONG_WAY)
        head = book.head(session.run)
        assert book.job(1).customer == "A. Sample"
        book.rewrite_persons(1, valve_job().model_copy(update={"customer": "B. Sample"}))
        assert book.job(1).customer == "B. Sample"
        book.forget_persons(1)
        assert (book.job(1).customer, book.job(1).title, book.jobs()[0].customer) == ("", "", "")
        assert book.head(session.run) == head
        assert not any(b"Sample" in file.read_bytes() for file in path.parent.iterdir())
        assert len(book.events(session.run)) == len(LONG_WAY) + 1


class TestTrouble:
    def test_a_folder_that_can_not_be(self, tmp_path: Path) -> None:
        (tmp_path / "file").write_text("", encoding="utf-8")
        with pytest.raises(BookTrouble, match="--book"):
            Book.open(tmp_path / "file" / "jobs.book")

    def test_a_file_of_another_kind(self, path: Path) -> None:
        path.parent.mkdir()
        path.write_text("This is a letter to my aunt, and it is long enough." * 40, encoding="utf-8")
        with pytest.raises(BookTrouble, match="not a job book"):
            Book.open(path)
        assert path.read_text(encoding="utf-8").startswith("This is a letter")

    def test_a_database_of_another_program(self, path: Path) -> None:
        path.parent.mkdir()
        raw(path).execute("CREATE TABLE aunts(name)")
        with pytest.raises(BookTrouble, match="another program"):
            Book.open(path)

    def test_a_book_from_a_newer_version(self, path: Path) -> None:
        Book.open(path).close()
        raw(path).execute(f"PRAGMA user_version = {VERSION + 1}")
        with pytest.raises(BookTrouble, match="newer Evendraw"):
            Book.open(path)
        with pytest.raises(BookTrouble, match="newer Evendraw"):
            verify(path)

    def test_a_book_that_is_not_there_to_read(self, path: Path) -> None:
        with pytest.raises(BookTrouble, match="no job book at"):
            Book.open(path, reading=True)
        assert not path.parent.exists()

    def test_a_full_disk_loses_nothing_and_the_run_goes_on_when_there_is_room(self, path: Path) -> None:
        book = Book.open(path)
        session = answered(begun(book), DONE)
        book._db.execute(f"PRAGMA max_page_count = {book._read('PRAGMA page_count')[0][0]}")
        note = Answer(note="long " * 300)
        for _ in range(400):
            reply = session.answer(note)
            if reply.problem:
                break
        assert reply.unsaved
        assert "The disk is full" in (reply.problem or "")
        kept = len(book.events(session.run))
        assert session.state.seq == kept - 1
        book._db.execute("PRAGMA max_page_count = 100000")
        assert session.answer(note).recorded == kept

    @BOUND
    def test_a_read_only_book(self, path: Path) -> None:
        Book.open(path).close()
        path.chmod(0o444)
        with pytest.raises(BookTrouble, match="read-only"):
            Book.open(path)

    def test_a_book_that_turns_read_only_under_a_run(self, path: Path) -> None:
        book = Book.open(path)
        session = begun(book)
        book._db.execute("PRAGMA query_only = ON")
        reply = session.answer(DONE)
        assert reply.unsaved
        assert "read-only" in (reply.problem or "")
        assert session.view.step == "zero"

    def test_a_run_or_job_that_is_not_there(self) -> None:
        book = Book.memory()
        with pytest.raises(BookTrouble, match=r"no run 9\.1"):
            book.events("9.1")
        with pytest.raises(BookTrouble, match="no job 9"):
            book.job(9)


class TestTwoWindows:
    def test_the_second_is_refused_in_a_sentence(self, path: Path) -> None:
        from valve_runs import ADVISERS

        from engine.session.session import Session

        first, second = Book.open(path), Book.open(path)
        session = begun(first)
        with pytest.raises(BookTrouble, match="Job 1 is open in another window"):
            Session.reopen(second, session.run, advisers=ADVISERS)
        assert begun(second).job_number == 2
        session.close()
        assert Session.reopen(second, session.run, advisers=ADVISERS).view.step == "zero"
        first.close()
        second.close()
        assert [p.name for p in path.parent.iterdir()] == ["jobs.book"]

    def test_looking_is_allowed(self, path: Path) -> None:
        from valve_runs import ADVISERS

        from engine.session.session import Session

        session = answered(begun(Book.open(path)), DONE)
        looking = Session.reopen(Book.open(path, reading=True), session.run, advisers=ADVISERS, reading=True)
        assert looking.view.step == "open"

    def test_a_killed_window_holds_nothing(self, path: Path) -> None:
        code = (
            "import os, sys; from engine.book.book import Book; b = Book.open(sys.argv[1]); b.hold(1); "
            "print('held', flush=True); os.abort()"
        )
        child = subprocess.run(
            [sys.executable, "-c", code, str(path)], capture_output=True, text=True, cwd=Path(__file__).parents[3]
        )
        assert "held" in child.stdout
        Book.open(path).hold(1)

    def test_two_that_write_the_same_run_collide_instead_of_mixing(self, path: Path) -> None:
        first, second = Book.open(path), Book.open(path)
        session = answered(begun(first), DONE)
        second.append(session.run, 2, None, b"{}")
        reply = session.answer(DONE)
        assert reply.unsaved
        assert "Another window has gone on" in (reply.problem or "")


class TestAPowerCut:
    def test_every_prefix_of_the_log_file_opens_to_a_prefix_of_the_events(self, path: Path, tmp_path: Path) -> None:
        book = Book.open(path)
        session = answered(begun(book), *LONG_WAY[:4])
        wal = path.with_name(path.name + "-wal").read_bytes()
        whole = [e.body for e in book.events(session.run)]
        frame = 4096 + 24
        cuts = {*range(0, len(wal), frame), *range(7, len(wal), 997), len(wal)}
        seen = set()
        for cut in sorted(cuts):
            copy = tmp_path / f"cut{cut}" / "jobs.book"
            copy.parent.mkdir()
            copy.write_bytes(path.read_bytes())
            copy.with_name("jobs.book-wal").write_bytes(wal[:cut])
            opened = Book.open(copy)
            runs = opened.runs()
            kept = [e.body for e in opened.events(session.run)] if runs else []
            assert kept == whole[: len(kept)]
            seen.add(len(kept))
            opened.close()
        assert seen == set(range(len(whole) + 1))
