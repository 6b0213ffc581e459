"""Jobs and runs of a book as lines of text; it opens nothing."""

from __future__ import annotations

from collections.abc import Iterable

from engine.book import codec
from engine.book.book import Book, RunRow
from engine.foreign import plain


def job_lines(book: Book) -> Iterable[str]:
    """A line a job, newest first, and under it a line a run."""
    jobs = book.jobs()
    if not jobs:
        yield "The job book is empty."
    runs: dict[int, list[RunRow]] = {}
    for run in book.runs():
        runs.setdefault(run.job, []).append(run)
    for job in jobs:
        who = ", ".join(filter(None, (job.customer, job.vehicle.get("description", ""), job.title, job.problem)))
        yield plain(f"{job.job:>5}  {job.at[:10]}  {who}").rstrip()
        for run in runs.get(job.job, []):
            yield plain(f"       {run.run:<8} {run.title}: {standing(run)}")
    yield from _due(book)


def _due(book: Book) -> Iterable[str]:
    """Rechecks that are due and runs that wait for parts."""
    rechecks = book.rechecks()
    if rechecks:
        yield "Due to be checked again:"
    for due in rechecks:
        when = " or ".join(filter(None, (due.due and f"on {due.due}", due.odometer and f"at {due.odometer}")))
        said = due.problem or due.why
        yield plain(f"{due.job:>5}  {when}{f': {said}' if said else ''}")
    waiting = [run for run in book.runs() if run.last.get("kind") == "waiting" and run.next is None]
    if waiting:
        yield "Waiting for parts:"
    for run in waiting:
        parts = (
            ", ".join(map(str, codec.body_of(book.event(run.run, run.events)).get("awaited", ()))) or "not said which"
        )
        yield plain(f"{run.run:>9}  since {str(run.last.get('at', ''))[:10]}: {parts}")


def standing(run: RunRow) -> str:
    """Where a run stands, in words."""
    if run.problem is not None:
        return f"UNREADABLE, {run.problem}; 'evendraw book verify' says what is safe"
    if run.next is not None:
        return f"put right and gone on with as run {run.next}"
    outcome = run.last.get("outcome")
    if outcome is not None:
        return {"ok": "done", "failed": "ended without success", "stopped": "stopped"}.get(outcome, outcome)
    step = str(run.last.get("led", "")).split("#")[0].rsplit(".", 1)[-1].replace("_", " ")
    return f"open at '{step}', {run.answers} answer{'' if run.answers == 1 else 's'}"
