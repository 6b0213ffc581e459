"""A vehicle's visits side by side, read from the book: what was found and left each time; it changes nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.contract import Registry
from engine.foreign import plain
from engine.sheet.document import OUTCOMES, value
from engine.sheet.gather import Compared, Sheet, sheet_of

#: Quantities of a row whose distance between places tells how even the bank was.
_APART = ("airflow", "depression", "compression")


@dataclass(frozen=True, slots=True)
class Measured:
    """One thing at each of its places, found and left, as numbers in `unit` (None: not taken then), for a drawing."""

    title: str
    unit: str
    places: tuple[str, ...]
    found: tuple[float | None, ...]
    left: tuple[float | None, ...]


@dataclass(frozen=True, slots=True)
class Visit:
    """One visit: its job and run, day, how it ended, and its figures by name (found, left), in words."""

    job: int
    run: str
    day: str
    outcome: str
    complaint: str
    figures: dict[str, tuple[str, str]]
    #: Distance of the air from place to place, found and left, as numbers, for a drawing.
    apart: tuple[float | None, float | None]
    problem: str = ""
    measured: tuple[Measured, ...] = ()


def visits(book: Book, job: int, advisers: Registry) -> list[Visit]:
    """The visits of the vehicle of this job, oldest first. Raises `BookTrouble` where there is no such job.

    A visit whose record can't be read stands there with its problem.
    """
    row = next(iter(book.jobs_numbered([job])), None)
    if row is None:
        raise BookTrouble(f"There is no job {job} in this book. 'evendraw jobs' lists them.")
    mine = book.jobs_of(row.vehicle_number) if row.vehicle_number is not None else [row]
    return [visit for one in reversed(mine) for visit in _visit(book, one.job, one.at[:10], one.title, advisers)]


def _visit(book: Book, job: int, day: str, complaint: str, advisers: Registry) -> Iterable[Visit]:
    """The newest run of a job that recorded figures; its newest run, where none did."""
    found: Visit | None = None
    for run in book.runs(job):
        try:
            sheet = sheet_of(book, run.run, advisers)
        except Exception as fault:  # one unreadable visit hides no other
            found = found or Visit(job, run.run, day, "UNREADABLE", complaint, {}, (None, None), str(fault))
            continue
        shown = _shown(sheet)
        figures = {name: pair for line in shown for name, pair in _figures(line)}
        word = OUTCOMES.get(sheet.outcome, (sheet.outcome.upper(), ""))[0]
        measured = tuple(m for line in shown for m in _measured(line))
        visit = Visit(job, run.run, day, word, complaint, figures, _apart(sheet.compared), measured=measured)
        if sheet.compared:
            yield visit
            return
        found = found or visit
    if found is not None:
        yield found


def _shown(sheet: Sheet) -> list[Compared]:
    """What was recorded, and beside it the screws and the jets that nobody wrote down again."""
    titles, quantities = {c.title for c in sheet.compared}, {c.quantity for c in sheet.compared}
    screws = [
        Compared(s.name, s.name, s.unit, s.places, s.found, s.left, "", s.each, s.at)
        for s in sheet.stands
        if s.name not in titles
    ]
    return [*sheet.compared, *screws, *(j for j in sheet.jets if j.quantity not in quantities)]


def _measured(line: Compared) -> Iterable[Measured]:
    found, left = (tuple(float(v) if isinstance(v, Fraction) else None for v in r) for r in (line.found, line.left))
    if any(v is not None for v in (*found, *left)):
        unit = line.unit or ""
        yield Measured(line.title, unit, line.places, found, left)
        if line.quantity in _APART and len(line.places) > 1:
            yield Measured(f"{line.title}, apart", unit, ("",), (_span(found),), (_span(left),))


def _span(row: tuple[float | None, ...]) -> float | None:
    there = [v for v in row if v is not None]
    return max(there) - min(there) if len(there) > 1 else None


def _figures(line: Compared) -> Iterable[tuple[str, tuple[str, str]]]:
    title = line.title + (f", {line.unit}" if line.unit else "")
    if line.quantity in _APART and len(line.places) > 1:
        yield f"{title}, apart", (_distance(line.found, line.unit), _distance(line.left, line.unit))
    for place, was, now in zip(line.places, line.found, line.left, strict=True):
        yield f"{title}, {place}" if place else title, (value(was, line.unit), value(now, line.unit))


def _distance(row: tuple[Any, ...], unit: str | None) -> str:
    there = [v for v in row if isinstance(v, Fraction)]
    return value(max(there) - min(there), unit) if len(there) > 1 else "-"


def _apart(compared: tuple[Compared, ...]) -> tuple[float | None, float | None]:
    for line in compared:
        if line.quantity in ("airflow", "depression") and len(line.places) > 1:
            rows = ([v for v in row if isinstance(v, Fraction)] for row in (line.found, line.left))
            found, left = (float(max(row) - min(row)) if len(row) > 1 else None for row in rows)
            return found, left
    return None, None


def lines(told: list[Visit], width: int = 80) -> list[str]:
    """The visits as plain text, newest on the right, as many as fit; a row a figure, found and left each."""
    if not told:
        return ["Nothing was recorded of this vehicle yet."]
    fit = max(1, (width - 34) // 15)
    shown = told[-fit:]
    out = [f"{'':<34}" + "".join(f"{v.day:>15}" for v in shown)]
    out.append(f"{'job':<34}" + "".join(f"{v.run:>15}" for v in shown))
    out.append(f"{'ended':<34}" + "".join(f"{v.outcome[:14]:>15}" for v in shown))
    for name in dict.fromkeys(n for v in shown for n in v.figures):
        cells = [v.figures.get(name, ("-", "-")) for v in shown]
        if any(pair != ("-", "-") for pair in cells):
            out += _row(plain(name), [f"{was} > {now}" for was, now in cells])
    out += [f"{v.run}: {plain(v.problem)}" for v in shown if v.problem]
    if len(told) > fit:
        out.append(f"{len(told) - fit} earlier visits are not shown; --json has them all.")
    return out


def _row(name: str, cells: list[str]) -> list[str]:
    """A name too long for its column stands on a line of its own."""
    before = [name] if len(name) > 33 else []
    return [*before, f"{'' if before else name:<34}" + "".join(f"{cell[:14]:>15}" for cell in cells)]
