"""The functions of guards: any all count which min max mean spread abs position known over, typed; none is run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

from engine.procedure.language import ranges
from engine.procedure.language.expr import And, Call, Name, Node, Not, Or, Type
from engine.procedure.language.scope import (
    BOOL,
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

#: Each function with one line and an example, for the manual.
TAUGHT: dict[str, tuple[str, str]] = {
    "any": (
        "Whether something holds at one place of a row at least; `and` joins what holds at the same place.",
        "any(flow < 1 L/min and drips == 'yes')",
    ),
    "all": ("Whether a comparison holds at every place of a row that was taken.", "all(flow >= 1 L/min)"),
    "count": ("At how many places of a row a comparison holds.", "count(flow < 1 L/min) > 1"),
    "which": ("The places of a row where a comparison holds; for `where` of a finding.", "which(flow < 1 L/min)"),
    "min": ("The least of a row.", "min(flow) < 1 L/min"),
    "max": ("The greatest of a row.", "max(flow) > 9 L/min"),
    "mean": ("The mean of a row; per: carb of each body's barrels.", "mean(flow, per: carb)"),
    "spread": ("The greatest of a row less its least; per: carb within each body.", "spread(flow) <= 5 % * mean(flow)"),
    "abs": ("A number without its sign, place by place.", "abs(level) > 0.5 mm"),
    "position": (
        "Where a screw stands, from its zero; missing where the count was lost.",
        "any(position(spindle) > 4)",
    ),
    "known": ("Whether a reading, all of a row, or a screw's count is there.", "not known(flow)"),
    "over": ("Whether a reading, or one place of a row, stood beyond its scale.", "over(flow)"),
}

Typed = Callable[[Node, Scope], Node]


def call(node: Call, scope: Scope, typed: Typed) -> Node:
    """A call with its type; `typed` types what is inside it."""
    if node.function in ("position", "known", "over"):
        return _about(node, scope)
    if node.function in ("any", "all", "count", "which"):
        return _over_truths(node, scope, typed)
    argument = typed(node.argument, scope)
    kind = need_number(argument)
    if is_bare(argument):
        raise fault("single-not-row", argument, "This is a number, not a row.")
    if node.function == "abs":
        no_offset(argument)
        low, high = ranges.magnitude(range_of(kind))
        return replace(node, argument=argument, type=replace(kind, low=low, high=high))
    if kind.each is None:
        raise fault(
            "single-not-row",
            argument,
            f"`{node.function}` looks along a row; this is a single value.",
            "Compare it as it is.",
        )
    if node.per is not None and kind.each != "barrel":
        raise fault(
            "rows-dont-fit",
            argument,
            f"`per: carb` groups barrels; this row is over each {kind.each}.",
            "Leave `per: carb` away.",
        )
    if node.function == "spread":
        no_offset(argument)
    low, high = ranges.width(range_of(kind)) if node.function == "spread" else range_of(kind)
    whole = kind.whole and node.function != "mean"
    holes = kind.holes or kind.each in scope.empty
    found = replace(kind, low=low, high=high, each=node.per, holes=holes, whole=whole)
    return replace(node, argument=argument, type=found)


def _over_truths(node: Call, scope: Scope, typed: Typed) -> Node:
    if node.per is not None:
        raise fault("bad-guard", node, f"`{node.function}` is not grouped.", "Leave `per: carb` away.")
    argument = _along(node.argument, scope, typed)
    each = type_of(argument).each
    if each is None:
        raise fault(
            "single-not-row",
            argument,
            f"`{node.function}` looks along a row; this compares single values.",
            "Use the comparison as it is.",
        )
    if node.function == "count":
        return replace(
            node, argument=argument, type=Type("number", low=Fraction(0), high=Fraction(scope.most[each]), whole=True)
        )
    return replace(node, argument=argument, type=Type("bool", each=each if node.function == "which" else None))


def _along(node: Node, scope: Scope, typed: Typed) -> Node:
    """A truth for every place of a row: comparisons along it, joined place by place."""
    match node:
        case And() | Or():
            items = tuple(_along_row(i, scope, typed) for i in node.items)
            widest = items[0]
            for item in items[1:]:
                if fit(widest, item) != type_of(widest).each:
                    widest = item
            return replace(node, items=items, type=replace(BOOL, each=type_of(widest).each))
        case Not():
            item = _along_row(node.item, scope, typed)
            return replace(node, item=item, type=replace(BOOL, each=type_of(item).each))
    found = typed(node, scope)
    if type_of(found).kind != "bool":
        hint = "Compare it: `== 'word'`." if type_of(found).kind == "choice" else "Compare it: `> 0`."
        raise fault("wrong-kind", found, "This is neither true nor false at any place.", hint)
    return found


def _along_row(node: Node, scope: Scope, typed: Typed) -> Node:
    found = _along(node, scope, typed)
    if type_of(found).each is None:
        raise fault(
            "single-not-row",
            found,
            "This is the same at every place, and the rest is asked place by place.",
            "Put it outside, joined with `and` or `or`.",
        )
    return found


def _about(node: Call, scope: Scope) -> Node:
    inner = node.argument
    if node.per is not None:
        raise fault("bad-guard", node, f"`{node.function}` is not grouped.", "Leave `per: carb` away.")
    if node.function == "known" and isinstance(inner, Call) and inner.function == "position":
        return replace(node, argument=_about(inner, scope), type=BOOL)
    if not isinstance(inner, Name):
        raise fault("wrong-kind", inner, f"`{node.function}` takes one name.")
    if node.function == "over":
        kind = name_type(inner, scope)
        if inner.name not in scope.over:
            raise fault(
                "wrong-kind",
                inner,
                f"`{inner.name}` is never beyond a scale.",
                "`over` takes a reading with `over_range: true`.",
            )
        return replace(node, argument=replace(inner, type=kind), type=BOOL)
    screw = scope.screws.get(inner.name)
    if node.function == "known":
        if screw is not None:  # `known(spindle)` is `known(position(spindle))`
            place = Call(inner.start, inner.end, "position", replace(inner, type=screw), type=screw)
            return replace(node, argument=place, type=BOOL)
        return replace(node, argument=replace(inner, type=name_type(inner, scope)), type=BOOL)
    if screw is None:
        scope.type_of(inner.name)  # a screw declared with a fault says so by itself
        raise fault("unknown-name", inner, f"There is no screw `{inner.name}`.", did_you_mean(inner.name, scope.screws))
    return replace(node, argument=replace(inner, type=screw), type=screw)
