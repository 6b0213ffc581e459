"""Readings that are no plain number: a place that was not taken, with its reason, and a needle beyond its scale; it
judges nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

#: How an answer says that a gauge stood beyond its scale.
OVER_RANGE = "over range"
#: The key under which an answer says why a place was not taken.
NOT_TAKEN = "not taken"


@dataclass(frozen=True, slots=True)
class Missing:
    """A place that was not taken, because `reason`. In a run the place is None, and the reason stands with the
    event.
    """

    reason: str


class OverRange(Fraction):
    """A reading beyond the top of its scale, in the base unit: at least the top, and no more is known.

    It counts as the top wherever a number is compared or worked with, so that 'more than 6 %' holds of a meter that
    ends at 10 %; `over()` holds of it.
    """

    __slots__ = ()

    def __repr__(self) -> str:
        return f"OverRange({self.numerator}, {self.denominator})"
