"""Taking a job in: the fields of the form, what they begin with, and the job that they make; pure but for the job's
own check.

No family is known here: families, their counts, their words and the further facts that they need come from the
procedures.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from engine.evidence import Place
from engine.quantity import wording
from engine.quantity.chosen import ChosenUnits
from engine.quantity.units import UNITS
from engine.session.view import ScrewRow
from engine.vocabulary.vocabulary import SHIPPED
from tui.control.entry import Cell, Fields, Refusal, Row, read
from tui.drawing import phrases
from tui.drawing.bank import BankPlan

if TYPE_CHECKING:
    from engine.job.model import Job

YES_NO = phrases.NO_YES
UNKNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Fact:
    """One further thing that a family's procedures need from the job: its path, and what it may be."""

    path: str
    choices: tuple[str, ...] = ()
    unit: str | None = None
    low: Fraction | None = None
    high: Fraction | None = None
    yes_no: bool = False
    default: str = ""


@dataclass(frozen=True, slots=True)
class Family:
    """One family that some procedure is written for, with the counts that they allow and the words that they use."""

    name: str
    carbs: tuple[int, int] = (1, 12)
    barrels: tuple[int, int] = (1, 4)
    terms: Mapping[str, str] = field(default_factory=dict)
    facts: tuple[Fact, ...] = ()
    #: Kinds of mixture screws that its procedures know.
    screws: tuple[str, ...] = tuple(SHIPPED.mixture_screws)


def _text(name: str, ask: str, hint: str = "", fault: Callable[[str], str] | None = None) -> Row:
    return Row(name, ask, (Cell("", None, "text", optional=True, fault=fault),), hint=hint, start=("",))


def _no_date(text: str) -> str:
    if re.fullmatch(r"\d{4}", text):
        return ""
    try:
        date.fromisoformat(text)
    except ValueError:
        return f"'{text[:20]}' is no date. Write it like 1971-05-01, or leave it empty."
    return ""


def _no_distance(text: str) -> str:
    """A bare number of the odometer may be either; half of them would be read as the other."""
    if not re.fullmatch(r"[\d.,'  ]+", text):
        return ""
    return f"Kilometres or miles? Write {text} km, or {text} miles."


def _no_sizes(text: str) -> str:
    wrong = next((size for size in _sizes(text) if not re.fullmatch(r"\d+([.,]\d+)?(mm)?", size)), None)
    way = "Write 50, or one a barrel with blanks between: 50 50 55 50."
    return f"'{wrong[:20]}' is no jet number. {way}" if wrong else ""


def _sizes(text: str) -> list[str]:
    return re.split(r"[\s;]+", re.sub(r"\s+mm\b", "mm", text.strip()))


def _number(
    name: str, ask: str, unit: str, low: float, high: float, start: str = "", hint: str = "", optional: bool = False
) -> Row:
    cell = Cell("", None, "number", unit, Fraction(str(low)), Fraction(str(high)), optional=optional)
    return Row(name, ask, (cell,), hint=hint, start=(start,))


def _choice(name: str, ask: str, choices: Sequence[str], start: int = 1, hint: str = "") -> Row:
    return Row(name, ask, (Cell("", None, "choice", choices=tuple(choices)),), hint=hint, start=(str(start),))


