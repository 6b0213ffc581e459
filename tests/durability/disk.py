"""A disk that is full, or turns read-only, at any write of a run: what was acknowledged stands, what was not is said,
and the run goes on when there is room. Files are kept from growing by the system's own limit, in a child process.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from engine.book.log import log_path
from tests.durability import kills
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

    # At the ends of the writes that SQLite makes, within them, and where a sweep is to be finer, between.
    ends = {n * _PAGE + more for n in range(14) for more in (0, 1, 23, 24, 25, 2000, _PAGE - 1)}
    yield from _each(folder, limited, sorted(ends)[:: max(1, every)])


def read_only(folder: Path, every: int) -> Iterator[str]:
    """Let every answer in turn find the book read-only."""

    def limited(book: Book, session: Session, number: int, room: int) -> Iterator[str]:
        book._db.execute("PRAGMA query_only = ON")
        reply = session.answer(LONG_WAY[number])
        book._db.execute("PRAGMA query_only = OFF")
        if reply.recorded is not None or "read-only" not in (reply.problem or ""):
            yield f"answer {number}: {reply}"
        answered(session, LONG_WAY[number])

    yield from _each(folder, limited, [0])


def program(folder: Path, every: int) -> Iterator[str]:
    """The line protocol where no file may grow beyond a limit, from nothing on: how it ends, and whether what it
    acknowledged is there.
    """
    kills.scene(folder)
    kills.load_program()
    answers = b"".join(
        json.dumps({"readings": {"pressure": 2.5}} if kills.reads(n) else {"done": True}).encode() + b"\n"
        for n in range(1, kills.STEPS)
    )
    (folder / "answers").write_bytes(answers)
    for limit in range(0, 700_000, 1021 * max(1, every)):
        for old in folder.glob("jobs.book*"):
            old.unlink() if old.is_file() else shutil.rmtree(old)
        code, said, complained = _limited(folder, limit)
        acknowledged = sum(b'"recorded"' in line for line in said.splitlines())
        if code not in (0, 2, 4) or b"Traceback" in complained or (code and not complained.strip()):
            yield f"no file beyond {limit} bytes: ended with {code}: {complained.decode('utf-8', 'replace')[-600:]}"
        try:
            book = Book.open(folder / "jobs.book", backups=False)
            kept = [len(kills.led_by(book.events(row.run))) for row in book.runs()]
            book.close()
        except BookTrouble as trouble:
            yield f"no file beyond {limit} bytes: it does not open again: {trouble}"
            continue
        if max(kept, default=0) != acknowledged and b"not known whether" not in complained + said:
            yield f"no file beyond {limit} bytes: {acknowledged} were acknowledged, {kept} are there"


def _limited(folder: Path, limit: int) -> tuple[int, bytes, bytes]:
    """How the program ends under a limit, what it says and what it complains of."""
    import resource

    # Through pipes: a file for what it says would be limited too.
    (out, out_end), (err, err_end) = os.pipe(), os.pipe()
    with (folder / "answers").open("rb") as lines:
        pid = os.fork()
        if pid == 0:
            for source, number in ((lines.fileno(), 0), (out_end, 1), (err_end, 2)):
                os.dup2(source, number)
            resource.setrlimit(resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
            kills.child(["talk", str(folder / "many_steps.yaml"), "--job", str(folder / "job.yaml")])
    os.close(out_end)
    os.close(err_end)
    with open(out, "rb") as said, open(err, "rb") as complained:
        heard = said.read(), complained.read()
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), *heard


def _each(
    folder: Path, limited: Callable[[Book, Session, int, int], Iterator[str]], rooms: Sequence[int]
) -> Iterator[str]:
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
