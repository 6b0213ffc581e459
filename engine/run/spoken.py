"""How each part of an answer is written on a line of JSON: types from which the protocol's model and schema are made.

It checks nothing by itself. Numbers are in the declared unit of what they stand for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal, NotRequired

from pydantic import ConfigDict, Field, with_config
from typing_extensions import TypedDict

STRICT = ConfigDict(extra="forbid")
Count = Annotated[int, Field(ge=1)]
Number = float
Words = Annotated[str, Field(min_length=1)]


@dataclass(frozen=True, slots=True)
class Spoken:
    """The type of a key on the line, what is said of it (to follow "'key' is"), and its name there if it is another."""

    type: Any
    about: str
    called: str | None = None


@with_config(STRICT)
class Place(TypedDict):
    """carb counts from 1 along the bank, barrel from 1 within its carb; null for the whole carb, or the whole
    engine.
    """

    carb: Count | None
    barrel: Count | None


NotTaken = TypedDict("NotTaken", {"not taken": Annotated[str, Field(min_length=1)]})
NotTaken.__doc__ = "A place that was not taken, and why."
with_config(STRICT)(NotTaken)
Given = Number | str | NotTaken | None


@with_config(STRICT)
class ReportedMove(TypedDict):
    """A move that was made: turns with a direction, or the position where it then stands; with neither, its position is
    unknown. A move as it was sent may be sent back.
    """

    screw: str
    carb: Count | None
    barrel: NotRequired[Count | None]
    turns: NotRequired[Annotated[Number, Field(ge=0)] | None]
    direction: NotRequired[Literal["in", "out"] | None]
    position: NotRequired[Number | None]
    acts: NotRequired[str]
    on: NotRequired[str]
    effect: NotRequired[str]
    aim: NotRequired[dict[str, Any] | None]


ReportedPart = TypedDict(
    "ReportedPart",
    {
        "part": str,
        "carb": Count | None,
        "barrel": NotRequired[Count | None],
        "size": Number,
        "from": NotRequired[Place | None],
    },
)
ReportedPart.__doc__ = "A part that was fitted. A part as it was sent may be sent back."
with_config(STRICT)(ReportedPart)


@with_config(STRICT)
class Awaited(TypedDict):
    """What a run waits for."""

    parts: Annotated[list[Annotated[str, Field(min_length=1)]], Field(min_length=1)]
    note: NotRequired[str]


@with_config(STRICT)
class Visit(TypedDict):
    """A step by its id and its visit, as they were sent."""

    step: str
    visit: Count


#: Keys within an answer's own objects, which a message may point at.
WITHIN = frozenset(key for of in (ReportedMove, ReportedPart, Awaited, Visit) for key in of.__annotations__)
