"""Short words for writing an adviser's contract, and the parts that several contracts share; it computes nothing."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from engine.contract import Asked, Figure, Input, Output, Raises, Read
from engine.evidence import ReadingView, ScrewView
from engine.procedure.language.expr import Type
from engine.quantity.units import UNITS, to_base


def _type(unit: str, low: str | None, high: str | None, each: str | None = None, holes: bool = False) -> Type:
    """A number in `unit`, with a closed range given in that unit."""
    least, most = (None if v is None else to_base(Fraction(v), unit) for v in (low, high))
    return Type("number", UNITS[unit].dimension, unit, least, most, each=each, holes=holes)  # type: ignore[arg-type]


def reading(about: str, *quantities: str, each: tuple[str | None, ...] = (None,)) -> Input:
    """An input bound to a reading of one of `quantities`, laid out over one of `each` (None: a single value)."""
    return Input("reading", about, quantities=quantities, each=each)


def screw(about: str, acts: str, *at: str, each: tuple[str, ...]) -> Input:
    """An input bound to a screw that acts on `acts` and works `at` one of the given."""
    return Input("screw", about, acts=(acts,), at=at, each=each)


def number(about: str, unit: str, low: str, high: str) -> Input:
    """An input bound to an expression: a single number in the dimension of `unit`, meant to lie within [low, high]."""
    return Input("value", about, type=_type(unit, low, high))


def row(about: str, unit: str, each: str) -> Input:
    """An input bound to a row of numbers (a kept row), a value a place; places not taken are allowed."""
    return Input("value", about, type=_type(unit, None, None, each, holes=True))


def truth(about: str) -> Input:
    """An input bound to a yes or no: a fact or a comparison."""
    return Input("value", about, type=Type("bool"))


def truths(about: str, each: str = "barrel") -> Input:
    """An input bound to a row of yes or no, as `which(...)` gives it."""
    return Input("value", about, type=Type("bool", each=each, holes=True))  # type: ignore[arg-type]


def choice(about: str) -> Input:
    """An input bound to one of the words of its field: a fact, or a reading with these choices."""
    return Input("value", about, type=Type("choice"))


def says(about: str, each: str | None = None) -> Output:
    """An output in the words of its field; a row of them over `each`."""
    return Output(Type("choice", each=each), about)  # type: ignore[arg-type]


def gives(about: str, unit: str, low: str, high: str, each: str | None = None, holes: bool = False) -> Output:
    """An output as a number in `unit` within the closed range, one or a row; never absent, but for places of a row with
    `holes` of which nothing is known."""
    return Output(_type(unit, low, high, each, holes), about)


def note(why: str) -> Raises:
    """A finding to know of."""
    return Raises("note", why)


def adjust(why: str) -> Raises:
    """A finding that asks for an adjustment."""
    return Raises("adjust", why)


def change(why: str) -> Raises:
    """A finding that asks for a part to be changed or mended."""
    return Raises("change part", why)


def stop(why: str, told: tuple[str, str] | None = None) -> Raises:
    """A finding that ends the work until it is mended; `told`: the output, and its word, that always come with it."""
    return Raises("stop", why, told)


def read(about: str) -> Read:
    """A quantity that is looked up in the evidence where it is there."""
    return Read(about)


def wanted(about: str) -> Read:
    """A quantity that a file which asks this adviser should take somewhere."""
    return Read(about, wanted=True)


# --- shared parts: one meaning, said once ---------------------------------------------------------------------------

Flow = Annotated[
    ReadingView, reading("the gauge, place by place", "airflow", "depression", each=("barrel", "carb", "cylinder"))
]
#: The speed taken with a row.
SpeedThen = Annotated[ReadingView | None, reading("engine speed, gauge off, taken with the row", "engine speed")]
Plate = Annotated[
    ScrewView,
    screw(
        "the speed screws; with `coupling` the one that moves all, or one a body of which only the master's "
        "(see `master`) is turned",
        "air",
        "plate",
        each=("carb", "barrel", "bank"),
    ),
]
Coupling = Annotated[
    ScrewView | None,
    screw(
        "the balance screws between coupled bodies: bind it where the bodies stay coupled",
        "air",
        "coupling",
        each=("gap", "carb"),
    ),
]
Bypass = Annotated[
    ScrewView | None,
    screw(
        "air bypass screws: bind it to set bodies and barrels in one round (lower barrels only, one shut a body)",
        "air",
        "bypass",
        each=("barrel",),
    ),
]
#: The air screws, bound where an adviser of mixture shall know what air moved: more air leans its barrel.
PlateMoved = Annotated[
    ScrewView | None,
    screw("the speed screws, so that air moved between rows is known", "air", "plate", each=("carb", "barrel", "bank")),
]
Master = Annotated[
    Fraction | None, number("coupled bodies: the body whose speed screw moves all (left out: 1)", "", "1", "12")
]
Tolerance = Annotated[
    Fraction, number("how far a barrel may lie from the mean of all, as a fraction of it", "%", "0.5", "30")
]
LeastFlow = Annotated[Fraction | None, number("a flow within which any difference is good", "kg/h", "0", "3")]
LeastDepression = Annotated[
    Fraction | None, number("a depression within which any difference is good", "kPa", "0", "10")
]
Target = Annotated[Fraction | None, number("the idle speed to hold (left out: the job's)", "rpm", "300", "4000")]
SpeedTolerance = Annotated[
    Fraction | None, number("how far the speed may lie from it (left out: 30 rpm)", "rpm", "5", "300")
]
BodyLimit = Annotated[
    Fraction | None,
    number(
        "the difference within one body that is a fault to mend, not to mask (left out: 1 kg/h)", "kg/h", "0.2", "5"
    ),
]
ByAim = Annotated[bool | None, truth("whether the last move may be by aim at the gauge (left out: yes)")]
Lambda = Annotated[
    ReadingView | None, reading("lambda by barrel or cylinder", "lambda", each=("barrel", "cylinder", "carb"))
]
CO = Annotated[ReadingView | None, reading("CO by barrel or cylinder", "CO", each=("barrel", "cylinder", "carb"))]
LambdaLow = Annotated[Fraction | None, number("richest good mixture (left out: 0.86)", "", "0.6", "1.2")]
LambdaHigh = Annotated[Fraction | None, number("leanest good mixture (left out: 0.96)", "", "0.6", "1.2")]

Gap = Annotated[Figure, gives("the furthest barrel from the mean, as a fraction of the mean", "%", "0", "200")]
Sureness = Annotated[Figure, gives("how likely what the verdict says is true", "%", "0", "100")]
SpeedOff = Annotated[Figure, gives("best estimate of speed less target", "rpm", "-5000", "5000")]

#: Readings that no sound gauge gives: zeros, one figure everywhere, a row of the wrong length. None is used.
NOT_BELIEVED = {"gauge-not-believed": note("a row no sound gauge gives: zeros, a stuck needle, a wrong count")}
DISTURBED = {"reading-disturbed": note("the last row was read at a disturbed place with its take-off open")}
TURNED_OTHERWISE = {"screw-turned-otherwise": note("the latest row contradicts the moves, and no second one agrees")}

#: What an adviser of air takes from the evidence beside its inputs.
AIR_READS = {
    "airflow": read("every row of it, weighed with the moves between: what each barrel draws, what a turn does"),
    "depression": read("the same, where `flow` is a depression"),
    "engine speed": read("the speed at every row, so that air and speed are told apart"),
    "take-off": read("take-offs that could not be plugged: their barrel is held to its neighbour"),
}


@dataclass(frozen=True, kw_only=True)
class AskedOfFlow(Asked):
    """What an adviser asks that holds a row of the gauge against what is allowed."""

    tolerance: Tolerance
    least_flow: LeastFlow = None
    least_depression: LeastDepression = None


@dataclass(frozen=True, kw_only=True)
class AskedOfAir(AskedOfFlow):
    """What an adviser asks that sets air by the gauge, between bodies or within one."""

    speed: SpeedThen = None
    coupling: Coupling = None
    master: Master = None
    by_aim: ByAim = None
    body_limit: BodyLimit = None
