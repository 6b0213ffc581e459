"""The tables of the job book, version by version, as statements; it runs none of them (`migrate` does).

Version 2, what stands where:

- `job`: one visit of one vehicle. `at` and `facts` (the engineering part) never change; `told` holds what was said of
  customer and vehicle at this visit, and may be changed and emptied. `corrected` holds later facts of a job.
- `vehicle`, `customer`: what joins visits. A vehicle has many jobs, a customer many vehicles. `staff`: people of the
  shop; an event says by number who answered.
- `run`, `text`, `event`: as in version 1, append-only. `head` holds how many events a run has and the newest hash,
  written with each event, so that a cut tail is seen. `successor`: the run that took a run's place.
- `words`: free texts of events, outside the chain; the event holds their salted hashes. A text can be taken out.
  `tombstone`: what stands in place of an event's body from which a text was taken (events of version 1 only).
- `draft`: rows half typed, beside a run. `recheck`: what a job is due for. `search`: an index over words, made anew at
  will. `note_of_book`: what happened to the book itself.

Version 3: `unended` names the runs that have not ended, so that home need not look at all of them; `found` what the
procedures found in a run, for the search index. Both are made of the record and hold none of it.

Rows that may change carry `sum`, so that damage is seen.
"""

from __future__ import annotations

#: Marks the file as ours ("Evnd").
APPLICATION = 0x45766E64
OLDEST_SQLITE = (3, 37)


def _fixed(*tables: str) -> tuple[str, ...]:
    """No row of these tables is changed or taken out."""
    return tuple(
        f"""CREATE TRIGGER {table}_no_{verb} BEFORE {verb} ON {table}
              BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"""
        for table in tables
        for verb in ("update", "delete")
    )


def _once(table: str, *same: str) -> str:
    """No row of this table is written over: REPLACE would take the old row out without asking."""
    where = " OR ".join((*same, "rowid = NEW.rowid"))
    return f"""CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table}
              WHEN EXISTS (SELECT 1 FROM {table} WHERE {where})
              BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END"""


_FIRST = (
    "CREATE TABLE job(job INTEGER PRIMARY KEY, at TEXT NOT NULL, facts BLOB NOT NULL) STRICT",
    """CREATE TABLE person(job INTEGER PRIMARY KEY REFERENCES job, title TEXT NOT NULL DEFAULT '',
           customer TEXT NOT NULL DEFAULT '', vehicle BLOB NOT NULL) STRICT""",
    "CREATE TABLE text(sha256 TEXT PRIMARY KEY, bytes BLOB NOT NULL) STRICT",
    """CREATE TABLE run(run TEXT PRIMARY KEY, job INTEGER NOT NULL REFERENCES job, procedure TEXT NOT NULL,
           title TEXT NOT NULL, at TEXT NOT NULL) STRICT""",
    """CREATE TABLE event(run TEXT NOT NULL REFERENCES run, seq INTEGER NOT NULL, key TEXT, body BLOB NOT NULL,
           hash BLOB NOT NULL, PRIMARY KEY(run, seq)) STRICT""",
    "CREATE UNIQUE INDEX event_key ON event(run, key) WHERE key IS NOT NULL",
    *_fixed("job", "text", "run", "event"),
)

