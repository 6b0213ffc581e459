"""Harm to the files of a book: the log cut at every byte, every bit of book and log flipped."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

from tests.durability.books import ADVISERS, Book, BookTrouble, Made, Session, harm


def cuts(whole: Made, folder: Path, at: Iterable[int]) -> Iterator[str]:
    """Cut the log at these bytes; a sentence for each after which a run is in a state that it never had."""
    events = {k: v for k, v in whole.shown.items() if k.startswith("run ")}
    for cut in at:
        path = Made(whole.book, whole.log[:cut], {}).at(folder)
        try:
            book = Book.open(path, backups=False)
        except BookTrouble as trouble:
            yield f"cut at {cut}: it does not open: {trouble}"
            continue
        for row in book.runs():
            kept = [(e.seq, e.key) for e in book.events(row.run)]
            before = [(seq, key) for seq, key, _ in events[f"run {row.run}"]]
            if kept != before[: len(kept)]:
                yield f"cut at {cut}: run {row.run} has events that it never had"
            Session.reopen(book, row.run, advisers=ADVISERS)
        book.close()
        shutil.rmtree(folder)


def flips(whole: Made, folder: Path, bits: Iterable[int]) -> Iterator[str]:
    """Flip these bits, counted through the book and then its log; a sentence for each that shows something wrong in
    silence, or breaks the program.
    """
    size = len(whole.book)
    for bit in bits:
        byte, mask = bit // 8, 1 << bit % 8
        book, log = bytearray(whole.book), bytearray(whole.log)
        (book if byte < size else log)[byte % size if byte < size else byte - size] ^= mask
        where = (
            f"bit {bit % 8} of byte {byte if byte < size else byte - size} of the {'book' if byte < size else 'log'}"
        )
        for reading in (False, True):
            path = Made(bytes(book), bytes(log), {}).at(folder)
            try:
                wrong = harm(path, whole.shown, reading)
            except Exception as fault:
                wrong = f"{type(fault).__name__}: {fault}"
            if wrong:
                yield f"{where}, {'reading' if reading else 'writing'}: {wrong}"
            shutil.rmtree(folder)
