"""Exact linear inequalities solved by Fourier and Motzkin's elimination, with numbers that keep them; it knows no axis.

Coefficients are held whole, so that no step rounds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import gcd, lcm

from engine.procedure.check.forms import Atom, Terms

#: The most inequalities that elimination may come to before the answer is "may be".
ROWS = 400


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


#: Whole coefficients in a fixed order of atoms, the limit, strict.
_Row = tuple[tuple[int, ...], Fraction, bool]


def solve(given: list[Bound], pick: Callable[..., Fraction]) -> dict[Atom, Fraction] | None:
    """Numbers that keep every bound, or None if there are none.

    `pick(atom, low, low_in, high, high_in)` chooses in a range. Raises `TooMany` where elimination grows too long.
    """
    atoms = list(dict.fromkeys(a for b in given for a, _ in b.terms))
    place = {a: i for i, a in enumerate(atoms)}
    rows: list[_Row] = []
    for bound in given:
        scale = lcm(*(c.denominator for _, c in bound.terms))
        row = [0] * len(atoms)
        for a, c in bound.terms:
            row[place[a]] += c.numerator * (scale // c.denominator)
        rows.append((tuple(row), bound.limit * scale, bound.strict))
    stages: list[tuple[int, list[_Row]]] = []
    left = set(range(len(atoms)))
    while True:
        if any(limit < 0 or (limit == 0 and strict) for row, limit, strict in rows if not any(row)):
            return None
        if not left:
            break
        at = min(left, key=lambda i: _cost(rows, i))
        left.remove(at)
        stages.append((at, [r for r in rows if r[0][at]]))
        rows = _without(rows, at)
    found: dict[Atom, Fraction] = {}
    value = [Fraction(0)] * len(atoms)
    for at, mine in reversed(stages):
        value[at] = pick(atoms[at], *_range(mine, at, value))
        found[atoms[at]] = value[at]
    return found


def _cost(rows: list[_Row], i: int) -> int:
    ups = sum(r[0][i] > 0 for r in rows)
    return ups * sum(r[0][i] < 0 for r in rows)


def _without(rows: list[_Row], at: int) -> list[_Row]:
    """The bounds that are left when one number is taken out of them: each upper bound of it over each lower one."""
    tightest: dict[tuple[tuple[int, ...], bool], Fraction] = {}

    def keep(row: tuple[int, ...], limit: Fraction, strict: bool) -> None:
        size = gcd(*row)
        if size > 1:
            row, limit = tuple(c // size for c in row), limit / size
        key = (row, strict)
        if key not in tightest or limit < tightest[key]:
            tightest[key] = limit

    for row, limit, strict in rows:
        if not row[at]:
            keep(row, limit, strict)
    for up, up_limit, up_strict in rows:
        if up[at] <= 0:
            continue
        for down, down_limit, down_strict in rows:
            if down[at] < 0:
                p, q = up[at], -down[at]
                keep(tuple(q * x + p * y for x, y in zip(up, down, strict=True)),
                     q * up_limit + p * down_limit, up_strict or down_strict)
    if len(tightest) > ROWS:
        raise TooMany
    return [(row, limit, strict) for (row, strict), limit in tightest.items()]


def _range(
    rows: list[_Row], at: int, value: list[Fraction],
) -> tuple[Fraction | None, bool, Fraction | None, bool]:
    """The range that is left to one number, where those taken out after it have their values."""
    low: tuple[Fraction, bool] | None = None
    high: tuple[Fraction, bool] | None = None
    for row, limit, strict in rows:
        end = (limit - sum(c * value[i] for i, c in enumerate(row) if c and i != at)) / row[at]
        if row[at] > 0:
            high = (end, not strict) if high is None or (end, not strict) < high else high
        elif low is None or (end, strict) > low:
            low = (end, strict)
    return low and low[0], bool(low) and not low[1], high and high[0], bool(high) and high[1]
