"""Guards brought to formulas, so that a guard and its opposite are seen as such; it decides nothing.

`any`, `not all`, `count > 0`, `min` and `max` against a number all become "row" literals of one shape.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from engine.procedure.check.guards.forms import (
    ONE,
    ZERO,
    Atom,
    Form,
    Terms,
    aggregate,
    constant,
    order,
    row_key,
    scale,
    single,
    split,
)
from engine.procedure.check.guards.formulas import (
    BITS,
    Formula,
    alternatives,
    conjunction,
    disjunction,
    literals,
    negation,
    turn,
)
from engine.procedure.check.guards.numbers import Numbers
from engine.procedure.language.expr import And, Arith, Call, Compare, Name, Node, Not, Number, Or, Text, Truth, Type

#: The most alternatives that the argument of one `any`, `all` or `count` may have.
ARGUMENT_CAP = 64


class Normal(Numbers):
    """Brings the guards of one file to formulas."""

    # ---- truths

    def formula(self, node: Node) -> Formula:
        """The formula of a truth."""
        match node:
            case Truth():
                return node.value
            case And():
                return conjunction([self.formula(i) for i in node.items])
            case Or():
                return disjunction([self.formula(i) for i in node.items])
            case Not():
                return negation(self.formula(node.item))
            case Compare():
                pairs = zip(node.items, node.ops, node.items[1:], strict=False)
                return conjunction([self._compare(a, BITS[op], b) for a, op, b in pairs])
            case Name():
                if node.name in self.values:
                    return self.formula(self.values[node.name])
                return self._is(self._axis(node), frozenset({True}))
            case Call(function="any" | "which"):
                return self._some(self.along(node.argument, True))
            case Call(function="all"):
                return negation(self._some(self.along(node.argument, False)))
            case Call(function="known"):
                return self._known(node.argument)
            case Call(function="over", argument=Name(name=name)):
                return self._over(node.argument, name)
        raise TypeError(f"{node} is no truth")

    def _is(self, axis: Atom, values: frozenset[Any]) -> Formula:
        universe = self.choices[axis]
        inside = values & frozenset(universe)
        return False if not inside else True if len(inside) == len(universe) else ("enum", axis, inside, True)

    def _axis(self, node: Name) -> Atom:
        kind: Type = node.type  # type: ignore[assignment]
        axis: Atom = ("e" if kind.each else "c", node.name)
        if axis not in self.choices:
            choices: tuple[Any, ...] = (True, False) if kind.kind == "bool" else kind.choices
            self.note(axis, kind)
            self.choices[axis] = (*choices, None) if axis in self.holes and not kind.each else choices
        return axis

    def _known(self, node: Node) -> Formula:
        """No place of it is missing. Of a single one, a part of its own axis; of a row, a truth of its own."""
        if isinstance(node, Name) and node.name in self.screws:
            form = self.atom("position:" + node.name, node.type)  # type: ignore[arg-type]
        elif node.type is not None and node.type.kind == "number":
            outside, self._lost = self._lost, {}
            form = self.number(node)
            lost, self._lost = self._lost, outside
            return conjunction([self._atom_there(atom) for atom in (*dict(form[0]), *lost)])
        elif isinstance(node, Name) and node.name in self.values:
            return self._known(self.values[node.name])
        elif isinstance(node, Name):
            form = single(self._axis(node))
        else:
            return True
        return conjunction([self._atom_there(atom) for atom, _ in form[0]])

    def _over(self, node: Node, name: str) -> Formula:
        """A reading, or a place of a row, stands beyond its scale: a truth of its own, and then it counts as the
        top."""
        beyond: Atom = ("c", f"over:{name}")
        self.choices[beyond] = (True, False)
        form = self.number(node)
        top = self.range(form)[1]
        if top is None:
            return self._is(beyond, frozenset({True}))
        most = aggregate("max", form)
        return conjunction([self._is(beyond, frozenset({True})), self.compare(most, 6, constant(top))])

    def _atom_there(self, atom: Atom) -> Formula:
        if not self.missing(atom):
            return True
        if atom[0] in ("min", "max", "mean"):
            return ("row", atom[1], (), True)
        if atom[0] == "c":
            return self._is(atom, frozenset(self.choices[atom]) - {None})
        if atom[0] != "e":
            low = self.ranges[atom][0]
            return ("lin", ((atom, ONE),), ZERO if low is None else low, 7)
        if self.places(self.each.get(atom)) == (1, 1):
            return ("row", ((atom, ONE),) if atom in self.ranges else atom, (), True)
        axis: Atom = ("c", f"known:{atom[1]}")
        self.choices[axis] = (True, False)
        if self.places(self.each.get(atom))[0]:
            self.known_rows[axis] = ((atom, ONE),) if atom in self.ranges else atom
        return self._is(axis, frozenset({True}))

    def _compare(self, a: Node, bits: int, b: Node) -> Formula:
        kind = _kind(a) or _kind(b)
        if kind == "number":
            outside, self._lost = self._lost, {}
            found = self.compare(self.number(a), bits, self.number(b))
            lost, self._lost = self._lost, outside
            self._lost |= {atom: None for atom in lost if atom[0] == "e"}
            return conjunction([found, *(self._atom_there(atom) for atom in lost if atom[0] != "e")])
        if kind == "bool":
            x, y = self.formula(a), self.formula(b)
            same = disjunction([conjunction([x, y]), conjunction([negation(x), negation(y)])])
            return same if bits == 2 else negation(same)
        left, right = self.options(a), self.options(b)
        return disjunction(
            [conjunction([x, y]) for v, x in left.items() for w, y in right.items() if (v == w) == (bits == 2)]
        )

    def options(self, node: Node) -> dict[str, Formula]:
        """Each choice that an expression may be, with the formula of its being that; all false where it is missing."""
        if isinstance(node, Text):
            return {node.value: True}
        if isinstance(node, Name):
            if node.name in self.values:
                return self.options(self.values[node.name])
            axis = self._axis(node)
            return {v: self._is(axis, frozenset({v})) for v in self.choices[axis] if v is not None}
        raise TypeError(f"{node} is no choice")

    # ---- comparisons

    def along(self, node: Node, holds: bool) -> Formula:
        """Where what is asked along a row holds of a place, or does not: one at which all of it is there."""
        outside, self._lost = self._lost, {}
        found = self.formula(node)
        lost, self._lost = self._lost, outside
        if not holds:
            found = negation(found)
        if not holds or isinstance(node, And | Or | Not):
            parts = [_atoms(f) for f in literals(found)]
            lost |= {a: None for a in set().union(*parts) if any(a not in part for part in parts)}
        return conjunction([found, *(self._there(a) for a in sorted(lost, key=order))])

    def _there(self, atom: Atom) -> Formula:
        """That something is there; of a row, at the place that is looked at."""
        if atom[0] != "e":
            return self._atom_there(atom)
        if self.length(((atom, ONE),))[0]:
            return True
        if atom in self.choices:
            return ("enum", atom, frozenset(self.choices[atom]), True)
        return ("lin", ((atom, ONE),), ZERO, 7)

    def compare(self, a: Form, bits: int, b: Form) -> Formula:
        """The formula of `a op b`."""
        terms, const = self.sum_of(a, b, -ONE)
        if not terms:
            return bool(bits & (1 if const < 0 else 2 if const == 0 else 4))
        special = [(atom, k) for atom, k in terms if isinstance(atom[1], tuple) and atom[1] and atom[1][0] == "abs"]
        if len(special) == 1:
            return self._compare_abs(special[0], (terms, const), bits)
        if len(terms) == 1:
            (atom, k), c = terms[0], -const / terms[0][1]
            turned = bits if k > 0 else turn(bits)
            if atom[0] in ("min", "max"):
                return self._extreme(atom, c, turned)
            if atom[0] == "o" and atom[1][0] == "count":
                return self._compare_count(atom, c, turned)
        return self._line(terms, const, bits)

    def _line(self, terms: Terms, const: Fraction, bits: int) -> Formula:
        k = terms[0][1]
        if k != 1:
            terms = tuple((atom, c / k) for atom, c in terms)
        if k < 0:
            bits = turn(bits)
        return ("lin", terms, -const / k, bits)

    def _compare_abs(self, term: tuple[Atom, Fraction], form: Form, bits: int) -> Formula:
        atom, k = term
        inner: Form = atom[1][1]
        rest = scale((tuple(t for t in form[0] if t[0] != atom), form[1]), -1 / k)  # |inner| op rest
        bits = bits if k > 0 else turn(bits)
        minus = scale(inner, -ONE)
        if bits in (1, 3):
            return conjunction([self.compare(inner, bits, rest), self.compare(minus, bits, rest)])
        if bits in (4, 6):
            return disjunction([self.compare(inner, bits, rest), self.compare(minus, bits, rest)])
        if bits == 5:  # not by negation: a missing reading differs from nothing
            return disjunction([self._compare_abs(term, form, side) for side in (1, 4)])
        either = disjunction([self.compare(inner, 2, rest), self.compare(minus, 2, rest)])
        return conjunction([either, self.compare(rest, 6, constant(ZERO))])

    def _extreme(self, atom: Atom, c: Fraction, bits: int) -> Formula:
        """min or max of a row against a number, as what some element is."""
        kind, key = atom
        if kind == "max":  # max op c is -(min of -row) op c
            beyond, upto = ("row", key, ((c, 4),), True), ("row", key, ((c, 6),), True)
            cases = {4: beyond, 2: conjunction([upto, negation(beyond)]), 1: negation(upto)}
        else:
            beyond, upto = ("row", key, ((c, 1),), True), ("row", key, ((c, 3),), True)
            cases = {1: beyond, 2: conjunction([upto, negation(beyond)]), 4: negation(upto)}
        merged = {3: upto, 6: negation(beyond)} if kind == "min" else {6: upto, 3: negation(beyond)}
        found = merged[bits] if bits in merged else disjunction([cases[b] for b in (1, 2, 4) if bits & b])
        return conjunction([found, ("row", key, (), True)]) if self.length(key)[0] == 0 else found

    def _compare_count(self, atom: Atom, c: Fraction, bits: int) -> Formula:
        """A count against a number: none at all is `not any`; the rest is an axis from 1 up."""
        some = self._some(atom[1][1])
        none = negation(some) if bits & (1 if c > 0 else 2 if c == 0 else 4) else False
        upper = self.ranges[atom][1]
        many: Atom = ("o", ("many", atom[1][1]))
        self.ranges[many], self.grid[many] = (ONE, upper), (ZERO, ONE)
        return disjunction([none, conjunction([some, ("lin", ((many, ONE),), c, bits)])])

    # ---- rows

    def _some(self, where: Formula) -> Formula:
        """The formula of "some element is so"."""
        each = self.each_of(where)
        if each is not None and self.places(each)[1] == 0:
            return False  # no bank that the file is for has such a place
        return disjunction([self._some_of(case) for case in alternatives(where, ARGUMENT_CAP)])

    def _some_of(self, case: tuple[Formula, ...]) -> Formula:
        mine: list[Formula] = []
        outside: list[Formula] = []
        for literal in case:
            (mine if _of_element(literal) else outside).append(literal)
        if not mine:
            return conjunction(outside)
        return conjunction([*outside, self._element(mine)])

    def _element(self, mine: list[Formula]) -> Formula:
        first = mine[0]
        if all(m[0] == "enum" and m[1] == first[1] for m in mine):
            return ("row", first[1], frozenset.intersection(*(self._values(m) for m in mine)), True)
        if all(m[0] == "lin" for m in mine):
            key, _ = row_key(split((first[1], ZERO))[0])
            if all(m[1] == key for m in mine):
                return ("row", key, tuple(sorted({(m[2], m[3]) for m in mine})), True)
            if len(mine) == 1 and first[3] != 2:
                return self._against_extreme(first)
        return self._together(mine)

    def _together(self, mine: list[Formula]) -> Formula:
        """Several things at one place: a truth of its own, in which some place is each of them."""
        rows: dict[Any, list[Formula]] = {}
        for literal in mine:
            rows.setdefault(literal[1], []).append(self._plain(literal))
        each = self.each_of(("and", tuple(mine)))
        parts = [self._element(part) for part in rows.values()] if len(rows) > 1 else []
        if parts and each is not None and self.places(each)[1] == 1:
            return conjunction(parts)
        return conjunction([*parts, ("opaque", ("any", frozenset(p for part in rows.values() for p in part)), True)])

    def _plain(self, literal: Formula) -> Formula:
        """A literal of an element in one shape, so that a thing and the opposite of its opposite are the same."""
        return ("enum", literal[1], self._values(literal), True) if literal[0] == "enum" else literal

    def _values(self, literal: Formula) -> frozenset[Any]:
        said: frozenset[Any] = literal[2]
        return said if literal[3] else frozenset(self.choices[literal[1]]) - said

    def _against_extreme(self, literal: Formula) -> Formula:
        """`any(row op something that varies)` by the row's least or greatest element."""
        _, terms, c, bits = literal
        form: Form = (terms, -c)
        cases = []
        if bits & 1:
            cases.append(self.compare(aggregate("min", form), bits & 3, constant(ZERO)))
        if bits & 4:
            cases.append(self.compare(aggregate("max", form), bits & 6, constant(ZERO)))
        return disjunction(cases)


def _kind(node: Node) -> str | None:
    if isinstance(node, Number | Arith):
        return "number"
    if isinstance(node, Text):
        return "choice"
    if isinstance(node, Truth | And | Or | Not | Compare):
        return "bool"
    return node.type.kind if node.type else None


def _atoms(literal: Formula) -> set[Atom]:
    """What of a place, or of the whole engine, a literal needs to be there."""
    return {literal[1]} if literal[0] == "enum" else {a for a, _ in literal[1]} if literal[0] == "lin" else set()


def _of_element(literal: Formula) -> bool:
    if literal[0] == "enum":
        return bool(literal[1][0] == "e")
    return bool(literal[0] == "lin" and literal[1][0][0][0] == "e")
