"""The whole book out to a folder of JSON and back, so that no shop is locked in; the bytes of every record stay as they
are, and what comes back is held against its chains.

The folder: `book.json` (what it is, of which version, how many rows of what), one `TABLE.jsonl` a table, a row a line,
columns by name. Bytes are `{"text": ...}` where they are UTF-8, else `{"hex": ...}`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from engine.book import opening
from engine.book.book import Book
from engine.book.migrate import made_of_the_record
from engine.book.schema import VERSION
from engine.book.trouble import BookTrouble
from engine.book.verify import verify

KIND = "evendraw job book"

#: Every table, in an order in which each comes after those that it names. The search index is made anew.
TABLES = (
    "customer",
    "vehicle",
    "staff",
    "job",
    "corrected",
    "text",
    "run",
    "event",
    "head",
    "successor",
    "words",
    "tombstone",
    "draft",
    "recheck",
    "note_of_book",
    "found",
)
#: Versions whose export can be brought in: what later ones added may be missing.
READS = (2, VERSION)
_ADDED = ("found",)


def export(book: Book, folder: Path) -> dict[str, int]:
    """Write the whole book into a folder that is not there yet, or is empty; how many rows of each table.

    Raises `BookTrouble` where the folder can't be written or holds something.
    """
    try:
        if folder.exists() and any(folder.iterdir()):
            raise BookTrouble(f"{folder} holds something already. Name an empty folder, or one that is not there yet.")
        opening.make_folder(folder)
        counts = {table: _write(book, folder, table) for table in TABLES}
        about = {"kind": KIND, "version": VERSION, "rows": counts}
        opening.write_private(folder / "book.json", json.dumps(about, indent=2) + "\n")
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or str(fault)
        raise BookTrouble(f"The book can't be written to {folder}: {why}. Name another folder.") from None
    return counts


def bring_in(folder: Path, path: Path | str) -> dict[str, int]:
    """Make a new book at `path` of a folder that `export` wrote; how many rows of each table.

    Raises `BookTrouble` where a book stands there already, the folder is none of these, or what it holds does not
    verify; then nothing is left behind.
    """
    real = opening.located(path)
    if real.exists():
        raise BookTrouble(f"A file stands at {real} already, and no book is written over. Name another with --book.")
    about = _about(folder)
    part = real.with_name(f"{real.name}.part")
    _drop(part)
    try:
        with closing(Book.open(part, backups=False)) as book, book._write() as db:
            counts = {}
            for table in TABLES:
                if table in _ADDED and table not in about["rows"]:
                    continue
                counts[table] = 0
                for row in _rows(folder, table):
                    names, marks = ", ".join(f'"{n}"' for n in row), ", ".join("?" * len(row))
                    known = {r[1] for r in db.execute(f"PRAGMA table_info({table})")}
                    if not set(row) <= known:
                        raise BookTrouble(f"{table}.jsonl names a column that a book does not have.")
                    db.execute(f"INSERT INTO {table}({names}) VALUES ({marks})", tuple(map(_bytes, row.values())))
                    counts[table] += 1
            made_of_the_record(db)
        if counts != about["rows"]:
            raise BookTrouble(f"{folder} is not whole: it does not hold as many rows as it says.")
        report = verify(part)
        if not report.whole:
            raise BookTrouble(f"What {folder} holds is not whole. {report.wrong[0]}")
        with closing(Book.open(part, backups=False)) as book:
            book._fold_log()
        part.replace(real)
    except BookTrouble:
        raise
    except (OSError, ValueError, KeyError, TypeError) as fault:
        raise BookTrouble(f"{folder} can't be read as a job book: {str(fault)[:200]}.") from None
    finally:
        _drop(part)
    return counts


def _write(book: Book, folder: Path, table: str) -> int:
    columns = [row[1] for row in book._read(f"PRAGMA table_info({table})")]
    names = ", ".join(f'"{n}"' for n in columns)
    rows = book._read(f"SELECT {names} FROM {table} ORDER BY rowid")
    lines = (json.dumps(dict(zip(columns, map(_plain, row), strict=True)), ensure_ascii=True) for row in rows)
    opening.write_private(folder / f"{table}.jsonl", "".join(f"{line}\n" for line in lines))
    return len(rows)


def _plain(value: Any) -> Any:
    if not isinstance(value, bytes):
        return value
    with suppress(UnicodeDecodeError):
        return {"text": value.decode("utf-8")}
    return {"hex": value.hex()}


def _bytes(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    return value["text"].encode("utf-8") if "text" in value else bytes.fromhex(value["hex"])


def _about(folder: Path) -> dict[str, Any]:
    try:
        about = json.loads((folder / "book.json").read_text(encoding="utf-8"))
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or "it is no JSON"
        raise BookTrouble(f"{folder} is no job book that was exported: book.json can't be read ({why}).") from None
    if not isinstance(about, dict) or about.get("kind") != KIND or not isinstance(about.get("rows"), dict):
        raise BookTrouble(f"{folder} is no job book that was exported.")
    if about.get("version") not in READS:
        raise BookTrouble(
            f"{folder} was exported from a book of version {str(about.get('version'))[:10]}, and this program reads "
            f"version {VERSION}. Use the program that wrote it, or a newer one."
        )
    return about


def _rows(folder: Path, table: str) -> Iterator[dict[str, Any]]:
    with open(folder / f"{table}.jsonl", encoding="utf-8") as file:
        for number, line in enumerate(file, 1):
            try:
                row = json.loads(line)
            except ValueError:
                row = None
            if not isinstance(row, dict):
                raise BookTrouble(f"{folder} can't be read as a job book: line {number} of {table}.jsonl is no row.")
            yield row


def _drop(part: Path) -> None:
    for path in (part, part.with_name(f"{part.name}-wal"), part.with_name(f"{part.name}-shm")):
        path.unlink(missing_ok=True)
