"""Short words for writing an adviser's contract: inputs and outputs with their types; it computes nothing."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from importlib import import_module

from engine.contract import Input, Output
from engine.evidence import Advice, Evidence, Inputs
from engine.job.model import Job
from engine.procedure.language.expr import Type
from engine.quantity.units import UNITS, to_base


def _type(unit: str, low: str | None, high: str | None, each: str | None = None, holes: bool = False) -> Type:
    """A number in `unit`, with a closed range given in that unit."""
    ends = (None if v is None else to_base(Fraction(v), unit) for v in (low, high))
    return Type("number", UNITS[unit].dimension, unit, *ends, each=each, holes=holes)  # type: ignore[arg-type]


def reading(about: str, *quantities: str, each: tuple[str | None, ...] = (None,), optional: bool = False) -> Input:
    """An input bound to a reading of one of `quantities`, laid out over one of `each` (None: a single value)."""
    return Input("reading", about, quantities=quantities, each=each, optional=optional)


def screw(about: str, acts: str, *at: str, each: tuple[str, ...], optional: bool = False) -> Input:
    """An input bound to a screw that acts on `acts` and works `at` one of the given."""
    return Input("screw", about, acts=(acts,), at=at, each=each, optional=optional)


def number(about: str, unit: str, low: str, high: str, optional: bool = False) -> Input:
    """An input bound to an expression: a single number in the dimension of `unit`, meant to lie within [low, high]."""
    return Input("value", about, type=_type(unit, low, high), optional=optional)


def row(about: str, unit: str, each: str, optional: bool = True) -> Input:
    """An input bound to a row of numbers (a kept row), a value a place; places not taken are allowed."""
    return Input("value", about, type=_type(unit, None, None, each, holes=True), optional=optional)


def flag(about: str, optional: bool = True) -> Input:
    """An input bound to a yes or no: a fact or a comparison."""
    return Input("value", about, type=Type("bool"), optional=optional)


def choice(about: str, *choices: str, optional: bool = True) -> Input:
    """An input bound to one of some words: a fact, or a reading with these choices."""
    return Input("value", about, type=Type("choice", choices=choices), optional=optional)


def says(about: str, *choices: str, each: str | None = None) -> Output:
    """An output in words; a row of them over `each`."""
    return Output(Type("choice", choices=choices, each=each), about)  # type: ignore[arg-type]


def gives(about: str, unit: str, low: str, high: str) -> Output:
    """An output as a single number in `unit` within the closed range; never absent."""
    return Output(_type(unit, low, high), about)


def truths(about: str, each: str = "barrel") -> Input:
    """An input bound to a row of yes or no, as `which(...)` gives it; always optional."""
    return Input("value", about, type=Type("bool", each=each, holes=True), optional=True)  # type: ignore[arg-type]


def computed(module: str, function: str) -> Callable[[Job, Inputs, Evidence], Advice]:
    """The computation `function` of the module of that name here, imported when first asked."""

    def run(job: Job, inputs: Inputs, evidence: Evidence) -> Advice:
        return getattr(import_module(f"engine.carburation.advisers.{module}"), function)(job, inputs, evidence)

    run.__name__ = function
    return run
