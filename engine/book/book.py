"""The job book: one SQLite file behind one interface, each event committed before anybody hears of it.

Nobody outside this folder speaks SQL. `Record` holds runs and events, `Visits` jobs and persons; `verify`, `backup` and
`forget` beside them work on a book as a whole.
"""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

from engine.book import opening
from engine.book.holding import Holds
from engine.book.migrate import migrate
from engine.book.record import Record
from engine.book.rows import CustomerRow, JobRow, Recheck, RunRow, StaffRow, Stored, VehicleRow, Word
from engine.book.seal import chained
from engine.book.store import GONE, identity
from engine.book.trouble import BookTrouble, explained
from engine.book.visits import Visits

__all__ = [
    "Book",
    "CustomerRow",
    "JobRow",
    "Recheck",
    "RunRow",
    "StaffRow",
    "Stored",
    "VehicleRow",
    "Word",
    "chained",
]


class Book(Record, Visits):
    """An open job book. Every method raises `BookTrouble` with sentences where the file won't have it."""

    def __init__(self, connection: sqlite3.Connection, path: Path | None, notices: list[str]) -> None:
        super().__init__(connection, path, notices)
        self._rescued = ""
        self._holds = Holds(path) if path is not None else None

    @classmethod
    def open(cls, path: Path | str, reading: bool = False, backups: bool = True, copy: bool = False) -> Book:
        """Open a book, or make a new one; `reading`: an existing one, never written to.

        The first opening of a day keeps a copy (`backups`), and what was to be forgotten is finished. `copy`: it is a
        copy kept by itself, of which no further copies are made. Raises `BookTrouble` where the book can't be used.
        """
        opening.modern_enough()
        real = opening.located(path)
        connection, notices = opening.reader(real) if reading else opening.writer(real, copy)
        book = cls(connection, real, notices)
        book.reading = reading
        book._files = () if reading else identity(real)
        if backups and not reading:
            from engine.book.backup import daily
            from engine.book.forget import finish

            daily(book)
            finish(book)
        return book

    @classmethod
    def memory(cls) -> Book:
        """A book that lives in memory and is gone at the end: for trials."""
        opening.modern_enough()
        connection = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        migrate(connection)
        return cls(connection, None, [])

    def renew(self) -> None:
        """Close the file and open it again: after the disk failed, this tells what it really holds."""
        if self.path is None:
            return
        self._look_whether_there()
        with explained(self.path):
            self._db.close()
        self._db, found = opening.writer(self.path)
        self._files = identity(self.path)
        self.notices += found

    def _gone(self) -> BookTrouble:
        """The file was taken away under the open book: what it holds can still be read, and is kept beside it, once."""
        assert self.path is not None
        from engine.book.backup import copied

        if not self._rescued:
            kept = self.path.with_name(f"{self.path.name}.rescued-{time.strftime('%Y%m%d-%H%M%S')}")
            try:
                copied(self._db, kept)
                self._rescued = f"All that was recorded is kept as {kept}; 'evendraw book restore' puts that back."
            except BookTrouble as fault:
                return BookTrouble(f"{GONE.format(path=self.path)} {fault}")
        return BookTrouble(f"{GONE.format(path=self.path)} {self._rescued}")

    def close(self) -> None:
        """Let go of the file and of every job held."""
        if self._holds is not None:
            self._holds.close()
        with explained(self.path):
            self._db.close()

    # ---- one window a job

    def hold(self, job: int) -> None:
        """Keep every other window off a job until `release`, or until this process ends, however it ends."""
        if self._holds is not None:
            self._holds.hold(job)

    def release(self, job: int) -> None:
        """Let another window have the job."""
        if self._holds is not None:
            self._holds.release(job)
