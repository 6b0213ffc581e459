"""Opens the file of a job book for writing or for reading, looks whether it is whole, and keeps it private to its user;
it knows no job and no event.

A reader never writes. Where SQLite can't read the log (a read-only place), the book and its log are copied into a
private folder first, so that what is shown is the newest state and never an old one.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import tempfile
import time
from functools import cache
from pathlib import Path

from engine.book.log import BROKEN, log_path, look
from engine.book.mend import mended, sound, strayed
from engine.book.migrate import migrate, version_of
from engine.book.schema import APPLICATION, OLDEST_SQLITE, VERSION
from engine.book.trouble import BookTrouble, explained

DAMAGED = (
    "The job book is damaged inside: what is shown may lack something. 'evendraw book verify' says what is safe; "
    "opening the book to write (evendraw) makes its indexes anew where it is only those."
)
TWO_NAMES = (
    "The job book has a second name in the file system (a hard link): what was answered last under the other name may "
    "be missing here. Copy it with 'evendraw book backup', and take one name away."
)
#: A book up to this size is looked through at every opening; a larger one once a day, with its backup.
LOOKED_THROUGH = 48_000_000


def modern_enough() -> None:
    """Raise `BookTrouble` where this Python's SQLite is too old."""
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise BookTrouble(
            f"The job book needs SQLite 3.37 or later, and this Python has {sqlite3.sqlite_version}. "
            "Install a newer Python."
        )


def located(path: Path | str) -> Path:
    """The file itself, behind any link, so that two names of one book are one book."""
    if "\0" in str(path):
        raise BookTrouble("A path can't hold a NUL. Name another file with --book.")
    path = Path(path)
    with explained(path):
        real = Path(os.path.realpath(path, strict=False))
        if real.is_dir():
            raise BookTrouble(f"{path} is a folder, not a job book. Name a file with --book.")
        if os.path.lexists(path) and path.is_symlink() and not real.exists() and real.is_symlink():
            raise BookTrouble(f"{path} is a link that leads round in a circle. Name another file with --book.")
        if real.exists() and not real.is_file():
            raise BookTrouble(f"{path} is no file. Name another with --book.")
        return real


# ---- for writing


def writer(path: Path, copy: bool = False) -> tuple[sqlite3.Connection, list[str]]:
    """A connection that may write, the book brought to today's version; and sentences on what was found. `copy`: it
    is a copy of a book, and none of it is made first.

    Raises `BookTrouble` where it is no job book, newer, damaged, or may not be written.
    """
    with explained(path):
        make_folder(path.parent)
        fresh = not path.exists()
        if fresh:
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        elif path.stat().st_nlink > 1:
            raise BookTrouble(
                f"The job book {path} has a second name in the file system (a hard link). Under two names it would be "
                "spoilt: copy it with 'evendraw book backup', and take one name away."
            )
        elif not os.access(path, os.W_OK):
            raise PermissionReadOnly
        keep_private(path)
        found = look(path)
        notices = [found.problem] if found.problem else []
        if found.problem == BROKEN:  # behind a write that was cut off there is nothing to keep
            notices += _kept_aside(path)
        connection = sqlite3.connect(path, timeout=5, isolation_level=None, check_same_thread=False)
        try:
            _ours(connection, path)
            notices += _prepare(connection, path, copy)
        except BaseException:
            connection.close()
            raise
    return connection, notices


class PermissionReadOnly(sqlite3.OperationalError):
    """The file may not be written."""

    def __str__(self) -> str:
        return "attempt to write a readonly database"


def _prepare(connection: sqlite3.Connection, path: Path, copy: bool) -> list[str]:
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "busy_timeout = 5000",
        "secure_delete = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")
    version = version_of(connection)
    if 0 < version < VERSION and not copy:
        from engine.book.backup import before_migration

        before_migration(connection, path, version)
    migrate(connection)
    notices = _whole(connection, mend=True)
    # A book that can be read but not written is found out now, not at the first answer.
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("ROLLBACK")
    if path.stat().st_size <= LOOKED_THROUGH:
        notices += mended(connection)
    return notices + strayed(connection)


def _kept_aside(path: Path) -> list[str]:
    """Copy a book and its damaged log away before SQLite takes in what it can read of them; a sentence where."""
    stamp = time.strftime("%Y%m%d-%H%M%S")
    kept = path.with_name(f"{path.name}.damaged-{stamp}")
    try:
        for source, target in ((path, kept), (log_path(path), log_path(kept))):
            shutil.copyfile(source, target)
            keep_private(target)
    except OSError:
        return []
    return [f"Book and log as they were found are kept as {kept}."]


# ---- for reading


