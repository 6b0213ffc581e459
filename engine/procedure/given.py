"""What somebody gives for a setting in place of the file's own number; it knows no run and no file."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from engine.procedure.program import Setting
from engine.quantity.units import NotAQuantity, convert, from_base, parse_quantity, to_base


def given(setting: Setting, value: Any) -> Fraction:
    """A value for a setting, in base units. Raises ValueError with the rest of a sentence that begins with whose it
    is."""
    unit = setting.type.unit or ""
    try:
        if isinstance(value, bool):
            raise NotAQuantity("a number belongs here")
        read, found = parse_quantity(str(value), unit)
        base = to_base(convert(read, found.name, unit), unit)
    except ValueError as fault:
        raise ValueError(f"can't be used: {fault}") from None
    low, high = setting.type.low, setting.type.high
    if (low is not None and base < low) or (high is not None and base > high):
        ends = ("no limit" if v is None else f"{float(from_base(v, unit)):g}" for v in (low, high))
        raise ValueError(f"is outside {f'{next(ends)} to {next(ends)} {unit}'.strip()}.")
    return base


def in_words(value: Fraction, setting: Setting) -> str:
    """A value of a setting in its own unit."""
    unit = setting.type.unit or ""
    return f"{float(from_base(value, unit)):g} {unit}".strip()
