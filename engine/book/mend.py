"""Makes anew what is made of the record: indexes, the search, the list of open runs; it changes no row of the record.

Where the tables themselves are damaged it changes nothing: a copy of the book is the only help then.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

from engine.book.migrate import made_of_the_record
from engine.book.schema import SEARCH

MENDED = (
    "An index of the job book did not agree with its tables; it was made anew from them, and no answer was touched. "
    "'evendraw book verify' says whether every record is whole."
)
STANDING = (
    "The list of runs that stand open did not agree with the record; it was made anew from it, and no answer was "
    "touched."
)
#: Runs whose newest event ended nothing and whose place no other took, against the list of them.
_DIFFER = """SELECT count(*) FROM head JOIN event ON event.run = head.run AND seq = events - 1
   WHERE (instr(body, CAST('"outcome":' AS BLOB)) = 0 AND head.run NOT IN (SELECT run FROM successor))
      <> (head.run IN (SELECT run FROM unended))"""


def sound(db: sqlite3.Connection) -> bool:
    """Whether tables and indexes are whole and agree."""
    return bool(db.execute("PRAGMA integrity_check(1)").fetchone()[0] == "ok")


def strayed(db: sqlite3.Connection) -> list[str]:
    """A sentence on each run that stands under another job than the one that its name says."""
    rows = db.execute("SELECT run, job FROM run WHERE job <> CAST(run AS INTEGER) LIMIT 20").fetchall()
    return [f"Run {run} stands under job {job}: its row was altered since it was started." for run, job in rows]


def search_sound(db: sqlite3.Connection) -> bool:
    """Whether the search index holds the words that it was given. On a connection that may not write, on a copy."""
    try:
        db.execute("INSERT INTO search(search) VALUES ('integrity-check')")
        return True
    except sqlite3.OperationalError as fault:
        if "readonly" not in str(fault):
            return False
    except sqlite3.DatabaseError:
        return False
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as copy:
        db.backup(copy)
        return search_sound(copy)


def mended(db: sqlite3.Connection) -> list[str]:
    """Make indexes that are damaged anew; sentences on what was done.

    Raises `sqlite3.DatabaseError` where the damage is in the tables; then nothing is changed.
    """
    done = []
    if not sound(db) or not search_sound(db):
        _anew(db)
        done.append(MENDED)
    if db.execute(_DIFFER).fetchone()[0]:
        db.execute("BEGIN IMMEDIATE")
        made_of_the_record(db)
        db.execute("COMMIT")
        done.append(STANDING)
    return done


def _anew(db: sqlite3.Connection) -> None:
    db.execute("BEGIN IMMEDIATE")
    try:
        db.execute("REINDEX")
        _search(db)
        if not sound(db) or not search_sound(db):
            raise sqlite3.DatabaseError("malformed")
        db.execute("COMMIT")
    except (sqlite3.Error, TypeError, ValueError, AttributeError):
        # Damage can make anything of a value, whatever its column says.
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise sqlite3.DatabaseError("malformed") from None


def search_anew(db: sqlite3.Connection) -> None:
    """Make the search index anew, whatever stands in it."""
    db.execute("BEGIN IMMEDIATE")
    try:
        _search(db)
        db.execute("COMMIT")
    except sqlite3.Error:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _search(db: sqlite3.Connection) -> None:
    db.execute("DROP TABLE search")
    db.execute(SEARCH)
    made_of_the_record(db)
