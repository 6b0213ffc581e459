"""The unit table: exact factors between the units of the trade; it converts and parses, and knows no reading or part.

Factors are exact rationals (NIST SP 811 App. B.8; `tests/published` checks every one against `pint`). A quantity is
held as a `Fraction` in the base unit of its dimension, so that sums and comparisons never round.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: `base = value * factor + offset`, in the base unit of `dimension`."""

    name: str
    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)


def _table() -> dict[str, Unit]:
    rows: list[tuple[str, str, str, str]] = [
        # name, dimension, factor to base, offset to base
        ("", "number", "1", "0"),
        ("%", "number", "1/100", "0"),
        ("ppm", "number", "1/1000000", "0"),
        ("turn", "angle", "1", "0"),
        ("flat", "angle", "1/6", "0"),
        ("deg", "angle", "1/360", "0"),
        ("°", "angle", "1/360", "0"),
        ("mm", "length", "1", "0"),
        ("cm", "length", "10", "0"),
        ("m", "length", "1000", "0"),
        ("km", "length", "1000000", "0"),
        ("in", "length", "127/5", "0"),
        ("mm2", "area", "1", "0"),
        ("cc", "volume", "1", "0"),
        ("ml", "volume", "1", "0"),
        ("L", "volume", "1000", "0"),
        ("s", "time", "1", "0"),
        ("min", "time", "60", "0"),
        ("h", "time", "3600", "0"),
        ("rpm", "speed", "1", "0"),
        ("division", "own scale", "1", "0"),
        ("kg/h", "mass flow", "1", "0"),
        ("g/s", "mass flow", "18/5", "0"),
        ("L/min", "volume flow", "1", "0"),
        ("kg", "mass", "1", "0"),
        ("g", "mass", "1/1000", "0"),
        ("lb", "mass", "45359237/100000000", "0"),
        ("kPa", "pressure", "1", "0"),
        ("Pa", "pressure", "1/1000", "0"),
        ("bar", "pressure", "100", "0"),
        ("mbar", "pressure", "1/10", "0"),
        ("hPa", "pressure", "1/10", "0"),
        ("atm", "pressure", "101325/1000", "0"),
        ("psi", "pressure", "44482216152605/6451600000000", "0"),
        ("mmHg", "pressure", "133322387415/1000000000000", "0"),
        ("cmHg", "pressure", "133322387415/100000000000", "0"),
        ("inHg", "pressure", "3386388640341/1000000000000", "0"),
        ("K", "temperature", "1", "0"),
        ("degC", "temperature", "1", "5463/20"),
        ("°C", "temperature", "1", "5463/20"),
        ("degF", "temperature", "5/9", "45967/180"),
        ("V", "voltage", "1", "0"),
        ("kV", "voltage", "1000", "0"),
        ("Nm", "torque", "1", "0"),
        ("kW", "power", "1", "0"),
        ("mg/m3", "concentration", "1", "0"),
    ]
    return {n: Unit(n, d, Fraction(f), Fraction(o)) for n, d, f, o in rows}


UNITS: dict[str, Unit] = _table()

#: What people write for a unit, in small letters, beside its own name.
_ALSO: dict[str, str] = {
    "turns": "turn",
    # A screw's position is said as what it stands out by.
    "turns out": "turn",
    "turn out": "turn",
    "out": "turn",
    "flats": "flat",
    "divisions": "division",
    "degrees": "deg",
    "c": "degC",
    "f": "degF",
    "°f": "degF",
    "deg c": "degC",
    "deg f": "degF",
    "° c": "degC",
    "° f": "degF",
    "celsius": "degC",
    "centigrade": "degC",
    "fahrenheit": "degF",
    "in hg": "inHg",
    '" hg': "inHg",
    "l": "L",
    "litre": "L",
    "litres": "L",
    "liter": "L",
    "liters": "L",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "kg/hr": "kg/h",
    "lbs": "lb",
    "cm3": "cc",
    "cm³": "cc",
    "ccm": "cc",
    "mm²": "mm2",
    "percent": "%",
    "per cent": "%",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "hours": "h",
    "1/min": "rpm",
    "/min": "rpm",
    "u/min": "rpm",
    "revs": "rpm",
}
_BY_SMALL: dict[str, str] = {name.lower(): name for name in UNITS} | _ALSO
#: Units of whole hundreds and thousands, of which nobody needs a thousandth: `1,050` can't be told from 1050 there.
_COUNTED = frozenset({"rpm", "cc", "ml", "m", "km", "Pa", "hPa", "mbar", "ppm"})
_THOUSANDS = re.compile(r"\s*[+-]?\s*[1-9]\d{0,2}([.,])\d{3}(?![\d.,/])")
_VULGAR = {
    "½": " 1/2",
    "¼": " 1/4",
    "¾": " 3/4",
    "⅛": " 1/8",
    "⅜": " 3/8",
    "⅝": " 5/8",
    "⅞": " 7/8",
    "⅓": " 1/3",
    "⅔": " 2/3",
}

