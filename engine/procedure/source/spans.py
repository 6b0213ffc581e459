"""Where a thing stands in a file: spans and source texts; it opens no file."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of a file; lines and columns count from 1, the end is just past the last character. `path` is the file
    where that is not the one in hand: what a file takes from a kit stands in the kit."""

    line: int
    column: int
    end_line: int
    end_column: int
    path: str = ""

    def within(self, start: int, end: int) -> Span:
        """The part from offset `start` to `end` of a one-line scalar."""
        return Span(self.line, self.column + start, self.line, self.column + end, self.path)


NOWHERE = Span(1, 1, 1, 1)


@dataclass(frozen=True, slots=True)
class Source:
    """One procedure file as it was read: `name` is its stem, `path` what to call it in a message."""

    name: str
    path: str
    text: str
