"""Whether real readings can lie in a box: exact linear arithmetic over axes that share a reading; it guesses nothing.

Axes are cut one by one, as if they were independent. Where two speak of the same numbers (`gap - target` and `gap`, a
row's least element and its spread) a box may be empty all the same. Linear inequalities settle that, and hand back
numbers that lie in the box.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import Any

from engine.procedure.check.guards.forms import ONE, Atom, Form, Terms, combine, order, scale, single
from engine.procedure.check.guards.inequalities import Bound, TooMany, bounds, solve
from engine.procedure.check.guards.normal import Normal
from engine.procedure.check.guards.places import Together, fits, together
from engine.procedure.check.guards.space import Axis, Box, Cell, Space

#: The most cases of one box that are tried before the answer is "may be".
CASES = 128
#: What one case costs of a file's effort.
SOLVING = 2000


@dataclass(frozen=True, slots=True)
class Point:
    """A case in a box: numbers for the atoms that matter, one cell (or set of kinds) for each axis, and one world."""

    numbers: dict[Atom, Fraction]
    cells: tuple[int, ...]
    #: False where "may be" is all that is known.
    sure: bool


@dataclass(frozen=True, slots=True)
class Choice:
    """One convex case of an axis: a cell to name it, its bounds, and what must be there or (one of them) missing for
    it."""

    cell: int
    bounds: tuple[Bound, ...]
    has: tuple[Any, ...] = ()
    lacks: tuple[Any, ...] = ()
    #: What some place must be at once, or (`False`) no place may be; and a row with the kinds of element it holds.
    place: tuple[bool, Together] | None = None
    row: tuple[Any, tuple[Any, ...]] | None = None


def _contradicts(case: tuple[Choice, ...], holes: Callable[[Any], bool]) -> bool:
    """Whether something is missing here and there at once, or what each row holds can't be put into places."""
    there = {base for choice in case for base in choice.has}
    if any(choice.lacks and there.issuperset(choice.lacks) for choice in case):
        return True
    asked = [choice.place for choice in case if choice.place]
    return bool(asked) and not fits(dict(choice.row for choice in case if choice.row), asked, holes)


