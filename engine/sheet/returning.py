"""What a vehicle that comes back left with: the facts of its last job with the parts as they were left, and what a
recheck holds today against; read from the record, it changes nothing.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.contract import Registry
from engine.job.model import Job
from engine.session.session import Drift, Session
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
        if sheet.compared or sheet.stands:
            known["last_visit"] |= _left(sheet) | _screws(session)
            break
    return Job.model_validate(known)


def _day(book: Book, number: int) -> str:
    row = next(iter(book.jobs_numbered([number])), None)
    return row.at[:10] if row is not None else ""


def _left(sheet: Sheet) -> dict[str, Any]:
    """Speed, spread and mixture screws as left, where they were recorded."""
    out: dict[str, Any] = {}
    for line in sheet.compared:
        there = [v for v in line.left if isinstance(v, Fraction)]
        if line.quantity == "engine speed" and len(there) == 1 and line.unit == "rpm" and 300 <= there[0] <= 3000:
            # The first that was recorded is the idle; later ones are speeds that were held for a look at something.
            out.setdefault("idle_speed", f"{there[0]} rpm")
        if line.quantity == "airflow" and line.unit == "kg/h" and len(there) == len(line.left) > 1:
            out["airflow_spread"] = f"{max(there) - min(there)} kg/h"
    return out


def _screws(session: Session) -> dict[str, Any]:
    """Where the first kind of mixture screws stood."""
    for row in session.view.screws:
        if row.acts == "mixture" and any(p is not None for p in row.positions):
            return {"mixture_screws": [None if p is None else f"{p} {row.unit}" for p in row.positions]}
    return {}
