"""What goes wrong with a job book, in sentences; it repairs nothing."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class BookTrouble(RuntimeError):
    """The book won't have it; the message says what is wrong and what to do. What was acknowledged before still
    stands.
    """


#: What SQLite says, and what to tell the person.
_SENTENCES = (
    ("disk is full", "The disk is full: this was not recorded, everything before it was. Make room, and answer again."),
    (
        "readonly",
        "The job book {path} is read-only: nothing can be recorded. Give this user the right "
        "to write it, or name another with --book.",
    ),
    (
        "read-only",
        "The job book {path} is read-only: nothing can be recorded. Give this user the right "
        "to write it, or name another with --book.",
    ),
    ("locked", "The job book {path} is busy in another window. Nothing was recorded; try again in a moment."),
    (
        "unable to open",
        "The job book {path} can't be opened. Look whether its folder exists and may be written to, or "
        "name another with --book.",
    ),
    ("not a database", "{path} is not a job book. Name another with --book."),
    (
        "malformed",
        "The job book {path} is damaged. Go back to a copy of it, and keep this file: most of it can be read.",
    ),
    ("append-only", "The record is append-only: what was written is never changed."),
    (
        "disk i/o",
        "The disk does not answer properly: this was not recorded, everything before it was. Look at the "
        "disk, then answer again.",
    ),
)


@contextmanager
def explained(path: Path | None) -> Iterator[None]:
    """Turn what SQLite and the system say into a sentence."""
    try:
        yield
    except BookTrouble:
        raise
    except (sqlite3.Error, OSError) as fault:
        raise BookTrouble(_sentence(fault, path)) from fault


def _sentence(fault: Exception, path: Path | None) -> str:
    said = str(fault).lower()
    where = str(path) if path is not None else "in memory"
    if isinstance(fault, OSError) and not isinstance(fault, PermissionError):
        said += " unable to open"
    if isinstance(fault, PermissionError):
        said = "readonly"
    for needle, text in _SENTENCES:
        if needle in said:
            return text.format(path=where)
    return f"The job book {where} can't be used: {fault}."
