"""Brings a book to the version of this program, each step in one transaction; it changes no event.

Version 1 to 2: what was said of each visit's customer and vehicle moves beside the job, vehicles and customers are made
of it, every run gets its head. Jobs are joined to one vehicle only where their registrations are equal once spaces,
signs and case are left out; `Book.split` undoes it.

Version 2 to 3: which runs have not ended is written down beside them, and the search index is made anew.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any

from engine.book.schema import APPLICATION, MIGRATIONS, VERSION
from engine.book.seal import summed

#: Kinds of events whose `text` was typed by a person, in books of version 1.
_TYPED = ("note", "abandoned")
#: Kinds that are answers, in books of version 1.
_ANSWERS = ("done", "readings", "symptom", "lost", "abandoned")


def version_of(connection: sqlite3.Connection) -> int:
    """The version of an open book; 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def migrate(connection: sqlite3.Connection, to: int = VERSION) -> None:
    """Bring a book to a version; call it with the version known to be older or equal."""
    for number in range(version_of(connection), to):
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Another window may have been quicker.
            if version_of(connection) > number:
                connection.execute("ROLLBACK")
                continue
            said = _SAID[number](connection) if number in _SAID else None
            for statement in MIGRATIONS[number]:
                connection.execute(statement)
            if number in _FILL:
                _FILL[number](connection, said)
            connection.execute(f"PRAGMA application_id = {APPLICATION}")
            connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def plate(registration: str) -> str:
    """A registration without spaces, signs and case: what two must share to be one vehicle. Empty joins nothing."""
    return "".join(c for c in registration.casefold() if c.isalnum())


def job_sum(job: int, at: str, facts: bytes, told: bytes | None, vehicle: int | None, customer: int | None) -> bytes:
    """The sum of a job's row."""
    return summed("job", job, at, facts, told, vehicle, customer)


def head_sum(run: str, events: int, answers: int, hash: bytes) -> bytes:
    """The sum of a run's head."""
    return summed("head", run, events, answers, hash)


# ---- 1 to 2


def _persons(db: sqlite3.Connection) -> Any:
    rows = db.execute(
        """SELECT job.job, at, facts, coalesce(title, ''), coalesce(customer, ''), coalesce(vehicle, x'7b7d')
           FROM job LEFT JOIN person USING (job) ORDER BY job.job"""
    ).fetchall()
    return rows


def _fill_second(db: sqlite3.Connection, persons: Any) -> None:
    for job, at, facts, title, customer, vehicle in persons:
        try:
            known = json.loads(vehicle)
        except ValueError:
            known = {}
        if not isinstance(known, dict):
            known = {}
        told = told_bytes(title, customer, known)
        link(db, job, at, facts, told)
    for (run,) in db.execute("SELECT run FROM run").fetchall():
        newest = db.execute("SELECT seq, hash FROM event WHERE run = ? ORDER BY seq DESC LIMIT 1", (run,)).fetchone()
        if newest is not None:
            write_head(db, run, newest[0] + 1, _standing(db, run), newest[1])
    db.execute("DROP TABLE person")
    if persons:
        db.execute("INSERT INTO note_of_book(at, note) VALUES (datetime('now'), 'brought from version 1 to 2')")


def told_bytes(title: str, customer: str, vehicle: Any) -> bytes:
    """What was said of a visit's persons, as its row keeps it."""
    return json.dumps({"title": title, "customer": customer, "vehicle": vehicle}, ensure_ascii=False).encode()


def told_of(told: bytes | None) -> dict[str, Any]:
    """What was said of a visit's persons, of its row; empty where damage or an edit left nothing that can be read."""
    said = _json(told or b"{}")
    vehicle = said.get("vehicle")
    words = {name: said[name] if isinstance(said.get(name), str) else "" for name in ("title", "customer")}
    return {**words, "vehicle": vehicle if isinstance(vehicle, dict) else {}}


