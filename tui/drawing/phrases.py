"""Numbers, places, screws and times in a technician's words: pure functions over the engine's data; it lays nothing
out.

Turns and flats are said as fractions (`1 1/4`), everything else as decimals as fine as the reading is written down.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from engine.evidence import Place


#: Denominators that a mechanic says; anything else is shown as a decimal.
_SAID = (1, 2, 3, 4, 6, 8, 16, 32)
#: Units that are said in fractions.
_ANGLES = ("turn", "flat")


#: What is typed for a place that is not taken.
EN_DASH = "-"


def fraction(value: Fraction) -> str:
    """A count of turns or flats: `0`, `1/8`, `1 1/4`, `-1/2`; a decimal where no hand would say it as a fraction."""
    value = Fraction(value)
    if value.denominator not in _SAID:
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
    """A number as it would be written down: as many decimals as the step has, else up to three without trailing
    noughts."""
    digits = places_after_point(step)
    if digits is not None and digits <= 6:
        return f"{float(value):.{digits}f}"
    text = f"{float(value):.3f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


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
    """The unit as it is said beside a value: `turns` where it is not one of them."""
    if unit in _ANGLES and (value is None or abs(Fraction(value)) > 1 or value == 0):
        return f"{unit}s"
    return unit or ""


def with_unit(value: Any, unit: str | None, step: Fraction | None = None) -> str:
    """`4.8 kg/h`, `1 1/4 turns`; a choice or a place not taken stands alone."""
    said = number(value, unit, step)
    if value is None or isinstance(value, str | bool):
        return said
    return f"{said} {unit_word(unit, value)}".strip()


def term(terms: Mapping[str, str], name: str) -> str:
    """This family's word for carb, barrel or gap."""
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


def plain(name: str) -> str:
    """A name of a file as words: `air_balance` becomes `air balance`."""
    return str(name).replace("_", " ")


def state_words(state: Mapping[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """How things must stand, as (key, label, value): engine first, a speed to hold last; empty values are left out."""
    rows = []
    for key, value in state.items():
        if value is None or value == "" or value == "none":
            continue
        said = f"{decimal(Fraction(value))} rpm" if key == "hold" and not isinstance(value, str) else number(value)
        rows.append((key, plain(key), said))
    return tuple(sorted(rows, key=lambda row: {"engine": 0, "hold": 2}.get(row[0], 1)))


def clock(seconds: float) -> str:
    """A countdown: `1:05`, never negative."""
    left = max(0, int(-(-seconds // 1)))
    return f"{left // 60}:{left % 60:02d}"


def count(n: int, one: str, many: str | None = None) -> str:
    """`1 finding`, `2 findings`."""
    return f"{n} {one if n == 1 else many or one + 's'}"
