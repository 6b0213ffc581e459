"""What an adviser promises: inputs, what it reads of the evidence, outputs and findings; it decides nothing.

An adviser is a pure function `(job, inputs, evidence) -> Judgement`. It keeps nothing, reads no clock and no file. The
registry is handed to a check and to a run, and neither imports it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from engine.evidence import Evidence, Inputs, Severity
from engine.job.model import Job
from engine.judgement import Judgement
from engine.procedure.language.expr import Type
from engine.wording import Catalogue

Run = Callable[[Job, Inputs, Evidence], Judgement]
Made = Literal["moves", "parts"]


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
class Read:
    """A quantity that an adviser looks up among all answers of the run, whatever the reading is called.

    `wanted`: without it the adviser judges worse than it could, so a check says that a file never takes it.
    """

    about: str
    wanted: bool = False


@dataclass(frozen=True, slots=True)
class Output:
    """One thing an adviser answers: choices, or a number with dimension, unit and closed range; never absent."""

    type: Type
    about: str


@dataclass(frozen=True, slots=True)
class Raises:
    """A finding that an adviser may raise: how grave it is, and on what ground it is raised. `told` is the output and
    the word of it that always come with it, if there is such; so a file that branches on the word is proved exactly."""

    severity: Severity
    why: str
    told: tuple[str, str] | None = None


@dataclass(frozen=True, slots=True)
class Adviser:
    """One computation with its contract; `makes` says whether its advice can carry moves and parts for `make`.

    `reads`: by quantity, what it takes from the evidence beside its inputs. `findings`: by code, what it may raise.
    `retired`: inputs of earlier versions, each with a sentence on what became of it; a file that binds one is warned.
    """

    name: str
    version: int
    about: str
    inputs: Mapping[str, Input]
    outputs: Mapping[str, Output]
    makes: frozenset[Made]
    run: Run
    findings: Mapping[str, Raises]
    reads: Mapping[str, Read] = field(default_factory=dict)
    retired: Mapping[str, str] = field(default_factory=dict)
    #: Whether it judges an idle, so that readings taken at a held speed would mislead it.
    idle: bool = False
    #: Where the sentences of its findings stand.
    sentences: Callable[[], Catalogue] = dict


def adviser(
    version: int,
    about: str,
    inputs: Mapping[str, Input],
    outputs: Mapping[str, Output],
    findings: Mapping[str, Raises],
    *,
    makes: tuple[Made, ...] = (),
    reads: Mapping[str, Read] | None = None,
    retired: Mapping[str, str] | None = None,
    idle: bool = False,
) -> Callable[[Run], Adviser]:
    """Bind a function to its contract: the adviser is called what the function is called."""

    def bind(run: Run) -> Adviser:
        return Adviser(
            run.__name__,
            version,
            about,
            inputs,
            outputs,
            frozenset(makes),
            run,
            findings,
            reads or {},
            retired or {},
            idle,
        )

    return bind


Registry = Mapping[str, Adviser]
