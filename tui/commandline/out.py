"""What a command says, made safe and written: the one way to standard output and standard error; it decides nothing.

Names in files, on the command line and in the book are foreign. A stream that is closed or full ends the command with a
sentence where one can still be said, never with a trace.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from contextlib import suppress
from typing import TextIO


class Unwritable(Exception):
    """What was to be said can't be written; the message is a sentence."""

    def __init__(self, fault: OSError) -> None:
        super().__init__(
            f"Standard output can't be written ({fault.strerror or fault}). Make room there, or send it elsewhere."
        )


def say(text: str | Iterable[str], error: bool = False) -> None:
    """Write text, or lines, and a line break; a character that the stream can't hold becomes `?`.

    Raises `Unwritable` where the stream fails. A stream that was closed before the start says nothing.
    """
    from engine.foreign import plain_lines  # not for --help and --version

    joined = text if isinstance(text, str) else "\n".join(text)
    write(sys.stderr if error else sys.stdout, f"{plain_lines(joined)}\n")


def write(stream: TextIO | None, text: str) -> None:
    """Write text to a stream and flush it."""
    if stream is None or stream.closed:
        return
    try:
        try:
            stream.write(text)
        except UnicodeEncodeError:
            encoding = stream.encoding or "ascii"
            stream.write(text.encode(encoding, "replace").decode(encoding))
        stream.flush()
    except BrokenPipeError:
        raise
    except OSError as fault:
        raise Unwritable(fault) from fault


class Lines:
    """A stream that says in a sentence when it fails; it takes what is written as it is."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write and flush. Raises `Unwritable`."""
        write(self._stream, text)
        return len(text)

    def flush(self) -> None:
        """Everything is flushed already."""


def quiet() -> None:
    """Let nothing more be tried on a stream that failed, not even at the end of the program."""
    for number, stream in ((1, sys.stdout), (2, sys.stderr)):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, number)
            os.close(nowhere)


def complain(text: str) -> None:
    """Write a sentence on standard error where that is still possible."""
    with suppress(Unwritable, OSError, ValueError):
        say(text, error=True)
