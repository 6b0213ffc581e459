"""Looks a whole book through and says in words what it found and what is safe: log, structure, rules, chains, counts,
texts, rows; it changes nothing and works on a copy in memory.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from engine.book import codec, opening
from engine.book.book import Book
from engine.book.log import log_path, look
from engine.book.rows import Stored
from engine.book.seal import chained
from engine.book.trouble import BookTrouble, sentence

_COUNTED = ("job", "run", "event")


@dataclass
class Report:
    """What was found: sentences that are good to know, sentences on what is wrong, and the runs that are safe."""

    path: Path
    said: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    safe: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.wrong

    def lines(self) -> Iterator[str]:
        """The report as lines of text."""
        yield f"Job book {self.path}"
        yield from (f"  {s}" for s in self.said)
        if self.whole:
            yield "Whole: nothing was altered, nothing is missing."
            return
        yield "NOT WHOLE:"
        yield from (f"  - {s}" for s in self.wrong)
        if self.safe:
            yield f"Safe, every event in its place: {len(self.safe)} runs ({', '.join(self.safe)})."
        yield "What is not safe may stand in a copy: 'evendraw book restore' lists those that were kept by themselves."


def verify(path: Path | str) -> Report:
    """Look a book through. Raises `BookTrouble` only where there is none, or no book at all."""
    real = opening.located(path)
    report = Report(real)
    log = look(real)
    if log.problem:
        report.wrong.append(log.problem)
    elif log_path(real).exists():
        report.said.append(f"Log: whole, {log.commits} writes not yet folded into the file.")
    else:
        report.said.append("Log: none, all is in the file.")
    try:
        connection, notices = opening.reader(real)
    except BookTrouble as trouble:
        # None of these says anything of the book itself.
        others = ("no job book", "another program", "newer Evendraw")
        if isinstance(trouble.__cause__, PermissionError) or any(words in str(trouble) for words in others):
            raise
        if not real.is_file():
            raise
        report.wrong.append(str(trouble))
        return report
    report.wrong += [n for n in notices if n != log.problem]
    with closing(connection), closing(sqlite3.connect(":memory:", isolation_level=None)) as copy:
        try:
            connection.backup(copy)
            _structure(copy, report)
            _records(Book(copy, None, []), report)
        except (sqlite3.Error, BookTrouble) as fault:
            report.wrong.append(str(fault) if isinstance(fault, BookTrouble) else sentence(fault, real))
    return report


def _structure(copy: sqlite3.Connection, report: Report) -> None:
    found = [row[0] for row in copy.execute("PRAGMA integrity_check(20)")]
    if found == ["ok"]:
        report.said.append("Structure: sound, tables and indexes agree.")
    else:
        report.wrong.append(f"The file is damaged inside ({len(found)} places; the first: {found[0]}).")
    try:
        copy.execute("INSERT INTO search(search) VALUES ('integrity-check')")
    except sqlite3.Error:
        report.wrong.append("The search index is damaged; it is made anew when a job is changed, and holds no record.")
    counts = {table: copy.execute(f"SELECT count(*) FROM {table} NOT INDEXED").fetchone()[0] for table in _COUNTED}
    report.said.append(f"{counts['job']} jobs, {counts['run']} runs, {counts['event']} events.")


def _records(book: Book, report: Report) -> None:
    for job in book.jobs():
        if job.problem:
            report.wrong.append(f"Job {job.job}: {job.problem}.")
    for what, rows in (
        ("Vehicle", book.vehicles()),
        ("Customer", book.customers()),
        ("Person", book.staff()),
        ("Recheck of job", book.rechecks()),
    ):
        report.wrong += [f"{what} {row[0]}: {row[-1]}." for row in rows if row[-1]]
    for row in sorted(book.runs(), key=lambda r: [int(n) for n in r.run.split(".") if n.isdigit()]):
        try:
            events = book.events(row.run)
            book.texts([f["sha256"] for f in codec.load(events[0].body)["files"]])
        except (BookTrouble, codec.Unreadable, KeyError, TypeError) as fault:
            good = _readable(book, row.run)
            report.wrong.append(f"{fault} What can be read of run {row.run} from its start: {good} events.")
            report.lost.append(row.run)
            continue
        altered = [(e.seq, n) for e in events for n, text in _words(e) if text == codec.ALTERED]
        report.wrong += [f"Run {row.run}, event {seq}: '{name}' is not what was written." for seq, name in altered]
        report.safe.append(row.run)
        _told(book, row.run, row.procedure, row.title, row.at, events, report)
    _unended(book, report)
    if report.safe and not report.lost:
        report.said.append(f"Chains: every link of {len(report.safe)} runs holds; counts and heads agree.")


def _unended(book: Book, report: Report) -> None:
    """Whether the runs that home shows are those that the record has open."""
    listed = {run for (run,) in book._read("SELECT run FROM unended")}
    open_ = {r.run for r in book.runs() if r.problem is None and r.next is None and "outcome" not in r.last}
    if listed - set(report.lost) != open_ - set(report.lost):
        report.wrong.append(
            "The list of runs that stand open does not agree with the record; it is made anew when the book is opened "
            "to write."
        )


def _words(event: Stored) -> Iterator[tuple[str, str]]:
    sealed = codec.load(event.body).get("words") or {}
    for name, hash in sealed.items():
        if not name.startswith("told "):
            yield name, codec.word_of(event.words.get(name), hash)


def _told(book: Book, run: str, procedure: str, title: str, at: str, events: list[Stored], report: Report) -> None:
    """What was taken out of a run, and where its row says otherwise than its sealed start."""
    first = codec.load(events[0].body)
    if (procedure, at) != (first.get("main"), first.get("at")) or title != first.get("title", title):
        report.wrong.append(f"Run {run}: its row in the list was altered; the sealed start says otherwise.")
    gone: dict[str, list[str]] = {}
    for event in events:
        if event.gone:
            gone.setdefault(event.gone, []).append(str(event.seq))
        for word in event.words.values():
            if word.text is None and word.gone:
                gone.setdefault(word.gone, []).append(str(event.seq))
    for day, seqs in gone.items():
        several = ", ".join(dict.fromkeys(seqs))
        report.said.append(
            f"Run {run}: words were taken out at a person's request on {day[:10]} (event {several}); the chain holds."
        )


def _readable(book: Book, run: str) -> int:
    """How many events from the start have their links whole."""
    gone = {seq for (seq,) in book._read("SELECT seq FROM tombstone WHERE run = ?", run)}
    head = b""
    for count, (seq, key, body, hash) in enumerate(
        book._read("SELECT seq, key, body, hash FROM event NOT INDEXED WHERE run = ? ORDER BY seq", run)
    ):
        if seq != count or (seq not in gone and chained(head, run, seq, key, body) != hash):
            return count
        head = hash
    return len(book._read("SELECT 1 FROM event NOT INDEXED WHERE run = ?", run))
