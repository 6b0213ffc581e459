"""What the job book hands out: jobs, vehicles, customers, people of the shop, runs and events as frozen rows; it reads
and writes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple


class Word(NamedTuple):
    """A free text of one event. `text` is None where it was taken out, on the day `gone`."""

    salt: bytes
    text: str | None
    gone: str | None = None


class Stored(NamedTuple):
    """One event as it stands in the book; `body` is the JSON that was hashed, `words` the free texts beside it by name.

    `gone` is the day on which a text was taken out of the body itself (events of older books), else None.
    """

    seq: int
    key: str | None
    body: bytes
    hash: bytes
    words: Mapping[str, Word] = {}
    gone: str | None = None


class Further(NamedTuple):
    """An event that a run begins with: its key, bytes, free texts, and how many answers stand after it."""

    key: str | None
    body: bytes
    words: Mapping[str, Word]
    answers: int


class RunRow(NamedTuple):
    """One run as a list shows it. `last` is the body of its newest event, empty where that can't be read.

    `events` is the number of the newest event, `answers` how many answers stand. `problem` is a sentence where the row
    or its newest event can't be read. `next` is the run that took its place, if one did.
    """

    run: str
    job: int
    procedure: str
    title: str
    at: str
    events: int
    last: Mapping[str, Any]
    answers: int = 0
    problem: str | None = None
    next: str | None = None


class JobRow(NamedTuple):
    """One job as a list shows it: its number, its day, its persons, how many runs.

    `problem` is a sentence where the row can't be read; what could not be read of it is empty then.
    """

    job: int
    at: str
    title: str
    customer: str
    vehicle: Mapping[str, str]
    facts: Mapping[str, Any]
    runs: int
    vehicle_number: int | None = None
    customer_number: int | None = None
    problem: str | None = None


class VehicleRow(NamedTuple):
    """One vehicle: its words as its newest job tells them, and its jobs, newest first."""

    vehicle: int
    customer: int | None
    registration: str
    description: str
    jobs: tuple[int, ...]
    problem: str | None = None


class CustomerRow(NamedTuple):
    """One customer, and the numbers of the vehicles that were brought."""

    customer: int
    name: str
    vehicles: tuple[int, ...]
    problem: str | None = None


class StaffRow(NamedTuple):
    """Somebody of the shop, by the number that events carry as `by`. `left` is the day from which they answer no
    more.
    """

    staff: int
    name: str
    left: str | None = None
    problem: str | None = None


class Recheck(NamedTuple):
    """A recheck that a job is due for: the day (YYYY-MM-DD, or empty), at which odometer reading, and why."""

    job: int
    due: str
    odometer: str
    why: str
    problem: str | None = None
