"""The job: what is known of engine, bank, fitted parts and instruments before the first reading; it never changes.

Only `engine.cylinders`, `engine.displacement`, `engine.idle_speed` and `bank` are needed for the idle routine. Bank and
instruments take further keys, so that a family of another trade can be written without a change of code.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, model_validator

from engine.quantity.units import NotAQuantity, convert, parse_quantity, write_number
from engine.vocabulary.entries import DECLARED, Band
from engine.vocabulary.vocabulary import mixture_screw_name


@dataclass(frozen=True, slots=True)
class Measured:
    """What a number of the job is: its unit and the closed range in it; seen on the fields of the model."""

    unit: str
    low: Fraction
    high: Fraction


def _quantity(unit: str, low: float, high: float) -> tuple[Any, ...]:
    """What makes a `Fraction` of the job: a text like `1598 cc` or a bare number, exactly in `unit`, in [low, high]."""

    def read(value: Any) -> Fraction:
        if isinstance(value, bool) or value is None:
            raise ValueError(f"a number in {unit} belongs here")
        number, found = parse_quantity(str(value), unit)
        number = convert(number, found.name, unit)
        if not low <= number <= high:
            raise ValueError(f"{value} is outside {low:g} to {high:g} {unit}")
        return number

    return (
        BeforeValidator(read, json_schema_input_type=str | float),
        PlainSerializer(lambda v: f"{write_number(v)} {unit}", when_used="json"),
        Measured(unit, Fraction(low), Fraction(high)),
    )


#: No engine with a bank of carburettors has more [common practice].
MOST_CYLINDERS = 16


def _text(value: Any) -> str:
    if isinstance(value, list | tuple | dict):
        raise ValueError("a text belongs here; put it in quotes where it begins with a bracket")
    return "" if value is None else str(value)


#: Any text; a number or nothing is taken as it is written.
Text = Annotated[str, BeforeValidator(_text, json_schema_input_type=str | float | None)]


def _day(value: Any) -> str:
    """A date as YAML or a technician writes it, as YYYY-MM-DD; empty where it is not known."""
    if value is None or value == "":
        return ""
    if isinstance(value, date):
        return value.isoformat()[:10]
    said = str(value).strip()
    if len(said) == 4 and said.isdecimal() and said > "1884":
        return said
    try:
        return date.fromisoformat(str(value).strip()).isoformat()
    except ValueError:
        raise ValueError(
            f"'{str(value)[:20]}' is no date; write it like 1971-05-01, the year alone, or leave it out"
        ) from None


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Open(BaseModel):
    """A part of the job that takes further keys, for families that no code knows."""

    model_config = ConfigDict(extra="allow", frozen=True)


class Vehicle(_Part):
    """The vehicle as the customer would name it; kept apart from the record of the run."""

    description: Text = ""
    registration: Text = ""
    odometer: Text = ""
    first_used: Annotated[str, BeforeValidator(_day)] = Field(
        "", description="Date of first use, YYYY-MM-DD, or the year alone: selects emission limits."
    )
    jurisdiction: Text = Field("", description="Whose emission limits hold; empty for the one the shop's table names.")


class Engine(_Part):
    """The engine, in the figures that the computations need."""

    cylinders: int = Field(ge=1, le=MOST_CYLINDERS)
    displacement: Annotated[Fraction, *_quantity("cc", 20, 12000)]
    idle_speed: Annotated[Fraction, *_quantity("rpm", 300, 3000)]
    peak_power_speed: Annotated[Fraction, *_quantity("rpm", 1500, 15000)] | None = None
    use: Literal["road", "fast road", "race"] = "road"


#: Stands where a job has no engine to speak of: a trade that sets something else in a row. Nothing computes with it.
NO_ENGINE = Engine.model_construct(cylinders=0, displacement=Fraction(0), idle_speed=Fraction(0), use="road")


class Place(_Part):
    """A place on the bank; `carb` counts from 1 along it, `barrel` from 1 within its carb."""

    carb: int = Field(ge=1)
    barrel: int | None = Field(None, ge=1)


def _row(value: Any) -> tuple[Fraction, ...] | None:
    """One size for all, or a row of sizes, a value a barrel."""
    if value is None:
        return None
    items = value if isinstance(value, list | tuple) else [value]
    return tuple(_size(v) for v in items)


def _size(value: Any) -> Fraction:
    if isinstance(value, bool):
        raise NotAQuantity("A jet number belongs here, such as 50.")
    number, unit = parse_quantity(str(value), "")
    if unit.name == "mm":
        number *= 100
    elif unit.name:
        raise ValueError(f"{value} is no jet number; write its bore in hundredths of a mm (130), or in mm (1.30 mm)")
    if not 1 <= number <= 1000:
        raise ValueError(f"{value} is no jet number (hundredths of a mm, 1 to 1000)")
    return number


def _written(number: Fraction) -> int | str:
    return number.numerator if number.denominator == 1 else write_number(number)


Sizes = Annotated[
    tuple[Fraction, ...] | None,
    BeforeValidator(_row, json_schema_input_type=float | str | list[float | str] | None),
    PlainSerializer(lambda v: None if v is None else [_written(x) for x in v], when_used="json"),
]


@dataclass(frozen=True, slots=True)
class WordOf:
    """A word of the vocabulary: which table of it; seen on the fields of the model."""

    table: Literal["mixture_screws"]


#: A kind of mixture screw, by the vocabulary's own name.
KindOfScrew = Annotated[
    str,
    BeforeValidator(lambda v: mixture_screw_name(v) if isinstance(v, str) else v, json_schema_input_type=str),
    WordOf("mixture_screws"),
]


class ScrewBand(_Part):
    """A kind of mixture screw that the vocabulary does not have, in turns out from its seat."""

    out: Literal["richer", "leaner"] = "richer"
    start: Annotated[Fraction, *_quantity("turn", -30, 30)]
    rest: tuple[Annotated[Fraction, *_quantity("turn", -30, 30)], Annotated[Fraction, *_quantity("turn", -30, 30)]]
    doubt: tuple[Annotated[Fraction, *_quantity("turn", -30, 30)], Annotated[Fraction, *_quantity("turn", -30, 30)]]
    source: Text = DECLARED

    @classmethod
    def of(cls, out: Literal["richer", "leaner"], band: Band, source: str) -> ScrewBand:
        """From the vocabulary's."""
        return cls(out=out, start=band.start, rest=band.rest, doubt=band.doubt, source=source)

    def band(self) -> Band:
        """As the vocabulary has it."""
        return Band(self.start, self.rest, self.doubt, "large" if self.out == "richer" else "small")