def link(db: sqlite3.Connection, job: int, at: str, facts: bytes, told: bytes, apart: bool = False) -> None:
    """Write what was said of a visit, and the vehicle and customer that it belongs to.

    A vehicle is found by its registration, a customer among those who brought that vehicle by the same name; a new one
    is made where there is none, or where it is to stand `apart`.
    """
    said = told_of(told)
    mark = plate(str(said["vehicle"].get("registration") or ""))
    name = said["customer"]
    vehicle = customer = None
    if mark and not apart:
        found = db.execute("SELECT vehicle FROM vehicle WHERE plate = ? ORDER BY vehicle LIMIT 1", (mark,)).fetchone()
        vehicle = found and found[0]
    if vehicle is not None and name:
        found = db.execute(
            """SELECT customer.customer FROM customer JOIN job USING (customer)
               WHERE job.vehicle = ? AND name = ? LIMIT 1""",
            (vehicle, name),
        ).fetchone()
        customer = found and found[0]
    if customer is None and name:
        customer = new_customer(db, name)
    if vehicle is None:
        vehicle = db.execute("INSERT INTO vehicle(plate, sum) VALUES (?, x'')", (mark,)).lastrowid
    if vehicle is not None and customer is not None:
        db.execute("UPDATE vehicle SET customer = ? WHERE vehicle = ?", (customer, vehicle))
    sum_vehicle(db, vehicle)
    db.execute(
        "UPDATE job SET told = ?, vehicle = ?, customer = ?, sum = ? WHERE job = ?",
        (told, vehicle, customer, job_sum(job, at, facts, told, vehicle, customer), job),
    )


def facts_bytes(facts: Mapping[str, Any]) -> bytes:
    """The engineering part of a job as its row keeps it."""
    return json.dumps(facts, ensure_ascii=False, sort_keys=True).encode("utf-8", "replace")


def write_facts(db: sqlite3.Connection, job: int, facts: Mapping[str, Any], at: str, by: int | None = None) -> None:
    """Write corrected facts of a job beside those that it was taken in with."""
    data = facts_bytes(facts)
    nth = db.execute("SELECT count(*) FROM corrected WHERE job = ?", (job,)).fetchone()[0]
    db.execute(
        "INSERT INTO corrected(job, nth, at, by, facts, sum) VALUES (?, ?, ?, ?, ?, ?)",
        (job, nth, at, by, data, summed("corrected", job, nth, at, by, data)),
    )


def new_customer(db: sqlite3.Connection, name: str) -> int:
    """Write a customer down; its number."""
    number = db.execute("INSERT INTO customer(name, sum) VALUES (?, x'')", (name,)).lastrowid
    assert number is not None
    db.execute("UPDATE customer SET sum = ? WHERE customer = ?", (summed("customer", number, name), number))
    return number


def sum_vehicle(db: sqlite3.Connection, vehicle: int | None) -> None:
    """Write the sum of a vehicle's row."""
    row = db.execute("SELECT vehicle, customer, plate FROM vehicle WHERE vehicle = ?", (vehicle,)).fetchone()
    db.execute("UPDATE vehicle SET sum = ? WHERE vehicle = ?", (summed("vehicle", *row), vehicle))


def write_head(db: sqlite3.Connection, run: str, events: int, answers: int, hash: bytes) -> None:
    """Write how many events a run has, how many answers stand, and the hash of its newest event."""
    db.execute(
        """INSERT INTO head(run, events, answers, hash, sum) VALUES (?, ?, ?, ?, ?) ON CONFLICT (run)
           DO UPDATE SET events = excluded.events, answers = excluded.answers, hash = excluded.hash,
           sum = excluded.sum""",
        (run, events, answers, hash, head_sum(run, events, answers, hash)),
    )


def _standing(db: sqlite3.Connection, run: str) -> int:
    """How many answers of a run of version 1 stand: an undo takes one back, a redo gives it again."""
    count = 0
    for (body,) in db.execute("SELECT body FROM event WHERE run = ? ORDER BY seq", (run,)):
        kind = _json(body).get("kind")
        count += (kind in _ANSWERS or kind == "redo") - (kind == "undo")
    return max(0, count)


def _json(body: bytes) -> dict[str, Any]:
    try:
        found = json.loads(body)
    except (ValueError, TypeError):  # damage can make a number of a text
        return {}
    return found if isinstance(found, dict) else {}


