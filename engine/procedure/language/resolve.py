"""Gives every part of a guard its type, range and base unit, or says what makes no sense; it evaluates nothing.

What is missing. A place that was not taken, a screw whose count is lost and a reading that a step left out are all
"missing", in the run and in every proof alike:
  arithmetic with something missing is missing; a comparison with something missing is false (so `not (x > 2)` is true);
  `any all count which` look at the places that are there: with none there, any is false, all is true, count is 0;
  where they join several comparisons, a place is there where all that they compare is;
  `min max mean spread` likewise, and with none there they are missing; `known(x)` is true where no place is missing.
`Type.holes` says where this can happen. Where a missing number would leave somebody without an answer (how far to turn,
which size to fit, a setting of a called file) it is refused as `may-be-missing`.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

from engine.procedure.language import ranges
from engine.procedure.language.expr import (
    And,
    Arith,
    Call,
    Compare,
    Name,
    Node,
    Not,
    Number,
    Or,
    Text,
    Truth,
    Type,
)
from engine.procedure.language.functions import call
from engine.procedure.language.lexer import GuardFault
from engine.procedure.language.scope import (
    BARE,
    BOOL,
    Reported,
    Scope,
    fault,
    fit,
    is_bare,
    name_type,
    need_number,
    no_offset,
    range_of,
    type_of,
)
from engine.procedure.source.problems import did_you_mean
from engine.quantity.units import UNITS, to_base

__all__ = ["BARE", "BOOL", "Reported", "Scope", "is_bare", "range_of", "resolve", "type_of"]


def resolve(node: Node, scope: Scope, unit: str | None = None) -> Node:
    """The tree with types, every number in its base unit. A bare number that nothing gives a unit takes `unit`.

    Raises `GuardFault` where it makes no sense and `Reported` where the reason is known already.
    """
    return _settle(_typed(node, scope), unit)


def _typed(node: Node, scope: Scope) -> Node:
    match node:
        case Number():
            return _number(node)
        case Text():
            return replace(node, type=Type("choice", choices=(node.value,)))
        case Truth():
            return replace(node, type=BOOL)
        case Name():
            return replace(node, type=name_type(node, scope))
        case Arith():
            return _arith(node, _typed(node.left, scope), _typed(node.right, scope))
        case Compare():
            return _compare(node, [_compared(i, node, scope) for i in node.items])
        case And() | Or():
            items = tuple(_truth(_typed(i, scope)) for i in node.items)
            return replace(node, items=items, type=BOOL)
        case Not():
            return replace(node, item=_truth(_typed(node.item, scope)), type=BOOL)
        case Call():
            return call(node, scope, _typed)
    raise AssertionError(node)


def _compared(item: Node, node: Compare, scope: Scope) -> Node:
    """One side of a comparison; a word without its quotes is told as what it is."""
    if not isinstance(item, Name):
        return _typed(item, scope)
    try:
        return _typed(item, scope)
    except GuardFault as told:
        others = [scope.type_of(i.name) for i in node.items if isinstance(i, Name) and i is not item]
        if told.code == "unknown-name" and any(kind and item.name in kind.choices for kind in others):
            message, hint = f"`{item.name}` is a word here, and no name.", f"Write it as `'{item.name}'`."
            raise fault("unknown-name", item, message, hint) from None
        raise


def _number(node: Number) -> Number:
    if node.unit is None:
        return replace(node, type=Type("number", BARE, None, node.value, node.value))
    value = to_base(node.value, node.unit)
    return replace(node, value=value, type=Type("number", UNITS[node.unit].dimension, node.unit, value, value))


def _settle(node: Node, unit: str | None) -> Node:
    """A bare number gets its unit; anything else is as it was."""
    if not is_bare(node):
        return node
    assert isinstance(node, Number)
    value = to_base(node.value, unit or "")
    kind = Type("number", UNITS[unit or ""].dimension, unit, value, value, whole=value.denominator == 1 and not unit)
    return replace(node, value=value, unit=unit, type=kind)


def _truth(node: Node) -> Node:
    kind = type_of(node)
    if kind.kind != "bool":
        hint = "Compare it: `== 'word'`." if kind.kind == "choice" else "Compare it: `> 0`."
        raise fault("wrong-kind", node, "This is neither true nor false by itself.", hint)
    if kind.each is not None:
        raise fault(
            "row-not-single",
            node,
            f"This is one truth for every {kind.each}, not a single one.",
            "Write `any(...)` or `all(...)` round it.",
        )
    return node


def _arith(node: Arith, left: Node, right: Node) -> Node:
    for side in (left, right):
        need_number(side)
        no_offset(side)
    if is_bare(left) and is_bare(right):
        return _fold(node, left, right)
    if node.op in "+-":
        return _sum(node, left, right)
    return _product(node, left, right)


def _fold(node: Arith, left: Node, right: Node) -> Node:
    assert isinstance(left, Number) and isinstance(right, Number)
    if node.op == "/" and right.value == 0:
        raise fault("may-divide-by-zero", right, "This divides by zero.")
    a, b = left.value, right.value
    value = a + b if node.op == "+" else a - b if node.op == "-" else a * b if node.op == "*" else a / b
    return _number(Number(node.start, node.end, value))


def _sum(node: Arith, left: Node, right: Node) -> Node:
    left, right = _settle(left, type_of(right).unit), _settle(right, type_of(left).unit)
    a, b = type_of(left), type_of(right)
    if a.dimension != b.dimension:
        raise _mismatch(node, left, right)
    low, high = (ranges.add if node.op == "+" else ranges.subtract)(range_of(a), range_of(b))
    kind = Type(
        "number",
        a.dimension,
        a.unit or b.unit,
        low,
        high,
        each=fit(left, right),
        holes=a.holes or b.holes,
        whole=a.whole and b.whole,
    )
    return replace(node, left=left, right=right, type=kind)


def _product(node: Arith, left: Node, right: Node) -> Node:
    bare = is_bare(left), is_bare(right)
    left, right = _settle(left, None), _settle(right, None)
    a, b = type_of(left), type_of(right)
    if node.op == "/" and ranges.holds_zero(range_of(b)):
        raise GuardFault(
            "may-divide-by-zero",
            "What this divides by may be zero.",
            right.start,
            right.end,
            "Multiply instead: `a <= 5 % * b`.",
        )
    dimension, unit = _unit_of_product(node, a, b, bare)
    low, high = (ranges.multiply if node.op == "*" else ranges.divide)(range_of(a), range_of(b))
    kind = Type(
        "number",
        dimension,
        unit,
        low,
        high,
        each=fit(left, right),
        holes=a.holes or b.holes,
        whole=node.op == "*" and a.whole and b.whole,
    )
    return replace(node, left=left, right=right, type=kind)


def _unit_of_product(node: Arith, a: Type, b: Type, bare: tuple[bool, bool]) -> tuple[str, str | None]:
    if b.dimension == "number" and a.dimension != "number":
        return a.dimension, a.unit
    if node.op == "*" and a.dimension == "number":
        # A bare factor leaves the other's unit; two shares make a plain number.
        unit = b.unit if bare[0] or b.dimension != "number" else a.unit if bare[1] else None
        return b.dimension, unit
    if a.dimension == b.dimension:
        return "number", a.unit if bare[1] else None
    word = "times" if node.op == "*" else "by"
    raise GuardFault(
        "unit-mismatch",
        f"{_measure(a)} {word} {_measure(b)} is no measure that the program knows.",
        node.start,
        node.end,
        "Compare them one by one.",
    )


def _measure(kind: Type) -> str:
    return "a plain number" if kind.dimension == "number" else f"{kind.dimension} ({kind.unit})"


def _mismatch(node: Node, left: Node, right: Node) -> GuardFault:
    a, b = type_of(left), type_of(right)
    fits = [u for u, unit in UNITS.items() if unit.dimension == a.dimension and u]
    hint = (
        f"Give it in {a.unit or 'a plain number'}."
        if not isinstance(right, Number) or not fits
        else (f"Units that fit: {', '.join(fits)}.")
    )
    where = right if isinstance(right, Number) else node
    return GuardFault(
        "unit-mismatch", f"{_measure(a)} and {_measure(b)} can't be compared or added.", where.start, where.end, hint
    )


def _compare(node: Compare, items: list[Node]) -> Node:
    kinds = {type_of(i).kind for i in items}
    if "bool" in kinds:
        bad = next(i for i in items if type_of(i).kind == "bool")
        raise fault("wrong-kind", bad, "What is true or false is not compared.", "Use it alone, or with `not`.")
    if "choice" in kinds:
        return _compare_choice(node, items)
    unit = next((type_of(i).unit for i in items if not is_bare(i)), None)
    items = [_settle(i, unit) for i in items]
    widest = items[0]
    for left, right in itertools.pairwise(items):
        if type_of(left).dimension != type_of(right).dimension:
            raise _mismatch(node, left, right)
        if fit(widest, right) != type_of(widest).each:
            widest = right
    return replace(node, items=tuple(items), type=Type("bool", each=type_of(widest).each))


def _compare_choice(node: Compare, items: list[Node]) -> Node:
    if len(items) != 2 or node.ops[0] not in ("==", "!="):
        raise fault("wrong-kind", node, "Words are compared with == or != only, two at a time.")
    named = [i for i in items if not isinstance(i, Text)]
    texts = [i for i in items if isinstance(i, Text)]
    if len(named) != 1 or len(texts) != 1:
        other = next((i for i in named if type_of(i).kind == "number"), node)
        raise fault(
            "wrong-kind", other, "A word is compared with a word in quotes.", "Write it like `sound == 'steady'`."
        )
    kind = type_of(named[0])
    if kind.kind != "choice":
        raise fault("wrong-kind", texts[0], "A number can't be compared with a word.", "Leave the quotes away.")
    if texts[0].value not in kind.choices:
        raise fault(
            "unknown-choice",
            texts[0],
            f"`{texts[0].value}` is no answer that this can have.",
            did_you_mean(texts[0].value, kind.choices, "It can be"),
        )
    return replace(node, items=tuple(items), type=Type("bool", each=kind.each))
