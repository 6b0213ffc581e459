"""What an adviser promises: inputs, what it reads of the evidence, outputs and findings; it decides nothing.

An adviser is a pure function `(job, asked, evidence) -> Judgement` of typed frozen data: `Asked` has a field for each
input, `Told` one for each output, and the contract is made from them, so that a type checker sees a name or a word that
the contract does not have. It keeps nothing, reads no clock and no file. The registry is handed to a check and to a
run, and neither imports it.
"""

from __future__ import annotations

import functools
import keyword
import types
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from fractions import Fraction
from typing import Annotated, Any, Literal, Self, TypeVar, Union, get_args, get_origin, get_type_hints

from engine.evidence import Evidence, Inputs, Place, ReadingView, ScrewView, Severity
from engine.job.model import Job
from engine.judgement import Judged, Judgement
from engine.procedure.language.expr import Type
from engine.wording import Catalogue

Run = Callable[[Job, Inputs, Evidence], Judged]
#: A number that an adviser answers; a float is rounded once, to four decimals.
Figure = float | Fraction
Made = Literal["moves", "parts"]
_Asks = TypeVar("_Asks", bound="Asked")
_Tells = TypeVar("_Tells", bound="Told")
_Declared = TypeVar("_Declared", "Input", "Output")


@dataclass(frozen=True, slots=True)
class Input:
    """One thing an adviser takes. A reading: of one of `quantities`, over `each`. A screw: that acts on `acts` and
    works `at` one of the given. A value: of `type`'s kind and dimension. `optional` ones may be left out.
    """

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
    #: Its typed inputs.
    asks: type[Asked] = field(default_factory=lambda: Asked)


# --- typed inputs and outputs ---------------------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What an adviser is given. A subclass has a field for each input, `name: Annotated[type, Input]`: a `ReadingView`,
    a `ScrewView`, a `Fraction` in the base unit, a bool, words, or a row; with `| None` it may be left out. A name that
    Python keeps for itself bears a `_` behind."""

    #: In a file that is called once a place: that place. No input.
    here: Place | None = None

    @classmethod
    def of(cls, given: Inputs, declared: Mapping[str, Input]) -> Self:
        """What a step binds to the `declared` inputs of this class. Raises `TypeError` where one is missing."""
        bound = {"reading": given.readings, "screw": given.screws, "value": given.values}
        among = {name: bound[taken.kind] for name, taken in declared.items()}
        return cls(here=given.here, **{_field(n): found[n] for n, found in among.items() if n in found})


@dataclass(frozen=True, kw_only=True)
class Told:
    """What an adviser answers. A subclass has a field for each output, `name: Annotated[type, Output]`: a `Figure` in
    the base unit, words, or a row of them."""

    def answers(self) -> dict[str, Any]:
        """The outputs by name, every number exact."""
        return {one.name.removesuffix("_"): _exact(getattr(self, one.name)) for one in fields(self)}


def inputs_of(asks: type[Asked]) -> Mapping[str, Input]:
    """The inputs that a class of typed inputs declares. Raises `TypeError` where a field's type is not its input's."""
    found = {}
    for name, kind, declared in _declared(asks, Input):
        one, optional = _without_none(kind)
        of = declared.type
        if of is not None:
            of = _typed(f"{asks.__qualname__}.{name}", one, of, Fraction)
        elif one is not {"reading": ReadingView, "screw": ScrewView}[declared.kind]:
            raise TypeError(f"{asks.__qualname__}.{name} takes a {declared.kind}, and is no view of one")
        found[name] = replace(declared, type=of, optional=optional)
    return found


def outputs_of(tells: type[Told]) -> Mapping[str, Output]:
    """The outputs that a class of typed outputs declares. Raises `TypeError` as `inputs_of` does."""
    return {
        name: replace(declared, type=_typed(f"{tells.__qualname__}.{name}", kind, declared.type, Figure))
        for name, kind, declared in _declared(tells, Output)
    }


def _declared(owner: type, of: type[_Declared]) -> Iterator[tuple[str, Any, _Declared]]:
    """Name, Python type and declaration of each field that has one."""
    hints = get_type_hints(owner, include_extras=True)
    for one in fields(owner):
        if get_origin(hints[one.name]) is Annotated:
            kind, *told = get_args(hints[one.name])
            yield from ((one.name.removesuffix("_"), kind, t) for t in told if isinstance(t, of))


def _typed(where: str, kind: Any, of: Type, number: Any) -> Type:
    """A type with the words that a field of this Python type may have. Raises `TypeError` where they don't fit."""
    one = kind
    if of.each is not None:
        one, *rest = get_args(kind) or (None,)
        one = _without_none(one)[0] if of.holes else one
        if get_origin(kind) is not tuple or rest != [Ellipsis]:
            raise TypeError(f"{where} is a row over {of.each}, and is written as {kind}")
    if of.kind == "choice" and get_origin(one) is Literal:
        return replace(of, choices=get_args(one))
    if one != {"number": number, "bool": bool}.get(of.kind):
        raise TypeError(f"{where} is a {of.kind}, and is written as {kind}")
    return of


def _without_none(kind: Any) -> tuple[Any, bool]:
    members = get_args(kind) if get_origin(kind) in (Union, types.UnionType) else (kind,)
    return Union[tuple(m for m in members if m is not type(None))], type(None) in members  # noqa: UP007


def _field(name: str) -> str:
    return f"{name}_" if keyword.iskeyword(name) else name


def _exact(value: Any) -> Any:
    if isinstance(value, float):
        return Fraction(round(value * 10**4), 10**4)
    return Fraction(value) if isinstance(value, int) and not isinstance(value, bool) else value


def adviser(
    version: int,
    about: str,
    asks: type[_Asks],
    tells: type[_Tells],
    findings: Mapping[str, Raises],
    *,
    makes: tuple[Made, ...] = (),
    reads: Mapping[str, Read] | None = None,
    retired: Mapping[str, str] | None = None,
    idle: bool = False,
) -> Callable[[Callable[[Job, _Asks, Evidence], Judgement[_Tells]]], Adviser]:
    """Bind a function to its contract: the adviser is called what the function is called, takes what `asks` declares
    and answers what `tells` declares."""

    inputs = inputs_of(asks)

    def bind(judge: Callable[[Job, _Asks, Evidence], Judgement[_Tells]]) -> Adviser:
        @functools.wraps(judge)
        def run(job: Job, given: Inputs, evidence: Evidence) -> Judged:
            told = judge(job, asks.of(given, inputs), evidence)
            return Judgement(told.outputs.answers(), told.moves, told.parts, told.findings, told.expect, told.because)

        return Adviser(
            judge.__name__,
            version,
            about,
            inputs,
            outputs_of(tells),
            frozenset(makes),
            run,
            findings,
            reads or {},
            retired or {},
            idle,
            asks=asks,
        )

    return bind


Registry = Mapping[str, Adviser]
