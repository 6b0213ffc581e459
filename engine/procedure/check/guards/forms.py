"""Linear forms over what a guard speaks of, brought to one shape so that a guard and its opposite are seen as such.

An atom is a hashable key for one unknown number: ("s", name) a single value, ("e", name) the element of a row under an
`any` or `all`, ("min" | "max" | "mean", row) an aggregate of a row, ("o", key) whatever is not linear, known by its
range only. A row is itself a tuple of (("e", name), coefficient) terms whose first coefficient is 1. All numbers are
exact.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

Atom = tuple[Any, ...]
Terms = tuple[tuple[Atom, Fraction], ...]
#: A closed range; None is unbounded.
Range = tuple[Fraction | None, Fraction | None]
#: (terms sorted by atom, constant).
Form = tuple[Terms, Fraction]

ZERO, ONE = Fraction(0), Fraction(1)
FREE: Range = (None, None)


def order(atom: Atom) -> str:
    """A total order of atoms, the same in every run of the program."""
    return repr(atom)


def constant(value: Fraction) -> Form:
    """The form that is always `value`."""
    return ((), value)


def single(atom: Atom) -> Form:
    """The form that is just this atom."""
    return (((atom, ONE),), ZERO)


def combine(a: Form, b: Form, k: Fraction = ONE) -> Form:
    """a + k * b."""
    if not a[0] and not b[0]:
        return ((), a[1] + k * b[1])
    sums = dict(a[0])
    for atom, c in b[0]:
        sums[atom] = sums.get(atom, ZERO) + k * c
    return (tidy(sums.items()), a[1] + k * b[1])


def scale(a: Form, k: Fraction) -> Form:
    """k * a."""
    if k == 1:
        return a
    return (tuple((atom, c * k) for atom, c in a[0]) if k else (), a[1] * k)


def tidy(terms: Iterable[tuple[Atom, Fraction]]) -> Terms:
    """Terms without zeros, in order."""
    kept = [(atom, c) for atom, c in terms if c]
    return tuple(kept) if len(kept) < 2 else tuple(sorted(kept, key=lambda t: order(t[0])))


def split(form: Form) -> tuple[Terms, Form]:
    """The part over elements of rows, and the rest."""
    row = tuple(t for t in form[0] if t[0][0] == "e")
    if not row:
        return (), form
    return row, (tuple(t for t in form[0] if t[0][0] != "e"), form[1])


def row_key(row: Terms) -> tuple[Terms, Fraction]:
    """A row's terms as (key with first coefficient 1, the factor taken out)."""
    k = row[0][1]
    return (row, ONE) if k == 1 else (tuple((a, c / k) for a, c in row), k)


def aggregate(kind: str, form: Form) -> Form:
    """min, max, mean or spread of a row form as a form over the aggregates of its row; of a single value, itself."""
    row, rest = split(form)
    if not row:
        return constant(ZERO) if kind == "spread" else form
    key, k = row_key(row)
    if kind == "spread":
        return (tidy([(("max", key), abs(k)), (("min", key), -abs(k))]), ZERO)
    if kind != "mean" and k < 0:
        kind = "max" if kind == "min" else "min"
    return combine(rest, single((kind, key)), k)


def range_of(terms: Terms, atom_range: Callable[[Atom], Range]) -> Range:
    """The range of a form's terms by intervals, min <= mean <= max of one row being kept together."""
    rows: dict[Terms, list[Fraction]] = {}
    low: Fraction | None = ZERO
    high: Fraction | None = ZERO
    for atom, c in terms:
        if atom[0] in ("min", "mean", "max"):
            rows.setdefault(atom[1], [ZERO, ZERO, ZERO])[("min", "mean", "max").index(atom[0])] += c
        else:
            low, high = add((low, high), times(atom_range(atom), c))
    for key, (a, b, c) in rows.items():
        low, high = add((low, high), _chain(a, b, c, range_of(key, atom_range)))
    return low, high


def _chain(a: Fraction, b: Fraction, c: Fraction, within: Range) -> Range:
    """The range of a*x + b*y + c*z over low <= x <= y <= z <= high: at a corner, where some hang low and the rest
    high."""
    low, high = within
    if low is None or high is None:
        # Written as steps away from the end that is closed, each of them at least 0; with neither closed, the level of
        # all three may be anything.
        total, level = a + b + c, (low if low is not None else high)
        steps: tuple[Fraction, ...] = (total, b + c, c) if low is not None else (-total, -a - b, -a)
        if level is None:
            level, steps = ZERO, (total, -total, b + c, c)
        return (
            total * level if min(steps) >= 0 else None,
            total * level if max(steps) <= 0 else None,
        )
    corners = [a * x + b * y + c * z for x, y, z in ((low, low, low), (low, low, high), (low, high, high), (high,) * 3)]
    return min(corners), max(corners)


def add(a: Range, b: Range) -> Range:
    """The range of a sum."""
    low, high = ((None if x is None or y is None else x + y) for x, y in zip(a, b, strict=True))
    return low, high


def times(a: Range, k: Fraction) -> Range:
    """The range of k times something."""
    low, high = (None if x is None else x * k for x in a)
    return (low, high) if k >= 0 else (high, low)


def product(a: Range, b: Range) -> Range:
    """The range of a product; unbounded factors make it unbounded."""
    if None in a or None in b:
        return FREE
    ends = [x * y for x in a for y in b]  # type: ignore[operator]
    return min(ends), max(ends)


def quotient(a: Range, b: Range) -> Range:
    """The range of a quotient; unbounded where the divisor's range touches zero or is open."""
    if b[0] is None or b[1] is None or b[0] <= 0 <= b[1]:
        return FREE
    return product(a, (1 / b[1], 1 / b[0]))