def rows(
    families: Sequence[Family], chosen: Family, texts: Mapping[str, str], units: ChosenUnits | None = None
) -> tuple[Row, ...]:
    """The fields of the form, in the order in which a customer tells it and a technician looks; in the shop's units."""
    carbs, barrels, body = chosen.carbs, chosen.barrels, wording.term(chosen.terms, "carb")
    base = (
        _text("title", "Complaint"),
        _text("customer", "Customer"),
        _text("vehicle.description", "Vehicle", "as the customer names it"),
        _text("vehicle.registration", "Registration"),
        _text("vehicle.odometer", "Odometer", "with km or miles behind it", _no_distance),
        _text(
            "vehicle.first_used", "First used", "the year, or a day like 1971-05-01: the limits hang on it", _no_date
        ),
        _number("engine.cylinders", "Cylinders", "", 1, 16, "4"),
        _number("engine.displacement", "Displacement", "cc", 20, 12000),
        _number("engine.idle_speed", "Idle speed wanted", "rpm", 300, 3000, "900"),
        _number("engine.peak_power_speed", "Speed of peak power", "rpm", 1500, 15000, optional=True),
        _choice("engine.use", "Used for", ("road", "fast road", "race")),
        _choice("bank.family", "Carburettors", [f.name for f in families], _at(families, chosen)),
        _number("bank.carbs", f"How many {wording.several(body)}", "", *carbs, str(_usual(carbs))),
        _number("bank.barrels_per_carb", f"Barrels in each {body}", "", *barrels, str(barrels[0])),
        _number("bank.cylinders_per_barrel", "Cylinders on each barrel", "", 1, 4, fed(texts)),
        _choice("bank.manifold", "Manifold", ("separate", "shared"), 1, "shared: all barrels feed one plenum"),
        _choice("bank.mixture_screw", "Mixture screw", (*chosen.screws, UNKNOWN), len(chosen.screws) + 1),
        _choice("bank.air_bypass_screws", "Air bypass screws", YES_NO),
        _choice("bank.linkage_balance_screws", "Linkage balance screws", YES_NO),
        _number("bank.throttle_bore", "Throttle bore", "mm", 10, 80, optional=True),
        _number("bank.choke", "Choke", "mm", 8, 70, optional=True),
        *(
            _text(
                f"bank.{jet}",
                phrases.plain(jet).capitalize(),
                f"{row[0]} for all, or one a barrel: {row[1]}",
                _no_sizes,
            )
            for jet, row in _LIKE.items()
        ),
        _text("bank.disturbed", "Gauge reading spoilt at", "by a take-off: 2.1 is body 2, barrel 1"),
        *(_choice(f"instruments.{name}", ask, YES_NO, start) for name, ask, start in _INSTRUMENTS),
        _choice("instruments.exhaust_sampling", "Exhaust taken", ("merged", "each cylinder"), 1),
        _number("fuel.ethanol", "Ethanol in the petrol", "%", 0, 100, "5"),
        _number("conditions.altitude", "Altitude", "m", -500, 5000, "0"),
        _number("conditions.temperature", "Air temperature", "degC", -40, 60, "15"),
    )
    known = {row.name for row in base}
    every = (*base, *(_further(fact) for fact in chosen.facts if fact.path not in known))
    return tuple(_in_units(row, units or ChosenUnits()) for row in every)


#: How sizes of each kind are written, one for all and a row.
_LIKE = {
    "main_jet": ("130", "130 130 135 130"),
    "air_corrector": ("175", "175 175 170 175"),
    "idle_jet": ("50", "50 50 55 50"),
    "pump_jet": ("40", "40 40 45 40"),
}


def _in_units(row: Row, units: ChosenUnits) -> Row:
    """A field in the unit that the shop chose; a length stays, since a part is called by its size."""
    cell = row.cells[0]
    unit = units.unit(cell.unit) if cell.kind == "number" and cell.unit else cell.unit
    if unit == cell.unit or not cell.unit or UNITS[cell.unit].dimension == "length":
        return row
    start = tuple(wording.decimal(units.shown(Fraction(s), cell.unit)) if s else s for s in row.start or ())
    ends = (units.shown(end, cell.unit) for end in (cell.low, cell.high))
    return replace(row, cells=(replace(cell, unit=unit, **dict(zip(("low", "high"), ends, strict=True))),), start=start)


_INSTRUMENTS = (
    ("airflow_gauge", "Airflow gauge to hand", 2),
    ("vacuum_gauges", "Vacuum gauges to hand", 1),
    ("tachometer", "Tachometer to hand", 2),
    ("lambda_meter", "Lambda meter to hand", 1),
    ("co_meter", "CO meter to hand", 1),
)


#: What is asked for further facts in other words than their names.
_CALLED = {"instruments.gas_analyser": "Four-gas analyser to hand"}


def _at(families: Sequence[Family], chosen: Family) -> int:
    return next((n for n, f in enumerate(families, 1) if f.name == chosen.name), 1)


def _usual(span: tuple[int, int]) -> int:
    return max(span[0], min(2, span[1]))


def _further(fact: Fact) -> Row:
    room, _, name = fact.path.rpartition(".")
    ask = phrases.plain(name).capitalize()
    if fact.yes_no and room == "instruments":
        ask = f"{ask} to hand"
    ask = _CALLED.get(fact.path, ask)
    if fact.yes_no:
        return _choice(fact.path, ask, YES_NO, 2 if fact.default == "yes" else 1)
    if fact.choices:
        start = fact.choices.index(fact.default) + 1 if fact.default in fact.choices else 1
        return _choice(fact.path, ask, fact.choices, start)
    cell = Cell("", None, "number", fact.unit or "", fact.low, fact.high)
    return Row(fact.path, ask, (cell,), start=(fact.default,))


