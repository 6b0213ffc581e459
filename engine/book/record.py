"""Runs and their events: appended, chained, read back link by link; it knows not what an event means.

Events are chained by SHA-256 over the bytes as stored, and each run keeps its count and its newest hash beside them, so
that an edit, a cut tail and a damaged index are all seen whenever a run is read. Free texts stand beside the chain.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Mapping, Sequence
from types import MappingProxyType, NoneType
from typing import Any

from engine.book.migrate import head_sum, index, note_end, write_facts, write_head
from engine.book.rows import Further, RunRow, Stored, Word
from engine.book.seal import chained
from engine.book.store import Store
from engine.book.trouble import BookTrouble

Words = Mapping[str, Word]
NONE: Words = MappingProxyType({})
_VERIFY = "'evendraw book verify' says what is safe."


class Record(Store):
    """The append-only part of the book."""

    def begin(
        self,
        job: int,
        procedure: str,
        title: str,
        at: str,
        texts: Mapping[str, bytes],
        body: bytes,
        words: Words = NONE,
        instead: str | None = None,
        further: Sequence[Further] = (),
        facts: tuple[Mapping[str, Any], str] | None = None,
    ) -> str:
        """Start a run of a job with its first event; the run's id is `job.count`.

        `instead` is a run that it takes the place of, `further` the events that it takes over, `facts` the job's facts
        put right, and when: all of it in one transaction.
        """
        with self._write() as db:
            count = db.execute("SELECT count(*) FROM run WHERE job = ?", (job,)).fetchone()[0]
            run = f"{job}.{count + 1}"
            db.execute(
                "INSERT INTO run(run, job, procedure, title, at) VALUES (?, ?, ?, ?, ?)",
                (run, job, procedure, title, at),
            )
            for sha256, data in texts.items():
                if not db.execute("SELECT 1 FROM text WHERE sha256 = ?", (sha256,)).fetchone():
                    db.execute("INSERT INTO text(sha256, bytes) VALUES (?, ?)", (sha256, data))
            head = chained(b"", run, 0, None, body)
            db.execute("INSERT INTO event(run, seq, key, body, hash) VALUES (?, 0, NULL, ?, ?)", (run, body, head))
            _write_words(db, run, 0, words)
            write_head(db, run, 1, 0, head)
            for seq, event in enumerate(further, 1):
                head = chained(head, run, seq, event.key, event.body)
                db.execute(
                    "INSERT INTO event(run, seq, key, body, hash) VALUES (?, ?, ?, ?, ?)",
                    (run, seq, event.key, event.body, head),
                )
                _write_words(db, run, seq, event.words)
                write_head(db, run, seq + 1, event.answers, head)
            if facts is not None:
                write_facts(db, job, *facts)
            if instead is not None:
                db.execute("INSERT INTO successor(run, next, at) VALUES (?, ?, ?)", (instead, run, at))
                db.execute("DELETE FROM unended WHERE run = ?", (instead,))
                db.execute("INSERT INTO found(run, said) SELECT ?, said FROM found WHERE run = ?", (run, instead))
            note_end(db, run, further[-1].body if further else body)
            index(db, job)
        return run

    def append(
        self,
        run: str,
        seq: int,
        key: str | None,
        body: bytes,
        words: Words = NONE,
        answers: int | None = None,
        found: Sequence[str] = (),
    ) -> None:
        """Commit one event; when this returns, it is on the disk. `answers` is how many answers stand after it.

        `found`: what was found with it, in words, for the search.
        """
        with self._write() as db:
            head = db.execute("SELECT events, answers, hash, sum FROM head WHERE run = ?", (run,)).fetchone()
            if head is None or head[3] != head_sum(run, *head[:3]):
                raise BookTrouble(f"The record of run {run} is damaged: its count can't be read. {_VERIFY}")
            if head[0] != seq:
                raise _other_window(run)
            new = chained(head[2], run, seq, key, body)
            try:
                db.execute(
                    "INSERT INTO event(run, seq, key, body, hash) VALUES (?, ?, ?, ?, ?)", (run, seq, key, body, new)
                )
            except sqlite3.IntegrityError:
                raise _other_window(run) from None
            _write_words(db, run, seq, words)
            write_head(db, run, seq + 1, head[1] if answers is None else answers, new)
            db.executemany("INSERT OR IGNORE INTO found(run, said) VALUES (?, ?)", [(run, said) for said in found])
            if note_end(db, run, body) or words or found:
                index(db, int(run.split(".")[0]))

    def seq_of(self, run: str, key: str) -> int | None:
        """The event of a run that carried this idempotency key."""
        rows = self._read("SELECT seq FROM event WHERE run = ? AND key = ?", run, key)
        return rows[0][0] if rows else None

    def count(self, run: str) -> int:
        """How many events of a run were acknowledged."""
        return self._head(run)[0]

    def head(self, run: str) -> str:
        """The hash of a run's newest event, in hex."""
        return self._head(run)[2].hex()

    def _head(self, run: str) -> tuple[int, int, bytes]:
        rows = self._read("SELECT events, answers, hash, sum FROM head WHERE run = ?", run)
        if not rows:
            if self._read("SELECT 1 FROM event NOT INDEXED WHERE run = ? LIMIT 1", run):
                raise BookTrouble(f"The record of run {run} is damaged: its count is missing. {_VERIFY}")
            raise BookTrouble(f"There is no run {run[:40]} in this book. 'evendraw jobs' lists them.")
        events, answers, hash, sum_ = rows[0]
        if sum_ != head_sum(run, events, answers, hash):
            raise BookTrouble(f"The record of run {run} is damaged: its count was altered. {_VERIFY}")
        return events, answers, hash

    def events(self, run: str) -> list[Stored]:
        """Every event of a run in order: its chain checked link by link, their count and the last hash as well."""
        count, _, hash_ = self._head(run)
        words = self._words(run)
        gone = {seq: at for seq, at in self._read("SELECT seq, at FROM tombstone WHERE run = ?", run)}
        rows = self._rows(run, "")
        if len(rows) != count:
            # The index may have lost some that the table has.
            whole = [row for row in self._rows(run, "NOT INDEXED") if type(row[0]) is int]
            rows = sorted(whole, key=lambda r: r[0]) if len(whole) > len(rows) else rows
        out, head = [], b""
        for place, (seq, key, body, hash) in enumerate(rows):
            mine = hash if seq in gone else chained(head, run, seq, key, body)
            if seq != place or mine != hash:
                raise BookTrouble(
                    f"The record of run {run} was altered or damaged at event {place}: its hash chain "
                    f"breaks there. Go back to a copy of the book made before that. {_VERIFY}"
                )
            head = hash
            out.append(Stored(seq, key, body, hash, words.get(seq, {}), gone.get(seq)))
        if len(rows) != count or head != hash_:
            raise BookTrouble(
                f"The record of run {run} is cut: {count} events were acknowledged, and {len(rows)} can be read. "
                f"{_VERIFY}"
            )
        return out

    def successor(self, run: str) -> str | None:
        """The run that took the place of a run; None where it stands itself."""
        rows = self._read("SELECT next FROM successor WHERE run = ?", run)
        return str(rows[0][0]) if rows else None

    def event(self, run: str, seq: int) -> Stored:
        """One event of a run."""
        return self.events(run)[seq]

    def _rows(self, run: str, how: str) -> list[Any]:
        return self._read(f"SELECT seq, key, body, hash FROM event {how} WHERE run = ? ORDER BY seq", run)

    def _words(self, run: str) -> dict[int, dict[str, Word]]:
        found: dict[int, dict[str, Word]] = {}
        for seq, name, *word in self._read("SELECT seq, name, salt, text, gone FROM words WHERE run = ?", run):
            found.setdefault(seq, {})[name] = Word(*word)
        return found

    def texts(self, hashes: list[str]) -> list[bytes]:
        """The stored bytes of procedure files, by their SHA-256, each checked against it."""
        found = []
        for sha256 in hashes:
            rows = self._read("SELECT bytes FROM text WHERE sha256 = ?", sha256)
            stored = rows[0][0] if rows else None
            if not isinstance(stored, bytes) or hashlib.sha256(stored).hexdigest() != sha256:
                raise BookTrouble(
                    "A procedure text that this run was started with is missing from the book, or was "
                    "altered. Go back to a copy of the book made before that."
                )
            found.append(stored)
        return found

    def runs(self, job: int | None = None) -> list[RunRow]:
        """Every run of a job, or of all, newest first. A run whose record can't be read says so in its `problem`."""
        return self._runs("") if job is None else self._runs("WHERE run.job = ?", job)

    def runs_of(self, jobs: Sequence[int]) -> list[RunRow]:
        """Every run of these jobs, newest first."""
        marks = ",".join("?" * len(jobs))
        return self._runs(f"WHERE run.job IN ({marks})", *jobs) if jobs else []

    def unended(self) -> list[RunRow]:
        """The runs that have not ended and whose place no other took, newest first."""
        rows = self._runs("WHERE run.run IN (SELECT run FROM unended)")
        return [row for row in rows if row.problem is not None or "outcome" not in row.last]

    def _runs(self, which: str, *values: Any) -> list[RunRow]:
        rows = self._read(
            f"""SELECT run.run, run.job, procedure, title, run.at, newest.seq, newest.body, newest.key, newest.hash,
                head.events, head.answers, head.hash, head.sum, next,
                (SELECT hash FROM event AS before WHERE before.run = run.run AND before.seq = newest.seq - 1),
                EXISTS (SELECT 1 FROM tombstone AS t WHERE t.run = run.run AND t.seq = newest.seq),
                (SELECT body FROM event AS first WHERE first.run = run.run AND first.seq = 0)
               FROM run LEFT JOIN event AS newest ON newest.run = run.run
                AND newest.seq = (SELECT max(seq) FROM event WHERE event.run = run.run)
               LEFT JOIN head ON head.run = run.run LEFT JOIN successor ON successor.run = run.run
               {which} ORDER BY run.job DESC, run.rowid DESC""",
            *values,
        )
        return [self._as_sealed(_run_row(*row), first) for *row, first in rows]

    def _as_sealed(self, row: RunRow, first: bytes | None) -> RunRow:
        """The row, held against the sealed start of its run: what a list shows is what the run was started with."""
        try:
            started = json.loads(first or b"")
            title = started.get("title")
            if title is None:
                # A run of version 1 seals its title with the text of its procedure.
                sha256 = next(f["sha256"] for f in started["files"] if f["name"] == started["main"])
                text = self._read("SELECT bytes FROM text WHERE sha256 = ?", sha256)[0][0].decode("utf-8", "replace")
                title = row.title if " ".join(row.title.split()) in " ".join(text.replace("''", "'").split()) else None
            same = (row.title, row.procedure, row.at) == (title, started["main"], started["at"])
        except (ValueError, KeyError, IndexError, TypeError, AttributeError, StopIteration):
            return row._replace(problem=row.problem or "its start can't be read")
        return row if same else row._replace(problem=row.problem or "its row was altered since it was started")

    # ---- rows half typed

    def keep_draft(self, run: str, seq: int, fields: Mapping[str, Any]) -> None:
        """Keep what is half typed at the step after event `seq`, in place of what was kept before."""
        data = json.dumps(fields, ensure_ascii=True).encode()
        with self._write() as db:
            db.execute(
                """INSERT INTO draft(run, seq, fields) VALUES (?, ?, ?) ON CONFLICT (run)
                   DO UPDATE SET seq = excluded.seq, fields = excluded.fields""",
                (run, seq, data),
            )

    def draft(self, run: str, seq: int) -> dict[str, Any]:
        """What was half typed at the step after event `seq`; empty where nothing was, or the run has gone on since."""
        rows = self._read("SELECT fields FROM draft WHERE run = ? AND seq = ?", run, seq)
        try:
            found = json.loads(rows[0][0]) if rows else {}
        except ValueError:
            return {}
        return found if isinstance(found, dict) else {}

    def drop_draft(self, run: str) -> None:
        """What was half typed is answered, or given up."""
        if self._read("SELECT 1 FROM draft WHERE run = ?", run):
            with self._write() as db:
                db.execute("DELETE FROM draft WHERE run = ?", (run,))


