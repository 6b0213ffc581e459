"""What a file works out of other names: its values and what it keeps, with their types and ranges; it declares nothing.

Values are worked out where they are used, so what they cost is their size written out in full. Kept values may build on
each other and on themselves, step by step: their ranges are hulls, open where they keep growing.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

from engine.procedure.build.making import Maker, Want
from engine.procedure.language import ranges
from engine.procedure.language.compile import compile_node, uses
from engine.procedure.language.expr import Arith, Name, Node, Number, Truth, Type, walk
from engine.procedure.language.lexer import GuardFault
from engine.procedure.language.parser import parse
from engine.procedure.language.resolve import Reported, range_of, resolve, type_of
from engine.procedure.model.file import ProcedurePart
from engine.procedure.program import Value
from engine.procedure.source.tree import Scalar
from engine.quantity.units import UNITS

#: How often the ranges of kept values are worked out before what still grows is called open.
_ROUNDS = 3
#: A value's greatest size and depth, with the values that it builds on written out in full.
MOST_PARTS = 1000
MOST_DEPTH = 100


class Derived:
    """The values and kept values of one file. `settle` must be called once every other name has its type."""

    def __init__(self, part: ProcedurePart, make: Maker) -> None:
        self.make = make
        self.parts: dict[str, Any] = {str(n): p for n, p in part.values.items()}
        #: name -> every expression that is kept under it, in any step.
        self.kept: dict[str, list[Scalar]] = {}
        for step in part.steps.values():
            for name, text in step.keep.items():
                self.kept.setdefault(str(name), []).append(text)
        self._order: dict[str, None] = {}
        self._value_types: dict[str, Type] = {}
        self._kept_types: dict[str, Type] = {}

    def settle(self) -> None:
        """Work out every type, and note what can't be."""
        self._order_values()
        for turn in range(_ROUNDS + 2):
            before = dict(self._kept_types)
            self._type_values()
            for name, texts in self.kept.items():
                for text in texts:
                    self._widen(name, text, turn >= _ROUNDS)
            if self._kept_types == before:
                break
        self._bounded()

    def type_of(self, name: str) -> Type | None:
        """The type of a value or a kept value; None for another name, `Reported` where it has a fault."""
        for names, types in ((self.parts, self._value_types), (self.kept, self._kept_types)):
            if name in names:
                if name not in types:
                    raise Reported
                return types[name]
        return None

    def kept_type(self, name: str) -> Type | None:
        """The type of what is kept under a name anywhere in the file."""
        return self._kept_types.get(name)

    def values(self) -> dict[str, Value]:
        """All values as guards, those first that others build on; their faults are noted."""
        made = {name: self._make(name) for name in self._order}
        return {name: value for name, value in made.items() if value is not None}

    def _make(self, name: str) -> Value | None:
        make, part = self.make, self.parts[name]
        unit = str(part.unit) if part.unit is not None else None
        want = Want("number", UNITS[unit].dimension, unit, "any", holes=True) if unit is not None else None
        guard = make.guard(part.expression, want)
        if guard is None:
            return None
        guard = replace(guard, type=self._value_types.get(name, guard.type))
        make.value_runs[name] = compile_node(guard.node, make.value_runs, make.per_carb)
        make.value_uses[name] = uses(guard.node, make.value_uses)
        return Value(name, guard, unit, part.span)

    # ---- values

    def _order_values(self) -> None:
        """Put values in order, those first that others build on, and note those that can't be worked out: from
        themselves, or out of more parts than anybody could follow."""
        builds_on = {n: self._builds_on(n) for n in self.parts}
        users = {n: [m for m in self.parts if n in builds_on[m]] for n in {m for b in builds_on.values() for m in b}}
        waits = {n: len(b) for n, b in builds_on.items()}
        ready = [n for n, count in waits.items() if not count]
        size, depth = dict[str, int](), dict[str, int]()
        for name in ready:  # grows as it goes
            nodes = _nodes(self.parts[name].expression)
            size[name] = sum(size.get(m, 1) for m, _ in nodes)
            depth[name] = max((d + depth.get(m, 0) for m, d in nodes), default=0)
            if size[name] <= MOST_PARTS and depth[name] <= MOST_DEPTH:
                self._order[name] = None
            elif all(m in self._order for m in builds_on[name]):
                self.make.fault(
                    "guard-too-long",
                    self.parts[name].expression.span,
                    f"Written out in full, `{name}` is longer than anybody could follow.",
                    "`keep` a part of it in an earlier step.",
                )
            for user in users.get(name, ()):
                waits[user] -= 1
                if not waits[user]:
                    ready.append(user)
        for name in (n for n, count in waits.items() if count):
            if name in _reached(builds_on[name], lambda n: builds_on[n]):
                self.make.fault("value-cycle", self.parts[name].expression.span, f"`{name}` is worked out from itself.")

    def _builds_on(self, name: str) -> set[str]:
        """The values in a value's expression."""
        return self._named(self.parts[name].expression) & set(self.parts)

    def _named(self, text: str) -> set[str]:
        return {m for m, _ in _nodes(text)}

    def _type_values(self) -> None:
        """Types of values as far as they are known now; a fault of one is told when it is made."""
        self._value_types.clear()
        for name in self._order:
            part = self.parts[name]
            try:
                kind = type_of(resolve(parse(part.expression), self.make.scope, part.unit))
            except (GuardFault, Reported):
                continue
            if part.unit is not None and kind.dimension == UNITS[part.unit].dimension:
                kind = replace(kind, unit=str(part.unit) or None)
            self._value_types[name] = kind

    # ---- kept values

    def _widen(self, name: str, text: Scalar, open_up: bool) -> None:
        try:
            found = type_of(resolve(parse(text), self.make.scope))
        except (GuardFault, Reported):
            return  # told where the step is made
        old = self._kept_types.get(name)
        if old is None:
            self._kept_types[name] = found
            return
        if (old.kind, old.dimension, old.each) != (found.kind, found.dimension, found.each):
            return
        low, high = ranges.join(range_of(old), range_of(found))
        if open_up:
            low, high = (low if low == old.low else None), (high if high == old.high else None)
        words = (*old.choices, *(c for c in found.choices if c not in old.choices))
        self._kept_types[name] = replace(
            old, low=low, high=high, choices=words, holes=old.holes or found.holes, whole=old.whole and found.whole
        )

    def _bounded(self) -> None:
        """A value kept out of its own earlier self may be counted up, not multiplied with itself: in a loop its digits
        would double at every visit."""
        rests_on = {n: set().union(*(self._rests_on(t) for t in texts)) for n, texts in self.kept.items()}
        for name, texts in self.kept.items():
            if name not in _reached(rests_on[name], lambda n: rests_on.get(n, set())):
                continue
            for text in texts:
                tops = [text, *(self.parts[n].expression for n in self._rests_on(text) if n in self.parts)]
                if name in self._rests_on(text) and any(_multiplies(t) for t in tops):
                    self.make.fault(
                        "may-grow-without-end",
                        text.span,
                        f"`{name}` is multiplied into itself.",
                        "Count it up with + or -, or multiply by a plain number.",
                    )

    def _rests_on(self, text: str) -> set[str]:
        """Every name that an expression rests on, values seen through."""
        return _reached(
            self._named(text), lambda n: self._named(self.parts[n].expression) if n in self.parts else set()
        )


def _reached(edge: set[str], onward: Any) -> set[str]:
    """All names reached from `edge`, itself included."""
    reached: set[str] = set()
    while edge:
        reached |= edge
        edge = {m for n in edge for m in onward(n)} - reached
    return reached


@lru_cache(maxsize=1024)
def _nodes(text: str) -> tuple[tuple[str, int], ...]:
    """The bare names in an expression, each time they stand there, with their depth; other nodes have no name."""
    return tuple((n.name if isinstance(n, Name) else "", depth) for n, depth in walk(_parsed(text)))


def _multiplies(text: str) -> bool:
    """Whether two things are multiplied or divided that are both no plain number."""
    return any(
        isinstance(n, Arith) and n.op in "*/" and not isinstance(n.left, Number) and not isinstance(n.right, Number)
        for n, _ in walk(_parsed(text))
    )


def _parsed(text: str) -> Node:
    try:
        return parse(text)
    except GuardFault:
        return Truth(0, 0, True)  # its own fault is told when it is made
