"""Floats brought back to exact figures, and turns of a screw made moves; it decides nothing."""

from __future__ import annotations

from fractions import Fraction

from engine.evidence import Move, Place, ScrewView


def exact(value: float, places: int = 4) -> Fraction:
    """A float rounded once to so many decimals, as an exact fraction."""
    return Fraction(round(value * 10**places), 10**places)


def to_step(value: float, step: Fraction) -> Fraction:
    """The nearest multiple of a screw's step."""
    return round(value / float(step)) * step


def turn(screw: ScrewView, where: Place, stands: Fraction | None, by: Fraction) -> Move:
    """A move of one screw by so many turns in the way its position grows (negative: back)."""
    outward = (by > 0) == (screw.counts == "out")
    return Move(
        screw.name,
        where,
        "out" if outward else "in",
        screw.outward if outward else screw.inward,
        turns=abs(by),
        position=None if stands is None else stands + by,
    )


def clamp(value: float, low: float, high: float) -> float:
    """Keep an output inside its declared range."""
    return min(high, max(low, value))