_SECOND = (
    "CREATE TABLE customer(customer INTEGER PRIMARY KEY, name TEXT NOT NULL, sum BLOB NOT NULL) STRICT",
    """CREATE TABLE vehicle(vehicle INTEGER PRIMARY KEY, customer INTEGER REFERENCES customer, plate TEXT NOT NULL,
           sum BLOB NOT NULL) STRICT""",
    "CREATE INDEX vehicle_plate ON vehicle(plate)",
    "CREATE TABLE staff(staff INTEGER PRIMARY KEY, name TEXT NOT NULL, gone TEXT, sum BLOB NOT NULL) STRICT",
    "DROP TRIGGER job_no_update",
    "ALTER TABLE job ADD COLUMN told BLOB",
    "ALTER TABLE job ADD COLUMN vehicle INTEGER REFERENCES vehicle",
    "ALTER TABLE job ADD COLUMN customer INTEGER REFERENCES customer",
    "ALTER TABLE job ADD COLUMN sum BLOB",
    """CREATE TRIGGER job_no_update BEFORE UPDATE ON job
           WHEN NEW.job <> OLD.job OR NEW.at <> OLD.at OR NEW.facts <> OLD.facts
              BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END""",
    "CREATE INDEX job_vehicle ON job(vehicle)",
    """CREATE TABLE corrected(job INTEGER NOT NULL REFERENCES job, nth INTEGER NOT NULL, at TEXT NOT NULL, by INTEGER,
           facts BLOB NOT NULL, sum BLOB NOT NULL, PRIMARY KEY(job, nth)) STRICT""",
    """CREATE TABLE head(run TEXT PRIMARY KEY REFERENCES run, events INTEGER NOT NULL, answers INTEGER NOT NULL,
           hash BLOB NOT NULL, sum BLOB NOT NULL) STRICT""",
    "CREATE TABLE successor(run TEXT PRIMARY KEY REFERENCES run, next TEXT NOT NULL, at TEXT NOT NULL) STRICT",
    """CREATE TABLE words(run TEXT NOT NULL REFERENCES run, seq INTEGER NOT NULL, name TEXT NOT NULL,
           salt BLOB NOT NULL, text TEXT, gone TEXT, PRIMARY KEY(run, seq, name)) STRICT""",
    """CREATE TABLE tombstone(run TEXT NOT NULL, seq INTEGER NOT NULL, at TEXT NOT NULL, body BLOB NOT NULL,
           PRIMARY KEY(run, seq)) STRICT""",
    "CREATE TABLE draft(run TEXT PRIMARY KEY REFERENCES run, seq INTEGER NOT NULL, fields BLOB NOT NULL) STRICT",
    """CREATE TABLE recheck(job INTEGER PRIMARY KEY REFERENCES job, due TEXT NOT NULL, odometer TEXT NOT NULL,
           why TEXT NOT NULL, sum BLOB NOT NULL) STRICT""",
    "CREATE VIRTUAL TABLE search USING fts5(people, vehicle, complaint, words, tokenize = 'unicode61')",
    "CREATE TABLE note_of_book(nth INTEGER PRIMARY KEY, at TEXT NOT NULL, note TEXT NOT NULL) STRICT",
    # A body may be written over only by the tombstone that stands for it.
    "DROP TRIGGER event_no_update",
    """CREATE TRIGGER event_no_update BEFORE UPDATE ON event WHEN NOT (NEW.run = OLD.run AND NEW.seq = OLD.seq
           AND NEW.key IS OLD.key AND NEW.hash = OLD.hash AND EXISTS (SELECT 1 FROM tombstone
           WHERE tombstone.run = OLD.run AND tombstone.seq = OLD.seq AND tombstone.body = NEW.body))
              BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END""",
    *_fixed("corrected", "tombstone", "successor"),
    _once("job", "job = NEW.job"),
    _once("text", "sha256 = NEW.sha256"),
    _once("run", "run = NEW.run"),
    _once("event", "(run = NEW.run AND seq = NEW.seq)", "(run = NEW.run AND key = NEW.key)"),
    _once("corrected", "(job = NEW.job AND nth = NEW.nth)"),
    _once("tombstone", "(run = NEW.run AND seq = NEW.seq)"),
    _once("successor", "run = NEW.run"),
)

#: With an index of first letters, what is half typed is found as fast as whole words.
SEARCH = """CREATE VIRTUAL TABLE search USING fts5(people, vehicle, complaint, words, tokenize = 'unicode61',
           prefix = '1 2 3 4 5 6 7 8')"""

_THIRD = (
    "CREATE INDEX run_job ON run(job)",
    "CREATE INDEX job_customer ON job(customer)",
    "CREATE INDEX vehicle_customer ON vehicle(customer)",
    "CREATE TABLE unended(run TEXT PRIMARY KEY REFERENCES run) STRICT",
    """CREATE TABLE found(run TEXT NOT NULL REFERENCES run, said TEXT NOT NULL, PRIMARY KEY(run, said)) STRICT""",
    "DROP TABLE search",
    SEARCH,
)

#: Each takes a book from version i to i + 1. Event bodies are never rewritten.
MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST, _SECOND, _THIRD)
VERSION = len(MIGRATIONS)
