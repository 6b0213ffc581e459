"""Closed ranges of exact numbers and what arithmetic makes of them; None is an open side. It knows no names."""

from __future__ import annotations

import math
from fractions import Fraction

Side = Fraction | None
Range = tuple[Side, Side]

#: Stands for an open side while a range is worked out; a `Fraction` compares with it exactly.
_LOW, _HIGH = -math.inf, math.inf


def add(a: Range, b: Range) -> Range:
    """Sum of any two numbers of the ranges."""
    return (
        None if a[0] is None or b[0] is None else a[0] + b[0],
        None if a[1] is None or b[1] is None else a[1] + b[1],
    )


def subtract(a: Range, b: Range) -> Range:
    """Difference."""
    return add(a, (None if b[1] is None else -b[1], None if b[0] is None else -b[0]))


def multiply(a: Range, b: Range) -> Range:
    """Product."""
    corners = [_times(x, y) for x in _open(a) for y in _open(b)]
    return _close(min(corners), max(corners))


def divide(a: Range, b: Range) -> Range:
    """Quotient; `b` must not hold zero (see `holds_zero`)."""
    low, high = _open(b)
    return multiply(a, _close(_one_by(high), _one_by(low)))


def holds_zero(a: Range) -> bool:
    """Whether a number of the range may be zero."""
    low, high = _open(a)
    return low <= 0 <= high


def magnitude(a: Range) -> Range:
    """Absolute value."""
    low, high = _open(a)
    sizes: tuple[Loose, Loose] = (-low if low < 0 else low, -high if high < 0 else high)
    return _close(Fraction(0) if low <= 0 <= high else min(sizes), max(sizes))


def width(a: Range) -> Range:
    """Greatest less least of any numbers of the range."""
    return (Fraction(0), None if a[0] is None or a[1] is None else a[1] - a[0])


def join(a: Range, b: Range) -> Range:
    """The least range that holds both."""
    return (
        None if a[0] is None or b[0] is None else min(a[0], b[0]),
        None if a[1] is None or b[1] is None else max(a[1], b[1]),
    )


def within(a: Range, b: Range) -> bool:
    """Whether every number of `a` is one of `b`."""
    (low, high), (least, most) = _open(a), _open(b)
    return least <= low and high <= most


Loose = Fraction | float


def _open(a: Range) -> tuple[Loose, Loose]:
    return (_LOW if a[0] is None else a[0]), (_HIGH if a[1] is None else a[1])


def _close(low: Loose, high: Loose) -> Range:
    return (low if isinstance(low, Fraction) else None), (high if isinstance(high, Fraction) else None)


def _times(x: Loose, y: Loose) -> Loose:
    if x == 0 or y == 0:
        return Fraction(0)
    if isinstance(x, Fraction) and isinstance(y, Fraction):
        return x * y
    return _HIGH if (x > 0) == (y > 0) else _LOW


def _one_by(x: Loose) -> Loose:
    return 1 / x if isinstance(x, Fraction) else Fraction(0)
