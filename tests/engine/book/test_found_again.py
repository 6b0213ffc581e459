"""Found again: searched as one types, a vehicle's visits side by side, and the whole book out and in again."""

from __future__ import annotations

import gzip
import json
from contextlib import closing
from pathlib import Path

import pytest

from engine.book.book import Book
from engine.book.exchange import bring_in, export
from engine.book.trouble import BookTrouble
from engine.carburation.registry import shipped
from engine.sheet.history import lines, visits
from tui.commandline.listing import NEWEST, job_json, job_lines

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
