"""Copies of the book: one a day by itself, one before an older book is brought up to date, one on request, and back; a
copy is taken through SQLite, so that a live book is copied whole.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import time
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from engine.book import opening
from engine.book.trouble import BookTrouble, explained

if TYPE_CHECKING:
    from engine.book.book import Book

#: How many daily copies are kept.
KEPT = 10


def folder_of(book: Path) -> Path:
    """Where the copies of a book are kept by themselves."""
    return book.with_name(f"{book.name}.backups")


def copies(book: Path) -> list[Path]:
    """The copies kept by themselves, oldest first."""
    try:
        return sorted(p for p in folder_of(book).glob("*.book") if p.is_file())
    except OSError:
        return []


def daily(book: Book) -> None:
    """Keep a copy of today unless there is one; the last ten stay. A copy that can't be made is a notice, no fault."""
    assert book.path is not None
    if not book._read("SELECT 1 FROM job LIMIT 1"):
        return
    target = folder_of(book.path) / f"{time.strftime('%Y-%m-%d')}.book"
    try:
        if target.exists():
            return
        copied(book._db, target)
        for old in [p for p in copies(book.path) if p.name[0].isdigit()][:-KEPT]:
            old.unlink()
    except (BookTrouble, OSError) as fault:
        book.notices.append(f"Today's copy of the job book could not be kept: {fault}")


def before_migration(connection: sqlite3.Connection, path: Path, version: int) -> None:
    """Keep a copy of an older book before it is brought up to date. Raises `BookTrouble` where none can be made."""
    target = folder_of(path) / f"before-version-{version + 1}-{time.strftime('%Y%m%d-%H%M%S')}.book"
    try:
        copied(connection, target)
    except BookTrouble as fault:
        raise BookTrouble(
            f"The job book {path} is of an older version, and no copy could be made before bringing it up to date, so "
            f"it was left as it is. {fault}"
        ) from fault


def copied(connection: sqlite3.Connection, target: Path) -> None:
    """Copy an open book to a file that is not there yet; it is whole, or it is not there. Raises `BookTrouble`."""
    try:
        _copied(connection, target)
    except BookTrouble as fault:
        why = _why(fault.__cause__)
        if not why:
            raise
        raise BookTrouble(f"The copy {target} can't be written: {why}. The book stands as it was.") from fault


def _why(fault: BaseException | None) -> str:
    """What keeps a copy from being written, in words; empty where it is something else."""
    said = str(fault).lower()
    if (isinstance(fault, OSError) and fault.errno in (errno.ENOSPC, errno.EDQUOT)) or "full" in said:
        return "the disk is full"
    if isinstance(fault, PermissionError) or "readonly" in said:
        return "this user may not write there"
    return str(fault.strerror or "") if isinstance(fault, OSError) else ""


def _copied(connection: sqlite3.Connection, target: Path) -> None:
    part = target.with_name(f"{target.name}.part")
    with explained(target):
        opening.make_folder(target.parent)
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        try:
            with closing(sqlite3.connect(part, isolation_level=None)) as copy:
                connection.backup(copy)
                copy.execute("PRAGMA journal_mode = DELETE")
                if copy.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
                    raise sqlite3.DatabaseError("malformed")
            with part.open("rb+") as file:
                os.fsync(file.fileno())
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)


def backup(book: Book, to: Path) -> Path:
    """Copy a live book to a file, or into a folder under the day's name; where it is. Nothing is written over."""
    with explained(to):
        target = to / f"jobs-{time.strftime('%Y-%m-%d-%H%M%S')}.book" if to.is_dir() else to
        if not target.parent.is_dir():
            # It is not made: a copy meant for a stick that is not plugged in would stay on this disk.
            raise BookTrouble(
                f"There is no folder {target.parent}: nothing was copied. Make it, or plug in what holds it."
            )
        if target.exists():
            raise BookTrouble(f"There is a {target} already. Name another file: nothing is written over.")
    copied(book._db, target)
    return target
