"""The open file under the book: one transaction at a time, every fault in a sentence; it knows no table."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from engine.book.trouble import UNSURE, BookTrouble, BookUnsure, explained

GONE = (
    "The job book {path}, or its log, was moved, deleted or replaced while it was open here: this was not recorded. "
    "Close this window."
)
_Files = tuple[tuple[int, int] | None, ...]


def identity(path: Path) -> _Files:
    """Which files stand where a book, its log and the index of its log are; None for one that is not there. Windows
    lets nobody take an open file away.
    """
    return tuple(_one(path.with_name(path.name + end)) for end in ("", "-wal", "-shm"))


def _one(path: Path) -> tuple[int, int] | None:
    try:
        found = os.stat(path)
    except OSError:
        return None
    return (0, 0) if os.name == "nt" else (found.st_dev, found.st_ino)


class Store:
    """A connection and its file (None: in memory). `notices` are sentences on what was found at its opening."""

    def __init__(self, connection: sqlite3.Connection, path: Path | None, notices: list[str]) -> None:
        self._db, self.path, self.notices = connection, path, notices
        #: It was opened to read.
        self.reading = False
        #: Which files it is, where it was opened to write.
        self._files: _Files = ()

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it or nothing. Raises `BookUnsure` where the disk fails while it is committed."""
        with explained(self.path):
            self._look_whether_there()
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

    def _look_whether_there(self) -> None:
        """Raise where the file, or its log, is no longer the one that was opened. Log and index appear when they are
        needed.
        """
        if not self._files or self.path is None:
            return
        now = identity(self.path)
        if any(was not in (None, is_) for was, is_ in zip(self._files, now, strict=True)):
            raise self._gone()
        self._files = now

    def _gone(self) -> BookTrouble:
        """What to say where the file was taken away under the open book."""
        return BookTrouble(GONE.format(path=self.path))

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
