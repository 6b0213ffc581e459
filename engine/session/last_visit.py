"""What a vehicle's last visit left, found in the book for a run that begins; it changes nothing there."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any

from engine.book.book import Book
from engine.contract import Registry
from engine.job.model import Job, LastVisit
from engine.quantity.units import write_number
from engine.session.view import Line

#: Quantities of a last visit that are rows, and the key of each in the job.
_ROWS = {"airflow": "airflow", "depression": "depression", "mixture screw position": "mixture_screws"}
#: No idle lies outside, rpm [assumed: as the job takes it].
_IDLE = 300, 3000


def with_last_visit(job: Job, book: Book, number: int, advisers: Registry) -> Job:
    """The job with what the vehicle's newest earlier visit left; the job itself where somebody wrote down what was left
    elsewhere, or where the book has none that can be read.
    """
    if job.last_visit != LastVisit() and job.last_visit.job is None:
        return job
    row = next(iter(book.jobs_numbered([number])), None)
    if row is None or row.vehicle_number is None:
        return job
    for before in book.jobs_of(row.vehicle_number):
        if before.job < number and (left := left_at(book, before.job, advisers)) is not None:
            return job.model_copy(
                update={"last_visit": LastVisit.model_validate({"job": before.job, "day": before.at[:10], **left})}
            )
    return job


def left_at(book: Book, number: int, advisers: Registry) -> dict[str, Any] | None:
    """What the newest run of a job that recorded a speed as left did record; None where none did."""
    from engine.session.session import Session

    for run in book.runs(number):
        try:
            end = Session.reopen(book, run.run, advisers=advisers, reading=True).view.end
        except Exception:  # a visit that can't be read is no baseline, and hides no other
            continue
        if end is not None and any(line.quantity == "engine speed" for line in end.as_left.values()):
            return dict(_written(end.as_left.values()))
    return None


def _written(lines: Iterable[Line]) -> Iterable[tuple[str, Any]]:
    for line in lines:
        if (
            line.quantity == "engine speed"
            and isinstance(line.row[0], Fraction)
            and _IDLE[0] <= line.row[0] <= _IDLE[1]
        ):
            yield "idle_speed", f"{write_number(line.row[0])} {line.unit}"
        elif line.quantity in _ROWS and any(isinstance(v, Fraction) for v in line.row):
            row = [f"{write_number(v)} {line.unit}" if isinstance(v, Fraction) else None for v in line.row]
            yield _ROWS[line.quantity], row
