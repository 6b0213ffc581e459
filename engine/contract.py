"""The closed registry of computations that a procedure may call: their names, inputs and outputs; it decides
nothing itself.

An adviser is a pure function `(job, inputs, evidence) -> Advice`. It keeps nothing, reads no clock and no file. The
registry is handed to a check and to a run, and neither imports it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from engine.evidence import Advice, Evidence, Inputs
from engine.job.model import Job
from engine.procedure.language.expr import Type


@dataclass(frozen=True, slots=True)
class Input:
    """One thing an adviser takes. A reading: of one of `quantities`, over `each`. A screw: that acts on `acts` and
    works `at` one of the given. A value: of `type`'s kind and dimension. `optional` ones may be left out."""

    kind: Literal["reading", "screw", "value"]
    about: str
    type: Type | None = None
    quantities: tuple[str, ...] = ()
    each: tuple[str | None, ...] = ()
    acts: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Output:
    """One thing an adviser answers: choices, or a number with dimension, unit and closed range; never absent."""

    type: Type
    about: str


@dataclass(frozen=True, slots=True)
class Adviser:
    """One computation with its contract; `makes` says whether its advice can carry moves and parts for `make`."""

    name: str
    version: int
    about: str
    inputs: Mapping[str, Input]
    outputs: Mapping[str, Output]
    makes: frozenset[Literal["moves", "parts"]]
    run: Callable[[Job, Inputs, Evidence], Advice]
    #: Codes of the findings it may raise, with their severity.
    findings: Mapping[str, str]


Registry = Mapping[str, Adviser]
