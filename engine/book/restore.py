"""Puts a copy in the place of the book, also on a new PC; what stood there is kept aside, and nothing is lost."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from contextlib import closing, suppress
from pathlib import Path

from engine.book import opening
from engine.book.log import log_path
from engine.book.trouble import BookTrouble, explained
from engine.book.verify import verify


def restore(path: Path | str, source: Path | str) -> Path | None:
    """Put the copy `source` in the place of the book; where the book that stood there is kept, if there was one.

    Raises `BookTrouble` where the copy is not whole, or the book is open in another window; then nothing was changed.
    """
    to, copy = opening.located(path), opening.located(source)
    if to == copy:
        raise BookTrouble("That is the job book itself. Name a copy of it.")
    report = verify(copy)
    if not report.whole:
        raise BookTrouble(f"{copy} is not whole, so nothing was changed. {report.wrong[0]}")
    aside = None
    with explained(to):
        opening.make_folder(to.parent)
        if to.exists():
            _alone(to)
        part = to.with_name(f"{to.name}.part")
        part.unlink(missing_ok=True)
        try:
            _copied(copy, part)
            if to.exists():
                _alone(to)
                aside = _aside(to)
            for old in (log_path(to), to.with_name(f"{to.name}-shm")):
                old.unlink(missing_ok=True)
            part.replace(to)
        finally:
            part.unlink(missing_ok=True)
    return aside


def _copied(copy: Path, part: Path) -> None:
    """A copy of the copy, alone in its file and on the disk."""
    with closing(opening.reader(copy)[0]) as connection:
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        with closing(sqlite3.connect(part, isolation_level=None)) as target:
            connection.backup(target)
            target.execute("PRAGMA journal_mode = DELETE")
    with part.open("rb+") as file:
        os.fsync(file.fileno())


def _alone(path: Path) -> None:
    """Raise where another window has the book open; fold its log into it where nobody has."""
    connection = sqlite3.connect(path, timeout=0, isolation_level=None)
    try:
        connection.execute("PRAGMA locking_mode = EXCLUSIVE")
        connection.execute("BEGIN EXCLUSIVE")
        connection.execute("ROLLBACK")
    except sqlite3.OperationalError as fault:
        if "locked" in str(fault) or "busy" in str(fault):
            raise BookTrouble("The job book is open in another window. Close it first; nothing was changed.") from None
    except sqlite3.DatabaseError:
        pass  # too damaged to be open anywhere
    finally:
        with suppress(sqlite3.Error):
            connection.close()


def _aside(path: Path) -> Path:
    kept = path.with_name(f"{path.name}.before-restore-{time.strftime('%Y%m%d-%H%M%S')}")
    for source, target in ((path, kept), (log_path(path), log_path(kept))):
        if source.exists():
            shutil.copyfile(source, target)
            opening.keep_private(target)
    return kept
