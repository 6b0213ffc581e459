"""What happens when the program itself fails: a report in a file and a sentence for the person; it never fails itself.

A report holds where in the program it broke and nothing of a job or a person: no message, no value, no path outside the
program.
"""

from __future__ import annotations

import os
import platform
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from types import TracebackType


def folder() -> Path:
    """Where reports go: EVENDRAW_LOG, else the user's log folder."""
    if named := os.environ.get("EVENDRAW_LOG"):
        return Path(named)
    from platformdirs import user_log_path  # only needed where something broke

    return user_log_path("evendraw")


def report(error: BaseException, into: Path | None = None) -> Path | None:
    """Write what happened to a file that only this user may read; its path, or None where none could be written."""
    try:
        return _report(error, into)
    except Exception:  # a report that fails must not hide what it is about
        return None


def _report(error: BaseException, into: Path | None) -> Path | None:
    from engine import VERSION

    stamp = datetime.now().astimezone()
    what = f"evendraw {VERSION}, Python {sys.version.split()[0]}, {platform.platform()}"
    when = stamp.isoformat(timespec="seconds")
    text = "\n".join((f"{what}, {when}", "", *_trace(error), ""))
    for there in (into, None if into else _try(folder)):
        if there is not None and (path := _written(there, f"evendraw-crash-{stamp:%Y%m%d-%H%M%S}-{os.getpid()}", text)):
            return path
    # A shared folder: a name that nobody can guess, in a file that is ours alone.
    try:
        handle, name = tempfile.mkstemp(prefix="evendraw-crash-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8", errors="replace", newline="\n") as file:
            file.write(text)
        return Path(name)
    except OSError:
        return None


def _written(there: Path, name: str, text: str) -> Path | None:
    for again in range(9):
        path = there / f"{name}{f'-{again}' if again else ''}.txt"
        try:
            there.mkdir(mode=0o700, parents=True, exist_ok=True)
            handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
            with os.fdopen(handle, "w", encoding="utf-8", errors="replace", newline="\n") as file:
                file.write(text)
            return path
        except FileExistsError:
            continue
        except (OSError, ValueError):
            return None
    return None


def _trace(error: BaseException) -> Iterator[str]:
    """Where it broke, the first cause first: kinds of errors and places in code, not what they said."""
    seen: list[BaseException] = []
    here: BaseException | None = error
    while here is not None and here not in seen:
        seen.append(here)
        here = here.__cause__ or here.__context__
    for each in reversed(seen):
        yield from _places(each.__traceback__)
        code = f" {each.errno}" if isinstance(each, OSError) and each.errno is not None else ""
        yield f"{type(each).__module__}.{type(each).__qualname__}{code}"
        yield ""
        if isinstance(each, BaseExceptionGroup):
            for inner in each.exceptions[:5]:
                yield from _trace(inner)


def _places(trace: TracebackType | None) -> Iterator[str]:
    while trace is not None:
        code = trace.tb_frame.f_code
        yield f"  {_short(code.co_filename)}:{trace.tb_lineno} in {code.co_qualname}"
        trace = trace.tb_next


def _short(file: str) -> str:
    """The path of a module from its package on: what is before it may name a person."""
    parts = file.replace("\\", "/").split("/")
    for mark in ("site-packages", "engine", "tui", "procedures"):
        if mark in parts:
            at = len(parts) - 1 - parts[::-1].index(mark)
            return "/".join(parts[at + (mark == "site-packages") :])
    return parts[-1]


def _try(find: Callable[[], Path]) -> Path | None:
    try:
        return find()
    except (OSError, RuntimeError):
        return None


def sentence(where: Path | None, booked: bool = True) -> str:
    """What the person is told. `booked`: answers may have been given, and are in the job book."""
    kept = f"A report is in {where}." if where else "No report could be written."
    safe = "Every answer that you gave is in the job book: start it again and go on where it stood. " if booked else ""
    return f"evendraw: something went wrong in the program, and it had to stop. {safe}{kept}"
