"""Jobs and runs of a book as lines of text; it opens nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from engine.book.book import Book
from engine.book.rows import JobRow, RunRow
from engine.foreign import plain
from tui.control.board import awaited, waits, where

#: How many jobs a list shows where nobody asked for all.
NEWEST = 50


def job_lines(book: Book, words: str = "", everything: bool = False) -> Iterable[str]:
    """A line a job, newest first, and under it a line a run: the newest, all, or those that hold these words."""
    jobs = chosen(book, words, everything)
    if not jobs:
        yield f"No job holds '{plain(words)}'." if words.strip() else "The job book is empty."
    for job in jobs:
        mark, what = job.vehicle.get("registration", ""), job.vehicle.get("description", "")
        who = " · ".join(filter(None, (mark, job.customer, what, job.title, job.problem)))
        yield plain(f"{job.job:>5}  {job.at[:10]}  {who}").rstrip()
        for run in book.runs(job.job):
            yield plain(f"       {run.run:<8} {run.title}: {standing(book, run)}")
    if not words.strip() and not everything and len(jobs) == NEWEST:
        yield f"These are the newest {NEWEST}. 'evendraw jobs WORDS' looks for others, --all lists them all."
    if not words.strip():
        yield from _due(book)


def chosen(book: Book, words: str, everything: bool) -> list[JobRow]:
    """The jobs that a list shows."""
    if words.strip():
        return book.jobs_numbered(book.found(words, -1 if everything else NEWEST))
    return book.jobs() if everything else book.newest_jobs(NEWEST)


def job_json(book: Book, words: str = "", everything: bool = False) -> list[dict[str, Any]]:
    """The same as JSON values: jobs with their runs."""
    return [
        {
            "job": job.job,
            "at": job.at,
            "customer": job.customer,
            "vehicle": dict(job.vehicle),
            "complaint": job.title,
            "facts": dict(job.facts),
            "problem": job.problem,
            "runs": [
                {
                    "run": run.run,
                    "procedure": run.procedure,
                    "title": run.title,
                    "at": run.at,
                    "events": run.events + 1,
                    "outcome": run.last.get("outcome"),
                    "standing": standing(book, run),
                    "problem": run.problem,
                }
                for run in book.runs(job.job)
            ],
        }
        for job in chosen(book, words, everything)
    ]


def _due(book: Book) -> Iterable[str]:
    """Rechecks that are due and runs that wait for parts."""
    rechecks = book.rechecks()
    if rechecks:
        yield "Due to be checked again:"
    for due in rechecks:
        when = " or ".join(filter(None, (due.due and f"on {due.due}", due.odometer and f"at {due.odometer}")))
        said = due.problem or due.why
        yield plain(f"{due.job:>5}  {when}{f': {said}' if said else ''}")
    waiting = [run for run in book.unended() if waits(run)]
    if waiting:
        yield "Waiting for parts:"
    for run in waiting:
        parts = awaited(book, run) or "not said which"
        yield plain(f"{run.run:>9}  since {str(run.last.get('at', ''))[:10]}: {parts}")


def standing(book: Book, run: RunRow) -> str:
    """Where a run stands, in words."""
    if run.problem is not None:
        return f"UNREADABLE, {run.problem}; 'evendraw book verify' says what is safe"
    if run.next is not None:
        return f"put right and gone on with as run {run.next}"
    outcome = run.last.get("outcome")
    if outcome is not None:
        return {"ok": "done", "failed": "ended without success", "stopped": "stopped"}.get(outcome, str(outcome))
    if waits(run):
        return "waits for parts"
    return f"open at '{where(book, run)}', {run.answers} answer{'' if run.answers == 1 else 's'}"
