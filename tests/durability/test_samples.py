"""What is acknowledged stands, whatever happens to the program, the disk and the file; here by fixed samples, and as
full sweeps by `python -m tests.durability`.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.durability import books, files, lines
from tests.durability.books import ADVISERS, DONE, Answer, Book, BookTrouble, Session, answered, begun

ROOT = Path(__file__).parents[2]
UNIX = pytest.mark.skipif(os.name == "nt", reason="forks and kills")


def swept(*arguments: str) -> str:
    """A sweep in a process of its own, since it kills, forks and sets limits."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.durability", *arguments], cwd=ROOT, capture_output=True, text=True, timeout=240
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-3000:]
    return done.stdout


@pytest.fixture(scope="module")
def live(tmp_path_factory: pytest.TempPathFactory) -> books.Made:
    return books.made(tmp_path_factory.mktemp("live"), True)


@pytest.fixture(scope="module")
def rest(tmp_path_factory: pytest.TempPathFactory) -> books.Made:
    return books.made(tmp_path_factory.mktemp("rest"), False)


class TestKills:
    @UNIX
    def test_of_the_line_protocol_lose_nothing_and_repeat_nothing(self) -> None:
        assert "talk: 8 kills" in swept("kills", "--kills", "8", "--only", "talk", "--seed", "3")

    @UNIX
    def test_of_the_screen_lose_nothing_and_repeat_nothing(self) -> None:
        assert "screen: 2 kills" in swept("kills", "--kills", "2", "--only", "screen", "--seed", "3")


