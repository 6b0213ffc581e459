"""What a technician reports as turned or fitted, read into moves and parts; it refuses in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from engine.evidence import Move, Part, Place
from engine.procedure.source.problems import did_you_mean
from engine.quantity.exact import exact
from engine.quantity.wording import fraction
from engine.run.answer import AnswerRefused
from engine.run.layout import RunLayout
from engine.run.moves import Turn, ways_of
from engine.run.state import State


def moved_by(plan: RunLayout, state: State, reported: Any) -> tuple[Move, ...]:
    """The moves that were really made. Each needs a screw and its place, and turns with a direction, or a position.

    With neither (or with an aim alone) the screw was turned by an amount nobody counted: its position is unknown then.
    """
    if not isinstance(reported, list | tuple):
        raise AnswerRefused("'moved' is a list of moves; an empty list says that nothing was turned.")
    return tuple(_move(plan, state, item) for item in reported)


def _move(plan: RunLayout, state: State, item: Any) -> Move:
    if isinstance(item, Move):
        item = {
            "screw": item.screw,
            "carb": item.place.carb,
            "barrel": item.place.barrel,
            "turns": item.turns,
            "direction": item.direction,
            "position": item.position,
        }
    if not isinstance(item, Mapping):
        raise AnswerRefused(
            "Each of 'moved' names a screw, its carb and barrel, and its turns with a direction or its position."
        )
    name = item.get("screw")
    screw = plan.screws.get(name) if isinstance(name, str) else None
    if screw is None:
        hint = did_you_mean(str(item.get("screw")), plan.screws, "Its screws")
        raise AnswerRefused(f"'{str(item.get('screw'))[:40]}' is no screw of this procedure. {hint}".strip())
    place = _place(item, plan.bank.places(screw.each), f"screw '{screw.name}'", screw.each)
    amount, position = _number(item, "turns"), _number(item, "position")
    direction = item.get("direction")
    if direction not in (None, "in", "out"):
        raise AnswerRefused(f"A screw is turned 'in' or 'out', not '{str(direction)[:20]}'.")
    if position is not None and not screw.range[0] <= position <= screw.range[1]:
        raise AnswerRefused(
            f"Screw '{screw.name}' can't stand at {fraction(position)} turns from its zero; it goes from "
            f"{fraction(screw.range[0])} to {fraction(screw.range[1])}."
        )
    if amount is not None and amount < 0:
        raise AnswerRefused("Turns are counted from 0 up, with the direction beside them.")
    if amount is not None and amount > screw.range[1] - screw.range[0]:
        raise AnswerRefused(
            f"Screw '{screw.name}' goes from {fraction(screw.range[0])} to {fraction(screw.range[1])}; it can't be "
            f"turned {str(item.get('turns'))[:20]} turns. Count again."
        )
    if amount and direction is None and position is None:
        raise AnswerRefused(f"Say which way screw '{screw.name}' was turned: in or out.")
    if direction is None:
        now = state.world.positions.get((screw.name, place))
        grows, shrinks = ways_of(screw)
        direction = shrinks if position is not None and (now is None or position < now) else grows
    way: Turn = "in" if direction == "in" else "out"
    effect = screw.inward if way == "in" else screw.outward
    return Move(screw.name, place, way, effect, amount, position)


def fitted_by(plan: RunLayout, reported: Any) -> tuple[Part, ...]:
    """The parts that were really fitted: each names the part, its place and its size."""
    if not isinstance(reported, list | tuple):
        raise AnswerRefused("'fitted' is a list of parts; an empty list says that nothing was fitted.")
    return tuple(_part(plan, item) for item in reported)


def _part(plan: RunLayout, item: Any) -> Part:
    if isinstance(item, Part):
        item = {
            "part": item.part,
            "carb": item.place.carb,
            "barrel": item.place.barrel,
            "size": item.size,
            "from": item.origin and {"carb": item.origin.carb, "barrel": item.origin.barrel},
        }
    if not isinstance(item, Mapping) or not isinstance(item.get("part"), str) or not item["part"].strip():
        raise AnswerRefused("Each of 'fitted' names a part, its carb and barrel, and its size.")
    size = _number(item, "size")
    if size is None or not 0 <= size <= 10**6:
        raise AnswerRefused(f"'{item['part'][:40]}' needs its size as a number.")
    places = (*plan.bank.rows["barrel"], *plan.bank.rows["carb"], Place())
    name = item["part"].strip()
    if len(name) > 80 or not name.isprintable():
        raise AnswerRefused("A part is named in at most 80 plain characters.")
    place, origin = _place(item, places, f"part '{name[:40]}'", "barrel"), item.get("from")
    if origin is None:
        return Part(name, place, size)
    if not isinstance(origin, Mapping):
        raise AnswerRefused(f"Part '{name[:40]}' comes 'from' a carb and a barrel, or from none.")
    return Part(name, place, size, _place(origin, places, f"part '{name[:40]}'", "barrel"))


def _place(item: Mapping[str, Any], places: Iterable[Place], what: str, each: str) -> Place:
    carb, barrel = item.get("carb"), item.get("barrel")
    for number in (carb, barrel):
        if number is not None and (type(number) is not int or number < 1):
            raise AnswerRefused(f"The place of {what} is a carb and a barrel, counted from 1.")
    known = set(places)
    found = Place(carb, barrel)
    if found in known:
        return found
    if carb is not None and barrel in (None, 1):
        # A single barrel may be named as its carb, and a carb by its first barrel.
        single = all(p.barrel in (None, 1) for p in known)
        for other in (Place(carb), Place(carb, 1)) if single else (Place(carb),):
            if other in known and (barrel == 1 or single):
                return other
    if known == {Place()}:
        return Place()
    raise AnswerRefused(
        f"This bank has no place carb {carb}, barrel {barrel} for {what}, which is one for each {each}."
    )


def _number(item: Mapping[str, Any], key: str) -> Fraction | None:
    value = item.get(key)
    if value is None:
        return None
    found = exact(value)
    if found is None:
        raise AnswerRefused(f"'{key}' is a number, not '{str(value)[:40]}'.")
    return found
