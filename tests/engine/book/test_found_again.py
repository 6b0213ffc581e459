"""Found again: searched as one types, a vehicle's visits side by side, and the whole book out and in again."""

from __future__ import annotations

import gzip
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from valve_runs import LONG_WAY, Answer, answered, begun

from engine.book.book import Book
from engine.book.exchange import bring_in, export
from engine.book.trouble import BookTrouble
from engine.book.verify import verify
from engine.carburation.registry import shipped
from engine.sheet.gather import sheet_of
from engine.sheet.history import lines, visits
from engine.sheet.returning import returning
from tui.commandline.listing import NEWEST, job_json, job_lines
from tui.drawing.job_lines import left_with

KEPT = Path(__file__).parents[2] / "kept" / "state_6e732ba" / "jobs.book.gz"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with fifty runs of invented jobs, brought to the version of today."""
    path = tmp_path_factory.mktemp("found") / "jobs.book"
    path.write_bytes(gzip.decompress(KEPT.read_bytes()))
    Book.open(path, backups=False).close()
    return path


@pytest.fixture(scope="module")
def book(path: Path):
    with closing(Book.open(path, reading=True)) as book:
        yield book


@pytest.mark.parametrize(
    ("words", "holds"),
    [
        ("SAMPLE 1", "registration"),
        ("sampl", "the beginning of a word"),
        ("1598cc", "engine"),
        ("sidedraught", "family"),
        ("2031-05-04", "day"),
        ("idle-jet", "what an adviser found"),
        ("rough rebuild", "complaint"),
    ],
)
def test_a_job_is_found_by(words: str, holds: str, book: Book) -> None:
    assert 1 in book.found(words) or book.found(words), holds


@pytest.mark.parametrize("words", ['"', "'; DROP TABLE job;--", "a OR b", "NEAR(", "\0", "*", "col:x", "\u202e"])
def test_no_text_breaks_the_search(words: str, book: Book) -> None:
    assert isinstance(book.found(words), list)
    assert list(job_lines(book, words))


def test_a_list_tells_two_visits_apart(book: Book) -> None:
    first = next(line for line in job_lines(book, "1598cc"))
    for told in ("2031-05-04", "SAMPLE 1", "A. Sample", "idles rough since a rebuild"):
        assert told in first
    assert any("done" in line for line in job_lines(book, "1598cc"))


def test_a_list_stops_at_the_newest_and_says_so(book: Book) -> None:
    with closing(Book.memory()) as many:
        for number in range(NEWEST + 3):
            many.take_in(book.job(1), f"2031-01-01T00:00:{number:02d}+00:00")
        listed = list(job_lines(many))
        assert sum(line.startswith("  ") and "2031" in line for line in listed) == NEWEST
        assert any("--all" in line for line in listed)
        assert len(job_json(many, everything=True)) == NEWEST + 3


def test_visits_of_one_vehicle_stand_side_by_side(book: Book) -> None:
    told = visits(book, 1, shipped())
    assert told[0].day == "2031-05-04"
    assert told[0].apart == (pytest.approx(1.2), pytest.approx(0.2))
    text = "\n".join(lines(told))
    assert "1.2 > 0.2" in text
    assert max(map(len, lines(told))) <= 80


def test_a_visit_that_can_not_be_read_hides_no_other(path: Path, tmp_path: Path) -> None:
    import sqlite3

    spoilt = tmp_path / "jobs.book"
    spoilt.write_bytes(path.read_bytes())
    with closing(sqlite3.connect(spoilt)) as raw:
        raw.execute("DROP TRIGGER event_no_update")
        raw.execute("UPDATE event SET body = X'7B' WHERE run = '1.1' AND seq = 3")
        raw.commit()
    with closing(Book.open(spoilt, reading=True)) as book:
        told = visits(book, 1, shipped())
        assert told
        assert lines(told)


# ---- out and in


def test_a_book_comes_back_as_it_went_out(book: Book, tmp_path: Path) -> None:
    counts = export(book, tmp_path / "out")
    assert json.loads((tmp_path / "out" / "book.json").read_text(encoding="utf-8"))["rows"] == counts
    assert bring_in(tmp_path / "out", tmp_path / "again.book") == counts
    with closing(Book.open(tmp_path / "again.book")) as again:
        assert [r.run for r in again.runs()] == [r.run for r in book.runs()]
        for run in book.runs():
            assert again.head(run.run) == book.head(run.run)
            assert [e.body for e in again.events(run.run)] == [e.body for e in book.events(run.run)]
        assert again.found("1598cc") == book.found("1598cc")


def test_nothing_is_written_over(book: Book, path: Path, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(BookTrouble, match="holds something already"):
        export(book, tmp_path)
    export(book, tmp_path / "out")
    with pytest.raises(BookTrouble, match="no book is written over"):
        bring_in(tmp_path / "out", path)


@pytest.mark.parametrize(
    ("file", "old", "new", "said"),
    [
        ("event.jsonl", '"seq": 3', '"seq": 3, "more": 1', "a column"),
        ("event.jsonl", "idle", "iddle", "not whole"),
        ("run.jsonl", "\n", "\nno json\n", "can't be read"),
        ("book.json", '"version": ', '"version": 9', "version 9"),
        ("book.json", "evendraw job book", "something else", "no job book"),
    ],
)
def test_what_was_altered_on_the_way_is_refused_and_leaves_nothing(
    file: str, old: str, new: str, said: str, book: Book, tmp_path: Path
) -> None:
    export(book, tmp_path / "out")
    spoilt = tmp_path / "out" / file
    text = spoilt.read_text(encoding="utf-8")
    assert old in text
    spoilt.write_text(text.replace(old, new, 1), encoding="utf-8", newline="\n")
    with pytest.raises(BookTrouble, match=said):
        bring_in(tmp_path / "out", tmp_path / "new" / "jobs.book")
    assert not list((tmp_path / "new").glob("*")) if (tmp_path / "new").exists() else True


class TestWhatIsMadeOfTheRecord:
    """Open runs, search and indexes are made of the record, and made anew where they do not agree with it."""

    @pytest.fixture
    def valves(self, tmp_path: Path) -> Path:
        place = tmp_path / "jobs.book"
        with closing(Book.open(place, backups=False)) as book:
            answered(begun(book), *LONG_WAY)
            answered(begun(book), *LONG_WAY[:6])
            keyed = Answer(note="Stiff spindle.", key="k1")
            answered(begun(book), keyed, Answer(abandon="only a look"))
        return place

    def test_what_a_file_found_is_found_again(self, valves: Path) -> None:
        with closing(Book.open(valves, reading=True)) as book:
            assert book.found("gland drips") == []
        with closing(Book.open(valves, backups=False)) as book:
            session = answered(begun(book), *LONG_WAY[:4])
            leaks = {"flow": [4, 7.5], "sound": "steady", "drips": "yes"}
            answered(session, Answer(readings=leaks, understood=True))
            assert book.found("gland dri") == [session.job_number]

    def test_runs_that_stand_open_are_those_that_have_not_ended(self, valves: Path) -> None:
        with closing(Book.open(valves, backups=False)) as book:
            assert [r.run for r in book.unended()] == ["2.1"]
            session = begun(book)
            assert [r.run for r in book.unended()] == [session.run, "2.1"]
            answered(session, Answer(abandon="the customer came back"))
            assert [r.run for r in book.unended()] == ["2.1"]
            answered(session, Answer(undo=True))
            assert session.run in [r.run for r in book.unended()], "undone, it stands open again"

    def test_a_wrong_list_of_open_runs_is_told_and_made_anew(self, valves: Path) -> None:
        with closing(sqlite3.connect(valves)) as db:
            db.execute("DELETE FROM unended")
            db.commit()
        assert any("stand open does not agree" in said for said in verify(valves).wrong)
        with closing(Book.open(valves, backups=False)) as book:
            assert any("made anew" in notice for notice in book.notices)
            assert [r.run for r in book.unended()] == ["2.1"]
        assert verify(valves).whole

    @pytest.mark.parametrize("index", ["run_job", "job_vehicle", "sqlite_autoindex_event_1", "event_key"])
    def test_a_damaged_index_is_told_to_who_reads_and_made_anew_for_who_writes(self, valves: Path, index: str) -> None:
        with closing(sqlite3.connect(valves, isolation_level=None)) as db:
            page, size = (
                db.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (index,)).fetchone()[0],
                db.execute("PRAGMA page_size").fetchone()[0],
            )
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            seals = [book_row for book_row in db.execute("SELECT run, hash FROM head ORDER BY run")]
        data = bytearray(valves.read_bytes())
        at = (page - 1) * size
        cells = int.from_bytes(data[at + 3 : at + 5], "big")
        assert cells > 0
        data[at + 3 : at + 5] = (cells - 1).to_bytes(2, "big")  # its last entry is lost
        valves.write_bytes(data)
        with closing(Book.open(valves, reading=True)) as book:
            assert any("damaged inside" in notice for notice in book.notices)
        with closing(Book.open(valves, backups=False)) as book:
            assert any("made anew" in notice for notice in book.notices)
            assert [(r.run, bytes.fromhex(book.head(r.run))) for r in reversed(book.runs())] == seals
            assert all(book.events(r.run) for r in book.runs())
        assert verify(valves).whole

    def test_a_damaged_search_is_made_anew_or_told(self, valves: Path) -> None:
        with closing(sqlite3.connect(valves, isolation_level=None)) as db:
            db.execute("UPDATE search_data SET block = zeroblob(length(block)) WHERE id > 9")
        with closing(Book.open(valves, reading=True)) as book, pytest.raises(BookTrouble, match="search index"):
            book.found("uneven")
        with closing(Book.open(valves, backups=False)) as book:
            assert book.found("uneven") == [3, 2, 1]

    def test_a_damaged_table_is_never_called_mended(self, valves: Path) -> None:
        with closing(sqlite3.connect(valves, isolation_level=None)) as db:
            page, size = (
                db.execute("SELECT rootpage FROM sqlite_master WHERE name = 'job'").fetchone()[0],
                db.execute("PRAGMA page_size").fetchone()[0],
            )
            db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        data = bytearray(valves.read_bytes())
        data[(page - 1) * size : (page - 1) * size + 8] = b"\xff" * 8
        valves.write_bytes(data)
        with pytest.raises(BookTrouble, match="damaged"):
            Book.open(valves, backups=False)

    def test_what_was_exported_from_version_2_comes_in(self, valves: Path, tmp_path: Path) -> None:
        with closing(Book.open(valves, reading=True)) as book:
            export(book, tmp_path / "out")
        about = json.loads((tmp_path / "out" / "book.json").read_text(encoding="utf-8"))
        about["version"] = 2
        del about["rows"]["found"]
        (tmp_path / "out" / "found.jsonl").unlink()
        (tmp_path / "out" / "book.json").write_text(json.dumps(about), encoding="utf-8")
        bring_in(tmp_path / "out", tmp_path / "in.book")
        with closing(Book.open(tmp_path / "in.book", reading=True)) as book:
            assert [r.run for r in book.unended()] == ["2.1"] and book.found("uneven") == [3, 2, 1]

    def test_what_was_left_open_is_the_first_that_is_told_of_a_vehicle_that_comes_back(self, book: Book) -> None:
        stopped = next(r for r in book.runs() if r.last.get("outcome") in ("stopped", "failed"))
        job = returning(book, stopped.job, shipped())
        newest = sheet_of(book, book.runs(stopped.job)[0].run, shipped())
        assert (newest.outcome == "ok") or newest.say in " ".join(job.last_visit.left_open)
        told = left_with(job)
        assert told.index("Left open: ") < min(n for n in (told.find("It left"), told.find("Nothing was")) if n > 0)

    def test_a_vehicle_that_comes_back_begins_with_what_it_left_with(self, book: Book) -> None:
        ended = next(r for r in book.runs() if r.last.get("outcome") == "ok" and r.procedure.startswith("twin"))
        job = returning(book, ended.job, shipped())
        assert job.last_visit.job == ended.job and job.last_visit.day == ended.at[:10]
        assert job.title == "" and job.bank.family == book.job(ended.job).bank.family
        sheets = [sheet_of(book, r.run, shipped()) for r in book.runs(ended.job)]
        left = next(s for s in sheets if any(c.quantity == "engine speed" and c.left[0] for c in s.compared))
        speed = next(c.left[0] for c in left.compared if c.quantity == "engine speed")
        assert job.last_visit.idle_speed == speed
        assert len(job.last_visit.mixture_screws) == job.bank.barrels
