"""The job book: jobs, persons, runs and their events in one SQLite file, each event committed before anybody hears
of it.

Events are chained by SHA-256 over the bytes as stored. The chain finds an edit in the middle; a cut tail or a wholesale
rewrite it does not find, so the head hash is printed on the sheet. Nothing here knows what an event means.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple

from engine.book.schema import APPLICATION, OLDEST_SQLITE, VERSION, migrate
from engine.book.trouble import BookTrouble, explained
from engine.job.model import Job


class Stored(NamedTuple):
    """One event as it stands in the book; `body` is the JSON that was hashed."""

    seq: int
    key: str | None
    body: bytes
    hash: bytes


class RunRow(NamedTuple):
    """One run as a list shows it. `last` is the body of its newest event."""

    run: str
    job: int
    procedure: str
    title: str
    at: str
    events: int
    last: Mapping[str, Any]


class JobRow(NamedTuple):
    """One job as a list shows it: its number, its day, its persons, how many runs."""

    job: int
    at: str
    title: str
    customer: str
    vehicle: Mapping[str, str]
    facts: Mapping[str, Any]
    runs: int


class Book:
    """An open job book. Every method raises `BookTrouble` with sentences where the file won't have it."""

    def __init__(self, connection: sqlite3.Connection, path: Path | None) -> None:
        self._db, self.path = connection, path
        self._heads: dict[str, bytes] = {}
        self._held: dict[int, sqlite3.Connection] = {}

    @classmethod
    def open(cls, path: Path | str, reading: bool = False) -> Book:
        """Open a book, or make a new one; `reading`: an existing one, never written to."""
        path = Path(path)
        _modern_enough()
        if reading and not path.is_file():
            raise BookTrouble(f"There is no job book at {path}. Name another with --book.")
        with explained(path):
            if not reading:
                path.parent.mkdir(parents=True, exist_ok=True)
            connection = (
                _reader(path)
                if reading
                else sqlite3.connect(path, timeout=5, isolation_level=None, check_same_thread=False)
            )
            try:
                _ours(connection, path)
                if not reading:
                    _prepare(connection)
            except BaseException:
                connection.close()
                raise
        return cls(connection, path)

    @classmethod
    def memory(cls) -> Book:
        """A book that lives in memory and is gone at the end: for rehearsals and trials."""
        _modern_enough()
        connection = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        migrate(connection)
        return cls(connection, None)

    def close(self) -> None:
        """Let go of the file and of every job held."""
        for job in list(self._held):
            self.release(job)
        self._db.close()

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        with explained(self.path):
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    def _read(self, sql: str, *values: Any) -> list[Any]:
        with explained(self.path):
            return self._db.execute(sql, values).fetchall()

    # ---- jobs and persons

    def take_in(self, job: Job, at: str = "") -> int:
        """Write a job down; its number. The persons go into their own table."""
        with self._write() as db:
            facts = json.dumps(job.engineering(), ensure_ascii=False, sort_keys=True).encode()
            number = db.execute("INSERT INTO job(at, facts) VALUES (?, ?)", (at, facts)).lastrowid
            db.execute(
                "INSERT INTO person(job, title, customer, vehicle) VALUES (?, ?, ?, ?)", (number, *_persons(job))
            )
        assert number is not None
        return number

    def job(self, number: int) -> Job:
        """A job as it was taken in, with the persons as they stand now."""
        rows = self._read(
            """SELECT facts, title, customer, vehicle FROM job LEFT JOIN person USING (job)
                          WHERE job = ?""",
            number,
        )
        if not rows:
            raise BookTrouble(f"There is no job {number} in this book. 'evendraw jobs' lists them.")
        facts, title, customer, vehicle = rows[0]
        persons = {"title": title or "", "customer": customer or "", "vehicle": json.loads(vehicle or b"{}")}
        return Job.model_validate({**json.loads(facts), **persons})

    def rewrite_persons(self, number: int, job: Job) -> None:
        """Change customer, vehicle and complaint of a job; the record of its runs does not change."""
        self._replace_persons(number, *_persons(job))

    def forget_persons(self, number: int) -> None:
        """Empty customer, vehicle and complaint of a job, for good: not a byte of them stays in the file."""
        self._replace_persons(number, "", "", b"{}")

    def _replace_persons(self, number: int, *persons: Any) -> None:
        with self._write() as db:
            db.execute(
                "INSERT OR REPLACE INTO person(job, title, customer, vehicle) VALUES (?, ?, ?, ?)", (number, *persons)
            )
        # What was written over is still in the log until it is folded into the file and cut.
        self._read("PRAGMA wal_checkpoint(TRUNCATE)")

    def jobs(self) -> list[JobRow]:
        """Every job, newest first."""
        rows = self._read(
            """SELECT job.job, job.at, coalesce(title, ''), coalesce(customer, ''), coalesce(vehicle, x'7b7d'), facts,
               (SELECT count(*) FROM run WHERE run.job = job.job)
               FROM job LEFT JOIN person USING (job) ORDER BY job.job DESC"""
        )
        return [JobRow(n, at, t, c, json.loads(v), json.loads(f), r) for n, at, t, c, v, f, r in rows]

    # ---- runs and events

    def begin(self, job: int, procedure: str, title: str, at: str, texts: Mapping[str, bytes], body: bytes) -> str:
        """Start a run of a job with its first event; the run's id is `job.count`."""
        with self._write() as db:
            count = db.execute("SELECT count(*) FROM run WHERE job = ?", (job,)).fetchone()[0]
            run = f"{job}.{count + 1}"
            db.execute(
                "INSERT INTO run(run, job, procedure, title, at) VALUES (?, ?, ?, ?, ?)",
                (run, job, procedure, title, at),
            )
            db.executemany("INSERT OR IGNORE INTO text(sha256, bytes) VALUES (?, ?)", list(texts.items()))
            head = chained(b"", run, 0, None, body)
            db.execute("INSERT INTO event(run, seq, key, body, hash) VALUES (?, 0, NULL, ?, ?)", (run, body, head))
        self._heads[run] = head
        return run

    def append(self, run: str, seq: int, key: str | None, body: bytes) -> None:
        """Commit one event; when this returns, it is on the disk."""
        head = self._heads.get(run) or bytes.fromhex(self.head(run))
        new = chained(head, run, seq, key, body)
        with self._write() as db:
            try:
                db.execute(
                    "INSERT INTO event(run, seq, key, body, hash) VALUES (?, ?, ?, ?, ?)", (run, seq, key, body, new)
                )
            except sqlite3.IntegrityError:
                raise BookTrouble(
                    f"Another window has gone on with run {run}. Nothing was recorded here; open the run "
                    "again to see where it stands."
                ) from None
        self._heads[run] = new

    def seq_of(self, run: str, key: str) -> int | None:
        """The event of a run that carried this idempotency key."""
        rows = self._read("SELECT seq FROM event WHERE run = ? AND key = ?", run, key)
        return rows[0][0] if rows else None

    def events(self, run: str) -> list[Stored]:
        """Every event of a run in order, its chain checked link by link."""
        found = self._read("SELECT seq, key, body, hash FROM event WHERE run = ? ORDER BY seq", run)
        rows = [Stored(*row) for row in found]
        if not rows:
            raise BookTrouble(f"There is no run {run} in this book. 'evendraw jobs' lists them.")
        head = b""
        for place, event in enumerate(rows):
            head = chained(head, run, event.seq, event.key, event.body)
            if event.seq != place or head != event.hash:
                raise BookTrouble(
                    f"The record of run {run} was altered or damaged at event {place}: its hash chain "
                    "breaks there. Go back to a copy of the book made before that."
                )
        self._heads[run] = head
        return rows

    def head(self, run: str) -> str:
        """The hash of a run's newest event, in hex."""
        rows = self._read("SELECT hash FROM event WHERE run = ? ORDER BY seq DESC LIMIT 1", run)
        if not rows:
            raise BookTrouble(f"There is no run {run} in this book.")
        return rows[0][0].hex()

    def texts(self, hashes: list[str]) -> list[bytes]:
        """The stored bytes of procedure files, by their SHA-256, each checked against it."""
        found = []
        for sha256 in hashes:
            rows = self._read("SELECT bytes FROM text WHERE sha256 = ?", sha256)
            if not rows or hashlib.sha256(rows[0][0]).hexdigest() != sha256:
                raise BookTrouble(
                    "A procedure text that this run was started with is missing from the book, or was "
                    "altered. Go back to a copy of the book made before that."
                )
            found.append(rows[0][0])
        return found

    def runs(self, job: int | None = None) -> list[RunRow]:
        """Every run of a job, or of all, newest first."""
        rows = self._read(
            """SELECT run.run, run.job, procedure, title, run.at, newest.seq, newest.body FROM run
               JOIN event AS newest ON newest.run = run.run
                AND newest.seq = (SELECT max(seq) FROM event WHERE event.run = run.run)
               WHERE ?1 IS NULL OR run.job = ?1 ORDER BY run.job DESC, run.rowid DESC""",
            job,
        )
        return [RunRow(*r[:5], r[5], json.loads(r[6])) for r in rows]

    # ---- one window a job

    def hold(self, job: int) -> None:
        """Keep every other window off a job until `release`, or until this process ends, however it ends."""
        if self.path is None or job in self._held:
            return
        lock = self._lock(job)
        with explained(self.path):
            # An exclusive lock on an empty database beside the book: the system lets go of it when the process dies.
            connection = sqlite3.connect(lock, timeout=0, isolation_level=None, check_same_thread=False)
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as fault:
            connection.close()
            if "locked" not in str(fault):
                with explained(self.path):
                    raise
            raise BookTrouble(f"Job {job} is open in another window. Go on there, or close it first.") from None
        if not lock.exists():
            # Its last holder removed it between our opening and our locking; whoever comes next would not see ours.
            connection.close()
            return self.hold(job)
        self._held[job] = connection

    def release(self, job: int) -> None:
        """Let another window have the job."""
        connection = self._held.pop(job, None)
        if connection is not None:
            with suppress(OSError):  # some systems don't remove an open file; then it stays, and is empty
                self._lock(job).unlink()
            connection.close()

    def _lock(self, job: int) -> Path:
        assert self.path is not None
        return self.path.with_name(f"{self.path.name}.job{job}.lock")


