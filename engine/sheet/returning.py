"""What a vehicle that comes back left with: the facts of its last job with the parts as they were left, and what a
recheck holds today against; read from the record, it changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.contract import Registry
from engine.job.model import Job
from engine.session.last_visit import left_at
from engine.session.session import Drift, Session
from engine.sheet.document import OUTCOMES, beside
from engine.sheet.gather import Sheet, gathered


def returning(book: Book, number: int, advisers: Registry) -> Job:
    """The job that a vehicle begins its next visit with, made of its job `number`: engine, bank, instruments and
    persons as they were, jets as left, the complaint and the odometer empty, `last_visit` filled in.

    Where no run of it can be read, the facts stand as they were taken in. Raises `BookTrouble` where there is no such
    job.
    """
    job = book.job(number)
    known = job.model_dump(mode="json")
    known["title"] = known["vehicle"]["odometer"] = ""
    known["last_visit"] = {"job": number, "day": _day(book, number)}
    for run in book.runs(number):
        try:
            session = Session.reopen(book, run.run, advisers=advisers, reading=True)
            sheet = gathered(session)
        except (BookTrouble, Drift):
            continue
        known["bank"] |= {
            j.name: [str(v) for v in j.left] for j in sheet.jets if j.left != j.found and None not in j.left
        }
        if "left_open" not in known["last_visit"]:
            known["last_visit"]["left_open"] = list(_left_open(sheet))
        if sheet.compared or sheet.stands:
            known["last_visit"] |= _screws(session)
            break
    known["last_visit"] |= left_at(book, number, advisers) or {}
    return Job.model_validate(known)


def _day(book: Book, number: int) -> str:
    row = next(iter(book.jobs_numbered([number])), None)
    return row.at[:10] if row is not None else ""


def _left_open(sheet: Sheet) -> Iterable[str]:
    """How the newest run ended, where it did not end well, and what is still to be mended, a sentence each."""
    word, good = OUTCOMES.get(sheet.outcome, (sheet.outcome, "open"))
    if good != "good":
        yield f"{word}. {sheet.say}".strip()
    for finding, places in sheet.findings:
        if finding.severity in ("stop", "change part"):
            where = beside(finding, places)
            yield f"{where}: {finding.say}" if where else finding.say


def _screws(session: Session) -> dict[str, Any]:
    """Where the first kind of mixture screws stood."""
    for row in session.view.screws:
        if row.acts == "mixture" and any(p is not None for p in row.positions):
            return {"mixture_screws": [None if p is None else f"{p} {row.unit}" for p in row.positions]}
    return {}
