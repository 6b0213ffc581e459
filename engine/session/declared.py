"""Values and differences in the unit that their reading declares; it reads no run."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from engine.quantity.units import from_base
from engine.quantity.values import OverRange


def shown(value: Any, unit: str | None) -> Any:
    """A value or row in its declared unit."""
    if isinstance(value, tuple):
        return tuple(shown(v, unit) for v in value)
    if isinstance(value, OverRange):
        return OverRange(from_base(value, unit)) if unit else value
    return from_base(value, unit) if unit and isinstance(value, Fraction) else value


def width(step: Fraction, unit: str | None) -> Fraction:
    """A difference in its declared unit: no offset."""
    return step if not unit else from_base(step, unit) - from_base(Fraction(0), unit)
