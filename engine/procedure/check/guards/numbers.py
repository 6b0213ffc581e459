"""The numbers of a guard as linear forms, with what is known of each atom; it compares nothing."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from fractions import Fraction
from math import gcd
from typing import Any

from engine.procedure.check.guards.forms import (
    ONE,
    ZERO,
    Atom,
    Form,
    Range,
    Terms,
    aggregate,
    combine,
    constant,
    product,
    quotient,
    range_of,
    scale,
    single,
)
from engine.procedure.check.guards.formulas import Formula, literals
from engine.procedure.language.expr import Arith, Call, Name, Node, Number, Type
from engine.quantity.units import to_base

#: A grid: a point of it, and how far its points lie apart.
Grid = tuple[Fraction, Fraction]


def common(a: Fraction, b: Fraction) -> Fraction:
    """The greatest number that both are whole multiples of."""
    return Fraction(gcd(a.numerator * b.denominator, b.numerator * a.denominator), a.denominator * b.denominator)


class Numbers:
    """Forms of one file's numbers.

    `values` are the file's named expressions, put in where they are used. `places` gives the least and greatest number
    of places of a row by what it runs over. `asked` are names of which some guard asks whether they are there: they may
    be missing. `grids` are those that readings are rounded to, by name.
    """

    def __init__(
        self,
        values: Mapping[str, Node],
        screws: Collection[str],
        places: Callable[[str | None], tuple[int, int | None]],
        asked: Collection[str],
        grids: Mapping[str, Grid],
    ) -> None:
        self.values, self.screws, self.places, self.asked, self._grids = values, screws, places, asked, grids
        self.ranges: dict[Atom, Range] = {}
        self.choices: dict[Atom, tuple[Any, ...]] = {}
        self.units: dict[Atom, str | None] = {}
        self.each: dict[Atom, str] = {}
        #: Atoms whose values lie on a grid, or at the ends of their range.
        self.grid: dict[Atom, Grid] = {}
        #: Rows in which a place, and single values which, may be missing.
        self.holes: set[Atom] = set()
        #: Those of them that are missing at most where nobody took them: not where every way takes them.
        self.only_asked: set[Atom] = set()
        #: `known(row)` axes, with the row that then has at least one element.
        self.known_rows: dict[Atom, Any] = {}
        #: What fell out of the comparison that is being worked out (`a - a`): it must still be there.
        self._lost: dict[Atom, None] = {}

    def formula(self, node: Node) -> Formula:
        """The formula of a truth; `Normal` gives it."""
        raise NotImplementedError

    def along(self, node: Node, holds: bool) -> Formula:
        """The formula of a comparison along a row; `Normal` gives it."""
        raise NotImplementedError

    def note(self, atom: Atom, kind: Type) -> None:
        """Remember what a row runs over, and whether something may be missing."""
        if kind.each:
            self.each[atom] = kind.each
        if kind.holes or atom[1] in self.asked:
            self.holes.add(atom)
        if not kind.holes and atom[1] in self.asked:
            self.only_asked.add(atom)

    def number(self, node: Node) -> Form:
        """The form of a number or of a row of numbers."""
        match node:
            case Number():
                return constant(node.value)
            case Name():
                if node.name in self.values:
                    return self.number(self.values[node.name])
                return self.atom(node.name, node.type)  # type: ignore[arg-type]
            case Arith(op="+"):
                return self.sum_of(self.number(node.left), self.number(node.right))
            case Arith(op="-"):
                return self.sum_of(self.number(node.left), self.number(node.right), -ONE)
            case Arith(op="*"):
                return self._product(self.number(node.left), self.number(node.right))
            case Arith(op="/"):
                return self._quotient(self.number(node.left), self.number(node.right))
            case Call(function="position"):
                assert isinstance(node.argument, Name) and node.type is not None  # as the resolver leaves it
                return self.atom("position:" + node.argument.name, node.type)
            case Call(function="abs"):
                return self._abs(self.number(node.argument))
            case Call(function="count"):
                return self._count(node)
            case Call(function="min" | "max" | "mean" | "spread"):
                return self._aggregate(node)
        raise TypeError(f"{node} is no number")

    def sum_of(self, a: Form, b: Form, k: Fraction = ONE) -> Form:
        """a + k * b. What cancels is remembered: a comparison is false where any of it is missing."""
        found = combine(a, b, k)
        if a[0] and b[0] and len(found[0]) < len(a[0]) + len(b[0]):
            left = dict(found[0])
            self._lost |= {atom: None for atom, _ in (*a[0], *b[0]) if atom not in left}
        return found

    def _aggregate(self, node: Call) -> Form:
        outside, self._lost = self._lost, {}
        inner = self.number(node.argument)
        lost, self._lost = self._lost, outside
        if any(atom[0] == "e" for atom in lost):
            # Only the places where all of it is there count, and the row that is left does not say which.
            gone = tuple(lost)
            atom: Atom = ("o", (node.function, inner, gone)) if not node.per else ("e", (node.function, inner, gone))
            self.ranges.setdefault(atom, self._wide(node.function, inner))
            if node.per:
                self.each[atom] = node.per
            self.holes.add(atom)
            return single(atom)
        self._lost |= lost
        if node.function == "spread":  # a single value along the whole row falls out of it
            self._lost |= {atom: None for atom, _ in inner[0] if atom[0] != "e"}
        return self._grouped(node, inner) if node.per else aggregate(node.function, inner)

    def _wide(self, function: str, inner: Form) -> Range:
        low, high = self.range(inner)
        return (low, high) if function != "spread" else (ZERO, None if low is None or high is None else high - low)

    def atom(self, name: str, kind: Type) -> Form:
        atom: Atom = ("e" if kind.each else "s", name)
        self.ranges.setdefault(atom, (kind.low, kind.high))
        if atom not in self.units:
            self.units[atom] = kind.unit
            self.note(atom, kind)
            if name in self._grids:
                self.grid[atom] = self._grids[name]
            elif kind.whole:
                zero = to_base(ZERO, kind.unit or "")
                self.grid[atom] = (zero, to_base(ONE, kind.unit or "") - zero)
        return single(atom)

    def _opaque(self, key: Any, within: Range, *parts: Form) -> Form:
        row = any(atom[0] == "e" for form in parts for atom, _ in form[0])
        atom: Atom = ("e" if row else "o", key)
        self.ranges.setdefault(atom, within)
        if row:
            self.each[atom] = next(self.each[a] for form in parts for a, _ in form[0] if a[0] == "e")
        if any(self.missing(a) for form in parts for a, _ in form[0]):
            self.holes.add(atom)
        return single(atom)

    def range(self, form: Form) -> Range:
        """The range of a form by intervals."""
        low, high = range_of(form[0], self.atom_range)
        return (None if low is None else low + form[1], None if high is None else high + form[1])

    def length(self, key: Any) -> tuple[int, int | None]:
        """The least and greatest number of elements of a row that are there; `key` is a row's terms, or one atom."""
        atoms = [key] if isinstance(key[0], str) else [a for a, _ in key]
        low, high = self.places(self.each.get(atoms[0]))
        for atom in atoms[1:]:
            least, most = self.places(self.each.get(atom))
            low, high = max(low, least), None if most is None or high is None else max(high, most)
        return (0 if any(a in self.holes for a in atoms) else low), high

    def missing(self, atom: Atom) -> bool:
        """Whether an atom may be missing; an aggregate is, where its row may be empty."""
        if atom[0] in ("min", "max", "mean"):
            return self.length(atom[1])[0] == 0
        return atom in self.holes

    def always_missing(self, atom: Atom) -> bool:
        """Whether an atom is never there: an aggregate of a row that has no place on any bank."""
        return atom[0] in ("min", "max", "mean") and self.length(atom[1])[1] == 0

    def atom_range(self, atom: Atom) -> Range:
        """The range of one atom."""
        if atom[0] in ("min", "max", "mean"):
            return range_of(atom[1], self.atom_range)
        return self.ranges.get(atom, (None, None))

    def grid_of(self, terms: Terms) -> Grid | None:
        """The grid that a form's values lie on, where they do: all of its atoms on grids, and their ranges' ends too.

        The least and the greatest of a row lie where its elements do; of a single atom the ends need not.
        """
        if len(terms) == 1 and terms[0][1] == 1 and terms[0][0] in self.grid:
            return self.grid[terms[0][0]]
        zero, step = ZERO, ZERO
        for atom, c in terms:
            if atom[0] in ("min", "max") and len(atom[1]) == 1:
                atom = atom[1][0][0]
            if atom not in self.grid:
                return None
            start, width = self.grid[atom]
            if any(end is None or (end - start) % width for end in self.ranges[atom]):
                return None
            zero += c * start
            step = common(step, abs(c) * width)
        return zero, step

    def _product(self, a: Form, b: Form) -> Form:
        for one, other in ((a, b), (b, a)):
            if not one[0]:
                self._lost |= {} if one[1] else {atom: None for atom, _ in other[0]}
                return scale(other, one[1])
        a, b = sorted((a, b), key=repr)
        return self._opaque(("*", a, b), product(self.range(a), self.range(b)), a, b)

    def _quotient(self, a: Form, b: Form) -> Form:
        if not b[0]:
            return scale(a, 1 / b[1]) if b[1] else self._opaque(("/0", a), (None, None), a)
        return self._opaque(("/", a, b), quotient(self.range(a), self.range(b)), a, b)

    def _abs(self, a: Form) -> Form:
        if not a[0]:
            return constant(abs(a[1]))
        low, high = self.range(a)
        far = None if low is None or high is None else max(abs(low), abs(high))
        near = max(low or ZERO, -(high if high is not None else ZERO), ZERO)
        return self._opaque(("abs", a), (near, far), a)

    def _grouped(self, node: Call, inner: Form) -> Form:
        atom: Atom = ("e", (node.function, inner, node.per))
        self.ranges.setdefault(atom, self._wide(node.function, inner))
        self.units.setdefault(atom, node.type.unit if node.type else None)
        self.each[atom] = node.per  # type: ignore[assignment]
        if node.type is not None and node.type.holes:
            self.holes.add(atom)
        return single(atom)

    def _count(self, node: Call) -> Form:
        where = self.along(node.argument, True)
        if isinstance(where, bool):
            where = ("and", ()) if where else ("or", ())
        each = self.each_of(where)
        most = self.places(each)[1] if each else None
        if most == 0:
            return constant(ZERO)
        atom: Atom = ("o", ("count", where))
        self.ranges.setdefault(atom, (ZERO, None if most is None else Fraction(most)))
        return single(atom)

    def each_of(self, where: Formula) -> str | None:
        """What the row runs over whose elements a formula speaks of, the finer of two; None where it speaks of none."""
        found: set[str | None] = set()
        for literal in literals(where):
            atoms = [literal[1]] if literal[0] == "enum" else [a for a, _ in literal[1]] if literal[0] == "lin" else []
            found |= {self.each.get(atom) for atom in atoms if atom[0] == "e"}
        return "barrel" if "barrel" in found else next(iter(found), None)
