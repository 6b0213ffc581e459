"""The plan of a stored run, made again from the texts, the job and the settings that it was started with; it reads
no file.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine.book import codec
from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.contract import Registry
from engine.job.model import Job
from engine.run.bind import InForce, Settings
from engine.run.layout import RunLayout, prepare


def plan_of(book: Book, started: Mapping[str, Any], advisers: Registry) -> RunLayout:
    """The plan of a run from its first event. Raises `BookTrouble` where its texts don't load any more."""
    from engine.procedure.build.load import load_texts

    texts = book.texts([f["sha256"] for f in started["files"]])
    by_name = {f["name"]: text.decode() for f, text in zip(started["files"], texts, strict=True)}
    loaded = load_texts(by_name, started["main"], advisers)
    if loaded.program is None:
        first = loaded.problems[0]
        raise BookTrouble(
            f"The procedure that this run was started with can't be read by this version of the program: "
            f"{first}. Open the run with version {started['version']}."
        )
    return prepare(loaded.program, Job.model_validate(started["job"]), in_force=settings_in(started["settings"]))


def settings_in(stored: Mapping[str, Any]) -> Settings:
    """The settings in force as a run keeps them."""
    return {
        file: {n: InForce(codec.value_in(v), origin) for n, (v, origin) in row.items()} for file, row in stored.items()
    }
