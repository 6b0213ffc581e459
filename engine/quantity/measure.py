"""What a number must be where it is asked for: unit, range, step, rounding; the one way in for every typed number.

Screen, line protocol, job files and settings read their numbers here, so that one text means one number everywhere. A
value finer than the step is kept as it is; only a reading that asks for it is rounded to its step.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from engine.quantity.exact import exact, rounded
from engine.quantity.units import UNITS, NotAQuantity, convert, from_base, parse_quantity, to_base
from engine.quantity.wording import number, with_unit


class OutOfRange(NotAQuantity):
    """A number that can't be: it lies outside what is possible where it was asked for."""


@dataclass(frozen=True, slots=True)
class Measure:
    """A number in `unit` within the closed range `low` to `high` (None: open), both in that unit. `step` is the
    division of its scale; with `rounds` the number is brought to the nearest whole multiple of it."""

    unit: str = ""
    low: Fraction | None = None
    high: Fraction | None = None
    step: Fraction | None = None
    rounds: bool = False

    def typed(self, text: str, shown: str | None = None) -> Fraction:
        """The number, in `unit`, that a text means; one without a unit of its own is in `shown` (left out: in
        `unit`).

        Raises `NotAQuantity` with a sentence.
        """
        usual = shown or self.unit
        value, found = parse_quantity(text, usual)
        if found.dimension != UNITS[self.unit].dimension:
            said = f"{found.name} does not belong here" if found.name else "A plain number does not belong here"
            raise NotAQuantity(f"{said}: this is read in {usual or 'plain numbers'}.")
        value = convert(value, found.name, self.unit)
        return self.taken(value, shown=usual)

    def given(self, value: object) -> Fraction:
        """A number of a program, already in `unit`. Raises `NotAQuantity` with a sentence."""
        found = exact(value)
        if found is None:
            raise NotAQuantity(f"'{str(value)[:40]}' is not a number. Give a number in {self.unit or 'plain figures'}.")
        return self.taken(found)

    def taken(self, value: Fraction, shown: str | None = None) -> Fraction:
        """A number in `unit` as it is kept. Raises `OutOfRange` with a sentence that speaks in the unit `shown`."""
        if (self.low is not None and value < self.low) or (self.high is not None and value > self.high):
            raise OutOfRange(f"{self._said(value, shown)} is outside {self.span(shown)}. Correct it, or read again.")
        return rounded(value, self.step, self.low, self.high) if self.rounds else value

    def base(self, value: Fraction) -> Fraction:
        """A number in `unit` in the base unit of its dimension."""
        return to_base(value, self.unit)

    def span(self, shown: str | None = None) -> str:
        """The range in words: `0 to 20 kg/h`."""
        unit = self.unit if shown is None else shown
        low, high = (
            "no limit" if v is None else number(convert(v, self.unit, unit), unit) for v in (self.low, self.high)
        )
        return f"{low} to {high} {unit}".rstrip()

    def _said(self, value: Fraction, shown: str | None) -> str:
        unit = self.unit if shown is None else shown
        return with_unit(convert(value, self.unit, unit), unit)


def of_base(
    unit: str | None, low: Fraction | None, high: Fraction | None, step: Fraction | None = None, rounds: bool = False
) -> Measure:
    """From a range and a step in base units, as a procedure holds them; a step is a difference, without an offset."""
    name = unit or ""
    near, far = (None if v is None else from_base(v, name) for v in (low, high))
    return Measure(name, near, far, None if step is None else step / UNITS[name].factor, rounds)
