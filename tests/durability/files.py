"""Harm to the files of a book: the log cut at every byte, every bit of book and log flipped.

A sweep takes each bit in the cheapest way that proves as much as opening the book whole: a bit of the log by the sum
that tells it before SQLite sees the log, the bits of a page's gap (which SQLite never reads) eight at a time.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import pytest

from engine.book import log
from tests.durability.books import ADVISERS, Book, BookTrouble, Made, Session, harm, written_state

_PAGE = 4096
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
    answer whose commit is whole in what is left.
    """
    events = {k: v for k, v in whole.shown.items() if k.startswith("run ")}
    kept_before, commits_before = 0, 0
    with no_waiting():
        for cut in at:
            path = Made(whole.book, whole.log[:cut], {}).at(folder)
            commits = log.scan(whole.log[:cut]).commits
            try:
                book = Book.open(path, backups=False)
            except BookTrouble as trouble:
                yield f"cut at {cut}: it does not open: {trouble}"
                continue
            kept_now = 0
            for row in book.runs():
                kept = [(e.seq, e.key) for e in book.events(row.run)]
                before = [(seq, key) for seq, key, _ in events[f"run {row.run}"]]
                if kept != before[: len(kept)]:
                    yield f"cut at {cut}: run {row.run} has events that it never had"
                Session.reopen(book, row.run, advisers=ADVISERS, reading=True)
                kept_now += len(kept)
            told = bool(book.notices)
            book.close()
            if kept_now < kept_before and commits >= commits_before:
                yield f"cut at {cut}: {kept_now} events, and {kept_before} with less of the log"
            at_a_frame = cut == 0 or (cut >= 32 and (cut - 32) % _FRAME == 0)
            if not told and not at_a_frame:
                yield f"cut at {cut}: in the middle of a write, and nothing is said"
            kept_before, commits_before = kept_now, commits
            shutil.rmtree(folder)


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


def flips(whole: Made, folder: Path, at: Iterable[Flip]) -> Iterator[str]:
    """Flip these; a sentence for each that shows something wrong in silence, or breaks the program."""
    size, rows = len(whole.book), written_state(whole.at(folder))
    with no_waiting():
        for start, stop, mask in at:
            data = bytearray(whole.book + whole.log)
            for byte in range(start, stop):
                data[byte] ^= mask
            where = f"mask {mask} on bytes {start} to {stop} of {size} and the log's {len(whole.log)}"
            for reading in (False, True):
                path = Made(bytes(data[:size]), bytes(data[size:]), {}).at(folder)
                try:
                    wrong = harm(path, whole.shown, reading, rows)
                except Exception as fault:
                    wrong = f"{type(fault).__name__}: {fault}"
                if wrong:
                    yield f"{where}, {'reading' if reading else 'writing'}: {wrong}"
                shutil.rmtree(folder)


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


def timed(what: Iterable[str], of: int) -> Iterator[str]:
    """The same, and at its end how long it took."""
    began = time.monotonic()
    yield from what
    print(f"{of} cases in {time.monotonic() - began:.0f} s", flush=True)
