"""Jobs and whose they are: visits, vehicles, customers, people of the shop, rechecks; it knows no run.

What the engine is (`facts`) never changes once it is written; what was said of persons stands beside it, and may be
changed and emptied. Every row that may change has its sum, so that one that was damaged is shown as unreadable and the
others work.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from typing import Any

from engine.book.mend import search_anew, search_sound
from engine.book.migrate import facts_bytes, index, job_sum, link, plate, sum_vehicle, told_bytes, write_facts
from engine.book.opening import LOOKED_THROUGH
from engine.book.rows import CustomerRow, JobRow, Recheck, StaffRow, VehicleRow
from engine.book.seal import summed
from engine.book.store import Store
from engine.book.trouble import BookTrouble, explained
from engine.job.model import Job

#: The largest number that a table can hold.
_MOST = 2**63 - 1
_NO_SEARCH = (
    "The search index of the job book is damaged. It holds no record: open the home screen and search there, and it is "
    "made anew. 'evendraw jobs --all' lists every job without it."
)
DAMAGED = "its row can't be read: it was altered or damaged"


class Visits(Store):
    """The part of the book that knows persons."""

    _search_looked_at = False

    def take_in(self, job: Job, at: str = "") -> int:
        """Write a job down; its number. It joins the vehicle of an equal registration, or a new one."""
        facts, told = facts_bytes(job.engineering()), _told(job)
        with self._write() as db:
            number = db.execute("INSERT INTO job(at, facts) VALUES (?, ?)", (at, facts)).lastrowid
            assert number is not None
            link(db, number, at, facts, told)
            index(db, number)
        return number

    def job(self, number: int) -> Job:
        """A job with its facts as they are now, and the persons as they stand now."""
        row = self._row(number)
        if row.problem:
            raise BookTrouble(f"Job {number} is unreadable: {row.problem}. 'evendraw book verify' says what is safe.")
        return Job.model_validate({**row.facts, "title": row.title, "customer": row.customer, "vehicle": row.vehicle})

    def told(self, number: int) -> dict[str, str]:
        """What was said of a visit, by the names under which a run seals it; what can't be read is left out."""
        row = self._row(number)
        said = {"complaint": row.title, "customer": row.customer}
        return {**said, **{f"vehicle {k}": str(v or "") for k, v in row.vehicle.items()}}

    def _row(self, number: int) -> JobRow:
        found = self._jobs("WHERE job.job = ?", number) if 0 <= number <= _MOST else []
        if not found:
            raise BookTrouble(f"There is no job {str(number)[:20]} in this book. 'evendraw jobs' lists them.")
        return found[0]

    def jobs(self) -> list[JobRow]:
        """Every job, newest first."""
        return self._jobs("ORDER BY job.job DESC")

    def newest_jobs(self, most: int) -> list[JobRow]:
        """The newest jobs, at most so many."""
        return self._jobs("ORDER BY job.job DESC LIMIT ?", most)

    def jobs_numbered(self, numbers: Iterable[int]) -> list[JobRow]:
        """The jobs of these numbers, newest first; those that the book does not have are left out."""
        wanted = sorted(set(numbers), reverse=True)
        marks = ",".join("?" * len(wanted))
        return self._jobs(f"WHERE job.job IN ({marks}) ORDER BY job.job DESC", *wanted) if wanted else []

    def _jobs(self, which: str, *values: Any) -> list[JobRow]:
        rows = self._read(
            f"""SELECT job.job, job.at, job.facts, told, vehicle, customer, job.sum,
                (SELECT count(*) FROM run WHERE run.job = job.job),
                corrected.nth, corrected.at, corrected.by, corrected.facts, corrected.sum
                FROM job LEFT JOIN corrected ON corrected.job = job.job
                 AND nth = (SELECT max(nth) FROM corrected WHERE corrected.job = job.job) {which}""",
            *values,
        )
        return [_job_row(row) for row in rows]

    def correct_facts(self, number: int, facts: Mapping[str, Any], at: str, by: int | None = None) -> None:
        """Put the facts of a job right; those that it was taken in with stay in the book."""
        self._row(number)
        with self._write() as db:
            write_facts(db, number, facts, at, by)

    def rewrite_persons(self, number: int, job: Job) -> None:
        """Change customer, vehicle and complaint of a job; the record of its runs does not change."""
        self._tell(number, _told(job))

    def forget_persons(self, number: int) -> None:
        """Empty customer, vehicle and complaint of a job, for good: not a byte of them stays in the file."""
        self._tell(number, told_bytes("", "", {}))

    def _tell(self, number: int, told: bytes, apart: bool = False) -> None:
        with self._write() as db:
            row = db.execute("SELECT at, facts FROM job WHERE job = ?", (number,)).fetchone()
            if row is None:
                raise BookTrouble(f"There is no job {number} in this book. 'evendraw jobs' lists them.")
            link(db, number, row[0], row[1], told, apart=apart)
            _sweep(db)
            index(db, number)
            db.execute("INSERT INTO search(search) VALUES ('optimize')")
        self._fold_log()

    # ---- vehicles and customers

    def vehicles(self) -> list[VehicleRow]:
        """Every vehicle, the one with the newest job first."""
        jobs: dict[int, list[JobRow]] = {}
        for job in self.jobs():
            if job.vehicle_number is not None:
                jobs.setdefault(job.vehicle_number, []).append(job)
        found = []
        for number, customer, mark, sum_ in self._read("SELECT vehicle, customer, plate, sum FROM vehicle"):
            mine = jobs.get(number, [])
            newest: Mapping[str, str] = mine[0].vehicle if mine else {}
            problem = None if sum_ == summed("vehicle", number, customer, mark) else DAMAGED
            said = newest.get("registration", ""), newest.get("description", "")
            found.append(VehicleRow(number, customer, *said, tuple(j.job for j in mine), problem))
        return sorted(found, key=lambda v: v.jobs[:1], reverse=True)

    def customers(self) -> list[CustomerRow]:
        """Every customer by name."""
        cars: dict[int, dict[int, None]] = {}
        for vehicle, customer in self._read("SELECT DISTINCT vehicle, customer FROM job WHERE customer IS NOT NULL"):
            cars.setdefault(customer, {})[vehicle] = None
        rows = self._read("SELECT customer, name, sum FROM customer ORDER BY name, customer")
        return [
            CustomerRow(n, name, tuple(cars.get(n, ())), None if s == summed("customer", n, name) else DAMAGED)
            for n, name, s in rows
        ]

    def jobs_of(self, vehicle: int) -> list[JobRow]:
        """The jobs of a vehicle, newest first."""
        return self._jobs("WHERE job.vehicle = ? ORDER BY job.job DESC", vehicle)

    def newest_of(self, registration: str) -> int | None:
        """The newest job of the vehicle with this registration, however it is spaced; None where it is not known."""
        mark = plate(registration)
        asked = "SELECT max(job) FROM job JOIN vehicle USING (vehicle) WHERE plate = ?"
        found = self._read(asked, mark)[0][0] if mark else None
        return None if found is None else int(found)

    def split(self, number: int) -> int:
        """Part a job from the vehicle that it was joined to: a vehicle and a customer of its own; the vehicle's
        number.
        """
        row = self._row(number)
        self._tell(number, told_bytes(row.title, row.customer, row.vehicle), apart=True)
        vehicle = self._row(number).vehicle_number
        assert vehicle is not None
        return vehicle

    def join(self, number: int, to: int) -> int:
        """Say that a job is of the vehicle of another job; the vehicle's number."""
        vehicle = self._row(to).vehicle_number
        row = self._row(number)
        with self._write() as db:
            at, facts, told, customer = db.execute(
                "SELECT at, facts, told, customer FROM job WHERE job = ?", (number,)
            ).fetchone()
            db.execute(
                "UPDATE job SET vehicle = ?, sum = ? WHERE job = ?",
                (vehicle, job_sum(number, at, facts, told, vehicle, customer), number),
            )
            mark = plate(row.vehicle.get("registration", ""))
            if mark:
                db.execute("UPDATE vehicle SET plate = ? WHERE vehicle = ? AND plate = ''", (mark, vehicle))
                sum_vehicle(db, vehicle)
            _sweep(db)
        assert vehicle is not None
        return vehicle

    def same_customer(self, number: int, as_of: int) -> None:
        """Say that the customer of a job is the customer of another job."""
        customer = self._row(as_of).customer_number
        if customer is None:
            raise BookTrouble(f"Job {as_of} names no customer, so that there is none to be the same.")
        self._row(number)
        with self._write() as db:
            at, facts, told, vehicle = db.execute(
                "SELECT at, facts, told, vehicle FROM job WHERE job = ?", (number,)
            ).fetchone()
            db.execute(
                "UPDATE job SET customer = ?, sum = ? WHERE job = ?",
                (customer, job_sum(number, at, facts, told, vehicle, customer), number),
            )
            db.execute("UPDATE vehicle SET customer = ? WHERE vehicle = ?", (customer, vehicle))
            sum_vehicle(db, vehicle)
            _sweep(db)

    # ---- people of the shop

    def staff(self) -> list[StaffRow]:
        """The people of the shop, by number."""
        rows = self._read("SELECT staff, name, gone, sum FROM staff ORDER BY staff")
        return [StaffRow(n, name, g, None if s == summed("staff", n, name, g) else DAMAGED) for n, name, g, s in rows]

    def add_staff(self, name: str) -> int:
        """Write somebody of the shop down; the number that events carry as `by`."""
        with self._write() as db:
            number = db.execute("INSERT INTO staff(name, sum) VALUES (?, x'')", (name,)).lastrowid
            assert number is not None
            _name_staff(db, number, name, None)
        return number

    def staff_left(self, number: int, day: str) -> None:
        """Somebody of the shop answers no more from this day on; what was answered stays theirs."""
        with self._write() as db:
            row = db.execute("SELECT name FROM staff WHERE staff = ?", (number,)).fetchone()
            if row is None:
                raise BookTrouble(f"Nobody of the shop has number {number}. 'evendraw book people' lists them.")
            _name_staff(db, number, row[0], day)

    # ---- rechecks

    def set_recheck(self, number: int, due: str, odometer: str = "", why: str = "") -> None:
        """Write down when a job is due to be checked again; without day and odometer it is due no more."""
        self._row(number)
        with self._write() as db:
            db.execute("DELETE FROM recheck WHERE job = ?", (number,))
            if due or odometer:
                row = (number, due, odometer, why)
                db.execute(
                    "INSERT INTO recheck(job, due, odometer, why, sum) VALUES (?, ?, ?, ?, ?)",
                    (*row, summed("recheck", *row)),
                )

    def rechecks(self) -> list[Recheck]:
        """What is due to be checked again and has not been since, the earliest first."""
        rows = self._read(
            """SELECT job, due, odometer, why, sum FROM recheck WHERE NOT EXISTS (SELECT 1 FROM job AS mine
               JOIN job AS later ON later.vehicle = mine.vehicle AND later.job > mine.job WHERE mine.job = recheck.job)
               ORDER BY due = '', due, job"""
        )
        return [
            Recheck(n, due, odometer, why, None if s == summed("recheck", n, due, odometer, why) else DAMAGED)
            for n, due, odometer, why, s in rows
        ]

    # ---- finding

    def found(self, words: str, most: int = -1) -> list[int]:
        """The jobs in whose words each of these begins a word, the newest first; at most so many (-1: all).

        Words are those of customer, vehicle, registration, engine, day, complaint, notes and advisers' findings.
        """
        terms = " ".join(f'"{w}"*' for w in words.replace('"', " ").replace("\0", " ").split())
        if not terms:
            return []
        asked = "SELECT rowid FROM search WHERE search MATCH ? ORDER BY rowid DESC LIMIT ?", (terms, most)
        with explained(self.path):
            if self.reading and not self._search_looked_at:
                self._look_at_search()
            try:
                rows = self._db.execute(*asked).fetchall()
            except sqlite3.DatabaseError as fault:
                if isinstance(fault, sqlite3.OperationalError):
                    raise
                # The index holds no record: it is made anew, where this may write.
                try:
                    search_anew(self._db)
                except sqlite3.Error:
                    raise BookTrouble(_NO_SEARCH) from fault
                rows = self._db.execute(*asked).fetchall()
        return [n for (n,) in rows]

    def _look_at_search(self) -> None:
        """Who only reads had nobody look at the search index at the opening."""
        if self.path is not None and self.path.stat().st_size <= LOOKED_THROUGH and not search_sound(self._db):
            raise BookTrouble(_NO_SEARCH)
        self._search_looked_at = True


