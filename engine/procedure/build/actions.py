"""What hands do at a step, from model to program: moves of screws, parts to fit, waits; it knows no other step."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import cast

from engine.procedure.build.making import Maker, Want, said
from engine.procedure.build.symbols import Symbols
from engine.procedure.language import ranges
from engine.procedure.language.expr import And, Call, Each, Name, Node, walk
from engine.procedure.language.resolve import range_of, type_of
from engine.procedure.model.steps import FitPart, MovePart, PlacePart, WaitPart
from engine.procedure.program import Direction, FitSpec, Guard, MoveSpec, Screw, Wait
from engine.procedure.source.tree import Scalar

#: What screws are usually counted from: no place on one that is counted from elsewhere.
ZEROS = frozenset({"seated", "as found", "first contact", "level"})
#: A place as a program holds it: carb and barrel.
Where = tuple[int, int | None]


def move(known: Symbols, part: MovePart, screw: Screw | None) -> MoveSpec | None:
    """A move written in the file; None where its screw has a fault, which has been told."""
    make = known.make
    if screw is None:
        make.guard(part.when, Want("bool", each="any"))
        return None
    _where(make, part, screw)
    spoilt = part.lost("to") or part.lost("by")
    if (part.to is None) == (part.by is None) and not spoilt:
        make.fault(
            "several-keys" if part.to is not None else "missing-key",
            part.head,
            "A move has either `to`, a position, or `by`, an amount.",
        )
    if (part.by is None) != (part.direction is None) and not spoilt and not part.lost("direction"):
        make.fault(
            "missing-key",
            part.head,
            "`by` and `direction` go together: how far, and in or out.",
            "For a position write `to`.",
        )
    each = None if make.here else screw.each
    when = make.guard(part.when, Want("bool", each=each))
    to = _position(make, part.to, screw, each, when) if part.to is not None else None
    by = _there(make, part.by, Want("number", "angle", screw.unit, each), when) if part.by is not None else None
    if part.by is not None and by is not None and (by.type.low is None or by.type.low < 0):
        make.fault("out-of-range", part.by.span, "An amount to turn is never below 0.", "`direction` says which way.")
    elif part.by is not None and by is not None:
        travel = screw.range[1] - screw.range[0]
        if by.type.high is None or by.type.high > travel:
            make.judge(
                "out-of-range",
                part.by.span,
                f"`{part.by}` can be {said(by.type.low, by.type.high, screw.unit)}; the whole travel of `{screw.name}` "
                f"is {said(travel, travel, screw.unit)}.",
                "Narrow the range of what it says, or correct the screw's `range`.",
            )
    direction = cast(Direction, str(part.direction)) if part.direction is not None else None
    return MoveSpec(str(part.screw), _places(known, part.only, screw.each), to, by, direction, when, part.span)


def _where(make: Maker, part: MovePart, screw: Screw) -> None:
    if part.each is not None and part.each != screw.each:
        make.fault(
            "place-mismatch",
            part.each.span,
            f"`{part.screw}` is there for each {screw.each}.",
            f"Write `each: {screw.each}`.",
            str(screw.each),
        )
    if part.each is None and not part.only and make.here is None and screw.each != "bank" and not part.lost("only"):
        make.fault(
            "missing-key", part.head, "Which of them? `each` or `only` is missing.", f"Add `each: {screw.each}`."
        )


def _places(known: Symbols, parts: Sequence[PlacePart], each: str | None) -> tuple[Where, ...]:
    """Places of the bank, with a barrel where `each` is barrel and without elsewhere."""
    found = []
    for part in parts:
        place = known.place(part)
        if place is None:
            continue
        if each is not None and (place[1] is None) == (each == "barrel"):
            known.make.fault(
                "place-mismatch",
                part.span,
                f"This is there for each {each}.",
                "Write `{carb: 1, barrel: 2}`." if each == "barrel" else "Write `{carb: 1}`.",
            )
        found.append(place)
    return tuple(found)


def _position(make: Maker, text: Scalar, screw: Screw, each: str | None, when: Guard | None) -> Guard | None:
    """`to:` a place on the screw's travel; the name of its zero is 0."""
    if text == screw.zero:
        return make.constant(text, Fraction(0), screw.unit)
    if text in ZEROS:
        make.fault(
            "unknown-word",
            text.span,
            f"`{screw.name}` is counted from {screw.zero}, not from {text}.",
            f"Write `{screw.zero}`, or how far from there: `2 {screw.unit}`.",
        )
        return None
    guard = _there(make, text, Want("number", "angle", screw.unit, each), when)
    if guard is None:
        return None
    if not ranges.within(range_of(guard.type), screw.range):
        make.judge(
            "out-of-range",
            text.span,
            f"`{text}` can be {said(guard.type.low, guard.type.high, screw.unit)}; `{screw.name}` turns from "
            f"{said(*screw.range, screw.unit)}.",
            "Narrow the range of what it says, or correct the screw's `range`.",
        )
    return guard


