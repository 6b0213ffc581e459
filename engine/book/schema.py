"""The tables of the job book and how an older book is brought up to date; it reads and writes no event.

Events, runs and texts are append-only by trigger. Persons stand in a table of their own, outside the hash chain, and
may be changed and emptied.
"""

from __future__ import annotations

import sqlite3

#: Each migration takes a book from version i to i + 1, in one transaction. Event bodies are never rewritten.
MIGRATIONS: tuple[tuple[str, ...], ...] = (
    (
        "CREATE TABLE job(job INTEGER PRIMARY KEY, at TEXT NOT NULL, facts BLOB NOT NULL) STRICT",
        """CREATE TABLE person(job INTEGER PRIMARY KEY REFERENCES job, title TEXT NOT NULL DEFAULT '',
           customer TEXT NOT NULL DEFAULT '', vehicle BLOB NOT NULL) STRICT""",
        "CREATE TABLE text(sha256 TEXT PRIMARY KEY, bytes BLOB NOT NULL) STRICT",
        """CREATE TABLE run(run TEXT PRIMARY KEY, job INTEGER NOT NULL REFERENCES job, procedure TEXT NOT NULL,
           title TEXT NOT NULL, at TEXT NOT NULL) STRICT""",
        """CREATE TABLE event(run TEXT NOT NULL REFERENCES run, seq INTEGER NOT NULL, key TEXT, body BLOB NOT NULL,
           hash BLOB NOT NULL, PRIMARY KEY(run, seq)) STRICT""",
        "CREATE UNIQUE INDEX event_key ON event(run, key) WHERE key IS NOT NULL",
        *(
            f"""CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
              BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"""
            for table in ("job", "text", "run", "event")
            for verb in ("update", "delete")
        ),
    ),
)
VERSION = len(MIGRATIONS)
#: Marks the file as ours ("Evnd").
APPLICATION = 0x45766E64
OLDEST_SQLITE = (3, 37)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring a book to `VERSION`; call it with the version known to be older or equal."""
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    for number in range(version, VERSION):
        connection.execute("BEGIN IMMEDIATE")
        try:
            # Another window may have been quicker.
            if connection.execute("PRAGMA user_version").fetchone()[0] > number:
                connection.execute("ROLLBACK")
                continue
            for statement in MIGRATIONS[number]:
                connection.execute(statement)
            connection.execute(f"PRAGMA application_id = {APPLICATION}")
            connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise
