"""Numbers made exact: what comes in as int, float, decimal or fraction becomes a `Fraction`; nothing else passes."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Any


def exact(value: Any) -> Fraction | None:
    """The exact number that a person meant: a float by its shortest decimal form, so that 0.1 is a tenth. None: no
    number.
    """
    kind = type(value)
    if kind is Fraction:
        known: Fraction = value
        return known
    if kind is int:
        return Fraction(value) if abs(value) < 10**15 else None
    if kind is float:
        return Fraction(repr(value)) if math.isfinite(value) and abs(value) < 1e15 else None
    if isinstance(value, Decimal):
        return Fraction(value) if value.is_finite() and abs(value) < 10**15 else None
    return None


def rounded(
    value: Fraction, step: Fraction | None, low: Fraction | None = None, high: Fraction | None = None
) -> Fraction:
    """`value` to the nearest whole multiple of `step`, a half away from zero; it never leaves [low, high]."""
    if not step:
        return value
    steps = abs(value) / step
    if steps.denominator == 1:
        return value
    near = math.floor(steps + Fraction(1, 2)) * step * (-1 if value < 0 else 1)
    if high is not None and near > high:
        return high
    return low if low is not None and near < low else near


#: An adviser's floats are held to the millionth of the base unit: far finer than any hand or gauge, and exact from
#: there on.
GRAIN = 10**6


def grained(value: Any) -> Fraction:
    """An adviser's number made exact, once: a float to the nearest millionth of the base unit; exact numbers as
    they are.

    Raises `ValueError` for what is no finite number.
    """
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{value} is no finite number")
        return Fraction(round(Fraction(value) * GRAIN), GRAIN)
    found = exact(value)
    if found is None:
        raise ValueError(f"{value!r} is no number")
    return found
