"""Takes a person out of the book: tables, free texts, search index, own copies. Every chain still holds, and what
can't be reached is said.

Words of a run stand outside its chain and are emptied with their salts, so that nobody can guess them from their
hashes. In events of version 1 the words are inside: there a tombstone takes the body's place, which `verify` names. A
copy that can't be cleaned now is cleaned at a later opening: it is brought to what the book itself has forgotten.
"""

from __future__ import annotations

import json
import re
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

from engine.book import codec, opening
from engine.book.backup import copies
from engine.book.book import Book
from engine.book.migrate import index, job_sum, link, plate, told_bytes, told_of
from engine.book.seal import summed
from engine.book.trouble import BookTrouble, explained
from engine.book.visits import _sweep

_PENDING = "forgetting is not finished"
_NOTHING = told_bytes("", "", {})


class Match(NamedTuple):
    """A visit that holds what is to be forgotten: its number, day and words, and where in it that stands. `theirs`: it
    names customer or vehicle, so that the visit is the person's; of another's visit the texts alone are taken out.
    """

    job: int
    at: str
    who: str
    where: tuple[str, ...]
    theirs: bool = True


class Done(NamedTuple):
    """What was taken out: of how many visits, how many texts; and sentences on what could not be reached."""

    visits: int
    texts: int
    left: tuple[str, ...]


def matches(book: Book, text: str) -> list[Match]:
    """The visits in whose words a text stands, as whole words, whatever its case; newest first. A registration is also
    found however it is spaced.
    """
    needle = text.casefold().strip()
    if not needle:
        return []
    found = []
    for row in book.jobs():
        where = dict.fromkeys(name for name, words in _said(book, row.job) if _stands(needle, words, name))
        if where:
            who = ", ".join(filter(None, (row.customer, row.vehicle.get("description", ""), row.title)))
            theirs = any(name == "customer" or name.startswith("vehicle") for name in where)
            found.append(Match(row.job, row.at, who, tuple(where), theirs))
    return found


def inside(book: Book, text: str) -> list[int]:
    """The visits in which a text stands inside longer words only: another person's, perhaps."""
    needle, whole = text.casefold().strip(), {match.job for match in matches(book, text)}
    others = (row.job for row in book.jobs() if row.job not in whole)
    return [n for n in others if needle and any(needle in words.casefold() for _, words in _said(book, n))]


def of_staff(book: Book, text: str) -> list[int]:
    """The people of the shop in whose name a text stands."""
    needle = text.casefold().strip()
    return [s.staff for s in book.staff() if needle and _stands(needle, s.name)]


def _stands(needle: str, words: str, name: str = "") -> bool:
    """Whether a text stands in others as whole words, and one of letters and digits, such as a registration, however it
    is spaced; where a script knows no case, it knows no gaps, either.
    """
    mark = plate(needle)
    if name == "vehicle registration" and mark and mark == plate(words):
        return True
    mixed = any(sign.isdigit() for sign in mark) and any(sign.isalpha() for sign in mark)
    pattern = r"[\W_]{0,2}".join(map(re.escape, mark)) if mixed else re.escape(needle)
    words = words.casefold()
    for found in re.finditer(pattern, words):
        joins = words[found.start() - 1 : found.start() + 1], words[found.end() - 1 : found.end() + 1]
        if not any(len(two) == 2 and all(map(_in_a_word, two)) for two in joins):
            return True
    return False


def _in_a_word(sign: str) -> bool:
    return sign.isdigit() or sign.lower() != sign.upper()


def _said(book: Book, job: int) -> Iterator[tuple[str, str]]:
    """Every text of a visit that a person typed, with where it stands."""
    for (told,) in book._read("SELECT told FROM job WHERE job = ?", job):
        for name, words in _flat(_loaded(told), ""):
            yield name, words
    for run, name, text in book._read(
        "SELECT run, name, text FROM words JOIN run USING (run) WHERE run.job = ? AND text IS NOT NULL", job
    ):
        yield f"{name} in run {run}", str(text)
    for run, _, body in _older(book, job):
        for name, words in _typed(_loaded(body)):
            yield f"{name} in run {run}", words
    for run, fields in book._read("SELECT run, fields FROM draft JOIN run USING (run) WHERE run.job = ?", job):
        for _, words in _flat(_loaded(fields), ""):
            yield f"half typed in run {run}", words
    for (why,) in book._read("SELECT why FROM recheck WHERE job = ?", job):
        yield "recheck", str(why)


def _older(book: Book, job: int) -> list[Any]:
    """Events whose words stand in their bodies."""
    return book._read(
        """SELECT run, seq, body FROM event JOIN run USING (run) WHERE run.job = ?
           AND instr(body, CAST('"words":' AS BLOB)) = 0
           AND (instr(body, CAST('"text":' AS BLOB)) > 0 OR instr(body, CAST('"lacking":' AS BLOB)) > 0)""",
        job,
    )


def _typed(body: Any) -> Iterator[tuple[str, str]]:
    if isinstance(body, dict):
        if body.get("kind") != "waited" and isinstance(body.get("text"), str):
            yield "text", body["text"]
        yield from _flat(body.get("lacking", {}), "lacking")


def _flat(value: Any, at: str) -> Iterator[tuple[str, str]]:
    if isinstance(value, str):
        yield at, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _flat(inner, f"{at} {key}".strip())
    elif isinstance(value, list):
        for inner in value:
            yield from _flat(inner, at)


def _loaded(data: bytes | None) -> Any:
    try:
        return json.loads(data or b"{}")
    except (ValueError, TypeError):  # damage can make a number of a text
        return {}


def forget(book: Book, jobs: Iterable[int], text: str = "", jobs_folder: Path | None = None) -> Done:
    """Take the person of these visits out, and `text` wherever else it stands in their words; for good.

    Of a visit of theirs, or of any where no text is named, customer, vehicle and complaint are emptied, and every free
    text that holds the text, the customer's name or the registration; of another's, what holds the text.

    Raises `BookTrouble` where the book itself can't be written; what can't be reached is in `left`.
    """
    day = time.strftime("%Y-%m-%d")
    jobs, texts = list(jobs), 0
    needle, needles = text.casefold().strip(), {text.casefold().strip()} - {""}
    theirs = {match.job for match in matches(book, text) if match.theirs}
    with book._write() as db:
        for job in jobs:
            if needle and job not in theirs:
                texts += _take_out_texts(book, db, job, needle, day)
                continue
            mine = _needles(book, job, text)
            needles |= mine
            texts += _take_out(book, db, job, mine, day)
        for number in of_staff(book, text):
            row = (number, codec.TAKEN_OUT, day)
            db.execute("UPDATE staff SET name = ?, gone = ?, sum = ? WHERE staff = ?", (*row[1:], _staff(row), number))
        _sweep(db)
        db.execute("INSERT INTO search(search) VALUES ('optimize')")
        db.execute("INSERT INTO note_of_book(at, note) VALUES (?, ?)", (day, _PENDING))
    left = finish(book)
    left += _files(jobs_folder, needles)
    if book.path is not None:
        for pattern in (".damaged-*", ".before-restore-*", ".rescued-*"):
            beside = sorted(p.name for p in book.path.parent.glob(f"{book.path.name}{pattern}"))
            left += [f"Kept aside and not looked into: {name}. Delete it when it is not needed." for name in beside]
    left.append("Sheets and copies that were printed, exported or sent, and copies made by hand, can't be reached.")
    return Done(len(jobs), texts, tuple(left))


def _staff(row: tuple[int, str, str]) -> bytes:
    return summed("staff", *row)


def _needles(book: Book, job: int, text: str) -> set[str]:
    """What marks a text as one about the person: the text asked for, name, registration, and the longer words of a
    name.
    """
    (told,) = book._read("SELECT told FROM job WHERE job = ?", job)[0]
    said = told_of(told)
    name = str(said.get("customer", "")).casefold()
    mark = str((said.get("vehicle") or {}).get("registration") or "").casefold()
    words = [w for w in name.replace(".", " ").split() if len(w) > 3]
    return {w.strip() for w in (text.casefold(), name, mark, *words) if len(w.strip()) > 2 or w == text.casefold()} - {
        ""
    }