def index(db: sqlite3.Connection, job: int) -> None:
    """Write the words of a job into the search index, in place of those that stood there."""
    row = db.execute("SELECT told, facts, at FROM job WHERE job = ?", (job,)).fetchone()
    said = told_of(row[0] if row else None)
    vehicle = said["vehicle"]
    words = [
        text
        for (text,) in db.execute(
            "SELECT text FROM words JOIN run USING (run) WHERE run.job = ? AND text IS NOT NULL", (job,)
        )
    ]
    for (body,) in db.execute(
        """SELECT body FROM event JOIN run USING (run) WHERE run.job = ? AND instr(body, CAST('"text":' AS BLOB)) >
        0""",
        (job,),
    ):
        told = _json(body)
        if told.get("kind") in _TYPED:
            words.append(str(told.get("text", "")))
    words += _found_words(db, job)
    words += [said for (said,) in db.execute("SELECT said FROM found JOIN run USING (run) WHERE run.job = ?", (job,))]
    words = [word for word in words if isinstance(word, str)]
    mark = str(vehicle.get("registration") or "")
    db.execute("DELETE FROM search WHERE rowid = ?", (job,))
    db.execute(
        "INSERT INTO search(rowid, people, vehicle, complaint, words) VALUES (?, ?, ?, ?, ?)",
        (
            job,
            str(said.get("customer") or ""),
            " ".join((str(vehicle.get("description") or ""), mark, plate(mark), *_engine_words(row))),
            str(said.get("title") or ""),
            "\n".join(words),
        ),
    )


def _engine_words(row: tuple[bytes, bytes, str] | None) -> tuple[str, ...]:
    """Family, size of the engine and day of a job, as they are looked for: `1598cc`, `2031-05-04`."""
    facts = _json(row[1]) if row and row[1] else {}
    engine, bank = (part if isinstance(part := facts.get(name), dict) else {} for name in ("engine", "bank"))
    size = str(engine.get("displacement") or "")
    day = row[2][:10] if row and isinstance(row[2], str) else ""  # damage can turn a text into bytes
    return str(bank.get("family") or ""), size, size.replace(" ", ""), day


def _found_words(db: sqlite3.Connection, job: int) -> list[str]:
    """What advisers found in the runs of a job: each finding's code and sentence once."""
    told: dict[str, None] = {}
    for (body,) in db.execute(
        """SELECT body FROM event JOIN run USING (run) WHERE run.job = ? AND instr(body, CAST('"findings":' AS BLOB)) >
        0""",
        (job,),
    ):
        for advice in _json(body).get("advice") or ():
            for finding in (advice.get("findings") if isinstance(advice, dict) else None) or ():
                if isinstance(finding, dict):
                    told[f"{finding.get('code', '')} {finding.get('say', '')}"] = None
    return list(told)


# ---- 2 to 3


def made_of_the_record(db: sqlite3.Connection, _: Any = None) -> None:
    """Make what is made of the record anew: which runs have not ended, and the search index."""
    db.execute("DELETE FROM unended")
    for run, body in db.execute(
        """SELECT event.run, body FROM event JOIN head ON head.run = event.run AND seq = events - 1
           WHERE event.run NOT IN (SELECT run FROM successor)"""
    ).fetchall():
        note_end(db, run, body)
    db.execute("DELETE FROM search")
    for (job,) in db.execute("SELECT job FROM job").fetchall():
        index(db, job)


def note_end(db: sqlite3.Connection, run: str, newest: bytes) -> bool:
    """Write down whether a run has ended with its newest event; whether it has."""
    ended = isinstance(newest, bytes) and b'"outcome":' in newest and "outcome" in _json(newest)
    way = "DELETE FROM unended WHERE run = ?" if ended else "INSERT OR IGNORE INTO unended(run) VALUES (?)"
    db.execute(way, (run,))
    return ended


_SAID: dict[int, Callable[[sqlite3.Connection], Any]] = {1: _persons}
_FILL: dict[int, Callable[[sqlite3.Connection, Any], None]] = {1: _fill_second, 2: made_of_the_record}
