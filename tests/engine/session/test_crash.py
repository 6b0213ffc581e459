"""A run that stops anywhere, by a kill or a closed window, opens where it stood and goes on as if nothing had been."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from valve_runs import ADVISERS, CLOCK, LONG_WAY, answered, begun

from engine.book import codec
from engine.book.book import Book
from engine.session.session import Session

ROOT = Path(__file__).parents[3]

#: In a process of its own: open the run, give the answers that are left, and print how many events there are then.
GO_ON = """
import sys
sys.path[:0] = [{root!r}, {kit!r}]
from valve_runs import ADVISERS, CLOCK, LONG_WAY, answered
from engine.book.book import Book
from engine.session.session import Session
book = Book.open(sys.argv[1])
for run, first, last in (a.split(":") for a in sys.argv[2:]):
    session = Session.reopen(book, run, advisers=ADVISERS, clock=lambda: CLOCK)
    answered(session, *LONG_WAY[int(first):int(last)])
    session.close()
"""

#: Answers for ever, and prints each event's number once it is acknowledged.
WORK = """
import sys
sys.path[:0] = [{root!r}, {kit!r}]
from valve_runs import ADVISERS, CLOCK, Answer, answered, begun
from engine.book.book import Book
from engine.session.session import Session
book = Book.open(sys.argv[1])
runs = book.runs()
session = Session.reopen(book, runs[0].run, advisers=ADVISERS, clock=lambda: CLOCK) if runs else begun(book)
while True:
    for answer in (Answer(done=True, key=None), Answer(undo=True), Answer(note="seen")):
        print(session.answer(answer).recorded, flush=True)
"""


def child(code: str, *arguments: str) -> list[str]:
    return [sys.executable, "-c", code.format(root=str(ROOT), kit=str(ROOT / "tests" / "engine")), *arguments]


def told(book: Book, run: str) -> list[dict[str, Any]]:
    """What the events after the first say; the salts of free texts are drawn anew each time."""
    return [{k: v for k, v in codec.body_of(e).items() if k != "words"} for e in book.events(run)[1:]]


def test_stopped_at_any_event_and_continued_in_a_new_process_it_equals_the_straight_run(tmp_path: Path) -> None:
    straight = answered(begun(), *LONG_WAY)
    # The first event names its job, and so differs from run to run.
    bodies = told(straight.book, straight.run)
    path = tmp_path / "jobs.book"
    book = Book.open(path)
    # One run for each place to stop at; the runs that are to stop once more do so half-way on, in the second process.
    runs = {k: answered(begun(book), *LONG_WAY[:k]).run for k in range(len(LONG_WAY))}
    book.close()
    halves = {k: (k + len(LONG_WAY)) // 2 for k in runs}
    for plan in (
        [f"{run}:{k}:{halves[k]}" for k, run in runs.items()],
        [f"{run}:{halves[k]}:{len(LONG_WAY)}" for k, run in runs.items()],
    ):
        done = subprocess.run(child(GO_ON, str(path), *plan), capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
    book = Book.open(path)
    for run in runs.values():
        assert told(book, run) == bodies
        session = Session.reopen(book, run, advisers=ADVISERS, clock=lambda: CLOCK)
        assert session.view.end == straight.view.end
        assert session.view.trail == straight.view.trail


@pytest.mark.skipif(os.name == "nt", reason="kills by signal")
def test_a_kill_at_any_moment_loses_no_acknowledged_event(tmp_path: Path) -> None:
    path = tmp_path / "jobs.book"
    source = random.Random(4)
    told = 0
    for _ in range(6):
        with subprocess.Popen(child(WORK, str(path)), stdout=subprocess.PIPE, text=True) as worker:
            assert worker.stdout is not None
            first = worker.stdout.readline()
            time.sleep(source.uniform(0, 0.15))
            worker.send_signal(signal.SIGKILL)
            lines = [first, *worker.stdout.read().splitlines()]
        # The last line may have been cut while it was written.
        told = max([told, *(int(line) for line in lines[:-1] if line.strip().isdigit())])
        book = Book.open(path)
        run = book.runs()[0].run
        events = book.events(run)
        assert told <= events[-1].seq <= told + 2
        assert Session.reopen(book, run, advisers=ADVISERS, clock=lambda: CLOCK).state.seq == events[-1].seq
        told = events[-1].seq
        book.close()
    assert told > 6