def chained(head: bytes, run: str, seq: int, key: str | None, body: bytes) -> bytes:
    """The hash of an event: over the hash before it, its place, its key and its bytes as stored."""
    parts = (head.hex().encode(), run.encode(), b"%d" % seq, (key or "").encode(), body)
    return hashlib.sha256(b"\0".join(parts)).digest()


def _persons(job: Job) -> tuple[str, str, bytes]:
    return job.title, job.customer, json.dumps(job.vehicle.model_dump(mode="json"), ensure_ascii=False).encode()


def _modern_enough() -> None:
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise BookTrouble(
            f"The job book needs SQLite 3.37 or later, and this Python has {sqlite3.sqlite_version}. "
            "Install a newer Python."
        )


def _reader(path: Path) -> sqlite3.Connection:
    """A connection that never writes; on a read-only disk one that expects no other writer, either."""
    place = path.resolve().as_uri()
    connection = sqlite3.connect(f"{place}?mode=ro", uri=True, timeout=5, isolation_level=None)
    try:
        connection.execute("SELECT count(*) FROM sqlite_master")
    except sqlite3.OperationalError:
        connection.close()
        connection = sqlite3.connect(f"{place}?immutable=1", uri=True, isolation_level=None)
    return connection


def _ours(connection: sqlite3.Connection, path: Path) -> None:
    version = connection.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise BookTrouble(
            f"The job book {path} was written by a newer Evendraw. Install that version to open it; "
            "nothing was changed."
        )
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    if tables and connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION:
        raise BookTrouble(f"{path} is a database of another program, not a job book. Name another with --book.")


def _prepare(connection: sqlite3.Connection) -> None:
    for pragma in (
        "journal_mode = WAL",
        "synchronous = FULL",
        "foreign_keys = ON",
        "busy_timeout = 5000",
        "secure_delete = ON",
    ):
        connection.execute(f"PRAGMA {pragma}")
    migrate(connection)
    # A book that can be read but not written is found out now, not at the first answer.
    connection.execute("BEGIN IMMEDIATE")
    connection.execute("ROLLBACK")
    if connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
        raise sqlite3.DatabaseError("malformed")
