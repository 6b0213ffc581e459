"""Harm to the files of a book: the log cut at every byte, every bit of book and log flipped.

A sweep takes each bit in the cheapest way that proves as much as opening the book whole: a bit of the log by the sum
that tells it before SQLite sees the log, the bits of a page's gap (which SQLite never reads) eight at a time.
"""

from __future__ import annotations

import re
import shutil
import sqlite3
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.book import log
from tests.durability.books import ADVISERS, Book, BookTrouble, Made, Session, harm, written_state

_PAGE, _HEADER = 4096, 32
_FRAME = 24 + _PAGE


@contextmanager
def no_waiting() -> Iterator[None]:
    """Nobody writes while a sweep looks at a log, so it need not be looked at twice; and what was summed stays so."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(log.time, "sleep", lambda seconds: None)
        patch.setattr(log, "_sums", lru_cache(maxsize=512)(log._sums))
        yield


def cuts(whole: Made, folder: Path, at: Iterable[int]) -> Iterator[str]:
    """Cut the log at these bytes; a sentence for each after which a run is in a state that it never had, or lacks an
    answer whose commit is whole in what is left, or of which nothing is said.

    SQLite takes in whole frames, so that the book is opened where a frame ends, and a byte before and behind; in the
    middle of one it is what was said of the log that counts.
    """
    kept_before, commits_before = 0, 0
    with no_waiting():
        for cut in at:
            found = log.scan(whole.log[:cut])
            into = (cut - _HEADER) % _FRAME if cut >= _HEADER else cut
            if into and found.problem is None:
                yield f"cut at {cut}: in the middle of a write, and nothing is said"
            if found.commits < commits_before:
                yield f"cut at {cut}: {found.commits} writes are whole, and {commits_before} with less of the log"
            if into in (0, 1, 12, 24, 2000, _FRAME - 1) or cut < _HEADER:
                kept_now, wrong = _opened(whole, folder, cut)
                yield from wrong
                if kept_now < kept_before:
                    yield f"cut at {cut}: {kept_now} events, and {kept_before} with less of the log"
                kept_before = kept_now
            commits_before = found.commits


def _opened(whole: Made, folder: Path, cut: int) -> tuple[int, list[str]]:
    """How many events there are with a log that was cut, and what is wrong with them."""
    path = Made(whole.book, whole.log[:cut], {}).at(folder)
    try:
        book = Book.open(path, backups=False)
    except BookTrouble as trouble:
        return 0, [f"cut at {cut}: it does not open: {trouble}"]
    count, wrong = 0, []
    for row in book.runs():
        kept = [(e.seq, e.key) for e in book.events(row.run)]
        before = [(seq, key) for seq, key, _ in whole.shown[f"run {row.run}"]]
        if kept != before[: len(kept)]:
            wrong.append(f"cut at {cut}: run {row.run} has events that it never had")
        Session.reopen(book, row.run, advisers=ADVISERS, reading=True)
        count += len(kept)
    book.close()
    shutil.rmtree(folder)
    return count, wrong


class Flip(NamedTuple):
    """Bits that are flipped together: a mask over these bytes of the book, and then its log."""

    start: int
    stop: int
    mask: int


def every_flip(whole: Made, every: int = 1) -> Iterator[Flip]:
    """Each bit of a book at rest in turn, those that lie in the gap of a page together."""
    for page in range(0, len(whole.book), _PAGE):
        gap = _gap(whole.book[page : page + _PAGE], 100 if page == 0 else 0)
        first, last = page + gap[0], page + gap[1]
        if last > first:
            yield from (Flip(first, last, 1 << bit) for bit in range(8))
        for byte in (*range(page, first), *range(last, page + _PAGE)):
            yield from (Flip(byte, byte + 1, 1 << bit) for bit in range(8) if (8 * byte + bit) % every == 0)


def _gap(page: bytes, head: int) -> tuple[int, int]:
    """From where to where a page of a tree holds nothing: between its list of cells and the first of them."""
    kind = page[head]
    if kind not in (2, 5, 10, 13):
        return 0, 0
    cells = int.from_bytes(page[head + 3 : head + 5], "big")
    start = int.from_bytes(page[head + 5 : head + 7], "big") or 65536
    return head + (12 if kind < 10 else 8) + 2 * cells, start


def bit_flip(bit: int) -> Flip:
    """One bit, counted through the book and then its log."""
    return Flip(bit // 8, bit // 8 + 1, 1 << bit % 8)


def flips(whole: Made, folder: Path, at: Iterable[Flip], written: int = 1) -> Iterator[str]:
    """Flip these; a sentence for each that shows something wrong in silence, or breaks the program. Each is looked at
    by who only reads; every so many-th (`written`) also by who may write, and mends what can be mended.
    """
    size, rows = len(whole.book), written_state(whole.at(folder / "whole"))
    path = whole.at(folder / "read")
    with no_waiting():
        for number, flip in enumerate(at):
            data = bytearray((whole.book + whole.log)[flip.start : flip.stop])
            data[:] = bytes(byte ^ flip.mask for byte in data)
            place = path if flip.start < size else log.log_path(path)
            start = flip.start if flip.start < size else flip.start - size
            where = f"mask {flip.mask} on bytes {start} to {start + len(data)} of {place.name}"
            with _spoilt(place, start, bytes(data)):
                for reading in (True, False)[: 1 + (number % written == 0)]:
                    target = path if reading else Made(path.read_bytes(), _log_of(path), {}).at(folder / "write")
                    try:
                        wrong = harm(target, whole.shown, reading, rows)
                    except Exception as fault:
                        wrong = f"{type(fault).__name__}: {fault}"
                    if wrong:
                        yield f"{where}, {'reading' if reading else 'writing'}: {wrong}"
                    if not reading:
                        shutil.rmtree(folder / "write")


def _log_of(path: Path) -> bytes:
    return log.log_path(path).read_bytes() if log.log_path(path).exists() else b""


@contextmanager
def _spoilt(path: Path, at: int, data: bytes) -> Iterator[None]:
    """These bytes in the place of what stands there, for as long."""
    was = _put(path, at, data)
    yield
    _put(path, at, was)


def _put(path: Path, at: int, data: bytes) -> bytes:
    """Write bytes at a place; what stood there."""
    with path.open("rb+", buffering=0) as file:
        file.seek(at)
        was = file.read(len(data))
        file.seek(at)
        file.write(data)
    return was


def untold_of_the_log(whole: Made, every: int = 1) -> Iterator[Flip]:
    """Bits of the log whose flip no sum tells: those that are worth the opening of the book. One in 997 of the others
    comes with them.
    """
    size = len(whole.book)
    with no_waiting():
        for bit in range(0, 8 * len(whole.log), every):
            data = bytearray(whole.log)
            data[bit // 8] ^= 1 << bit % 8
            if log.scan(bytes(data)).problem is None or bit % 997 == 0:
                yield bit_flip(8 * size + bit)


#: What damage to the head of a row can make of any of its values, in SQL.
KINDS = ("NULL", "20", "2.5", "'text'", "x'00ff'")


def other_kinds(whole: Made, folder: Path) -> Iterator[str]:
    """Every value of the last row of every table made something else of, whatever its column says; a sentence for each
    of which nothing is said, or which breaks the program.
    """
    for table, columns in _columns(whole.at(folder / "whole")).items():
        for column in columns:
            for kind in KINDS:
                path = whole.at(folder / "harmed")
                try:
                    _make_other(path, table, column, kind)
                except sqlite3.IntegrityError:
                    continue  # its key is its number, or it must differ from another
                for reading in (True, False):
                    try:
                        wrong = harm(path, whole.shown, reading)
                    except Exception as fault:
                        wrong = f"{type(fault).__name__}: {fault}"
                    if wrong:
                        yield f"{table}.{column} = {kind}, {'reading' if reading else 'writing'}: {wrong}"


def _columns(path: Path) -> dict[str, list[str]]:
    db = sqlite3.connect(path, isolation_level=None)
    tables = [n for (n,) in db.execute("SELECT name FROM sqlite_master WHERE sql LIKE '%STRICT'")]
    found = {table: [row[1] for row in db.execute(f"PRAGMA table_info({table})")] for table in tables}
    db.close()
    return found


def _make_other(path: Path, table: str, column: str, kind: str) -> None:
    """Write a value that its column forbids, past the statement of the table and its rules."""

    def stated(statement: str) -> None:
        db = sqlite3.connect(path, isolation_level=None)
        db.executescript("PRAGMA synchronous = OFF; PRAGMA writable_schema = ON")
        db.execute("UPDATE sqlite_master SET sql = ? WHERE name = ? AND type = 'table'", (statement, table))
        db.close()

    db = sqlite3.connect(path, isolation_level=None)
    (was,) = db.execute("SELECT sql FROM sqlite_master WHERE name = ?", (table,)).fetchone()
    rules = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    db.close()
    stated(re.sub(r"\b(TEXT|BLOB|NOT NULL|STRICT)\b", "", was))
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA synchronous = OFF")
    for name, _ in rules:
        db.execute(f"DROP TRIGGER {name}")
    try:
        db.execute(f"UPDATE {table} SET {column} = {kind} WHERE rowid = (SELECT max(rowid) FROM {table})")
    finally:
        for _, rule in rules:
            db.execute(rule)
        db.close()
        stated(was)


def timed(what: Iterable[str], of: str) -> Iterator[str]:
    """The same, and at its end how long it took."""
    began = time.monotonic()
    yield from what
    print(f"{of}, in {time.monotonic() - began:.0f} s", flush=True)
