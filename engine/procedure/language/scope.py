"""What guards are resolved against: the scope of names, and the sentences that both operators and functions need."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass

from engine.procedure.language import ranges
from engine.procedure.language.expr import Each, Name, Node, Type
from engine.procedure.language.lexer import GuardFault
from engine.procedure.source.problems import did_you_mean

BOOL = Type("bool")
#: The type of a bare number until what it stands beside gives it a unit.
BARE = "bare"


class Reported(Exception):
    """The guard uses something whose own fault is reported already; nothing more is said."""


@dataclass(frozen=True, slots=True)
class Scope:
    """What the names of a guard mean. `type_of` gives None for a name that nobody declares and raises `Reported` for
    one that is declared with a fault; `screws` are typed as their positions; `most` is the greatest length of a row,
    `empty` what a row may run over without having a place on every bank."""

    type_of: Callable[[str], Type | None]
    names: Callable[[], Iterable[str]]
    screws: Mapping[str, Type]
    most: Mapping[Each, int]
    #: The readings whose gauge may stand beyond its scale.
    over: Collection[str] = ()
    empty: Collection[str] = ()


def type_of(node: Node) -> Type:
    """The type of a resolved node."""
    assert node.type is not None
    return node.type


def range_of(kind: Type) -> ranges.Range:
    """The closed range of a number's type."""
    return kind.low, kind.high


def is_bare(node: Node) -> bool:
    """Whether a typed node is a number without a unit."""
    return type_of(node).dimension == BARE


def name_type(node: Name, scope: Scope) -> Type:
    """The type of a name, or a fault with the nearest name."""
    kind = scope.type_of(node.name)
    if kind is not None:
        return kind
    if node.name in scope.screws:
        raise fault("wrong-kind", node, f"`{node.name}` is a screw.", f"Write `position({node.name})`.")
    hint = did_you_mean(node.name, [*scope.names(), *scope.screws])
    raise fault("unknown-name", node, f"Nothing here is called `{node.name}`.", hint)


def fault(code: str, node: Node, message: str, hint: str = "") -> GuardFault:
    """A fault at a node."""
    return GuardFault(code, message, node.start, node.end, hint)


def need_number(node: Node) -> Type:
    """The type of what must be a number."""
    kind = type_of(node)
    if kind.kind != "number":
        what = "a word" if kind.kind == "choice" else "true or false"
        raise fault("wrong-kind", node, f"A number belongs here; this is {what}.")
    return kind


def no_offset(node: Node) -> None:
    """Refuse what can be compared but not added: a temperature counted from no true zero."""
    kind = type_of(node)
    if kind.dimension == "temperature":
        raise fault(
            "temperature-sum",
            node,
            "A temperature can be compared, but sums of temperatures mean nothing.",
            "Compare it with a temperature: `> 80 degC`.",
        )


def fit(a: Node, b: Node) -> Each | None:
    """What the row of a and b together runs over: a carb's value spreads over its barrels."""
    x, y = type_of(a).each, type_of(b).each
    if x is None or y is None or x == y:
        return x or y
    if {x, y} == {"carb", "barrel"}:
        return "barrel"
    raise GuardFault(
        "rows-dont-fit",
        f"A row over each {x} and a row over each {y} have no places in common.",
        a.start,
        b.end,
        "Take the max, min or mean of one of them.",
    )