class TestTheFiles:
    def test_a_value_that_damage_made_something_else_of_is_told(self, rest: books.Made, tmp_path: Path) -> None:
        """One bit of a row's head makes nothing, a number or bytes of a text, whatever the column says."""
        assert list(files.other_kinds(rest, tmp_path)) == []

    def test_the_log_cut_anywhere_opens_to_a_state_that_the_run_had(self, live: books.Made, tmp_path: Path) -> None:
        page = 4096 + 24
        ends = [32 + n * page for n in range(1, len(live.log) // page, 9)]
        at = sorted({0, 1, 31, 32, 33, *(e + d for e in ends for d in (-1, 0, 1, 12, 2000)), len(live.log)})
        assert list(files.cuts(live, tmp_path / "cut", at)) == []

    def test_a_bit_of_the_book_is_told_or_harmless(self, rest: books.Made, tmp_path: Path) -> None:
        source = random.Random(5)
        head = [8 * byte + byte % 8 for byte in range(100)]
        bits = [*head, *(source.randrange(8 * len(rest.book)) for _ in range(100))]
        assert list(files.flips(rest, tmp_path / "flip", map(files.bit_flip, bits))) == []

    def test_a_text_of_the_schema_that_is_marked_as_bytes_is_told(self, rest: books.Made, tmp_path: Path) -> None:
        # The lowest bit of a text's type in the head of its row, here of the schema's own rows.
        marks = [
            n - 2
            for word in (b"tabletext", b"triggertext_no", b"indexrun_job")
            for n in range(len(rest.book))
            if rest.book.startswith(word, n)
        ]
        assert len(marks) >= 3
        near = [files.bit_flip(8 * (mark - back)) for mark in marks for back in range(5)]
        assert list(files.flips(rest, tmp_path / "flip", near)) == []

    def test_a_bit_of_the_log_is_told_or_harmless(self, live: books.Made, tmp_path: Path) -> None:
        source = random.Random(6)
        size, last = 8 * len(live.book), 8 * (len(live.log) - 4120)
        bits = [*range(0, 8 * 32, 5), *range(last, last + 8 * 24, 7)]
        bits += [source.randrange(8 * len(live.log)) for _ in range(40)]
        assert list(files.flips(live, tmp_path / "flip", [files.bit_flip(size + b) for b in bits])) == []

    def test_one_bit_of_an_index_cuts_no_answer_off_in_silence(self, tmp_path: Path) -> None:
        path = tmp_path / "jobs.book"
        book = Book.open(path)
        session = answered(begun(book), *books.LONG_WAY)
        whole = [e.body for e in book.events(session.run)]
        book.close()
        data, found = path.read_bytes(), 0
        # Every place where the run's name stands before a number: the cells of the index.
        for place in [n for n in range(len(data) - 4) if data[n : n + 3] == b"1.1"]:
            for bit in range(8):
                path.write_bytes(data[: place + 3] + bytes([data[place + 3] ^ 1 << bit]) + data[place + 4 :])
                for reading in (True, False):
                    try:
                        with_harm = Book.open(path, reading=reading, backups=False)
                    except BookTrouble:
                        found += 1
                        continue
                    try:
                        assert [e.body for e in with_harm.events(session.run)] == whole
                    except BookTrouble:
                        found += 1
                    with_harm.close()
        assert found


class TestLines:
    def test_of_any_shape_break_nothing_and_lose_no_acknowledged_answer(self) -> None:
        assert list(lines.sweep(1500, 4, shipped=False)) == []

    def test_come_to_every_kind_of_answer_and_to_the_end_of_runs(self) -> None:
        wanted = {"done", "readings", "symptom", "undo", "redo", "strike", "note", "waiting", "resumed"}
        for seed in range(8, 20):  # whatever kinds there are, drawn in whatever order
            session = begun()
            assert list(lines.sent(session, 1500, random.Random(seed))) == []
            wanted -= {json.loads(e.body)["kind"] for e in session.book.events(session.run)}
            if not wanted:
                break
        assert not wanted


class TestTheDisk:
    @UNIX
    def test_that_is_full_or_read_only_at_any_write_loses_nothing(self) -> None:
        assert "disk: 0 wrong" in swept("disk", "--every", "47")

    @pytest.fixture(params=["before", "after"])
    def failing(self, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[Session, Any, bool]]:
        """A run whose disk fails at the next commit, before or after it took effect."""
        book = Book.open(tmp_path / "jobs.book")
        session = answered(begun(book), DONE)
        after = request.param == "after"

        class Failing:
            def __init__(self, real: Any) -> None:
                self.real, self.armed = real, False

            def execute(self, sql: str, *values: Any) -> Any:
                import sqlite3

                if sql == "COMMIT" and self.armed:
                    self.armed = False
                    if after:
                        self.real.execute(sql)
                    raise sqlite3.OperationalError("disk I/O error")
                return self.real.execute(sql, *values)

            def __getattr__(self, name: str) -> Any:
                return getattr(self.real, name)

        book._db = Failing(book._db)  # type: ignore[assignment]
        yield session, book._db, after
        book.close()

    def test_that_fails_at_a_commit_is_not_said_to_have_kept_or_lost_it(self, failing: Any) -> None:
        session, disk, _ = failing
        disk.armed = True
        reply = session.answer(Answer(note="once"))
        assert reply.unsaved
        assert "not known whether it was recorded" in (reply.problem or "")

    def test_the_same_answer_given_again_is_there_once(self, failing: Any) -> None:
        session, disk, _ = failing
        disk.armed = True
        session.answer(Answer(note="once"))
        assert session.answer(Answer(note="once")).recorded == 2
        assert [text for _, text in session.state.notes] == ["once"]
        assert len(session.book.events(session.run)) == 3

    def test_another_answer_is_not_taken_for_a_step_that_was_not_seen(self, failing: Any) -> None:
        session, disk, after = failing
        disk.armed = True
        session.answer(DONE)
        step = session.view.step
        reply = session.answer(Answer(note="seen"))
        if after:
            assert "was recorded after all" in (reply.problem or "")
            assert session.view.step != step
        else:
            assert reply.recorded == 2


class TestTheClock:
    def test_set_back_loses_nothing_and_the_run_goes_on(self, tmp_path: Path) -> None:
        book = Book.open(tmp_path / "jobs.book")
        session = begun(book)
        times = iter(["2031-05-04T10:00:00+00:00", "2031-05-04T08:00:00+00:00", "1999-01-01T00:00:00+00:00"])
        session._clock = lambda: next(times)
        answered(session, DONE, Answer(note="a"), Answer(note="b"))
        session.close()
        again = Session.reopen(book, session.run, advisers=ADVISERS, clock=lambda: "2031-05-04T10:30:00+00:00")
        assert [text for _, text in again.state.notes] == ["a", "b"]


class TestReadingWhereNothingMayBeWritten:
    def test_a_read_only_place_shows_the_newest_answers(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        import sqlite3

        from engine.book import opening

        live = books.made(tmp_path / "a", True)
        path = live.at(tmp_path / "b")
        connect = sqlite3.connect

        def refuses(target: Any, *a: Any, **k: Any) -> Any:
            if "mode=ro" in str(target):
                raise sqlite3.OperationalError("unable to open database file")
            return connect(target, *a, **k)

        monkeypatch.setattr(opening.sqlite3, "connect", refuses)
        before = path.read_bytes()
        with_log = Book.open(path, reading=True)
        assert books.shown(with_log) == live.shown
        assert path.read_bytes() == before

    def test_while_another_holds_the_book_nothing_old_is_shown(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        import sqlite3

        from engine.book import opening

        path = books.made(tmp_path / "a", True).at(tmp_path / "b")
        holder = sqlite3.connect(path, isolation_level=None)
        holder.execute("PRAGMA locking_mode = EXCLUSIVE")
        holder.execute("BEGIN EXCLUSIVE")
        connect = sqlite3.connect
        monkeypatch.setattr(opening.sqlite3, "connect", lambda *a, **k: connect(*a, **{**k, "timeout": 0.1}))
        with pytest.raises(BookTrouble, match="busy in another window"):
            Book.open(path, reading=True)
        holder.close()
