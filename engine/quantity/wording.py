"""Numbers, units, rows, places and counts in a technician's words: pure functions; it lays nothing out and decides
nothing.

Turns and flats are said as fractions (`1 1/4`), everything else as decimals as fine as it was written down.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from engine.quantity.units import from_base
from engine.quantity.values import OverRange

if TYPE_CHECKING:
    from engine.evidence import Place

#: Denominators that a mechanic says; anything else is shown as a decimal.
_SAID = (1, 2, 3, 4, 6, 8, 16, 32)
#: Units that are said in fractions.
_ANGLES = ("turn", "flat")
#: Units that are said as words, with an s where there are many.
_WORDS = (*_ANGLES, "division")
#: Decimals that are shown of a number that no step says more of.
DECIMALS = 3
#: A number with more digits before its point is not written out: nobody reads it, and nothing could measure it.
DIGITS = 15


# ---- numbers


def fraction(value: Fraction) -> str:
    """A count of turns or flats: `0`, `1/8`, `1 1/4`, `-1/2`; a decimal where no hand would say it as a fraction."""
    value = Fraction(value)
    if value.denominator not in _SAID or abs(value) >= 10**DIGITS:
        return decimal(value)
    sign = "-" if value < 0 else ""
    whole, rest = divmod(abs(value), 1)
    if not rest:
        return f"{sign}{whole}"
    part = f"{rest.numerator}/{rest.denominator}"
    return f"{sign}{whole} {part}" if whole else f"{sign}{part}"


def places_after_point(step: Fraction | None) -> int | None:
    """How many decimals a reading of this step has; None where no step was declared."""
    if step is None or step <= 0:
        return None
    exact = Decimal(step.numerator) / Decimal(step.denominator)
    return max(0, -int(exact.normalize().as_tuple().exponent))


def decimal(value: Fraction, step: Fraction | None = None) -> str:
    """A number as it would be written down: as many decimals as the step has, more only where it was typed finer;
    without a step up to three, no trailing noughts."""
    value = Fraction(value)
    if abs(value) >= 10**DIGITS:
        return f"{'below -' if value < 0 else 'above '}10^{DIGITS}"
    digits = places_after_point(step)
    finer = 10**DECIMALS % value.denominator == 0
    if digits is not None and digits <= 6 and ((value * 10**digits).denominator == 1 or not finer):
        return _fixed(value, digits)
    text = _fixed(value, DECIMALS).rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _fixed(value: Fraction, digits: int) -> str:
    scaled = round(abs(value) * 10**digits)
    whole, rest = divmod(scaled, 10**digits)
    text = f"{whole}.{rest:0{digits}d}" if digits else str(whole)
    return f"-{text}" if value < 0 and scaled else text


def number(value: Any, unit: str | None = None, step: Fraction | None = None) -> str:
    """A value without its unit: a choice as it stands, turns and flats as fractions, `–` for a place not taken."""
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    value = Fraction(value)
    return fraction(value) if unit in _ANGLES else decimal(value, step)


def unit_word(unit: str | None, value: Any = None) -> str:
    """The unit as it is said beside a value: `turns` where it is not one of them; beside a row (None) always many."""
    if unit in _WORDS and (value is None or abs(Fraction(value)) > 1 or value == 0):
        return f"{unit}s"
    return unit or ""


def with_unit(value: Any, unit: str | None, step: Fraction | None = None) -> str:
    """`4.8 kg/h`, `1 1/4 turns`; a choice or a place not taken stands alone."""
    said = number(value, unit, step)
    if value is None or isinstance(value, str | bool):
        return said
    return f"{said} {unit_word(unit, value)}".strip()


def quantity(value: Any, unit: str | None, tail: bool = True) -> str:
    """A value in base units as words in `unit`: a number with its unit, yes or no, a choice, `not taken`, or a row
    of them; without its `tail` the unit is left away.
    """
    if isinstance(value, tuple):
        row = ", ".join(quantity(v, unit, tail=False) for v in value)
        return f"{row} {unit_word(unit)}" if tail and unit and any(isinstance(v, Fraction) for v in value) else row
    if value is None:
        return "not taken"
    if isinstance(value, bool) or not isinstance(value, int | Fraction):
        return number(value) if isinstance(value, bool) else str(value)
    shown = from_base(Fraction(value), unit) if unit else Fraction(value)
    text = fraction(shown) if unit == "turn" else decimal(shown)
    text = f"over {text}" if isinstance(value, OverRange) else text
    return f"{text} {unit_word(unit, shown)}" if tail and unit else text


# ---- places


def term(terms: Mapping[str, str], name: str) -> str:
    """This family's word for carb, barrel or gap, or for the end of the bank from which it is counted (`front`)."""
    return terms.get(name) or name


def place(where: Place, terms: Mapping[str, str], each: str | None = None) -> str:
    """A place in full: `body 2, barrel 1`; a gap names both its neighbours, a cylinder only itself."""
    carb, barrel = where
    if carb is None:
        return f"cylinder {barrel}" if barrel is not None else "the engine"
    if each == "cylinder":
        return f"cylinder {carb}"
    if each == "gap":
        return f"between {term(terms, 'carb')} {carb} and {carb + 1}"
    said = f"{term(terms, 'carb')} {carb}"
    return said if barrel is None else f"{said}, {term(terms, 'barrel')} {barrel}"


def several(name: str) -> str:
    """More than one of them: `body`, `bodies`."""
    if name.endswith("y") and name[-2:-1] not in "aeiou":
        return name[:-1] + "ies"
    return name if name.endswith("s") else name + "s"


def places(where: Iterable[Place], terms: Mapping[str, str], all_of: int | None = None, each: str = "") -> str:
    """Several places in one phrase; `all_of` is how many there are, so that all of them is said as `every barrel`.

    `each`: `cylinder` where the places count cylinders.
    """
    these = list(where)
    if not these or all(p.carb is None for p in these):
        return "the engine"
    if all_of is not None and len(these) == all_of > 1:
        return f"every {term(terms, 'carb' if these[0].barrel is None else 'barrel')}"
    return "; ".join(place(p, terms, each or None) for p in these)


# ---- words about numbers


def turns(value: float | Fraction) -> str:
    """How far a screw was turned or is to be: `1 1/4 turns`, `1/8 turn`; to a thirty-second, never negative."""
    return with_unit(Fraction(round(abs(float(value)) * 32), 32), "turn")


def listed(items: Iterable[str], last: str = "and") -> str:
    """`a, b and c`; with `,` as `last`: `a, b, c`."""
    rows = list(items)
    if len(rows) < 2 or last == ",":
        return ", ".join(rows) or "none"
    return f"{', '.join(rows[:-1])} {last or 'and'} {rows[-1]}"


def count(n: int, one: str, many: str | None = None) -> str:
    """`1 finding`, `2 findings`."""
    return f"{n} {one if n == 1 else many or one + 's'}"