def reader(path: Path) -> tuple[sqlite3.Connection, list[str]]:
    """A connection that never writes, on the newest state, in today's version; and sentences on what was found."""
    if not path.is_file():
        with explained(path):
            if path.parent.exists():
                os.scandir(path.parent).close()  # a folder that may not be looked into is another matter
        raise BookTrouble(f"There is no job book at {path}. Name another with --book.")
    with explained(path):
        notices = [p for p in [look(path).problem] if p]
        if path.stat().st_nlink > 1:
            notices.append(TWO_NAMES)
        connection = _reading(path)
        try:
            _ours(connection, path)
            if version_of(connection) < VERSION:
                # An older book is brought up to date in memory, and stays as it is on the disk.
                older, connection = connection, sqlite3.connect(":memory:", isolation_level=None)
                older.backup(connection)
                older.close()
                migrate(connection)
            notices += _whole(connection, mend=False)
            if path.stat().st_size <= LOOKED_THROUGH and not sound(connection):
                notices.append(DAMAGED)
            notices += strayed(connection)
        except BaseException:
            connection.close()
            raise
    return connection, notices


def _reading(path: Path) -> sqlite3.Connection:
    connection = None
    try:
        connection = sqlite3.connect(
            f"{path.as_uri()}?mode=ro", uri=True, timeout=5, isolation_level=None, check_same_thread=False
        )
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        return connection
    except sqlite3.OperationalError as fault:
        if connection is not None:
            connection.close()
        if "locked" in str(fault) or "busy" in str(fault):
            raise
        return _copied(path)


def _copied(path: Path) -> sqlite3.Connection:
    """The book with its log, copied into memory by way of a private folder: for a place where nothing may be
    written.
    """
    with tempfile.TemporaryDirectory(prefix="evendraw-") as folder:
        copy = Path(folder) / "copy.book"
        for _ in range(5):
            stamp = _stamp(path)
            shutil.copyfile(path, copy)
            if log_path(path).exists():
                shutil.copyfile(log_path(path), log_path(copy))
            else:
                log_path(copy).unlink(missing_ok=True)
            if _stamp(path) == stamp:
                break
            time.sleep(0.05)
        else:
            raise BookTrouble(
                f"The job book {path} is being written by another window just now. Try again in a moment."
            )
        source = sqlite3.connect(copy, isolation_level=None)
        memory = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        try:
            source.backup(memory)
        except BaseException:
            memory.close()
            raise
        finally:
            source.close()
        return memory


def _stamp(path: Path) -> tuple[object, ...]:
    out: list[object] = []
    for each in (path, log_path(path)):
        try:
            found = each.stat()
            out += [found.st_size, found.st_mtime_ns]
        except FileNotFoundError:
            out.append(None)
    return tuple(out)


# ---- is it a book, is it whole


def _ours(connection: sqlite3.Connection, path: Path) -> None:
    version = version_of(connection)
    if version > VERSION:
        raise BookTrouble(
            f"The job book {path} was written by a newer Evendraw. Install that version to open it; "
            "nothing was changed."
        )
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise BookTrouble(f"{path} is a database of another program, not a job book. Name another with --book.")
    if tables and version < 1:
        raise sqlite3.DatabaseError("malformed")


@cache
def rules_of(version: int) -> dict[str, tuple[str, str]]:
    """What makes a book of a version: by name its kind and its statement, as SQLite keeps them."""
    blank = sqlite3.connect(":memory:", isolation_level=None)
    migrate(blank, version)
    found = _rules(blank)
    blank.close()
    return found


def _rules(connection: sqlite3.Connection) -> dict[str, tuple[str, str]]:
    rows = connection.execute("SELECT name, type, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    if not all(isinstance(word, str) for row in rows for word in row):
        raise sqlite3.DatabaseError("malformed")  # a text of the schema that is marked as bytes
    return {name: (kind, sql) for name, kind, sql in rows}


def _whole(connection: sqlite3.Connection, mend: bool) -> list[str]:
    """Sentences on rules of the book that were taken out or altered; `mend` puts them back.

    Raises where a table is not that of its version.
    """
    stand, wanted = _rules(connection), rules_of(version_of(connection))
    differ = {n for n in stand.keys() | wanted.keys() if stand.get(n) != wanted.get(n)}
    if not differ:
        return []
    if any("trigger" not in (stand.get(n) or wanted[n])[0] for n in differ):
        raise sqlite3.DatabaseError("malformed")
    if mend:
        for name in sorted(differ):
            if name in stand:
                connection.execute(f'DROP TRIGGER "{name.replace(chr(34), chr(34) * 2)}"')
            if name in wanted:
                connection.execute(wanted[name][1])
    return [
        f"Rules that keep the record from being changed had been taken out of the book: {', '.join(sorted(differ))}. "
        + ("They were put back." if mend else "")
    ]


# ---- private


def make_folder(folder: Path) -> None:
    """Make a folder, and those above it that are missing, private to this user."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(mode=0o700, exist_ok=True)


def write_private(path: Path, text: str) -> None:
    """Write a text, its line breaks as they are, to a file that only its user may read. Raises `OSError`."""
    with open(path, "w", encoding="utf-8", newline="") as file:
        keep_private(path)
        file.write(text)


def keep_private(path: Path) -> None:
    """Take the rights of others away from a file of ours; on Windows the user's own profile does it."""
    if os.name == "nt":
        return
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
        if mode & 0o077:
            path.chmod(mode & 0o700)
    except OSError:
        pass  # somebody else's file: its owner decides