#: What a technician may type before a unit: 1, 1.25, 1,25, 1/4, 1 1/4, 1+1/4, with a sign.
_NUMBER = re.compile(
    r"\s*([+-]?)\s*(?:(\d+)(?:\s+|\s*\+\s*)(\d+)\s*/\s*(\d+)|(\d+)\s*/\s*(\d+)|(\d*[.,]\d+|\d+[.,]?))\s*"
)


class NotAQuantity(ValueError):
    """A text that is no number, or no number with a known unit; the message is a sentence for the screen."""


def parse_number(text: str) -> tuple[Fraction, str]:
    """Read a number from the front of `text` (`1.25`, `1,25`, `1/4`, `1 1/4`); return it and the rest, stripped."""
    for sign, said in _VULGAR.items():
        text = text.replace(sign, said)
    match = _NUMBER.match(text[:60])
    if not match:
        raise NotAQuantity(f"'{text[:40].strip()}' does not start with a number. Write it like 1.25, 1,25 or 1 1/4.")
    sign, whole, top, bottom, top_only, bottom_only, decimal = match.groups()
    if (bottom and int(bottom) == 0) or (bottom_only and int(bottom_only) == 0):
        raise NotAQuantity(f"'{text.strip()[:40]}' divides by zero.")
    if whole is not None:
        value = int(whole) + Fraction(int(top), int(bottom))
    elif top_only is not None:
        value = Fraction(int(top_only), int(bottom_only))
    else:
        value = Fraction(decimal.replace(",", ".").rstrip("."))
    return (-value if sign == "-" else value), text[match.end() :].strip()


def unit_named(said: str) -> Unit | None:
    """The unit that a text names: by its own name, else as people write it (`turns`, `C`, `l`, `PSI`); None: none."""
    found = UNITS.get(said)
    if found is None:
        name = _BY_SMALL.get(" ".join(said.lower().split()))
        found = UNITS[name] if name is not None else None
    return found


def parse_quantity(text: str, default: str | None = None) -> tuple[Fraction, Unit]:
    """Read `4.5 kg/h`; a bare number takes the unit `default`. Return the value in that unit, and the unit.

    Raises `NotAQuantity` with a sentence, also where a thousand and a decimal mark can't be told apart.
    """
    value, rest = parse_number(text)
    unit = unit_named(rest or (default if default is not None else ""))
    if unit is None:
        raise NotAQuantity(_no_unit(rest, text.strip()[:40]))
    mark = _THOUSANDS.match(text) if unit.name in _COUNTED else None
    if mark is not None and (mark.group(1) == "," or unit.name == "rpm"):
        said = mark.group().strip()
        whole, part = said.replace(",", "").replace(".", ""), said.replace(",", ".").rstrip("0").rstrip(".")
        raise NotAQuantity(f"'{said}' can be {whole} or {part}. Write it without the mark, or as {part}.")
    return value, unit


def _no_unit(rest: str, text: str) -> str:
    """Why what stands behind a number can't be its unit, in a sentence: a slip of the finger is named as what it is."""
    if rest[0] in "oO" and not rest[1:2].isalpha():
        return f"'{text}' holds the letter {rest[0]}. Type the digit 0."
    if rest[0] in ".,":
        return f"'{text}' has more than one decimal mark. Write it like 1.25, 1,25 or 1 1/4."
    if not rest[0].isalpha():
        return f"'{rest[:20]}' can't stand behind the number in '{text}'. Write it like 1.25, 1,25 or 1 1/4."
    return f"'{rest[:20]}' is not a known unit in '{text}'."


def write_number(value: Fraction) -> str:
    """Write an exact number so that `parse_number` reads the same back: 1.25 where decimals can hold it, else 4/3."""
    two, five, rest = 0, 0, value.denominator
    while rest % 2 == 0:
        two, rest = two + 1, rest // 2
    while rest % 5 == 0:
        five, rest = five + 1, rest // 5
    if rest != 1:
        return f"{value.numerator}/{value.denominator}"
    places = max(two, five)
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    text = digits[: len(digits) - places] + (f".{digits[len(digits) - places :]}" if places else "")
    return f"-{text}" if value < 0 else text


#: Units whose numbers are those of the base unit.
_BASES = frozenset(name for name, u in UNITS.items() if u.factor == 1 and u.offset == 0)


def to_base(value: Fraction, unit: Unit | str) -> Fraction:
    """Convert a value in `unit` to the base unit of its dimension, exactly."""
    u = UNITS[unit] if isinstance(unit, str) else unit
    return value * u.factor + u.offset


def from_base(value: Fraction, unit: Unit | str) -> Fraction:
    """Convert a value in the base unit to `unit`, exactly."""
    if type(value) is Fraction and isinstance(unit, str) and unit in _BASES:  # most are, thousands a step
        return value
    u = UNITS[unit] if isinstance(unit, str) else unit
    return (value - u.offset) / u.factor


def convert(value: Fraction, here: str, there: str) -> Fraction:
    """Convert between two units of one dimension, exactly; a `ValueError` names both if they don't fit."""
    if UNITS[here].dimension != UNITS[there].dimension:
        raise ValueError(f"{here} and {there} measure different things")
    return from_base(to_base(value, here), there)
