"""Whether real readings can lie in a box: exact linear arithmetic over axes that share a reading; it guesses nothing.

Axes are cut one by one, as if they were independent. Where two speak of the same numbers (`gap - target` and `gap`, a
row's least element and its spread) a box may be empty all the same. Fourier and Motzkin's elimination settles that, and
hands back numbers that lie in the box.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import gcd, lcm
from typing import Any

from engine.procedure.check.forms import ONE, Atom, Terms
from engine.procedure.check.normal import Normal
from engine.procedure.check.space import Axis, Box, Cell, Space

#: The most cases of one box, and inequalities of one case, that are tried before the answer is "may be".
CASES, ROWS = 128, 400


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


@dataclass(frozen=True, slots=True)
class Point:
    """A case in a box: numbers for the atoms that matter, one cell (or set of kinds) for each axis, and one world."""

    numbers: dict[Atom, Fraction]
    cells: tuple[int, ...]
    #: False where "may be" is all that is known.
    sure: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """One convex case of an axis: a cell to name it, its bounds, and what must be there or (one of them) missing for it."""

    cell: int
    bounds: tuple[Bound, ...]
    has: tuple[Any, ...] = ()
    lacks: tuple[Any, ...] = ()


def _contradicts(case: Iterable[Choice]) -> bool:
    """Whether something is missing here and there at once."""
    there = {base for choice in case for base in choice.has}
    return any(choice.lacks and there.issuperset(choice.lacks) for choice in case)


class Theory:
    """Decides boxes of one space; `pick` as for `solve`."""

    def __init__(self, space: Space, normal: Normal, pick: Callable[..., Fraction]) -> None:
        self.space, self.normal, self.pick = space, normal, pick
        self.tied = self._tied()

    def _tied(self) -> list[int]:
        """The axes that share a number with another axis."""
        users: dict[Any, set[int]] = {}
        for i, axis in enumerate(self.space.axes):
            for base in self._bases(axis):
                users.setdefault(base, set()).add(i)
        return sorted({i for group in users.values() if len(group) > 1 for i in group})

    def _bases(self, axis: Axis) -> Iterator[Any]:
        if axis.kind == "line":
            for atom, _ in axis.key:
                yield ("rows", atom[1]) if atom[0] in ("min", "max", "mean") else atom
        elif axis.kind == "row":
            yield ("rows", axis.key)
        elif axis.kind == "enum" and axis.key in self.normal.known_rows:
            yield ("rows", self.normal.known_rows[axis.key])
        elif axis.kind == "worlds":
            yield from (atom for atom, cells in self.space.worlds.facts.items() if isinstance(cells[0], Cell))

    def point(self, box: Box, thorough: bool = True) -> Point | None:
        """A case in the box, or None: proved empty. Without `thorough`, axes that share nothing are left at any cell."""
        tied = self.tied if not thorough else range(len(box))
        if not tied:
            return Point({}, tuple(_lowest(m) for m in box), True)
        choices = [list(self._choices(i, box[i])) for i in tied]
        sure = True
        for n, case in enumerate(product(*choices)):
            if n >= CASES:
                sure = False
                break
            if _contradicts(case):
                continue
            given = [b for choice in case for b in choice.bounds]
            given.extend(self._laws(given))
            try:
                numbers = solve(given, self.pick)
            except TooMany:
                sure = False
                continue
            if numbers is not None:
                cells = [_lowest(m) for m in box]
                for i, choice in zip(tied, case, strict=True):
                    cells[i] = choice.cell
                return Point(numbers, tuple(cells), True)
        return None if sure else Point({}, tuple(_lowest(m) for m in box), False)

    def _choices(self, i: int, mask: int) -> Iterator[Choice]:
        """The convex cases of one axis within a mask."""
        axis = self.space.axes[i]
        bases = tuple(self._bases(axis))
        if axis.kind == "line":
            for first, last in _runs(mask):
                a, b = axis.cells[first], axis.cells[last]
                if b is None:
                    yield Choice(last, (), lacks=bases)
                    last -= 1
                if first <= last:
                    b = axis.cells[last]
                    yield Choice(first, tuple(bounds(axis.key, a.low, a.low_in, b.high, b.high_in)), has=bases)
        elif axis.kind == "row":
            yield from self._row_choices(axis, mask, bases)
        elif axis.kind == "worlds":
            yield from self._world_choices(mask)
        elif bases:
            yield from (Choice(c, (), has=bases if axis.cells[c] is True else ()) for c in _bits(mask))
        else:
            yield Choice(_lowest(mask), ())

    def _row_choices(self, axis: Axis, mask: int, bases: tuple[Any, ...]) -> Iterator[Choice]:
        numeric = bool(axis.cells) and isinstance(axis.cells[0][0], Cell)
        seen: dict[tuple[int, int], int] = {}
        for s in _bits(mask):
            if s:
                seen.setdefault((_lowest(s), s.bit_length() - 1) if numeric else (0, 0), s)
            else:
                yield Choice(0, (), lacks=bases)
        for (least, most), s in seen.items():
            ends = (*self._within("min", axis, least), *self._within("max", axis, most)) if numeric else ()
            yield Choice(s, ends, has=bases)

    def _world_choices(self, mask: int) -> Iterator[Choice]:
        worlds = self.space.worlds
        numeric = [a for a, cells in worlds.facts.items() if isinstance(cells[0], Cell)]
        seen: dict[Any, int] = {}
        for w in _bits(mask) if numeric else [_lowest(mask)]:
            seen.setdefault(tuple(worlds.cell(w, a) for a in numeric), w)
        for cells, w in seen.items():
            yield Choice(w, tuple(
                b for a, c in zip(numeric, cells, strict=True)
                for b in bounds(((a, ONE),), c.low, c.low_in, c.high, c.high_in)))

    def _within(self, which: str, axis: Axis, kind: int) -> Iterator[Bound]:
        cells = axis.cells[kind]
        return bounds((((which, axis.key), ONE),), cells[0].low, cells[0].low_in, cells[-1].high, cells[-1].high_in)

    def _laws(self, given: list[Bound]) -> Iterator[Bound]:
        """What always holds of the numbers in `given`: their ranges, and min <= mean <= max with what a length allows."""
        atoms = {a for b in given for a, _ in b.terms}
        for row in {a[1] for a in atoms if a[0] in ("min", "max", "mean")}:
            least, mean, most = ("min", row), ("mean", row), ("max", row)
            low, high = self.normal.range((row, Fraction(0)))
            yield from bounds(((least, ONE),), low, True, None, True)
            yield from bounds(((most, ONE),), None, True, high, True)
            yield Bound(((least, ONE), (most, -ONE)), Fraction(0), False)
            _, n = self.normal.length(row)
            if n == 1:
                yield Bound(((most, ONE), (least, -ONE)), Fraction(0), False)
            if mean in atoms:
                share = Fraction(1, n) if n else Fraction(0)
                # mean >= least + (most - least) / n, and the same from above.
                yield Bound(((mean, -ONE), (least, ONE - share), (most, share)), Fraction(0), False)
                yield Bound(((mean, ONE), (least, -share), (most, share - ONE)), Fraction(0), False)
        for atom in atoms:
            if atom[0] not in ("min", "max", "mean"):
                low, high = self.normal.atom_range(atom)
                yield from bounds(((atom, ONE),), low, True, high, True)


def _bits(mask: int) -> Iterator[int]:
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1


def _runs(mask: int) -> Iterator[tuple[int, int]]:
    """Stretches of neighbouring cells."""
    first = last = None
    for i in _bits(mask):
        if last is not None and i == last + 1:
            last = i
            continue
        if first is not None:
            yield first, last  # type: ignore[misc]
        first = last = i
    if first is not None:
        yield first, last  # type: ignore[misc]
