"""Words for a case that no branch matches: the readings as a technician would see them; it proves nothing."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from engine.procedure.check.guards.forms import Atom, Terms
from engine.procedure.check.guards.normal import Normal
from engine.procedure.check.guards.space import Box, Cell, Space
from engine.procedure.check.guards.theory import Point
from engine.procedure.language.expr import Name, Type
from engine.procedure.program import Procedure
from engine.quantity.units import UNITS, from_base, to_base

NOT_TAKEN = "not taken"


def shown(value: Fraction, unit: str | None) -> str:
    """A number in its unit, as short as it can be said."""
    number = from_base(value, unit) if unit in UNITS else value
    if number.denominator == 1:
        text = str(number.numerator)
    else:
        text = f"{float(number):.4f}".rstrip("0").rstrip(".")
        if Fraction(text) != number:
            text = f"{float(number):.4g}"
    return f"{text} {unit}" if unit else text


class Picker:
    """Chooses numbers that are short to say: the fewest decimals, in the reading's own unit."""

    def __init__(self, normal: Normal) -> None:
        self.normal = normal

    def __call__(
        self,
        atom: Atom,
        low: Fraction | None,
        low_in: bool,
        high: Fraction | None,
        high_in: bool,
    ) -> Fraction:
        """A number in a range that is known to hold one."""
        if low is not None and low == high:
            return low
        unit = unit_of(atom, self.normal) or ""
        a, b = (None if x is None else from_base(x, unit) for x in (low, high))
        return to_base(between(a, low_in, b, high_in), unit)


def between(low: Fraction | None, low_in: bool, high: Fraction | None, high_in: bool) -> Fraction:
    """The number with the fewest decimals in a range that holds one; of those, the one nearest its middle."""
    if low is None:
        if high is None:
            return Fraction(0)
        middle = high - 1
    else:
        middle = low + 1 if high is None else (low + high) / 2
    for digits in range(8):
        grain = Fraction(1, 10**digits)
        near = round(middle / grain) * grain
        for guess in (near, near - grain, near + grain):
            above = low is None or guess > low or (low_in and guess == low)
            if above and (high is None or guess < high or (high_in and guess == high)):
                return guess
    return middle


def unit_of(atom: Atom, normal: Normal) -> str | None:
    """The unit that an atom is shown in."""
    if atom[0] in ("min", "max", "mean"):
        return unit_of(atom[1][0][0], normal)
    return normal.units.get(atom)


