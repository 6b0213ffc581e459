"""What can happen in a run: one frozen event an answer, exact and already admitted; it judges nothing.

Numbers are exact `Fraction`s in the base unit of their dimension. `at` is the clock's text, carried as data: no
fold reads it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal, NamedTuple

from engine.evidence import Move, Part

Kind = Literal[
    "done",
    "readings",
    "symptom",
    "lost",
    "abandoned",  # answers: each can be undone
    "undo",
    "redo",
    "understood",
    "moved",
    "fitted",
    "waited",
    "note",
    "suspended",  # they answer nothing, the step stays
]

#: Kinds that an undo strikes, newest first.
ANSWERS = frozenset({"done", "readings", "symptom", "lost", "abandoned"})


class Event(NamedTuple):
    """One input of a run. `moved` and `fitted` are None where all was done as asked, `()` where nothing was done.

    `lacking` holds the reason by reading where a place was not taken. `text` is a note, or why the run was abandoned.
    """

    kind: Kind
    readings: Mapping[str, Any] | None = None
    symptom: str | None = None
    understood: bool = False
    moved: tuple[Move, ...] | None = None
    fitted: tuple[Part, ...] | None = None
    lacking: Mapping[str, str] | None = None
    lost: tuple[str, ...] = ()
    text: str = ""
    at: str = ""