def _there(make: Maker, text: Scalar, want: Want, when: Guard | None) -> Guard | None:
    """A guard that may rest on something missing only where `when` asks whether that is known."""
    guard = make.guard(text, Want(want.kind, want.dimension, want.unit, want.each, holes=True))
    if guard is None or not guard.type.holes:
        return guard
    asked = {n.name for n in _asked(when.node) if isinstance(n, Name)} if when is not None else set()
    loose = [n for n, _ in walk(guard.node) if isinstance(n, Name) and type_of(n).holes and n.name not in asked]
    if loose:
        make.fault(
            "may-be-missing",
            text.span,
            f"`{loose[0].name}` may be missing when it is needed.",
            f"Add `when: known({loose[0].name})`.",
        )
    return guard


def _asked(node: Node) -> list[Node]:
    """What must be known for a condition to hold: the arguments of `known` that stand in it with `and` or alone."""
    if isinstance(node, And):
        return [n for i in node.items for n in _asked(i)]
    if isinstance(node, Call) and node.function == "known":
        return [n for n, _ in walk(node.argument)]
    return []


def fit(known: Symbols, part: FitPart) -> FitSpec | None:
    """A part to fit."""
    make = known.make
    if part.each is None and not part.only and make.here is None and not part.lost("only"):
        make.fault("missing-key", part.head, "Where? `each` or `only` is missing.", "Add `each: carb`.")
    each: Each
    if part.each is not None:
        each = cast(Each, str(part.each))
    elif part.only:
        each = "barrel" if any(p.barrel is not None for p in part.only) else "carb"
    else:
        each = make.here or "carb"
    row = None if make.here else each
    when = make.guard(part.when, Want("bool", each=row))
    size = _there(make, part.size, Want("number", "number", None, row), when)
    if size is not None and (size.type.low is None or size.type.high is None):
        make.judge("out-of-range", part.size.span, f"`{part.size}` may grow without end.", "No part is of such a size.")
    elif size is not None and size.type.low is not None and size.type.low < 0:
        make.judge("out-of-range", part.size.span, f"`{part.size}` may be below 0.", "No part is of such a size.")
    places = _places(known, part.only, each if part.only else None)
    return FitSpec(str(part.part), each, places, size, when, part.span) if size else None


def wait(make: Maker, part: WaitPart | None) -> Wait | None:
    """A pause: `for` a time, or `until` something at most so long."""
    if part is None:
        return None
    if (part.seconds is None) == (part.until is None) and not (part.lost("for") or part.lost("until")):
        make.fault(
            "missing-key" if part.until is None else "several-keys",
            part.head,
            "A wait is `for` a time, or `until` something `at_most` so long.",
        )
    elif part.until is not None and part.at_most is None and not part.lost("at_most"):
        make.fault(
            "missing-key", part.key_span("until"), "How long at most? Nobody waits for ever.", "Add `at_most: 20 min`."
        )
    text = part.seconds if part.seconds is not None else part.at_most
    seconds = make.number(text, "s", "the wait") if text is not None else None
    if seconds is None:
        return None
    return Wait(seconds, make.plain(part.until), make.plain(part.why), part.cut is not None, part.span)
