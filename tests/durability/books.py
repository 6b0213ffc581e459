"""Books to do harm to, and what they must still say: a live one with its log, copies of it, and everything that a
person could be shown of it.
"""

from __future__ import annotations

import sys
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
sys.path[:0] = [p for p in (str(ROOT / "tests" / "engine"), str(ROOT)) if p not in sys.path]

from valve_runs import ADVISERS, DONE, LONG_WAY, Answer, answered, begun, valve_job  # noqa: E402

from engine.book import codec  # noqa: E402
from engine.book.book import Book  # noqa: E402
from engine.book.log import log_path  # noqa: E402
from engine.book.trouble import BookTrouble  # noqa: E402
from engine.job.model import Vehicle  # noqa: E402
from engine.session.session import Session  # noqa: E402
from tui.commandline.listing import job_lines  # noqa: E402

__all__ = [
    "ADVISERS",
    "DONE",
    "LONG_WAY",
    "Answer",
    "Book",
    "BookTrouble",
    "Made",
    "Session",
    "answered",
    "begun",
    "shown",
]


@dataclass(frozen=True)
class Made:
    """A book as bytes: the file, its log, and what a person is shown of it."""

    book: bytes
    log: bytes
    shown: dict[str, Any]

    def at(self, folder: Path) -> Path:
        """The same book as files in a folder."""
        folder.mkdir(parents=True, exist_ok=True)
        path = folder / "jobs.book"
        path.write_bytes(self.book)
        log_path(path).unlink(missing_ok=True)
        if self.log:
            log_path(path).write_bytes(self.log)
        return path


def small(folder: Path, live: bool) -> Made:
    """A book of two jobs and two runs, as small as a sweep over its every bit wants it; `live`: all of the second run
    is in the log.
    """
    path = folder / "making" / "jobs.book"
    book = Book.open(path, backups=False)
    answered(begun(book), *LONG_WAY[:6])
    book.set_recheck(1, "2031-09-01", "4000", "after 500 km")
    if live:
        book._fold_log()
    answered(begun(book), DONE, Answer(note="Stiff spindle."))
    kept = Made(path.read_bytes(), log_path(path).read_bytes(), shown(book)) if live else None
    all_ = shown(book)
    book.close()
    return kept or Made(path.read_bytes(), b"", all_)


def written_state(path: Path) -> dict[str, Any]:
    """Every row of every table of a book as SQLite gives it, by the table."""
    book = Book.open(path, backups=False)
    try:
        tables = [n for (n,) in book._read("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return {name: _rows(book, name) for name in tables if name != "search"}
    finally:
        book.close()


def _rows(book: Book, table: str) -> Any:
    return book._read(f'SELECT * FROM "{table}" NOT INDEXED')


def made(folder: Path, live: bool) -> Made:
    """A book of three jobs and three runs; `live`: a process still has it open, and its newest answers are in the
    log.
    """
    path = folder / "making" / "jobs.book"
    book = Book.open(path, backups=False)
    book.add_staff("C. Sample")
    car = valve_job().model_copy(update={"vehicle": Vehicle(description="water cart, invented", registration="S 1")})
    for _ in range(2):
        number = book.take_in(car, "2031-05-04")
        book.set_recheck(number, "2031-09-01", "4000", "after 500 km")
    if live:
        book._fold_log()
    answered(begun(book), *LONG_WAY)
    answered(begun(book), *LONG_WAY[:6])
    answered(begun(book), DONE, Answer(note="Stiff spindle."))
    if live:
        kept = Made(path.read_bytes(), log_path(path).read_bytes(), shown(book))
        book.close()
        return kept
    all_ = shown(book)
    book.close()
    return Made(path.read_bytes(), b"", all_)


def shown(book: Book, about: Collection[str] = ("jobs", "runs", "search")) -> dict[str, Any]:
    """Everything that a person can be shown of a book, or what rests on some of it; what is said to be unreadable is
    its sentence.
    """
    out: dict[str, Any] = {"list": _or_told(lambda: list(job_lines(book)))}
    if "search" in about:
        out["search"] = _or_told(lambda: book.found("spin"))
    if "runs" in about:
        runs = _or_told(book.runs)
        for row in runs if isinstance(runs, list) else []:
            out[f"run {row.run}"] = row.problem or _or_told(lambda r=row.run: _events(book, r))
    if "jobs" in about:
        for row in _or_told(book.jobs) or []:
            if isinstance(row, tuple):
                out[f"job {row.job}"] = _or_told(lambda n=row.job: book.job(n).model_dump())
        out["vehicles"] = _or_told(book.vehicles)
        out["customers"] = _or_told(book.customers)
        out["staff"] = _or_told(book.staff)
        out["rechecks"] = _or_told(book.rechecks)
    return out


def _about(tables: Collection[str]) -> set[str]:
    """What rests on these tables: jobs and persons on none of those of runs, and only the search on its own."""
    return {
        "search" if name.startswith("search") else "runs" if name in ("event", "words", "text", "tombstone") else "jobs"
        for name in tables
    }


def _events(book: Book, run: str) -> list[Any]:
    events = book.events(run)
    first = codec.load(events[0].body)
    book.texts([f["sha256"] for f in first["files"]])
    return [(e.seq, e.key, codec.body_of(e)) for e in events]


def _or_told(ask: Any) -> Any:
    try:
        return ask()
    except BookTrouble as trouble:
        return f"TOLD: {trouble}"


_TOLD = ("TOLD", "its row can't be read", "UNREADABLE", "its record", "its newest event", codec.ALTERED)


def told(value: Any) -> bool:
    """Whether what is shown says that something can't be read."""
    words = "\n".join(map(str, value)) if isinstance(value, list | tuple) else repr(value)
    return any(mark in words for mark in _TOLD)


def harm(path: Path, whole: dict[str, Any], reading: bool = False, rows: Any = None) -> str | None:
    """Open a harmed book: None where the harm is told or changes nothing, else what was shown wrongly in silence.

    `rows`: those of the book before it was harmed. A book that was found sound, and holds the same, shows the same.
    """
    try:
        book = Book.open(path, reading=reading, backups=False)
    except BookTrouble:
        return None
    try:
        if book.notices:
            shown(book)  # told, and yet it may be asked for: nothing but a sentence may come of it
            return None
        about = {"jobs", "runs", "search"}
        if rows is not None:
            about = _about([name for name, was in rows.items() if _or_told(lambda n=name: _rows(book, n)) != was])
        now = shown(book, about | {"runs", "search"} if "jobs" in about else about) if about else {}
    except BookTrouble:
        return None
    finally:
        book.close()
    for key in now.keys() | {k for k in whole if "jobs" in about or ("runs" in about and k.startswith("run "))}:
        if now.get(key) != whole.get(key) and not told(now.get(key)) and not told(now["list"]):
            return f"{key}: {str(now.get(key))[:300]} instead of {str(whole.get(key))[:300]}"
    return None
