"""The plan of a stored run, made again from the texts, the contracts, the job and the settings that it was started
with; it reads no file, and judges nothing by what is in force today.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from pydantic import ValidationError

from engine.book import codec
from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.contract import Registry
from engine.job.model import Job
from engine.procedure.build.load import Loaded, load_texts
from engine.run.bind import InForce, NotForThisJob, Settings
from engine.run.layout import RunLayout, prepare
from engine.session import contracts


def plan_of(book: Book, started: Mapping[str, Any]) -> tuple[RunLayout, Registry]:
    """The plan of a run from its first event, and the contracts that its advisers had then.

    Raises `BookTrouble` where texts or job can't even be read any more.
    """
    texts = book.texts([f["sha256"] for f in started["files"]])
    by_name = tuple((f["name"], text.decode()) for f, text in zip(started["files"], texts, strict=True))
    loaded = _loaded(by_name, started["main"], json.dumps(started.get("advisers")))
    if loaded.program is None:
        first = next(p for p in loaded.problems if p.severity == "error")
        raise _unreadable("The procedure", started, str(first))
    try:
        job = Job.model_validate(started["job"])
        plan = prepare(loaded.program, job, in_force=settings_in(started["settings"]), format=started.get("format", 1))
    except ValidationError as fault:
        raise _unreadable("The job", started, fault.errors()[0]["msg"]) from None
    except NotForThisJob as fault:
        raise _unreadable("The job", started, str(fault)) from None
    return plan, contracts.of_then(started)


@lru_cache(maxsize=4)
def _loaded(texts: tuple[tuple[str, str], ...], main: str, advisers: str) -> Loaded:
    """A run's texts read by their structure. Kept for the next look at it: a sheet, the way on, another run of it."""
    return load_texts(dict(texts), main, contracts.of_then({"advisers": json.loads(advisers)}), judged=False)


def _unreadable(what: str, started: Mapping[str, Any], why: str) -> BookTrouble:
    return BookTrouble(
        f"{what} that this run was started with can't be read by this version of the program: {why} Open the run with "
        f"version {started['version']}."
    )


def settings_in(stored: Mapping[str, Any]) -> Settings:
    """The settings in force as a run keeps them."""
    return {
        file: {n: InForce(codec.value_in(v), origin) for n, (v, origin) in row.items()} for file, row in stored.items()
    }
