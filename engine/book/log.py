"""Looks whether the log beside the book (SQLite's write-ahead log) is whole, before SQLite takes in what it can read of
it; it reads two files and changes nothing.

SQLite stops at the first frame whose checksum fails and says nothing, so that a damaged log would cut the newest
answers off in silence. The format is published by the SQLite project (File Format for SQLite Databases, 4: the
write-ahead log).
"""

from __future__ import annotations

import struct
import time
from pathlib import Path
from typing import NamedTuple

_HEADER = 32
_FRAME = 24
_BIG, _LITTLE = 0x377F0683, 0x377F0682


class Log(NamedTuple):
    """What stands in a log: whole commits that can be taken in, and what is wrong behind them (None: nothing)."""

    commits: int
    problem: str | None


CUT = (
    "The log of the job book ends in the middle of a write. Everything that was acknowledged before the program last "
    "stopped should be there; look whether the last answer is."
)
BROKEN = (
    "The log of the job book is damaged: answers given last, before the program stopped, may be missing. Look at where "
    "each open run stands."
)


def log_path(book: Path) -> Path:
    """Where the log of a book is."""
    return book.with_name(book.name + "-wal")


def look(book: Path) -> Log:
    """What stands in the log of a book. A writer at work is no damage: what changes while it is looked at is left."""
    path = log_path(book)
    for _ in range(4):
        try:
            before = path.stat()
            found = scan(path.read_bytes())
            after = path.stat()
        except OSError:
            return Log(0, None)
        if found.problem is None:
            return found
        time.sleep(0.02)
        try:
            later = path.stat()
        except OSError:
            return Log(0, None)
        if _same(before, after) and _same(after, later):
            return found
    return Log(0, None)


def _same(a: object, b: object) -> bool:
    return all(getattr(a, k) == getattr(b, k) for k in ("st_size", "st_mtime_ns"))


def scan(data: bytes) -> Log:
    """Whole commits in the bytes of a log, and what is wrong with the rest."""
    if not data:
        return Log(0, None)
    if len(data) < _HEADER:
        return Log(0, CUT)
    magic, _, page, _, salt1, salt2, sum1, sum2 = struct.unpack(">8I", data[:_HEADER])
    if magic not in (_BIG, _LITTLE):
        # A log that was emptied is filled with nothing; anything else was one.
        return Log(0, BROKEN if any(data) else None)
    order = ">" if magic == _BIG else "<"
    running = _sums(order, data[:24], (0, 0))
    if running != (sum1, sum2) or not 512 <= page <= 65536 or page & (page - 1):
        return Log(0, BROKEN)
    commits, at, pending = 0, _HEADER, False
    while at + _FRAME + page <= len(data):
        _, committed, mine1, mine2, told1, told2 = struct.unpack(">6I", data[at : at + _FRAME])
        here = _sums(order, data[at : at + 8], running)
        here = _sums(order, data[at + _FRAME : at + _FRAME + page], here)
        salted, summed = (mine1, mine2) == (salt1, salt2), here == (told1, told2)
        if not (salted and summed):
            # Frames of an earlier round, left standing behind this one, carry other salts throughout.
            if not summed and salt1 != mine1 and salt2 != mine2:
                return Log(commits, CUT if pending else None)
            whole_behind = _behind(data, at + _FRAME + page, page, (salt1, salt2))
            return Log(commits, BROKEN if whole_behind or summed or not salted or committed else CUT)
        running = here
        pending = not committed
        commits += bool(committed)
        at += _FRAME + page
    left = data[at : at + _FRAME]
    if pending or (len(left) >= 16 and struct.unpack(">2I", left[8:16]) == (salt1, salt2)) or 0 < len(left) < 16:
        return Log(commits, CUT)
    return Log(commits, None)


def _behind(data: bytes, at: int, page: int, salts: tuple[int, int]) -> bool:
    """Whether frames of this round stand behind the one that failed."""
    return len(data) >= at + _FRAME and struct.unpack(">2I", data[at + 8 : at + 16]) == salts


def _sums(order: str, data: bytes, start: tuple[int, int]) -> tuple[int, int]:
    s0, s1 = start
    for a, b in struct.iter_unpack(f"{order}2I", data):
        s0 = (s0 + a + s1) & 0xFFFFFFFF
        s1 = (s1 + b + s0) & 0xFFFFFFFF
    return s0, s1
