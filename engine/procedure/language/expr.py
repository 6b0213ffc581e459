"""The guard language as data: a typed tree of frozen nodes with spans; it neither parses nor evaluates.

A strict subset of Python expressions with unit suffixes. Offsets are characters within the guard's own text.
Numbers are exact: a literal with a unit is held in the base unit of its dimension; a bare number keeps `unit=None` and
takes the unit of the name it is compared with (the resolver rewrites it).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

Each = Literal["carb", "barrel", "gap", "cylinder"]
Sign = Literal["+", "-", "*", "/"]
Comparison = Literal["<", "<=", ">", ">=", "==", "!="]


@dataclass(frozen=True, slots=True)
class Type:
    """What an expression is worth.

    `kind` number: `dimension` (of `engine.quantity.units`), a closed range [low, high] in base units (None:
    unbounded), `unit`
    for display. `kind` choice: `choices`. `kind` bool. `each` is None for a single value, or says what a row runs over.
    `holes` is true where a place of the row, or the single value, may be not taken. `whole` says that a number takes
    whole values only (a count), in its `unit`.
    """

    kind: Literal["number", "choice", "bool"]
    dimension: str = "number"
    unit: str | None = None
    low: Fraction | None = None
    high: Fraction | None = None
    choices: tuple[str, ...] = ()
    each: Each | None = None
    holes: bool = False
    whole: bool = False


@dataclass(frozen=True, slots=True)
class Node:
    """Any expression; [start, end) are offsets in the guard's text, `type` is filled in by the resolver."""

    start: int
    end: int
    type: Type | None = field(default=None, compare=False, kw_only=True)


@dataclass(frozen=True, slots=True)
class Number(Node):
    """`4`, `4.5 turn`, `5 %`: `value` in base units once resolved, `unit` as written or None."""

    value: Fraction
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class Text(Node):
    """A choice in quotes: `'steady'`."""

    value: str


@dataclass(frozen=True, slots=True)
class Truth(Node):
    """`True` or `False`."""

    value: bool


@dataclass(frozen=True, slots=True)
class Name(Node):
    """`flow`, or one dotted name `next.verdict`."""

    name: str


@dataclass(frozen=True, slots=True)
class Arith(Node):
    """`left op right` with op one of + - * /; unary minus is `0 - x`."""

    op: Sign
    left: Node
    right: Node


@dataclass(frozen=True, slots=True)
class Compare(Node):
    """A chain: `items[0] ops[0] items[1] ops[1] items[2] ...`."""

    ops: tuple[Comparison, ...]
    items: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class And(Node):
    """All of `items` hold."""

    items: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Or(Node):
    """One of `items` holds."""

    items: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Not(Node):
    """`not item`."""

    item: Node


#: The whole vocabulary of functions. any all count which take a comparison over a row; the rest a row of numbers.
FUNCTIONS = ("any", "all", "count", "which", "min", "max", "mean", "spread", "abs", "position", "known", "over")


@dataclass(frozen=True, slots=True)
class Call(Node):
    """`spread(flow, per: carb)`; `position(screw)`, `known(name)`, `over(reading)` take a bare name."""

    function: str
    argument: Node
    per: Each | None = None


def walk(node: Node) -> Iterator[tuple[Node, int]]:
    """A tree's nodes with their depth, each before what is inside it."""
    todo = [(node, 1)]
    while todo:
        here, depth = todo.pop()
        yield here, depth
        inner: tuple[Node, ...] = ()
        match here:
            case Arith():
                inner = (here.left, here.right)
            case Compare() | And() | Or():
                inner = here.items
            case Not():
                inner = (here.item,)
            case Call():
                inner = (here.argument,)
        todo += ((n, depth + 1) for n in reversed(inner))
