"""A job book of 100,000 invented jobs: how long it takes to open, to search as one types, to list, to show home.

The book is made once in a temporary folder, of real runs of the two valves whose events are chained anew for each job.
Goals are those that the README states.
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from figure import Figure

ROOT = Path(__file__).parents[2]
JOBS = 100_000
SEED = 5
NAMES = ("Sample", "Muster", "Beispiel", "Esempio", "Ejemplo", "Voorbeeld", "Eksempel", "Exemple")
VEHICLES = ("four-door saloon", "two-seater", "estate", "coupe", "van", "twin-cylinder", "convertible")
COMPLAINTS = (
    "Uneven since spring",
    "Stalls when hot",
    "Spits back",
    "Hunts at idle",
    "Uses too much",
    "Idles rough since a rebuild",
    "Stumbles when pulling away",
    "Will not come down to idle",
)


def book_of(path: Path, jobs: int = JOBS, seed: int = SEED) -> None:
    """Make a book of so many jobs: one run each, every thousandth left open, every two thousandth due for a recheck."""
    sys.path[:0] = [p for p in (str(ROOT / "tests" / "engine"),) if p not in sys.path]
    from valve_runs import LONG_WAY, answered, begun

    from engine.book.book import Book
    from engine.book.migrate import facts_bytes, index, link, note_end, told_bytes, write_head
    from engine.book.seal import chained

    source = random.Random(seed)
    book = Book.open(path, backups=False)
    whole = answered(begun(book), *LONG_WAY)
    kept = [[(e.key, e.body) for e in book.events(whole.run)]]
    kept.append(kept[0][:6])
    row, facts = book.runs(1)[0], facts_bytes(book.job(1).engineering())
    with book._write() as db:
        for number in range(2, jobs + 1):
            at = f"{2001 + number * 30 // jobs}-{number % 12 + 1:02}-{number % 28 + 1:02}T10:00:00+00:00"
            db.execute("INSERT INTO job(job, at, facts) VALUES (?, ?, ?)", (number, at, facts))
            # Every vehicle comes about three times.
            car = source.randrange(1, max(2, jobs // 3))
            who = f"{chr(65 + car % 26)}. {NAMES[car % len(NAMES)]} {car % 4001}"
            vehicle = {
                "description": f"{1955 + car % 30} {VEHICLES[car % len(VEHICLES)]}, invented",
                "registration": f"SAMPLE {car}",
            }
            link(db, number, at, facts, told_bytes(source.choice(COMPLAINTS), who, vehicle))
            open_ = number % 1000 == 0
            run, head, events = f"{number}.1", b"", kept[open_]
            db.execute(
                "INSERT INTO run(run, job, procedure, title, at) VALUES (?, ?, ?, ?, ?)",
                (run, number, row.procedure, row.title, row.at),
            )
            for seq, (key, body) in enumerate(events):
                head = chained(head, run, seq, key, body)
                db.execute(
                    "INSERT INTO event(run, seq, key, body, hash) VALUES (?, ?, ?, ?, ?)", (run, seq, key, body, head)
                )
            write_head(db, run, len(events), 9, head)
            note_end(db, run, events[-1][1])
            index(db, number)
    for number in range(2000, jobs + 1, 2000):
        book.set_recheck(number, f"2031-{number % 12 + 1:02}-01", why="after 500 km")
    book._fold_log()
    book.close()


def _took(do: Callable[[], Any], times: int = 7) -> float:
    """The median of some goes, in milliseconds."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        do()
        took.append((time.perf_counter() - began) * 1000)
    return sorted(took)[times // 2]


#: What is typed, letter by letter where it is a word.
SEARCHES = ("s", "sa", "sample", "sample 12", "muster sal", "stalls hot", "2014", "twin valve", "valves apart", "zzz")


def figures(jobs: int = JOBS) -> Iterator[Figure]:
    """The lines of the table."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "jobs.book"
        began = time.perf_counter()
        book_of(path, jobs)
        made = time.perf_counter() - began
        yield Figure(f"a book of {jobs:,} jobs", f"{path.stat().st_size / 1e6:.0f} MB", f"made in {made:.0f} s")
        yield from _asked(path)


def _asked(path: Path) -> Iterator[Figure]:
    from engine.book.book import Book
    from tui.catalogue.shop import Shop
    from tui.commandline.listing import job_lines
    from tui.control.desk import Desk

    def goal(what: str, do: Callable[[], Any], most: float) -> Figure:
        took = _took(do)
        return Figure(what, f"{took:.1f} ms", f"at most {most:.0f} ms", took <= most)

    yield goal("open it to read", lambda: Book.open(path, reading=True).close(), 300)
    yield goal("open it to write, no daily copy due", lambda: Book.open(path, backups=False).close(), 300)
    book = Book.open(path, backups=False)
    for words in SEARCHES:
        yield goal(f"search '{words}', newest 50", lambda w=words: book.jobs_numbered(book.found(w, 50)), 50)
    yield goal("jobs, the newest 50 with their runs", lambda: list(job_lines(book)), 300)
    yield goal("jobs sample 12", lambda: list(job_lines(book, "sample 12")), 300)
    yield goal("one job", lambda: book.job(50_000), 50)
    yield goal("the visits of a vehicle", lambda: book.jobs_of(50), 50)
    book.close()
    desk = Desk(Shop(path, (ROOT / "procedures",)))
    yield goal("home: open the book, what stands open, newest, due", lambda: (desk.close(), desk.home()), 300)
    run = desk.unfinished()[0].key
    yield goal("go on with a run", lambda: desk.reopen(run).close(), 300)
    yield goal("find as one types, with how each ended", lambda: desk.find("sample 1"), 50)
    desk.close()
