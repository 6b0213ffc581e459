"""A disk that is full, or turns read-only, at any write of a run: what was acknowledged stands, what was not is said,
and the run goes on when there is room. Files are kept from growing by the system's own limit, in a child process.
"""

from __future__ import annotations

import signal
from collections.abc import Callable, Iterator
from pathlib import Path

from engine.book.log import log_path
from tests.durability.books import ADVISERS, LONG_WAY, Book, BookTrouble, Session, answered, begun

_PAGE = 4096 + 24


def full(folder: Path, every: int) -> Iterator[str]:
    """Let the log grow by no more than so many bytes at each answer; a sentence for each that is lost, or said
    untruly.
    """
    import resource

    def limited(book: Book, session: Session, number: int, room: int) -> Iterator[str]:
        log = log_path(folder / "jobs.book")
        limit = (log.stat().st_size if log.exists() else 0) + room
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
        reply = session.answer(LONG_WAY[number])
        resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        if reply.recorded is not None:
            return
        if not reply.unsaved or not reply.problem:
            yield f"answer {number} with {room} bytes: refused as if it were wrong: {reply.problem}"
        again = session.answer(LONG_WAY[number])
        if again.recorded is None:
            yield f"answer {number} with {room} bytes: not taken when there was room: {again.problem}"

    yield from _each(folder, limited, range(0, 14 * _PAGE, max(1, every)))


def read_only(folder: Path, every: int) -> Iterator[str]:
    """Let every answer in turn find the book read-only."""

    def limited(book: Book, session: Session, number: int, room: int) -> Iterator[str]:
        book._db.execute("PRAGMA query_only = ON")
        reply = session.answer(LONG_WAY[number])
        book._db.execute("PRAGMA query_only = OFF")
        if reply.recorded is not None or "read-only" not in (reply.problem or ""):
            yield f"answer {number}: {reply}"
        answered(session, LONG_WAY[number])

    yield from _each(folder, limited, range(1))


def _each(folder: Path, limited: Callable[[Book, Session, int, int], Iterator[str]], rooms: range) -> Iterator[str]:
    """For each room a run from its start, every answer of it under the limit; its events must be those of a straight
    run.
    """
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    straight = answered(begun(), *LONG_WAY)
    wanted = [e.seq for e in straight.book.events(straight.run)]
    for room in rooms:
        for file in folder.glob("*") if folder.exists() else ():
            file.unlink()
        book = Book.open(folder / "jobs.book", backups=False)
        session = begun(book)
        for number in range(len(LONG_WAY)):
            try:
                yield from limited(book, session, number, room)
            except Exception as fault:
                yield f"answer {number} with {room} bytes: {type(fault).__name__}: {fault}"
                break
        session.close()
        book.close()
        try:
            again = Book.open(folder / "jobs.book", backups=False)
            found = [e.seq for e in again.events(session.run)]
            Session.reopen(again, session.run, advisers=ADVISERS, reading=True)
            again.close()
        except BookTrouble as trouble:
            yield f"with {room} bytes: it does not open again: {trouble}"
            continue
        if found != wanted:
            yield f"with {room} bytes: events {found} instead of {wanted}"
