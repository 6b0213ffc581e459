"""The open file under the book: one transaction at a time, every fault in a sentence; it knows no table."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from engine.book.trouble import UNSURE, BookUnsure, explained


class Store:
    """A connection and its file (None: in memory). `notices` are sentences on what was found at its opening."""

    def __init__(self, connection: sqlite3.Connection, path: Path | None, notices: list[str]) -> None:
        self._db, self.path, self.notices = connection, path, notices
        #: It was opened to read.
        self.reading = False

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it or nothing. Raises `BookUnsure` where the disk fails while it is committed."""
        with explained(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
            except BaseException:
                self._back()
                raise
            try:
                self._db.execute("COMMIT")
            except sqlite3.Error as fault:
                self._back()
                if "full" in str(fault) or "readonly" in str(fault) or "locked" in str(fault):
                    raise  # nothing of it was written whole
                raise BookUnsure(UNSURE) from fault
            except BaseException:
                self._back()
                raise

    def _back(self) -> None:
        with suppress(sqlite3.Error):
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")

    def _read(self, sql: str, *values: Any) -> list[Any]:
        with explained(self.path):
            return self._db.execute(sql, values).fetchall()

    def _fold_log(self) -> None:
        """Fold the log into the file and cut it: what was written over is in it until then."""
        self._read("PRAGMA wal_checkpoint(TRUNCATE)")