def _take_out_texts(book: Book, db: sqlite3.Connection, job: int, needle: str, day: str) -> int:
    """Of a visit of somebody else: the texts in which the needle stands, and no more."""

    def names(words: str) -> bool:
        return _stands(needle, words)

    at, facts, told, *whose = db.execute(
        "SELECT at, facts, told, vehicle, customer FROM job WHERE job = ?", (job,)
    ).fetchone()
    said = told_of(told)
    if names(str(said.get("title", ""))):
        told = told_bytes("", said["customer"], said["vehicle"])
        sum_ = job_sum(job, at, facts, told, *whose)
        db.execute("UPDATE job SET told = ?, sum = ? WHERE job = ?", (told, sum_, job))
        for (run,) in db.execute("SELECT run FROM run WHERE job = ?", (job,)).fetchall():
            _empty(db, run, 0, "told complaint", day)
    count = _take_out_words(book, db, job, names, day)
    for run, fields in db.execute(
        "SELECT run, fields FROM draft JOIN run USING (run) WHERE job = ?", (job,)
    ).fetchall():
        if any(names(words) for _, words in _flat(_loaded(fields), "")):
            db.execute("DELETE FROM draft WHERE run = ?", (run,))
    due = db.execute("SELECT job, due, odometer, why FROM recheck WHERE job = ?", (job,)).fetchone()
    if due is not None and names(due[3]):
        db.execute("UPDATE recheck SET why = '', sum = ? WHERE job = ?", (summed("recheck", *due[:3], ""), job))
    index(db, job)
    return count


def _take_out_words(
    book: Book, db: sqlite3.Connection, job: int, names: Callable[[str], bool], day: str, told: bool = False
) -> int:
    """Empty the texts of a visit's runs that name somebody, and what seals whose visit it is where that was `told`."""
    count = 0
    for run, seq, name, words in db.execute(
        "SELECT run, seq, name, text FROM words JOIN run USING (run) WHERE run.job = ? AND gone IS NULL", (job,)
    ).fetchall():
        if (told and name.startswith("told ")) or (words is not None and names(words)):
            _empty(db, run, seq, name, day)
            count += words is not None
    for run, seq, body in _older(book, job):
        if any(names(words) for _, words in _typed(_loaded(body))):
            _bury(db, run, seq, body, names, day)
            count += 1
    return count


def _take_out(book: Book, db: sqlite3.Connection, job: int, needles: set[str], day: str) -> int:
    def names(words: str) -> bool:
        folded = words.casefold()
        return any(n in folded for n in needles)

    at, facts = db.execute("SELECT at, facts FROM job WHERE job = ?", (job,)).fetchone()
    link(db, job, at, facts, _NOTHING)
    count = _take_out_words(book, db, job, names, day, told=True)
    db.execute("DELETE FROM draft WHERE run IN (SELECT run FROM run WHERE job = ?)", (job,))
    db.execute("DELETE FROM recheck WHERE job = ? AND why <> ''", (job,))
    index(db, job)
    return count


def _empty(db: sqlite3.Connection, run: str, seq: int, name: str, day: str) -> None:
    db.execute(
        "UPDATE words SET text = NULL, salt = x'', gone = ? WHERE run = ? AND seq = ? AND name = ?",
        (day, run, seq, name),
    )


def _bury(db: sqlite3.Connection, run: str, seq: int, body: bytes, names: Any, day: str) -> None:
    """Put a tombstone in the place of an event of version 1: the same event without the words."""

    def out(value: Any) -> Any:
        if isinstance(value, str):
            return codec.TAKEN_OUT if names(value) else value
        if isinstance(value, dict):
            return {k: out(v) for k, v in value.items()}
        return [out(v) for v in value] if isinstance(value, list) else value

    event = _loaded(body)
    stone = codec.dump({k: out(v) if k in ("text", "lacking") else v for k, v in event.items()})
    _write_stone(db, run, seq, stone, day)


def _write_stone(db: sqlite3.Connection, run: str, seq: int, stone: bytes, day: str) -> None:
    db.execute("INSERT INTO tombstone(run, seq, at, body) VALUES (?, ?, ?, ?)", (run, seq, day, stone))
    db.execute("UPDATE event SET body = ? WHERE run = ? AND seq = ?", (stone, run, seq))


# ---- the log, and the copies

_BUSY = (
    "Another window has the book open and may still read what was taken out; it goes when that is closed, by itself."
)