class Theory:
    """Decides boxes of one space; `pick` as for `solve`."""

    def __init__(self, space: Space, normal: Normal, pick: Callable[..., Fraction]) -> None:
        self.space, self.normal, self.pick = space, normal, pick
        #: The rows of which something is asked at the same place as of another.
        self._joined = {row for axis in space.axes if axis.kind == "truth" for row, _ in together(axis.key)}
        self.groups = self._groups()
        #: Whether a group may be where these of its cells are: worked out once, since boxes share most of theirs.
        self._known: dict[tuple[int, ...], bool] = {}

    def _groups(self) -> list[list[int]]:
        """The axes that share a number with another, put together; axes of their own are mostly left out."""
        group = list(range(len(self.space.axes)))
        first: dict[Any, int] = {}
        for i, axis in enumerate(self.space.axes):
            for base in self._bases(axis):
                a, b = group[first.setdefault(base, i)], group[i]
                group = [min(a, b) if g in (a, b) else g for g in group]
        found: dict[int, list[int]] = {}
        for i, g in enumerate(group):
            found.setdefault(g, []).append(i)
        return [axes for axes in found.values() if len(axes) > 1 or self._within_itself(self.space.axes[axes[0]])]

    def _within_itself(self, axis: Axis) -> bool:
        """Whether one axis alone may be empty where its range is not: a product stands beside its own factor."""
        return axis.kind == "line" and len(axis.key) > 1 and any(_factors(atom) for atom, _ in axis.key)

    def _bases(self, axis: Axis) -> Iterator[Any]:
        if axis.kind == "line":
            yield from _bases_of(axis.key)
        elif axis.kind == "row":
            yield ("rows", axis.key)
        elif axis.kind == "enum" and axis.key in self.normal.known_rows:
            yield ("rows", self.normal.known_rows[axis.key])
        elif axis.kind == "truth":
            yield from (("rows", row) for row, _ in together(axis.key))
        elif axis.kind == "worlds":
            yield from (atom for atom, cells in self.space.worlds.facts.items() if isinstance(cells[0], Cell))

    def possible(self, box: Box) -> bool:
        """Whether a real reading may lie in the box; False is a proof that none does."""
        for axes in self.groups:
            key = (axes[0], *[box[i] for i in axes])
            if key not in self._known:
                self._known[key] = self._solve(axes, box, None) is not None
            if not self._known[key]:
                return False
        return True

    def point(self, box: Box) -> Point | None:
        """A case in the box, or None: proved empty."""
        numbers: dict[Atom, Fraction] = {}
        cells = [_lowest(m) for m in box]
        sure = True
        tied = {i for axes in self.groups for i in axes}
        for axes in [*self.groups, *([i] for i in range(len(box)) if i not in tied)]:
            part = self._solve(axes, box, self.pick)
            if part is None:
                return None
            numbers |= part.numbers
            sure = sure and part.sure
            for i, cell in zip(axes, part.cells, strict=True):
                cells[i] = cell
        return Point(numbers, tuple(cells), sure)

    def _solve(self, axes: list[int], box: Box, pick: Callable[..., Fraction] | None) -> Point | None:
        """A case of these axes alone; its cells are theirs."""
        sure = True
        for n, case in enumerate(product(*[list(self._choices(i, box[i])) for i in axes])):
            if n >= CASES:
                sure = False
                break
            if _contradicts(case, self._may_lack):
                continue
            self.space.effort.spend(SOLVING)
            given = [b for choice in case for b in choice.bounds]
            given.extend(self._laws(given))
            try:
                numbers = solve(given, pick, self.space.effort.spend)
            except TooMany:
                sure = False
                continue
            if numbers is not None:
                return Point(numbers, tuple(choice.cell for choice in case), True)
        return None if sure else Point({}, tuple(_lowest(box[i]) for i in axes), False)

    def _may_lack(self, row: Any) -> bool:
        return self.normal.length(row)[0] == 0

    def _choices(self, i: int, mask: int) -> Iterator[Choice]:
        """The convex cases of one axis within a mask."""
        axis = self.space.axes[i]
        bases = tuple(self._bases(axis))
        if axis.kind == "line":
            for first, last in _runs(mask):
                a, b = axis.cells[first], axis.cells[last]
                if b is None:
                    lost = [atom for atom, _ in axis.key if self.normal.missing(atom)]
                    yield Choice(last, (), lacks=tuple(_base(atom) for atom in lost))
                    last -= 1
                if first <= last:
                    b = axis.cells[last]
                    yield Choice(first, tuple(bounds(axis.key, a.low, a.low_in, b.high, b.high_in)), has=bases)
        elif axis.kind == "row":
            yield from self._row_choices(axis, mask, bases)
        elif axis.kind == "worlds":
            yield from self._world_choices(mask)
        elif axis.kind == "truth":
            yield from (Choice(c, (), place=(axis.cells[c], together(axis.key))) for c in _bits(mask))
        elif bases:
            yield from (Choice(c, (), has=bases if axis.cells[c] is True else ()) for c in _bits(mask))
        else:
            yield Choice(_lowest(mask), ())

    def _row_choices(self, axis: Axis, mask: int, bases: tuple[Any, ...]) -> Iterator[Choice]:
        numeric = bool(axis.cells) and isinstance(axis.cells[0][0], Cell)
        joined = axis.key in self._joined
        seen: dict[Any, int] = {}
        for s in _bits(mask):
            if s:
                seen.setdefault(s if joined else (_lowest(s), s.bit_length() - 1) if numeric else 0, s)
            else:
                yield Choice(0, (), lacks=bases, row=(axis.key, ()) if joined else None)
        for s in seen.values():
            least, most = _lowest(s), s.bit_length() - 1
            ends = (*self._within("min", axis, least), *self._within("max", axis, most)) if numeric else ()
            row = (axis.key, tuple(axis.cells[k][0] for k in _bits(s))) if joined else None
            yield Choice(s, ends, has=bases, row=row)

    def _world_choices(self, mask: int) -> Iterator[Choice]:
        worlds = self.space.worlds
        numeric = [a for a, cells in worlds.facts.items() if isinstance(cells[0], Cell)]
        seen: dict[Any, int] = {}
        for w in _bits(mask) if numeric else [_lowest(mask)]:
            seen.setdefault(tuple(worlds.cell(w, a) for a in numeric), w)
        for cells, w in seen.items():
            yield Choice(
                w,
                tuple(
                    b
                    for a, c in zip(numeric, cells, strict=True)
                    for b in bounds(((a, ONE),), c.low, c.low_in, c.high, c.high_in)
                ),
            )

    def _within(self, which: str, axis: Axis, kind: int) -> Iterator[Bound]:
        cells = axis.cells[kind]
        return bounds((((which, axis.key), ONE),), cells[0].low, cells[0].low_in, cells[-1].high, cells[-1].high_in)

    def _laws(self, given: list[Bound]) -> Iterator[Bound]:
        """What always holds of the numbers in `given`: their ranges, and min <= mean <= max with what a length
        allows."""
        atoms = _with_factors({a for b in given for a, _ in b.terms})
        for atom in atoms:
            yield from self._product(atom)
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

    def _product(self, atom: Atom) -> Iterator[Bound]:
        """What holds of a product of two numbers that lie in ranges: McCormick's four planes round it."""
        factors = _factors(atom)
        if factors is None:
            return
        worth, a, b = factors
        (al, ah), (bl, bh) = self.normal.range(a), self.normal.range(b)
        if al is None or ah is None or bl is None or bh is None:
            return
        for x, y, below in ((al, bl, True), (ah, bh, True), (ah, bl, False), (al, bh, False)):
            # worth >= (below) or <= (not) x * b + y * a - x * y
            gap = combine(combine(worth, b, -x), a, -y)
            form = scale(gap, -ONE) if below else gap
            yield Bound(form[0], (x * y if below else -x * y) - form[1], False)


def _factors(atom: Atom) -> tuple[Form, Form, Form] | None:
    """(product, factor, factor) of an atom that stands for a product, or for a quotient, whose product is its
    dividend."""
    if isinstance(atom[1], tuple) and atom[1]:
        if atom[1][0] == "*":
            return single(atom), atom[1][1], atom[1][2]
        if atom[1][0] == "/":
            return atom[1][1], single(atom), atom[1][2]
    return None


def _with_factors(atoms: set[Atom]) -> set[Atom]:
    """Atoms, and those that their products are made of."""
    found, queue = set(atoms), list(atoms)
    while queue:
        for form in _factors(queue.pop()) or ():
            new = {a for a, _ in form[0]} - found
            found |= new
            queue += new
    return found


def _bases_of(terms: Terms) -> Iterator[Any]:
    return (_base(atom) for atom in sorted(_with_factors({a for a, _ in terms}), key=order))


def _base(atom: Atom) -> Any:
    """What an atom is a number of: a row for its aggregates, else itself."""
    return ("rows", atom[1]) if atom[0] in ("min", "max", "mean") else atom


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
