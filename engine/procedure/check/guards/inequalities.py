"""Exact linear inequalities solved by Fourier and Motzkin's elimination, with numbers that keep them; it knows no axis.

Coefficients are held whole, so that no step rounds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import gcd, lcm

from engine.procedure.check.guards.forms import Atom, Terms

#: The most inequalities that elimination may come to before the answer is "may be".
ROWS = 160
#: So many looks at a number in a bound, for which number goes next, count as much as one pair of bounds.
CHOOSING = 3


@dataclass(frozen=True, slots=True)
class Bound:
    """The sum of `terms` is at most `limit`, or below it where `strict`."""

    terms: Terms
    limit: Fraction
    strict: bool


class TooMany(Exception):
    """More inequalities than are worth trying."""


def bounds(terms: Terms, low: Fraction | None, low_in: bool, high: Fraction | None, high_in: bool) -> Iterator[Bound]:
    """low <= terms <= high, each end in or out, as bounds."""
    if high is not None:
        yield Bound(terms, high, not high_in)
    if low is not None:
        yield Bound(tuple((a, -c) for a, c in terms), -low, not low_in)


#: Whole coefficients in a fixed order of atoms, the limit as numerator and denominator, strict.
_Row = tuple[tuple[int, ...], int, int, bool]


def solve(
    given: list[Bound], pick: Callable[..., Fraction] | None, spend: Callable[[int], None] = lambda work: None
) -> dict[Atom, Fraction] | None:
    """Numbers that keep every bound, or None if there are none. `spend` is told of the work, in pairs of bounds times
    numbers, before it is done.

    `pick(atom, low, low_in, high, high_in)` chooses in a range; without it no numbers are worked out, and the answer is
    empty or None. Raises `TooMany` where elimination grows too long.
    """
    atoms = list(dict.fromkeys(a for b in given for a, _ in b.terms))
    rows = _whole(given, {a: i for i, a in enumerate(atoms)})
    stages: list[tuple[int, list[_Row]]] = []
    left = set(range(len(atoms)))
    while True:
        if any(limit < 0 or (limit == 0 and strict) for row, limit, _, strict in rows if not any(row)):
            return None
        if not left:
            break
        spend(len(left) * len(rows) // CHOOSING)
        at = min(left, key=lambda i: _cost(rows, i))
        left.remove(at)
        stages.append((at, [r for r in rows if r[0][at]]))
        spend(_cost(rows, at) * len(atoms))
        rows = _without(rows, at)
    found: dict[Atom, Fraction] = {}
    value = [Fraction(0)] * len(atoms)
    for at, mine in reversed(stages if pick else ()):
        value[at] = pick(atoms[at], *_range(mine, at, value))  # type: ignore[misc]
        found[atoms[at]] = value[at]
    return found


def _whole(given: list[Bound], place: dict[Atom, int]) -> list[_Row]:
    rows: list[_Row] = []
    for bound in given:
        scale = lcm(*(c.denominator for _, c in bound.terms))
        row = [0] * len(place)
        for a, c in bound.terms:
            row[place[a]] += c.numerator * (scale // c.denominator)
        rows.append((tuple(row), bound.limit.numerator * scale, bound.limit.denominator, bound.strict))
    return rows


def _cost(rows: list[_Row], i: int) -> int:
    ups = downs = 0
    for row in rows:
        if row[0][i] > 0:
            ups += 1
        elif row[0][i]:
            downs += 1
    return ups * downs


def _without(rows: list[_Row], at: int) -> list[_Row]:
    """The bounds that are left when one number is taken out of them: each upper bound of it over each lower one."""
    tightest: dict[tuple[tuple[int, ...], bool], tuple[int, int]] = {}

    def keep(row: tuple[int, ...], limit: int, scale: int, strict: bool) -> None:
        size = gcd(*row)
        if size > 1:
            row, scale = tuple([c // size for c in row]), scale * size
        known = tightest.get((row, strict))
        if known is None or limit * known[1] < known[0] * scale:
            tightest[row, strict] = (limit, scale)

    ups: list[_Row] = []
    downs: list[_Row] = []
    for row in rows:
        if not row[0][at]:
            keep(*row)
        else:
            (ups if row[0][at] > 0 else downs).append(row)
    for up, up_limit, up_scale, up_strict in ups:
        p = up[at]
        for down, down_limit, down_scale, down_strict in downs:
            q = -down[at]
            keep(
                tuple([q * x + p * y for x, y in zip(up, down, strict=True)]),
                q * up_limit * down_scale + p * down_limit * up_scale,
                up_scale * down_scale,
                up_strict or down_strict,
            )
    if len(tightest) > ROWS:
        raise TooMany
    return [(row, limit, scale, strict) for (row, strict), (limit, scale) in tightest.items()]


def _range(
    rows: list[_Row],
    at: int,
    value: list[Fraction],
) -> tuple[Fraction | None, bool, Fraction | None, bool]:
    """The range that is left to one number, where those taken out after it have their values."""
    low: tuple[Fraction, bool] | None = None
    high: tuple[Fraction, bool] | None = None
    for row, limit, scale, strict in rows:
        end = (Fraction(limit, scale) - sum(c * value[i] for i, c in enumerate(row) if c and i != at)) / row[at]
        if row[at] > 0:
            high = (end, not strict) if high is None or (end, not strict) < high else high
        elif low is None or (end, strict) > low:
            low = (end, strict)
    return (
        None if low is None else low[0],
        low is not None and not low[1],
        None if high is None else high[0],
        high is not None and high[1],
    )