def finish(book: Book) -> list[str]:
    """Finish what was to be forgotten: log, empty pages, own copies. Sentences on what is still to be done, later."""
    left: list[str] = []
    if not book._read("SELECT 1 FROM note_of_book WHERE note = ?", _PENDING):
        return left
    try:
        with explained(book.path):
            book._db.execute("VACUUM")
            busy = book._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        if busy:
            left.append(_BUSY)
    except BookTrouble:
        left.append(_BUSY)
    for copy in copies(book.path) if book.path is not None else ():
        try:
            _clean(book, copy)
        except (BookTrouble, OSError, sqlite3.Error, LookupError, TypeError, ValueError, AttributeError) as fault:
            # Whatever is the matter with a copy, it locks nobody out of the book.
            left.append(f"The copy {copy} could not be cleaned yet, and will be at a later opening: {fault}")
    if not left:
        with book._write() as db:
            db.execute("DELETE FROM note_of_book WHERE note = ?", (_PENDING,))
        book._fold_log()
    return left


def _clean(book: Book, path: Path) -> None:
    """Bring a copy to what the book has forgotten."""
    with closing(Book.open(path, backups=False, copy=True)) as copy:
        now = dict(book._read("SELECT job, told FROM job"))
        whys = dict(book._read("SELECT job, why FROM recheck"))
        gone = book._read("SELECT run, seq, name, gone FROM words WHERE gone IS NOT NULL")
        stones = book._read("SELECT run, seq, at, body FROM tombstone")
        people = book._read("SELECT staff, name, gone, sum FROM staff WHERE name = ?", codec.TAKEN_OUT)
        with copy._write() as db:
            for job, at, facts, told, *whose in db.execute(
                "SELECT job, at, facts, told, vehicle, customer FROM job"
            ).fetchall():
                if now.get(job) == _NOTHING != told:
                    link(db, job, at, facts, _NOTHING)
                    db.execute("DELETE FROM recheck WHERE job = ?", (job,))
                elif job in now and told_of(told)["title"] and _title_gone(now[job]):
                    said = told_of(told)
                    told = told_bytes("", said["customer"], said["vehicle"])
                    sum_ = job_sum(job, at, facts, told, *whose)
                    db.execute("UPDATE job SET told = ?, sum = ? WHERE job = ?", (told, sum_, job))
            for due in db.execute("SELECT job, due, odometer FROM recheck WHERE why <> ''").fetchall():
                if whys.get(due[0]) == "":
                    sum_ = summed("recheck", *due, "")
                    db.execute("UPDATE recheck SET why = '', sum = ? WHERE job = ?", (sum_, due[0]))
            for run, seq, name, when in gone:
                _empty(db, run, seq, name, when)
            for run, seq, when, stone in stones:
                there = db.execute("SELECT body FROM event WHERE run = ? AND seq = ?", (run, seq)).fetchone()
                if there is not None and there[0] != stone:
                    _write_stone(db, run, seq, stone, when)
            for staff, name, when, sum_ in people:
                db.execute("UPDATE staff SET name = ?, gone = ?, sum = ? WHERE staff = ?", (name, when, sum_, staff))
            db.execute("DELETE FROM draft")
            _sweep(db)
            for (job,) in db.execute("SELECT job FROM job").fetchall():
                index(db, job)
            db.execute("INSERT INTO search(search) VALUES ('optimize')")
            db.execute("DELETE FROM note_of_book WHERE note = ?", (_PENDING,))
        with explained(path):
            copy._db.execute("VACUUM")
            copy._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            copy._db.execute("PRAGMA journal_mode = DELETE")
    opening.keep_private(path)


def _title_gone(told: bytes | None) -> bool:
    """Whether the complaint of a visit was taken out, and not just damaged."""
    said = _loaded(told)
    return isinstance(said, dict) and said.get("title") == ""


def _files(folder: Path | None, needles: set[str]) -> list[str]:
    """Job files that hold the person: they are the user's, so they are named and not touched."""
    left = []
    try:
        files = sorted(folder.glob("*.yaml")) if folder is not None else []
    except OSError:
        files = []
    for path in files:
        try:
            said = path.read_text(encoding="utf-8", errors="replace").casefold()
        except OSError:
            continue
        if any(n in said for n in needles):
            left.append(f"The job file {path} still names the person. Edit or delete it.")
    return left
