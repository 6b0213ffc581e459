"""What happens when the program itself fails: a report in a file and a sentence for the person; it repairs nothing."""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from datetime import datetime
from pathlib import Path


def folder() -> Path:
    """Where reports go: EVENDRAW_LOG, else the user's log folder."""
    if named := os.environ.get("EVENDRAW_LOG"):
        return Path(named)
    from platformdirs import user_log_path  # only needed where something broke

    return user_log_path("evendraw")


def report(error: BaseException, into: Path | None = None) -> Path | None:
    """Write what happened to a file; its path, or None where no file could be written. Never raises.

    Neither a job nor a person is in it: only the places in the program where it broke.
    """
    from engine import VERSION

    stamp = datetime.now().astimezone()
    what = f"evendraw {VERSION}, Python {sys.version.split()[0]}, {platform.platform()}"
    when = stamp.isoformat(timespec="seconds")
    text = f"{what}, {when}\n\n{''.join(traceback.format_exception(error))}"
    for there in (into, None if into else _try(folder), Path(tempfile.gettempdir())):
        if there is None:
            continue
        try:
            there.mkdir(parents=True, exist_ok=True)
            path = there / f"evendraw-crash-{stamp:%Y%m%d-%H%M%S}-{os.getpid()}.txt"
            path.write_text(text, encoding="utf-8", newline="\n")
            return path
        except OSError:
            continue
    return None


def _try(find: object) -> Path | None:
    try:
        return find()  # type: ignore[operator]
    except OSError:
        return None


def sentence(where: Path | None, booked: bool = True) -> str:
    """What the person is told. `booked`: answers may have been given, and are in the job book."""
    kept = f"A report is in {where}." if where else "No report could be written."
    safe = "Every answer that you gave is in the job book: start it again and go on where it stood. " if booked else ""
    return f"evendraw: something went wrong in the program, and it had to stop. {safe}{kept}"