class Words:
    """Names axes and cells in the words of the file."""

    def __init__(self, procedure: Procedure, normal: Normal) -> None:
        self.normal = normal
        #: Settings by name, each with what it is as shipped.
        self.shipped = {
            s.name: {shown(v, s.type.unit) for v in ([s.value] if s.value is not None else s.table.values())}
            for s in procedure.settings.values()
        }
        #: Values by the form they stand for: a witness says `gap`, not what it is made of.
        self.values: dict[Terms, tuple[str, Fraction, Fraction, str | None]] = {}
        for name, value in procedure.values.items():
            kind: Type = value.guard.type
            if kind.kind == "number" and not kind.each:
                terms, const = normal.number(Name(0, 0, name, type=kind))
                if terms:
                    k = terms[0][1]
                    key = tuple((a, c / k) for a, c in terms)
                    self.values.setdefault(key, (name, k, const, value.unit or kind.unit))

    def say(self, space: Space, point: Point, box: Box) -> str:
        """The case as `name = value` pairs, only of the axes that the box narrows."""
        said: dict[str, str] = {}
        for i, axis in enumerate(space.axes):
            if box[i] == axis.full:
                continue
            cell = point.cells[i]
            if axis.kind == "worlds":
                for atom, value in space.worlds.describe(box[i], lambda a: a).items():
                    said.update(self._fact(atom, value, point))
            elif axis.kind == "enum":
                said[_plain(axis.key)] = _word(axis.cells[cell])
            elif axis.kind == "line":
                said.update(self._line(axis.key, point, axis.cells[cell] is None))
            elif axis.kind == "row":
                said[self.row_name(axis.key)] = self._row(axis.cells, cell, axis.key, point)
        return ", ".join(f"{name} = {value}{self._set(name, value)}" for name, value in said.items())

    def _set(self, name: str, value: str) -> str:
        """Words for a setting that is not as shipped: the case comes up where a shop has set it so."""
        return " (where a shop sets it so)" if name in self.shipped and value not in self.shipped[name] else ""

    def _fact(self, atom: Atom, value: Any, point: Point) -> dict[str, str]:
        if isinstance(value, Cell):
            number = point.numbers.get(atom)
            return {} if number is None else {atom[1]: shown(number, self.normal.units.get(atom))}
        return {_plain(atom): _word(value)}

    def _line(self, terms: Terms, point: Point, missing: bool) -> dict[str, str]:
        known = self.values.get(terms)
        if missing:
            lost = [a for a, _ in terms if self.normal.missing(a)]
            return {known[0] if known else self.name(lost[0]): NOT_TAKEN}
        if any(a not in point.numbers for a, _ in terms):
            return {}
        rest, found = dict(terms), {}
        for key, (name, k, const, unit) in self.values.items():
            factor = rest.get(key[0][0])
            if factor and all(rest.get(a) == factor * c for a, c in key):
                found[name] = shown(k * _worth(key, point) + const, unit)
                rest = {a: c for a, c in rest.items() if a not in dict(key)}
        for row in {a[1]: None for a in rest if a[0] == "max"}:
            if rest.get(("min", row)) == -rest["max", row]:
                spread = point.numbers["max", row] - point.numbers["min", row]
                found[f"spread({self.row_name(row)})"] = shown(spread, unit_of(row[0][0], self.normal))
                rest = {a: c for a, c in rest.items() if a[1] != row}
        for atom in rest:
            found[self.name(atom)] = shown(point.numbers[atom], unit_of(atom, self.normal))
        return found

    def name(self, atom: Atom) -> str:
        """An atom in the words of the guard language."""
        if atom[0] in ("min", "max", "mean"):
            return f"{atom[0]}({self.row_name(atom[1])})"
        if isinstance(atom[1], str):
            return _plain(atom)
        head = atom[1][0]
        if head in ("count", "many"):
            return "the count"
        if head in ("min", "max", "mean", "spread"):
            inner = self.row_name(tuple(atom[1][1][0])) if atom[1][1][0] else "?"
            if not isinstance(atom[1][2], str):  # of the places where more is there than what is left of it
                return f"{head}({inner})"
            return f"{head}({inner}, per: {atom[1][2]})"
        return {"*": "the product", "/": "the quotient", "abs": "the size of the difference"}.get(head, "an expression")

    def row_name(self, key: Any) -> str:
        """A row in the words of the guard language."""
        if isinstance(key[0], str):
            return _plain(key)
        parts: list[str] = []
        for atom, c in key:
            sign = "-" if c < 0 else "+" if parts else ""
            size = "" if abs(c) == 1 else f"{shown(abs(c), None)} * "
            parts.append(f"{sign} {size}{self.name(atom)}".strip())
        return " ".join(parts)

    def _row(self, kinds: list[Any], chosen: int, key: Any, point: Point) -> str:
        here = [kinds[i] for i in range(len(kinds)) if chosen >> i & 1]
        if not here:
            return NOT_TAKEN
        if not isinstance(here[0][0], Cell):
            return " and ".join(_word(k[0]) for k in here)
        unit = unit_of(key[0][0], self.normal)
        numbers = [between(*_ends(k, unit)) for k in here]
        least, most = point.numbers.get(("min", key)), point.numbers.get(("max", key))
        if least is not None:
            numbers[0] = from_base(least, unit or "")
        if most is not None and len(numbers) > 1:
            numbers[-1] = from_base(most, unit or "")
        texts = list(dict.fromkeys(shown(to_base(n, unit or ""), None if unit is None else unit) for n in numbers))
        if len(texts) == 1:
            return texts[0]
        tail = f" {unit}" if unit else ""
        return " and ".join(t.removesuffix(tail) for t in texts[:-1]) + f" and {texts[-1]}"


def _worth(terms: Terms, point: Point) -> Fraction:
    return sum((c * point.numbers[a] for a, c in terms), Fraction(0))


def _ends(kind: list[Cell], unit: str | None) -> tuple[Fraction | None, bool, Fraction | None, bool]:
    first, last = kind[0], kind[-1]
    low, high = (None if x is None else from_base(x, unit or "") for x in (first.low, last.high))
    return low, first.low_in, high, last.high_in


def _word(value: Any) -> str:
    return NOT_TAKEN if value is None else value if isinstance(value, str) else "yes" if value else "no"


def _plain(atom: Atom) -> str:
    name = str(atom[1])
    if name.startswith("position:"):
        return f"position({name[9:]})"
    for asks in ("known", "over"):
        if name.startswith(f"{asks}:"):
            return f"{asks}({name[len(asks) + 1 :]})"
    return name