def fed(texts: Mapping[str, str]) -> str:
    """How many cylinders each barrel feeds, if that comes out even."""
    try:
        cylinders, carbs, per = (int(texts[k]) for k in ("engine.cylinders", "bank.carbs", "bank.barrels_per_carb"))
    except (KeyError, ValueError):
        return "1"
    each, rest = divmod(cylinders, carbs * per) if carbs * per else (1, 1)
    return str(each) if not rest and 1 <= each <= 4 else "1"


class Form:
    """The form as it is being filled in."""

    def __init__(self, families: Sequence[Family], units: ChosenUnits | None = None) -> None:
        self.families = tuple(families) or (Family("any"),)
        self.chosen = self.families[0]
        self.units = units or ChosenUnits()
        self.fields = Fields(rows(self.families, self.chosen, {}, units), title="TAKE IN", listed=True)
        #: What is known of the job beyond what is asked.
        self.known: dict[str, Any] = {}

    def texts(self) -> dict[str, str]:
        """What stands in each field."""
        return {row.name: self.fields.typed(row)[0] for row in self.fields.rows}

    def follow(self) -> None:
        """After something was typed: another family changes what is asked, counts change what is proposed."""
        texts = self.texts()
        family = self._family(texts)
        proposed = fed(texts)
        changed = family.name != self.chosen.name
        if not changed and texts.get("bank.cylinders_per_barrel") == proposed:
            return
        begin: dict[str, str] = {}
        fresh = {row.name: row for row in rows(self.families, family, texts, self.units)}
        if changed:
            begin = {name: (fresh[name].start or ("",))[0] for name in ("bank.carbs", "bank.barrels_per_carb")}
        before = next(i for i, row in enumerate(self.fields.rows) if row.name == "bank.cylinders_per_barrel")
        if changed or self.fields.at < before:
            begin["bank.cylinders_per_barrel"] = proposed
        elif not changed:
            return
        self.chosen = family
        self.fields.rebuild(tuple(fresh.values()), begin)

    def _family(self, texts: Mapping[str, str]) -> Family:
        said = texts.get("bank.family", "")
        known = said.isdecimal() and 1 <= int(said) <= len(self.families)
        return self.families[int(said) - 1] if known else self.chosen

    def begin(self, job: Job, keep: Sequence[str] = ()) -> None:
        """Begin with what is known of a job: each field that it says something of, but for those to `keep`."""
        family = next((f for f in self.families if f.name == job.bank.family), None)
        if family is None:
            return
        kept = {name: text for name, text in self.texts().items() if name in keep}
        self.chosen = family
        counts = {"bank.carbs": str(job.bank.carbs)}
        if job.has_engine:
            counts["engine.cylinders"] = str(job.engine.cylinders)
        fresh = rows(self.families, family, counts, self.units)
        begin = {}
        for row, shown in zip(rows(self.families, family, counts), fresh, strict=True):
            value = job.at(row.name)
            if row.cells[0].unit != shown.cells[0].unit:
                value = self.units.shown(value, row.cells[0].unit)
            if (text := _text_of(row, value)) is not None:
                begin[row.name] = text
        begin["bank.family"] = str(_at(self.families, family))
        self.fields.rebuild(fresh, {**begin, **kept})
        self.known = job.model_dump(mode="json", exclude={"customer", "vehicle", "title"})

    def data(self) -> dict[str, Any]:
        """The job as nested keys, with only what was said. Raises `Refusal` with the field's name, and goes there."""
        out: dict[str, Any] = {}
        for n, row in enumerate(self.fields.rows):
            text = self.fields.texts[n].strip()
            try:
                value = read(row.cells[0], text)
            except Refusal as fault:
                self.fields.go(n)
                raise Refusal(f"{row.ask}: {fault}") from None
            said = _said(row, value)
            if said is None:
                continue
            *path, last = row.name.split(".")
            here = out
            for part in path:
                here = here.setdefault(part, {})
            here[last] = said
        return _over(self.known, out, [row.name for row in self.fields.rows])

    def job(self) -> Job:
        """The job, checked. Raises `Refusal` with a sentence."""
        from pydantic import ValidationError

        from engine.job.model import Job

        try:
            return Job.model_validate(self.data())
        except ValidationError as fault:
            first = fault.errors(include_url=False)[0]
            where = ".".join(str(part) for part in first["loc"] if isinstance(part, str))
            for n, row in enumerate(self.fields.rows):
                if where and where.startswith(row.name):
                    self.fields.go(n)
                    where = row.ask
                    break
            said = str(first["msg"]).removeprefix("Value error, ")
            said = said if said.endswith((".", "?")) else f"{said}."
            raise Refusal(f"{where}: {said}" if where else said) from None

    def plan(self) -> BankPlan:
        """The bank as far as it is filled in."""
        texts = self.texts()

        def counted(name: str, usual: int) -> int:
            said = texts.get(name, "")
            return max(1, min(12, int(said))) if said.isdecimal() else usual

        carbs, per = counted("bank.carbs", 2), min(4, counted("bank.barrels_per_carb", 1))
        barrels = tuple(Place(c, b) for c in range(1, carbs + 1) for b in range(1, per + 1))
        screws: list[ScrewRow] = []

        def fitted(name: str, each: str, places: tuple[Place, ...]) -> None:
            screws.append(
                ScrewRow(
                    name,
                    each,
                    "",
                    "",
                    "turn",
                    "",
                    places,
                    (None,) * len(places),
                    None,
                    Fraction(1, 8),
                    (Fraction(0), Fraction(8)),
                )
            )

        if texts.get("bank.mixture_screw") not in (str(len(self.chosen.screws) + 1), ""):
            fitted("mixture", "barrel", barrels)
        if texts.get("bank.air_bypass_screws") == "2":
            fitted("air bypass", "barrel", barrels)
        if texts.get("bank.linkage_balance_screws") == "2" and carbs > 1:
            fitted("balance", "gap", tuple(Place(c) for c in range(1, carbs)))
        jets = [size for size in _sizes(texts.get("bank.idle_jet", "")) if size]
        row = jets * len(barrels) if len(jets) == 1 else jets
        marks = {p: f"idle jet {size}" for p, size in zip(barrels, row, strict=False)}
        for place in _places(texts.get("bank.disturbed", "")):
            marks[place] = f"{marks.get(place, '')} reading spoilt".strip()
        return BankPlan(carbs, per, self.chosen.terms, {}, "", None, None, tuple(screws), marks)


