"""Jobs and runs of a book as lines of text; it opens nothing."""

from __future__ import annotations

from collections.abc import Iterable

from engine.book.book import Book, RunRow


def job_lines(book: Book) -> Iterable[str]:
    """A line a job, newest first, and under it a line a run."""
    jobs = book.jobs()
    if not jobs:
        yield "The job book is empty."
    runs: dict[int, list[RunRow]] = {}
    for run in book.runs():
        runs.setdefault(run.job, []).append(run)
    for job in jobs:
        who = ", ".join(filter(None, (job.customer, job.vehicle.get("description", ""), job.title)))
        yield f"{job.job:>5}  {job.at[:10]}  {who}".rstrip()
        for run in runs.get(job.job, []):
            yield f"       {run.run:<8} {run.title}: {standing(run)}"


def standing(run: RunRow) -> str:
    """Where a run stands, in words."""
    outcome = run.last.get("outcome")
    if outcome is not None:
        return {"ok": "done", "failed": "ended without success", "stopped": "stopped"}.get(outcome, outcome)
    step = run.last["led"].split("#")[0].rsplit(".", 1)[-1].replace("_", " ")
    return f"open at '{step}', {run.events} answers"
