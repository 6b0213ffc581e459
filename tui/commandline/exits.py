"""How a command ends, and what it says when it can't go on; it runs none."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """How a command ended."""

    OK = 0
    """Done. A run over the line protocol is done whatever its outcome."""
    PROBLEMS = 1
    """Done, and what was looked at has problems."""
    USAGE = 2
    """A wrong argument, job file or setting; no terminal where one is needed."""
    PROCEDURE = 3
    """The procedure file can't be used."""
    BOOK = 4
    """The job book can't be opened or written, or the job is open in another window."""
    INTERNAL = 70
    """The program itself failed; a report was written."""
    INTERRUPTED = 130
    """Stopped from the keyboard."""


class Failed(Exception):
    """A command can't go on: a sentence (or several lines) for standard error, and how it ends."""

    def __init__(self, code: Exit, message: str) -> None:
        super().__init__(message)
        self.code = code
