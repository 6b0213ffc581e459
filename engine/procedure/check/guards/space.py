"""The cells that a step's guards cut its readings into, and boxes over them; it knows cells, and no file.

Along each axis the numbers that it is compared with cut its range into points and gaps between them. A box is one
integer a axis, a bit a cell. Union is a list of boxes; AND is `&`; taking away splits axis by axis. Axis 0 is always
the worlds: the cases that the facts of the job leave open. A row's axis has a cell for every set of kinds of element
that it may hold, so that `any` and `all` over one row agree exactly.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.procedure.check.guards.forms import Atom, Range, Terms
from engine.procedure.check.guards.formulas import Effort, Formula, TooComplex, literals
from engine.procedure.check.guards.normal import Normal
from engine.procedure.check.guards.numbers import Grid
from engine.procedure.check.guards.worlds import Worlds

Box = tuple[int, ...]
#: The most boxes one guard, or what several leave, may take.
CAP = 2000
#: The most kinds of element that one row's axis tells apart: 2 to that many cells.
KINDS = 10


@dataclass(frozen=True, slots=True)
class Cell:
    """A stretch of a line: from `low` to `high` (None: unbounded), each end in or out."""

    low: Fraction | None
    high: Fraction | None
    low_in: bool
    high_in: bool

    @property
    def point(self) -> bool:
        """A single number."""
        return self.low is not None and self.low == self.high


def cut(within: Range, cuts: Iterable[Fraction], grid: Grid | None = None) -> list[Cell]:
    """Cut a closed range at each of `cuts` into points and gaps. With a `grid`, cells that hold neither a point of
    it nor an end of the range go."""
    low, high = within
    at, cells = sorted(set(cuts)), []
    last, last_in = low, low is not None
    for c in at:
        if (low is not None and c < low) or (high is not None and c > high):
            continue
        if last is None or last < c:
            cells.append(Cell(last, c, last_in, False))
        cells.append(Cell(c, c, True, True))
        last, last_in = c, False
    if last is None or high is None or last < high or (last == high and last_in):
        cells.append(Cell(last, high, last_in, high is not None))
    return [c for c in cells if grid is None or _on_grid(c, within, grid)]


def _on_grid(cell: Cell, within: Range, grid: Grid) -> bool:
    if cell.low is None or cell.high is None:
        return True
    if (cell.low_in and cell.low == within[0]) or (cell.high_in and cell.high == within[1]):
        return True
    zero, step = grid
    first = zero - (zero - cell.low) // step * step
    if first == cell.low and not cell.low_in:
        first += step
    return first < cell.high or (first == cell.high and cell.high_in)


def side(cell: Cell, c: Fraction) -> int:
    """Where a cell lies against c, one of its cuts or outside the range: 1 below, 2 at, 4 above."""
    if cell.low is not None and (cell.low > c or (cell.low == c and not cell.low_in)):
        return 4
    if cell.high is not None and (cell.high < c or (cell.high == c and not cell.high_in)):
        return 1
    return 2 if cell.point else 4 if cell.high is None or cell.high > c else 1


@dataclass(slots=True)
class Axis:
    """One axis. `kind` worlds, enum, line, row or truth; `cells` in bit order: choices, `Cell`s (None: missing), or
    for a row its kinds of element (each a list of `Cell`s or choices), bit s of its masks standing for the set s of
    kinds."""

    kind: str
    key: Any
    cells: list[Any]
    full: int

    def mask(self, literal: Formula) -> int:
        """The cells where a literal holds."""
        match literal[0]:
            case "lin":
                return self._line(literal[2], literal[3])
            case "enum":
                mask = sum(1 << i for i, v in enumerate(self.cells) if v in literal[2])
                return mask if literal[3] else self.full & ~mask
            case "row":
                kinds = sum(1 << i for i, kind in enumerate(self.cells) if holds(kind[0], literal[2]))
                mask = sum(1 << s for s in range(1 << len(self.cells)) if s & kinds) & self.full
                return mask if literal[3] else self.full & ~mask
        return 1 if literal[-1] else 2

    def _line(self, c: Fraction, bits: int) -> int:
        """The cells of a line below, at and above c. They stand in order, so that two bisections find them."""
        n = len(self.cells) - (self.cells[-1:] == [None])
        at = bisect_left(self.cells, 2, 0, n, key=lambda cell: side(cell, c))
        above = bisect_left(self.cells, 4, at, n, key=lambda cell: side(cell, c))
        low, mid, whole = (1 << at) - 1, (1 << above) - 1, (1 << n) - 1
        return (
            (low if bits & 1 else 0)
            | (mid & ~low if bits & 2 else 0)
            | (whole & ~mid if bits & 4 else 0)
            | (self.full & ~whole if bits & 8 else 0)
        )


def holds(cell: Any, where: Any) -> bool:
    """Whether a kind of element lies in what a "row" literal says."""
    if isinstance(where, frozenset):
        return cell in where
    return all(side(cell, c) & bits for c, bits in where)


class Space:
    """The axes of a step's formulas, over the worlds of its file, and the algebra of its boxes."""

    def __init__(self, formulas: Iterable[Formula], worlds: Worlds, normal: Normal, effort: Effort) -> None:
        self.worlds, self.normal, self.effort = worlds, normal, effort
        self.axes: list[Axis] = [Axis("worlds", None, [], worlds.all)]
        self.index: dict[Any, int] = {}
        self._masks: dict[Formula, tuple[int, int]] = {}
        wanted: dict[Any, list[Formula]] = {}
        for f in formulas:
            for literal in literals(f):
                if worlds.mask(literal) is None:
                    wanted.setdefault(key_of(literal), []).append(literal)
        for key, found in wanted.items():
            self.index[key] = len(self.axes)
            self.axes.append(self.axis(key, found))
        self.full: Box = tuple(a.full for a in self.axes)

    def axis(self, key: Any, found: list[Formula]) -> Axis:
        """The axis of a key, cut by these literals. Raises `TooComplex`."""
        kind, what = key
        if kind == "line":
            cells: list[Any] = self._cut(what, (f[2] for f in found))
            if any(self.normal.always_missing(atom) for atom, _ in what):
                cells = []
            if any(self.normal.missing(atom) for atom, _ in what):
                cells.append(None)
            return Axis("line", what, cells, (1 << len(cells)) - 1)
        if kind == "enum":
            cells = list(self.normal.choices[what])
            return Axis("enum", what, cells, (1 << len(cells)) - 1)
        if kind == "row":
            return self._row(what, found)
        return Axis("truth", what, [True, False], 3)

    def _cut(self, what: Terms, cuts: Iterable[Fraction]) -> list[Any]:
        return cut(self.normal.range((what, Fraction(0))), cuts, self.normal.grid_of(what))

    def _row(self, what: Any, found: list[Formula]) -> Axis:
        kinds: list[list[Any]] = []
        if isinstance(what[0], str):
            groups: dict[tuple[bool, ...], list[Any]] = {}
            for value in self.normal.choices[what]:
                groups.setdefault(tuple(value in f[2] for f in found), []).append(value)
            kinds = list(groups.values())
        else:
            last = None
            for cell in self._cut(what, (c for f in found for c, _ in f[2])):
                mark = [holds(cell, f[2]) for f in found]
                if mark == last:
                    kinds[-1].append(cell)
                else:
                    kinds.append([cell])
                last = mark
        if len(kinds) > KINDS:
            raise TooComplex
        least, most = self.normal.length(what)
        most = len(kinds) if most is None else most  # none at all is a length too
        full = sum(1 << s for s in range(1 << len(kinds)) if min(least, 1) <= s.bit_count() <= most)
        return Axis("row", what, kinds, full)

    # ---- boxes

    def there(self, known: Collection[str]) -> Box:
        """Everything but the cells where one of the `known` names is missing."""
        masks = []
        for axis in self.axes:
            mask = axis.full
            if axis.kind in ("line", "enum") and axis.cells[-1] is None:
                atoms = [axis.key] if axis.kind == "enum" else [a for a, _ in axis.key]
                if all(self._taken(a, known) for a in atoms if self.normal.missing(a)):
                    mask &= ~(1 << (len(axis.cells) - 1))
            elif (
                axis.kind == "enum"
                and axis.key in self.normal.known_rows
                and self._taken(("e", axis.key[1][6:]), known)  # of a row that may lack a place, taken is not whole
            ):
                mask &= ~(1 << axis.cells.index(False))
            elif axis.kind == "row" and mask & 1 and self._taken(("min", axis.key), known):
                mask &= ~1
            masks.append(mask)
        return tuple(masks)

    def _taken(self, atom: Atom, known: Collection[str]) -> bool:
        """Whether an atom is there, since these names are."""
        if atom[0] in ("min", "max", "mean"):
            row = [atom[1]] if isinstance(atom[1][0], str) else [a for a, _ in atom[1]]
            return all(self._taken(a, known) and self.normal.places(self.normal.each.get(a))[0] for a in row)
        return atom not in self.normal.holes or (atom in self.normal.only_asked and atom[1] in known)

    def boxes(self, f: Formula) -> list[Box]:
        """A formula as a union of boxes. Raises `TooComplex` past the cap."""
        if isinstance(f, bool):
            return [self.full] if f else []
        if f[0] == "or":
            found = [b for item in f[1] for b in self.boxes(item)]
            if len(found) > CAP:
                raise TooComplex
            return _lean(found)
        if f[0] == "and":
            found = [self.full]
            for item in f[1]:
                found = self.meet(found, self.boxes(item))
            return found
        at, mask = self._literal(f)
        return [(*self.full[:at], mask, *self.full[at + 1 :])] if mask else []

    def _literal(self, f: Formula) -> tuple[int, int]:
        if f not in self._masks:
            world = self.worlds.mask(f)
            if world is not None:
                self._masks[f] = (0, world)
            else:
                at = self.index[key_of(f)]
                self._masks[f] = (at, self.axes[at].mask(f))
        return self._masks[f]

    def meet(self, a: list[Box], b: list[Box]) -> list[Box]:
        """What both unions hold."""
        self.effort.spend(len(a) * len(b) * len(self.axes))
        found = []
        for x in a:
            for y in b:
                z = tuple(map(int.__and__, x, y))
                if all(z):
                    found.append(z)
        if len(found) > CAP:
            raise TooComplex
        return _lean(found)

    def minus(self, a: list[Box], b: list[Box]) -> list[Box]:
        """What the first union holds and the second does not, as boxes; those of disjoint `a` stay disjoint."""
        for y in b:
            self.effort.spend(len(a) * len(self.axes))
            left: list[Box] = []
            for x in a:
                z = tuple(map(int.__and__, x, y))
                if not all(z):
                    left.append(x)
                    continue
                for i, both in enumerate(z):
                    rest = x[i] & ~both
                    if rest:
                        left.append((*z[:i], rest, *x[i + 1 :]))
            if len(left) > CAP:
                raise TooComplex
            a = left
            if not a:
                break
        return a


def key_of(literal: Formula) -> Any:
    """The axis that a literal speaks of, as a kind and what it is an axis of."""
    match literal[0]:
        case "lin":
            return ("line", literal[1])
        case "enum":
            return ("enum", literal[1])
        case "row":
            return ("row", literal[1])
    return ("truth", literal[1])


def names_in(key: Any) -> set[str]:
    """The names that the key of an axis speaks of, and perhaps further words."""
    if isinstance(key, str):
        return {key.removeprefix("known:").removeprefix("over:")}
    if isinstance(key, tuple | frozenset):
        return set().union(*(names_in(k) for k in key))
    return set()


def _lean(boxes: list[Box]) -> list[Box]:
    """Without boxes that lie inside another, where there are few enough to look."""
    boxes = list(dict.fromkeys(boxes))
    if not 1 < len(boxes) <= 40:
        return boxes
    return [
        x
        for i, x in enumerate(boxes)
        if not any(i != j and all(p & ~q == 0 for p, q in zip(x, y, strict=True)) for j, y in enumerate(boxes))
    ]
