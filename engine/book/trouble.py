"""What goes wrong with a job book, in sentences; it repairs nothing."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class BookTrouble(RuntimeError):
    """The book won't have it; the message says what is wrong and what to do. What was acknowledged before still
    stands.
    """


class BookHeld(BookTrouble):
    """Another window has the job; it can be looked at meanwhile."""


class BookUnsure(BookTrouble):
    """It is not known whether the last thing was recorded; opening the book anew tells."""


_READ_ONLY = (
    "The job book {path} is read-only: nothing can be recorded. Give this user the right to write it, or name another "
    "with --book."
)
#: What SQLite says, and what to tell the person.
_SENTENCES = (
    ("disk is full", "The disk is full: this was not recorded, everything before it was. Make room, and answer again."),
    ("readonly", _READ_ONLY),
    ("read-only", _READ_ONLY),
    ("locked", "The job book {path} is busy in another window. Nothing was recorded; try again in a moment."),
    (
        "unable to open",
        "The job book {path} can't be opened. Look whether its folder exists and may be written to, or "
        "name another with --book.",
    ),
    ("not a database", "{path} is not a job book. Name another with --book."),
    (
        "malformed",
        "The job book {path} is damaged. 'evendraw book verify' says what is safe; go back to a copy of it with "
        "'evendraw book restore', and keep this file: most of it can be read.",
    ),
    ("append-only", "The record is append-only: what was written is never changed."),
    (
        "disk i/o",
        "The disk does not answer properly: this was not recorded, everything before it was. Look at the "
        "disk, then answer again.",
    ),
)
#: Where the disk failed while a commit was under way.
UNSURE = (
    "The disk failed while this was being written: it is not known whether it was recorded. Look at the disk and "
    "answer again: it is found out first, and nothing is recorded twice."
)
_HALF = (
    "What was typed holds a byte that is no character (not UTF-8), which the job book can't hold. Type it again; "
    "nothing was changed."
)
_FORBIDDEN = (
    "The job book {path} can't be reached: this user may not open it, or a folder above it. Ask for the right, or name "
    "another with --book."
)


@contextmanager
def explained(path: Path | None) -> Iterator[None]:
    """Turn what SQLite and the system say into a sentence."""
    try:
        yield
    except BookTrouble:
        raise
    except (sqlite3.Error, OSError, RuntimeError, ValueError, OverflowError) as fault:
        raise BookTrouble(sentence(fault, path)) from fault


def sentence(fault: Exception, path: Path | None) -> str:
    """What to tell the person."""
    said = str(fault).lower()
    where = str(path) if path is not None else "in memory"
    if isinstance(fault, UnicodeEncodeError):
        return _HALF
    if isinstance(fault, PermissionError):
        return _FORBIDDEN.format(path=where)
    if isinstance(fault, OSError):
        said = "disk is full" if fault.errno in (errno.ENOSPC, errno.EDQUOT) else f"{said} unable to open"
    for needle, text in _SENTENCES:
        if needle in said:
            return text.format(path=where)
    return f"The job book {where} can't be used: {fault}."
