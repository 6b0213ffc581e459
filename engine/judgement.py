"""What an adviser answers, before it is put into words: codes, places and figures; it computes nothing.

The session puts it into the words of the family and makes it an `engine.evidence.Advice`, which is what is stored.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Generic, Literal, TypeVar

from engine.evidence import Move, Part, Place, Suggest
from engine.wording import Said


@dataclass(frozen=True, slots=True)
class Found:
    """A finding: its `code` of the contract, and `where`. Its sentence stands in the catalogue, by code and `way`, and
    names `figures`. Its severity is the contract's."""

    code: str
    where: tuple[Place, ...] = ()
    figures: Mapping[str, Any] = field(default_factory=dict)
    way: str = ""
    suggest: Suggest | None = None
    sureness: float | None = None
    each: Literal["", "cylinder"] = ""


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why a judgement is what it is; a finding stands for its own sentence."""

    used: Said | str
    concluded: Said | Found | str
    sure: Said | str
    would_change: Said | str


Outputs = TypeVar("Outputs", covariant=True)


@dataclass(frozen=True, slots=True)
class Judgement(Generic[Outputs]):
    """An adviser's answer. `outputs` hold every declared output, never absent ("unknown" is a choice)."""

    outputs: Outputs
    moves: tuple[Move, ...] = ()
    parts: tuple[Part, ...] = ()
    findings: tuple[Found, ...] = ()
    #: What to expect of the next reading: quantity -> row (base units).
    expect: Mapping[str, tuple[Fraction | None, ...]] = field(default_factory=dict)
    because: Reasons | None = None


#: A judgement as it leaves the adviser: its outputs by name.
Judged = Judgement[Mapping[str, Any]]