def _other_window(run: str) -> BookTrouble:
    return BookTrouble(
        f"Another window has gone on with run {run}. Nothing was recorded here; open the run again to see where it "
        "stands."
    )


def _write_words(db: sqlite3.Connection, run: str, seq: int, words: Words) -> None:
    db.executemany(
        "INSERT INTO words(run, seq, name, salt, text) VALUES (?, ?, ?, ?, ?)",
        [(run, seq, name, word.salt, word.text) for name, word in words.items()],
    )


def _run_row(
    run: str,
    job: int,
    procedure: str,
    title: str,
    at: str,
    seq: int | None,
    body: bytes | None,
    key: str | None,
    hash: bytes | None,
    events: int | None,
    answers: int | None,
    head: bytes | None,
    sum_: bytes | None,
    next_: str | None,
    before: bytes | None,
    gone: int,
) -> RunRow:
    problem: str | None = None
    last: Any = {}
    sound = type(seq) is type(events) is int and isinstance(body, bytes) and isinstance(hash, bytes)
    if not sound or seq is None or body is None or hash is None or events is None or head is None:
        seq, problem = None, "its record can't be read"
    elif events != seq + 1 or head != hash or sum_ != head_sum(run, events, answers or 0, head):
        problem = f"its record is cut or damaged: {events} events were acknowledged, {seq + 1} can be read"
    else:
        try:
            last = json.loads(body)
        except ValueError:
            problem = "its newest event can't be read"
        if not isinstance(last, dict):
            problem, last = "its newest event can't be read", {}
        elif chained(before or b"", run, seq, key, body) != hash and not gone:
            problem = "its newest event was altered"
    if str(run).split(".")[0] != str(job):
        problem = problem or "its row was altered since it was started"
    row = RunRow(str(run), job, str(procedure), str(title), str(at), seq or 0, last, answers or 0, problem, next_)
    return row if type(answers) in (int, NoneType) else row._replace(answers=0)