def _over(known: Mapping[str, Any], said: dict[str, Any], asked: Sequence[str]) -> dict[str, Any]:
    """What is said, and of what is known beside it that which nobody was asked for."""
    out = dict(said)
    for key, value in known.items():
        if isinstance(value, dict):
            inner = [name.partition(".")[2] for name in asked if name.startswith(f"{key}.")]
            out[key] = _over(value, out.get(key, {}), inner)
        elif key not in asked and value is not None:
            out.setdefault(key, value)
    return {key: value for key, value in out.items() if value != {}}


def _text_of(row: Row, value: Any) -> str | None:
    """What is typed for a value of a job; None where the job does not say."""
    if value is None:
        return None
    cell = row.cells[0]
    if cell.kind == "choice":
        said = ("yes" if value else "no") if isinstance(value, bool) else str(value)
        return str(cell.choices.index(said) + 1) if said in cell.choices else None
    if row.name == "bank.disturbed":
        return " ".join(f"{p.carb}.{p.barrel or 1}" for p in value)
    if isinstance(value, tuple):
        sizes = [wording.decimal(size) for size in value]
        return sizes[0] if len(set(sizes)) == 1 else " ".join(sizes)
    if isinstance(value, Fraction | int):
        return wording.decimal(Fraction(value))
    return str(value)


def _said(row: Row, value: Any) -> Any:
    """A value as a job file has it; None where nothing is said."""
    if value is None or value == UNKNOWN:
        return None
    cell = row.cells[0]
    if cell.choices == YES_NO:
        return value == "yes"
    if row.name == "bank.disturbed":
        return [{"carb": p.carb, "barrel": p.barrel} for p in _places(value)]
    if row.name.endswith(("_jet", "_corrector")):
        sizes = _sizes(value)
        return sizes[0] if len(sizes) == 1 else sizes
    if isinstance(value, Fraction):
        said = str(value.numerator) if value.denominator == 1 else wording.decimal(value)
        return f"{said} {cell.unit}" if cell.unit else int(said) if value.denominator == 1 else said
    return value


def _places(text: str) -> list[Place]:
    found = re.findall(r"(\d+)(?:[.·/](\d+))?", text)
    return [Place(int(carb), int(barrel) if barrel else 1) for carb, barrel in found]


def file_name(data: Mapping[str, Any], day: str) -> str:
    """A file's name for a job: the day, and the registration, the vehicle or the complaint."""
    vehicle = data.get("vehicle", {})
    name = vehicle.get("registration") or vehicle.get("description") or data.get("title") or "job"
    plain = re.sub(r"[^a-z0-9]+", "-", str(name).lower()).strip("-")[:40] or "job"
    return f"{day}-{plain}"