def _told(job: Job) -> bytes:
    return told_bytes(job.title, job.customer, job.vehicle.model_dump(mode="json"))


def _job_row(row: Any) -> JobRow:
    number, at, facts, told, vehicle, customer, sum_, runs, nth, when, by, later, later_sum = row
    problem = None if sum_ == job_sum(number, at, facts, told, vehicle, customer) else DAMAGED
    if later is not None and later_sum != summed("corrected", number, nth, when, by, later):
        problem = DAMAGED
    try:
        said, known = json.loads(told or b"{}"), json.loads(facts if later is None else later)
        title, name, car = said.get("title", ""), said.get("customer", ""), said.get("vehicle", {})
        if not (isinstance(known, dict) and isinstance(car, dict)):
            raise ValueError
    except (ValueError, AttributeError, TypeError):  # damage can make a number of a text
        title, name, car, known, problem = "", "", {}, {}, DAMAGED
    if not isinstance(at, str):
        at, problem = "", DAMAGED
    car = {str(k): v if isinstance(v, str | None) else str(v) for k, v in car.items()}
    return JobRow(number, at, str(title), str(name), car, known, runs, vehicle, customer, problem)


def _name_staff(db: sqlite3.Connection, number: int, name: str, gone: str | None) -> None:
    db.execute(
        "UPDATE staff SET name = ?, gone = ?, sum = ? WHERE staff = ?",
        (name, gone, summed("staff", number, name, gone), number),
    )


def _sweep(db: sqlite3.Connection) -> None:
    """Take out vehicles and customers that no job has any more."""
    changed = db.execute(
        """UPDATE vehicle SET customer = (SELECT customer FROM job WHERE job.vehicle = vehicle.vehicle
           ORDER BY job DESC LIMIT 1) WHERE customer IS NOT NULL AND NOT EXISTS (SELECT 1 FROM job
           WHERE job.customer = vehicle.customer) RETURNING vehicle"""
    ).fetchall()
    for (vehicle,) in changed:
        sum_vehicle(db, vehicle)
    db.execute("DELETE FROM vehicle WHERE NOT EXISTS (SELECT 1 FROM job WHERE job.vehicle = vehicle.vehicle)")
    db.execute(
        """DELETE FROM customer WHERE NOT EXISTS (SELECT 1 FROM job WHERE job.customer = customer.customer)
           AND NOT EXISTS (SELECT 1 FROM vehicle WHERE vehicle.customer = customer.customer)"""
    )


__all__ = ["DAMAGED", "Visits"]
