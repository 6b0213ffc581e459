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
    "gate",
    "lost",
    "abandoned",  # answers: each can be undone
    "undo",
    "strike",
    "redo",
    "understood",
    "moved",
    "fitted",
    "waited",
    "note",
    "waiting",
    "resumed",
    "suspended",  # they answer nothing, the step stays
]

#: What a run says of itself in its first event; a record without a number is of the first format.
#: 2: a finding of severity stop opens a gate.
FORMAT = 2

#: The ways on from a stop gate.
Way = Literal["mended", "ends here", "go on knowingly"]
MENDED: Way = "mended"
ENDS_HERE: Way = "ends here"
GO_ON: Way = "go on knowingly"


class Event(NamedTuple):
    """One input of a run. `moved` and `fitted` are None where all was done as asked, `()` where nothing was done.

    `lacking` holds the reason by reading where a place was not taken: one for the whole of it, or a row of them with
    None where the place was taken. `text` is a note, why the run was abandoned, the reason of a `gate`, or what a wait
    is for, how long was waited (`waited`), or which answer is struck (`strike`); `gate` the way chosen there;
    `awaited` the parts waited for, in words; `by` who answered.
    """

    kind: Kind
    readings: Mapping[str, Any] | None = None
    symptom: str | None = None
    understood: bool = False
    moved: tuple[Move, ...] | None = None
    fitted: tuple[Part, ...] | None = None
    lacking: Mapping[str, str | tuple[str | None, ...]] | None = None
    lost: tuple[str, ...] = ()
    text: str = ""
    at: str = ""
    gate: str = ""
    awaited: tuple[str, ...] = ()
    by: str = ""


def reasons(event: Event, name: str, count: int) -> tuple[str | None, ...]:
    """Why each place of a reading was not taken; None where it was, or where nobody said why."""
    said = (event.lacking or {}).get(name)
    if isinstance(said, tuple):
        return said
    value = (event.readings or {}).get(name)
    row = value if isinstance(value, tuple) else (value,) * count
    return tuple(said if v is None else None for v in row)
