"""The units that a shop chose to be shown and to type: from what a file declares to what is seen, and back, exactly.

It converts at the edge alone. What is stored, compared, advised and said over the line protocol stays in the unit that
the file declares.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from engine.quantity.units import UNITS, convert
from engine.quantity.values import OverRange

#: Dimensions in which people measure in units of their own; turns, revolutions and jets are counted alike everywhere.
CHOOSABLE: Mapping[str, tuple[str, ...]] = {
    "pressure": ("kPa", "bar", "mbar", "hPa", "psi", "mmHg", "cmHg", "inHg"),
    "temperature": ("degC", "degF", "K"),
    "length": ("mm", "in"),
    "mass flow": ("kg/h", "g/s"),
}


#: The unit of a gauge with a scale of its own: what it shows is compared, and never turned into another unit.
OWN_SCALE = "division"


class NoSuchUnit(ValueError):
    """What was chosen is no unit of that quantity; the message is a sentence."""


@dataclass(frozen=True, slots=True)
class ChosenUnits:
    """Units by quantity (`depression`) or by dimension (`pressure`); a quantity outranks its dimension."""

    by: Mapping[str, str] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.by)

    def unit(self, unit: str | None, quantity: str = "") -> str | None:
        """The unit in which something declared in `unit` is shown; the same where nothing was chosen for it."""
        if not unit or not self.by:
            return unit
        dimension = UNITS[unit].dimension
        chosen = self.by.get(quantity) or self.by.get(dimension)
        fits = chosen is not None and (chosen == OWN_SCALE or UNITS[chosen].dimension == dimension)
        return chosen if fits else unit

    def shown(self, value: Any, unit: str | None, quantity: str = "") -> Any:
        """A value or row declared in `unit`, as it is shown; what is no number stays as it is."""
        return _each(value, unit, self.unit(unit, quantity))

    def typed(self, value: Any, unit: str | None, quantity: str = "") -> Any:
        """What was typed in the chosen unit, in the declared one."""
        return _each(value, self.unit(unit, quantity), unit)

    def width(self, value: Fraction, unit: str | None, quantity: str = "") -> Fraction:
        """A difference declared in `unit`, as it is shown: no offset."""
        to = self.unit(unit, quantity)
        return value if not unit or not to or to in (unit, OWN_SCALE) else value * UNITS[unit].factor / UNITS[to].factor

    def mark(self, step: Fraction, unit: str | None, quantity: str = "") -> Fraction:
        """The division of a scale, as it is shown: where the unit is another, the power of ten at or below it, so that
        nothing that the scale shows is lost."""
        wide = self.width(step, unit, quantity)
        if wide == step or wide <= 0:
            return step
        ten = Fraction(1)
        while ten > wide:
            ten /= 10
        while ten * 10 <= wide:
            ten *= 10
        return ten

    def in_text(self, text: str, quantities: Iterable[tuple[str, str]] = ()) -> str:
        """A sentence with its figures in the chosen units: each number, or row of them, that stands before a unit.

        `quantities`: name and unit of what is measured where it is said, since a shop may have chosen for one alone.
        Lengths stay: a part is called by its size, and nobody fits a choke of 1.26 in.
        """
        if not self.by or not text:
            return text
        measured = {UNITS[unit].dimension: name for name, unit in quantities if unit in UNITS and name in self.by}

        def shown(found: re.Match[str]) -> str:
            here = found[2]
            there = self.unit(here, measured.get(UNITS[here].dimension, ""))
            if there is None or there in (here, OWN_SCALE):
                return found[0]
            row = (_as_fine(number, here, there) for number in found[1].split(", "))
            return f"{', '.join(row)} {there}"

        return _FIGURES.sub(shown, text)


#: A number or a row of them before a unit that can be chosen; lengths left out.
_SAID_UNITS = sorted(
    {u for d, units in CHOOSABLE.items() if d != "length" for u in units} - {"K"}, key=len, reverse=True
)
_FIGURES = re.compile(rf"(?<![\w.,])(-?\d+(?:\.\d+)?(?:, -?\d+(?:\.\d+)?)*) ({'|'.join(_SAID_UNITS)})(?![\w/])")


def _as_fine(number: str, here: str, there: str) -> str:
    """A number in another unit, told as finely as it was."""
    value = convert(Fraction(number), here, there)
    finer = math.log10(UNITS[there].factor / UNITS[here].factor)
    digits = max(0, len(number.partition(".")[2]) + math.ceil(finer - 0.3))
    return f"{float(value):.{digits}f}"


def _each(value: Any, here: str | None, there: str | None) -> Any:
    if here == there or not here or not there or OWN_SCALE in (here, there):
        return value
    if isinstance(value, tuple | list):
        return type(value)(_each(v, here, there) for v in value)
    if isinstance(value, OverRange):
        return OverRange(convert(Fraction(value), here, there))
    if isinstance(value, bool) or not isinstance(value, int | Fraction):
        return value
    return convert(Fraction(value), here, there)


def choose(told: Mapping[str, str], quantities: Mapping[str, str | None]) -> ChosenUnits:
    """The units that a shop's settings name. `quantities`: the unit of each quantity by name (None: no number).

    Raises `NoSuchUnit` with a sentence.
    """
    by: dict[str, str] = {}
    for name, said in told.items():
        base = quantities.get(name)
        dimension = UNITS[base].dimension if base is not None else name
        if base is None and name not in CHOOSABLE:
            raise NoSuchUnit(f"'{name}' is no quantity with a unit. {_list(CHOOSABLE)}")
        if dimension not in CHOOSABLE:
            raise NoSuchUnit(f"'{name}' has one unit everywhere, {base}. {_list(CHOOSABLE)}")
        unit = next((u for u in CHOOSABLE[dimension] if u.lower() == said.strip().lower()), None) or _called(said)
        if unit not in CHOOSABLE[dimension]:
            raise NoSuchUnit(f"'{said}' is no unit for {name}: it is {_list(CHOOSABLE[dimension], 'or')}")
        by[name] = unit
    return ChosenUnits(by)


def _called(said: str) -> str:
    from engine.quantity.units import unit_named

    found = unit_named(said.strip())
    return {"°C": "degC"}.get(found.name, found.name) if found is not None else ""


def _list(words: Iterable[str], last: str = "") -> str:
    rows = list(words)
    if last:
        return f"{', '.join(rows[:-1])} {last} {rows[-1]}." if len(rows) > 1 else f"{rows[0]}."
    return f"A shop chooses by quantity, or for all of {', '.join(rows)}."
