"""Short words for writing an adviser's contract, and the parts that several contracts share; it computes nothing."""

from __future__ import annotations

from fractions import Fraction

from engine.contract import Input, Output, Raises, Read
from engine.procedure.language.expr import Type
from engine.quantity.units import UNITS, to_base


def _type(unit: str, low: str | None, high: str | None, each: str | None = None, holes: bool = False) -> Type:
    """A number in `unit`, with a closed range given in that unit."""
    least, most = (None if v is None else to_base(Fraction(v), unit) for v in (low, high))
    return Type("number", UNITS[unit].dimension, unit, least, most, each=each, holes=holes)  # type: ignore[arg-type]


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


def truth(about: str, optional: bool = True) -> Input:
    """An input bound to a yes or no: a fact or a comparison."""
    return Input("value", about, type=Type("bool"), optional=optional)


def choice(about: str, *choices: str, optional: bool = True) -> Input:
    """An input bound to one of some words: a fact, or a reading with these choices."""
    return Input("value", about, type=Type("choice", choices=choices), optional=optional)


def says(about: str, *choices: str, each: str | None = None) -> Output:
    """An output in words; a row of them over `each`."""
    return Output(Type("choice", choices=choices, each=each), about)  # type: ignore[arg-type]


def gives(about: str, unit: str, low: str, high: str, each: str | None = None, holes: bool = False) -> Output:
    """An output as a number in `unit` within the closed range, one or a row; never absent, but for places of a row with
    `holes` of which nothing is known."""
    return Output(_type(unit, low, high, each, holes), about)


def truths(about: str, each: str = "barrel") -> Input:
    """An input bound to a row of yes or no, as `which(...)` gives it; always optional."""
    return Input("value", about, type=Type("bool", each=each, holes=True), optional=True)  # type: ignore[arg-type]


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

FLOW = reading("the gauge, place by place", "airflow", "depression", each=("barrel", "carb", "cylinder"))
SPEED = reading("engine speed, gauge off", "engine speed")
PLATE = screw(
    "the speed screws; with `coupling` the one that moves all, or one a body of which only the master's "
    "(see `master`) is turned",
    "air",
    "plate",
    each=("carb", "barrel", "bank"),
)
COUPLING = screw(
    "the balance screws between coupled bodies: bind it where the bodies stay coupled",
    "air",
    "coupling",
    each=("gap", "carb"),
    optional=True,
)
BYPASS = screw(
    "air bypass screws: bind it to set bodies and barrels in one round (lower barrels only, one shut a body)",
    "air",
    "bypass",
    each=("barrel",),
    optional=True,
)
MASTER = number("coupled bodies: the body whose speed screw moves all (left out: 1)", "", "1", "12", optional=True)
PLATE_MOVED = screw(
    "the speed screws, so that air moved between rows is known",
    "air",
    "plate",
    each=("carb", "barrel", "bank"),
    optional=True,
)
#: The air screws, bound where an adviser of mixture shall know what air moved: more air leans its barrel.
AIR_SCREWS = {
    "air": PLATE_MOVED,
    "coupling": COUPLING,
    "bypass": BYPASS,
}
TOLERANCES = {
    "tolerance": number("how far a barrel may lie from the mean of all, as a fraction of it", "%", "0.5", "30"),
    "least_flow": number("a flow within which any difference is good", "kg/h", "0", "3", optional=True),
    "least_depression": number("a depression within which any difference is good", "kPa", "0", "10", optional=True),
}
TARGET = number("the idle speed to hold (left out: the job's)", "rpm", "300", "4000", optional=True)
SPEED_TOLERANCE = number("how far the speed may lie from it (left out: 30 rpm)", "rpm", "5", "300", optional=True)
BODY_LIMIT = number(
    "the difference within one body that is a fault to mend, not to mask (left out: 1 kg/h)",
    "kg/h",
    "0.2",
    "5",
    optional=True,
)
BY_AIM = truth("whether the last move may be by aim at the gauge (left out: yes)")
LAMBDA = reading("lambda by barrel or cylinder", "lambda", each=("barrel", "cylinder", "carb"), optional=True)
CO = reading("CO by barrel or cylinder", "CO", each=("barrel", "cylinder", "carb"), optional=True)

GAP = gives("the furthest barrel from the mean, as a fraction of the mean", "%", "0", "200")
SURENESS = gives("how likely what the verdict says is true", "%", "0", "100")
SPEED_OFF = gives("best estimate of speed less target", "rpm", "-5000", "5000")

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
