"""What a run knows and what an adviser answers, as frozen data shared by the run and the advisers; it computes nothing.

Units: a number is an exact `Fraction` in the base unit of its dimension (`engine.quantity.units`): turns, kg/h, rpm,
kPa,
mm, a fraction for % (5 % is 1/20), K for temperatures. Rows run carb 1 barrel 1, carb 1 barrel 2, carb 2 barrel 1
...; a
place that was not taken is None.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal, NamedTuple

Severity = Literal["note", "adjust", "change part", "stop"]


class Place(NamedTuple):
    """A place on the bank: `carb` from 1 along it, `barrel` from 1 within its carb; None for the whole carb or engine.

    A gap is named by the lower carb beside it: gap 1 lies between carbs 1 and 2, and its screw sets carb 2.
    """

    carb: int | None = None
    barrel: int | None = None


@dataclass(frozen=True, slots=True)
class Aim:
    """Turn until `reading` shows `value` (base unit); `place`: where the gauge sits, if not at the screw's own
    place.
    """

    reading: str
    value: Fraction
    place: Place | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """One screw, once. `turns` > 0 is from where it stands in `direction`; `position` where it then stands, in turns
    from its zero, if known; or an `aim`. `effect` is in the screw's own words: "more air", "leaner"."""

    screw: str
    place: Place
    direction: Literal["in", "out"]
    effect: str
    turns: Fraction | None = None
    position: Fraction | None = None
    aim: Aim | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A part at one place: `size` in the part's own numbers (a jet: hundredths of a mm). `origin` is the place that it
    comes from, where two places swap theirs; None: it comes from the drawer.
    """

    part: str
    place: Place
    size: Fraction
    origin: Place | None = None


@dataclass(frozen=True, slots=True)
class ScrewView:
    """A screw as an adviser sees it: what it does, its finest countable step, and where each one stands (None:
    unknown).

    `positions` runs over its places; `each` says over what. `inward` and `outward` are its effects in words.
    `counts` says which way its position grows: out from a seat, in from a contact.
    """

    name: str
    each: Literal["carb", "barrel", "gap", "bank"]
    acts: str
    at: str
    inward: str
    outward: str
    step: Fraction
    range: tuple[Fraction, Fraction]
    positions: tuple[Fraction | None, ...]
    counts: Literal["out", "in"] = "out"


@dataclass(frozen=True, slots=True)
class ReadingView:
    """A reading bound to an adviser's input: its name, quantity, unit, and the latest row (a single value is a row
    of 1).
    """

    name: str
    quantity: str
    each: str | None
    unit: str | None
    average: Fraction | None
    row: tuple[Any, ...] | None
    #: The finest figure that is written down, in the base unit; None where it was not declared.
    step: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Answered:
    """One answer of the run, as evidence.

    `readings`: by quantity, a row or a single value as a row of one. `positions` before its moves, and `moves` and
    `parts` made before the readings were taken. `epoch` counts changed parts and linkage: sensitivities don't outlive
    it.
    """

    seq: int
    file: str
    step: str
    here: Place | None
    visit: int
    epoch: int
    state: Mapping[str, Any]
    readings: Mapping[str, tuple[Any, ...]]
    names: Mapping[str, tuple[Any, ...]]
    positions: Mapping[tuple[str, Place], Fraction | None]
    moves: tuple[Move, ...] = ()
    parts: tuple[Part, ...] = ()
    symptom: str | None = None
    symptom_kind: str | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All answers that stand, oldest first, and how things stand now."""

    answers: tuple[Answered, ...]
    positions: Mapping[tuple[str, Place], Fraction | None]
    parts: Mapping[tuple[str, Place], Fraction]
    state: Mapping[str, Any]
    epoch: int
    findings: tuple[Finding, ...] = ()

    def latest(self, quantity: str) -> tuple[Any, ...] | None:
        """The newest row of a quantity, in any epoch."""
        for answer in reversed(self.answers):
            if quantity in answer.readings:
                return answer.readings[quantity]
        return None


@dataclass(frozen=True, slots=True)
class Suggest:
    """A part to change: sizes in the part's own numbers."""

    part: str
    old: Fraction | None
    new: Fraction


@dataclass(frozen=True, slots=True)
class Finding:
    """What is wrong and where; `code` and `where` are its identity. `sureness` 0 to 1, or None where nobody
    computed it.
    """

    code: str
    severity: Severity
    where: tuple[Place, ...]
    say: str
    do: str = ""
    suggest: Suggest | None = None
    sureness: float | None = None
    #: Who raised it: an adviser's name, or the file's.
    source: str = ""
    #: Set where `where` counts cylinders (in `Place.carb`) instead of carbs.
    each: Literal["", "cylinder"] = ""
    #: Of a stop that was gone on from knowingly: the reason that was given.
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class Because:
    """Why an advice is what it is, in a technician's words with the numbers."""

    used: str
    concluded: str
    sure: str
    would_change: str


@dataclass(frozen=True, slots=True)
class Advice:
    """An adviser's answer. `outputs` hold every declared output, never absent ("unknown" is a choice)."""

    adviser: str
    version: int
    outputs: Mapping[str, Any]
    moves: tuple[Move, ...] = ()
    parts: tuple[Part, ...] = ()
    findings: tuple[Finding, ...] = ()
    #: What to expect of the next reading: quantity -> row (base units).
    expect: Mapping[str, tuple[Fraction | None, ...]] = field(default_factory=dict)
    because: Because | None = None


@dataclass(frozen=True, slots=True)
class Inputs:
    """What a step binds to an adviser: readings, screws and plain values, each by the adviser's own input names."""

    readings: Mapping[str, ReadingView] = field(default_factory=dict)
    screws: Mapping[str, ScrewView] = field(default_factory=dict)
    values: Mapping[str, Any] = field(default_factory=dict)
    #: In a file that is called once a place: that place; its readings and positions are then rows of one.
    here: Place | None = None
