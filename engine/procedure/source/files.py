"""Procedure files on disk: finds and reads their text, and refuses in words what is no such file; it parses nothing."""

from __future__ import annotations

import re
import stat
from collections.abc import Sequence
from pathlib import Path

from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Source, Span

#: Bytes. A long procedure has about 25,000; what is much longer was not written for a person to follow.
LARGEST = 128 * 1024
SUFFIX = ".yaml"
#: The folder beside procedures that holds their kits; so a kit is called in a run's record, too: `kits/running`.
KITS = "kits"

_TOP = Span(1, 1, 1, 1)
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f]")


def read_source(path: Path) -> Source | Problem:
    """The text of a file with `\\n` at the end of its lines, or what is wrong with the file."""
    where = str(path)
    try:
        kind = path.stat()
        if stat.S_ISDIR(kind.st_mode):
            return _refuse("not-a-file", where, "This is a folder.", "Name a file in it.")
        if not stat.S_ISREG(kind.st_mode):
            return _refuse("not-a-file", where, "This is a device or a pipe, not a file.", "Save it as a file.")
        if kind.st_size > LARGEST:
            return _too_big(where, kind.st_size)
        with path.open("rb") as file:
            data = file.read(LARGEST + 1)
    except FileNotFoundError:
        return _refuse("not-a-file", where, "There is no such file.", "Check the name and the folder.")
    except (OSError, ValueError) as fault:
        said = getattr(fault, "strerror", None) or str(fault)
        return _refuse("cannot-read", where, f"The file can't be read: {said}.", "Check its permissions and the disk.")
    if len(data) > LARGEST:
        return _too_big(where, len(data))
    return decode(data, path.stem, where)


def decode(data: bytes, name: str, where: str) -> Source | Problem:
    """UTF-8 bytes as a `Source`; a byte order mark is dropped, line ends become `\\n`."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return _refuse("not-utf-8", where, "The file is saved as UTF-16.", "Save it again as UTF-8.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line, column = _place(data, fault.start)
        return Problem(
            "not-utf-8",
            where,
            Span(line, column, line, column + 1),
            f"The byte {data[fault.start]:#04x} here is not UTF-8.",
            hint="Save the file again as UTF-8.",
        )
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    control = _CONTROL.search(text)
    if control is not None:
        index = control.start()
        line = text.count("\n", 0, index) + 1
        column = index - text.rfind("\n", 0, index)
        return Problem(
            "not-utf-8",
            where,
            Span(line, column, line, column + 1),
            f"A control character (code {ord(text[index])}) stands here.",
            hint="Delete it.",
        )
    return Source(name, where, text)


def find(name: str, beside: Path | None, search: Sequence[Path]) -> Path | None:
    """The file that a call means: beside the caller first, then along `search`; None if there is none."""
    folders = ([beside] if beside is not None else []) + list(search)
    for folder in folders:
        path = folder / f"{name}{SUFFIX}"
        try:
            if path.is_file():
                return path
        except (OSError, ValueError):
            continue
    return None


def kit_folders(beside: Path | None, search: Sequence[Path]) -> list[Path]:
    """The folders in which kits are looked for, of a file in the folder `beside` first; a kit's own are beside it."""
    near = [] if beside is None else [beside if beside.name == KITS else beside / KITS]
    return near + [s / KITS for s in search]


def names(beside: Path | None, search: Sequence[Path]) -> list[str]:
    """The names that `find` could find, for a hint."""
    found: set[str] = set()
    for folder in ([beside] if beside is not None else []) + list(search):
        try:
            found.update(p.stem for p in folder.glob(f"*{SUFFIX}"))
        except OSError:
            continue
    return sorted(found)


def _place(data: bytes, offset: int) -> tuple[int, int]:
    before = data[:offset]
    start = before.rfind(b"\n") + 1
    return before.count(b"\n") + 1, len(before[start:].decode("utf-8", "replace")) + 1


def _refuse(code: str, where: str, message: str, hint: str) -> Problem:
    return Problem(code, where, _TOP, message, hint=hint)


def _too_big(where: str, size: int) -> Problem:
    return _refuse(
        "too-big",
        where,
        f"The file has {size // 1024} kB, and {LARGEST // 1024} kB are the most that is read.",
        "Is it the right file? A long procedure moves a part into a file of its own and calls that.",
    )