class Bank(_Open):
    """The carburettors of one engine. Rows run carb 1 barrel 1, carb 1 barrel 2, carb 2 barrel 1 ..."""

    family: str
    carbs: int = Field(ge=1, le=12)
    barrels_per_carb: int = Field(1, ge=1, le=4)
    cylinders_per_barrel: int = Field(1, ge=1, le=4)
    manifold: Literal["separate", "shared"] = Field(
        "separate", description="'shared': all barrels feed one plenum, so a barrel belongs to no cylinder."
    )
    mixture_screw: KindOfScrew | None = Field(
        None, description="Its kind: short taper, long taper, fuel screw, air screw, jet nut, or one that is declared."
    )
    mixture_screw_band: ScrewBand | None = Field(
        None, description="Of a kind that the vocabulary does not have: what it does and where it belongs."
    )
    air_bypass_screws: bool = False
    linkage_balance_screws: bool = False
    throttle_bore: Annotated[Fraction, *_quantity("mm", 10, 80)] | None = None
    choke: Annotated[Fraction, *_quantity("mm", 8, 70)] | None = None
    main_jet: Sizes = None
    air_corrector: Sizes = None
    idle_jet: Sizes = None
    pump_jet: Sizes = None
    disturbed: tuple[Place, ...] = Field((), description="Places where a take-off spoils the gauge reading.")

    @property
    def barrels(self) -> int:
        """Barrels of the whole bank."""
        return self.carbs * self.barrels_per_carb

    def count(self, each: str, cylinders: int) -> int:
        """How many places a row `each: carb | barrel | gap | cylinder` has on this bank."""
        return {"carb": self.carbs, "barrel": self.barrels, "gap": self.carbs - 1, "cylinder": cylinders}[each]


class Fuel(_Part):
    """The petrol in the tank."""

    ethanol: Annotated[Fraction, *_quantity("%", 0, 100)] = Fraction(0)


class Instruments(_Open):
    """What the shop has; each `true` or `false`, and what is known of it. Further instruments may be named."""

    airflow_gauge: bool = True
    vacuum_gauges: bool = False
    tachometer: bool = True
    lambda_meter: bool = False
    co_meter: bool = False
    tachometer_step: Annotated[Fraction, *_quantity("rpm", 1, 500)] | None = Field(
        None, description="In what steps the tachometer shows; left out: not known."
    )
    tachometer_scatter: Annotated[Fraction, *_quantity("rpm", 0, 500)] | None = Field(
        None, description="Scatter of its reading at a steady idle, one standard deviation; left out: not known."
    )
    airflow_scale: Literal["kg/h", "divisions"] = Field(
        "kg/h", description="'divisions': a scale of its own, which tells what is equal and claims no kg/h."
    )
    airflow_range: Annotated[Fraction, *_quantity("kg/h", 5, 200)] | None = Field(
        None, description="Top of the airflow gauge's scale."
    )
    co_range: Annotated[Fraction, *_quantity("%", 1, 20)] | None = Field(
        None, description="Top of the CO meter's scale."
    )
    exhaust_sampling: Literal["each cylinder", "merged"] = Field(
        "merged",
        description="'merged': one pipe after the junction, which names no cylinder; 'each cylinder': a probe in each.",
    )


class Shelf(_Part):
    """The jets that the shop has to hand, by number: what is named as next is one of them where any are listed."""

    idle_jets: Sizes = None
    main_jets: Sizes = None
    air_correctors: Sizes = None


class Conditions(_Part):
    """The air of the day."""

    altitude: Annotated[Fraction, *_quantity("m", -500, 5000)] = Fraction(0)
    temperature: Annotated[Fraction, *_quantity("degC", -40, 60)] = Fraction(15)


class LastVisit(_Part):
    """What a vehicle left with at its last visit here, as far as the record tells: a recheck holds today against it."""

    job: int | None = Field(None, ge=1, description="Its number in the job book.")
    day: Annotated[str, BeforeValidator(_day)] = Field("", description="The day, YYYY-MM-DD.")
    idle_speed: Annotated[Fraction, *_quantity("rpm", 300, 3000)] | None = Field(None, description="Speed as left.")
    mixture_screws: tuple[Annotated[Fraction, *_quantity("turn", -30, 30)] | None, ...] = Field(
        (), description="Where the mixture screws stood as left, place by place, in turns; null where nobody knew."
    )
    airflow: tuple[Annotated[Fraction, *_quantity("kg/h", 0, 500)] | None, ...] = Field(
        (), description="Airflow as left, place by place; null where it was not taken."
    )
    depression: tuple[Annotated[Fraction, *_quantity("kPa", 0, 110)] | None, ...] = Field(
        (), description="Depression as left, place by place; null where it was not taken."
    )
    left_open: tuple[Text, ...] = Field((), description="What stood open at its end, a sentence each.")


class Job(_Part):
    """One visit of one vehicle. `customer` and `vehicle` are optional and never reach the record of a run."""

    title: Text = ""
    customer: Text = ""
    vehicle: Vehicle = Vehicle()
    engine: Engine = Field(
        NO_ENGINE, description="The engine; left out where a trade has none.", validate_default=False
    )
    bank: Bank
    fuel: Fuel = Fuel()
    instruments: Instruments = Instruments()
    shelf: Shelf = Shelf()
    conditions: Conditions = Conditions()
    last_visit: LastVisit = LastVisit()
    settings: dict[str, str | int | float] = Field({}, description="Values of procedure settings for this job only.")

    @model_validator(mode="after")
    def _fits(self) -> Job:
        bank, engine = self.bank, self.engine
        if (
            self.has_engine
            and bank.manifold == "separate"
            and bank.barrels * bank.cylinders_per_barrel != engine.cylinders
        ):
            raise ValueError(
                f"{bank.carbs} carbs of {bank.barrels_per_carb} barrels with {bank.cylinders_per_barrel} cylinder(s) a "
                f"barrel serve {bank.barrels * bank.cylinders_per_barrel} cylinders, but the engine has "
                f"{engine.cylinders}. Correct the counts, or set bank.manifold: shared if one plenum feeds them all."
            )
        for name in ("main_jet", "air_corrector", "idle_jet", "pump_jet"):
            row = getattr(bank, name)
            if row is not None and len(row) not in (1, bank.barrels):
                raise ValueError(
                    f"bank.{name} lists {len(row)} sizes; give one for all, or {bank.barrels}, one a barrel."
                )
        for place in bank.disturbed:
            if place.carb > bank.carbs or (place.barrel or 1) > bank.barrels_per_carb:
                name = f"carb {place.carb}" + (f" barrel {place.barrel}" if place.barrel else "")
                raise ValueError(
                    f"bank.disturbed names {name}, but this bank has {bank.carbs} carbs of "
                    f"{bank.barrels_per_carb} barrels."
                )
        if bank.choke and bank.throttle_bore and bank.choke > bank.throttle_bore:
            raise ValueError("bank.choke is larger than bank.throttle_bore; read both again.")
        return self

    @property
    def has_engine(self) -> bool:
        """Whether the job says its engine."""
        return self.engine.cylinders > 0

    def row(self, name: str) -> tuple[Fraction, ...] | None:
        """A bank row of jet sizes spread to one value a barrel, or None where the job does not say."""
        sizes: tuple[Fraction, ...] | None = getattr(self.bank, name)
        if sizes is None:
            return None
        return sizes * self.bank.barrels if len(sizes) == 1 else sizes

    def at(self, path: str) -> Any:
        """The value under a dotted path (`bank.air_bypass_screws`), or None where the job does not say."""
        here: Any = self
        if path.startswith("engine.") and not self.has_engine:
            return None
        for part in path.split("."):
            if isinstance(here, BaseModel):
                known = part in type(here).model_fields or part in (here.model_extra or {}) or part == "barrels"
                here = getattr(here, part, None) if known else None
            else:
                here = here.get(part) if isinstance(here, dict) else None
            if here is None:
                return None
        return here

    def engineering(self) -> dict[str, Any]:
        """The part of the job that a run may record: everything but the persons."""
        persons = {"customer", "vehicle", "title"}
        return self.model_dump(mode="json", exclude=persons if self.has_engine else {*persons, "engine"})
