"""A technician's hand on a screw: counted moves that miss a little, and turning until a gauge shows a figure.

Nobody counts a thirty-second of a turn; a gauge is read with its own scatter. All chance comes from the engine's seed.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from engine.bench.plant import assumed, gauges
from engine.bench.plant.engine import VirtualEngine

#: How far a person goes on turning one screw towards a figure before he gives up, turns.
REACH = 1.5
#: The first touch, by which he feels which way helps, turns.
FEEL = 0.03


def turn(engine: VirtualEngine, acts: str, at: str, carb: int, barrel: int | None, turns: float) -> float:
    """Turn a screw by a counted `turns` (positive opens); the turns really made."""
    before = engine.position(at, carb, barrel)
    scatter = engine.nature.hand if at == "jet" else assumed.COUNT_SCATTER[at]
    scatter += assumed.COUNT_SHARE * abs(turns)
    made = turns + (engine.rng.gauss(0.0, scatter) if turns else 0.0)
    engine.turn(acts, at, carb, barrel, made if at != "jet" else _past_play(engine, carb, barrel, made))
    return engine.position(at, carb, barrel) - before


def _past_play(engine: VirtualEngine, carb: int, barrel: int | None, turns: float) -> float:
    """What a mixture screw's needle does of `turns`: going back, the worn thread's play is taken up first."""
    before, engine.went[carb, barrel] = engine.went.get((carb, barrel), 0.0), turns
    if before * turns >= 0:
        return turns
    return math.copysign(max(0.0, abs(turns) - engine.nature.backlash), turns)


def seat(engine: VirtualEngine, acts: str, at: str, carb: int, barrel: int | None) -> None:
    """Turn a screw to its zero, which the hand feels."""
    engine.set_turns(acts, at, carb, barrel, 0.0)


def aim(
    engine: VirtualEngine,
    acts: str,
    at: str,
    carb: int,
    barrel: int | None,
    quantity: str,
    value: float,
    watch: list[int] | None = None,
) -> float:
    """Turn a screw until `quantity` (`gauges.UNITS`) shows `value` at the barrels `watch` (row indices); turns made.

    The gauge is read with one reading's scatter; the hand stops within a hundredth of a turn or so. It gives up after
    1.5 turns, where the figure can't be reached, and leaves the screw as near as it came.
    """
    rows = watch if watch is not None else own(engine, at, carb, barrel)
    start = engine.position(at, carb, barrel)
    ratio = 1.0
    seen, true = gauges.one(engine, quantity, rows), shown(engine, quantity, rows)
    if true > 0:
        ratio = seen / true

    def off(turns: float) -> float:
        engine.set_turns(acts, at, carb, barrel, start + turns)
        return shown(engine, quantity, rows) * ratio - value

    best = _walk(off)
    engine.set_turns(acts, at, carb, barrel, start + best + engine.rng.gauss(0.0, assumed.AIM_SCATTER))
    return engine.position(at, carb, barrel) - start


def _walk(off: Callable[[float], float]) -> float:
    """Turns from here at which `off` is nought: small steps the way that helps, growing, then back and forth."""
    here = off(0.0)
    ways = sorted((FEEL, -FEEL), key=lambda turns: abs(off(turns)))
    if abs(off(ways[0]) - here) < 1e-3 * max(1.0, abs(here)):
        return math.copysign(0.5, ways[0])  # nothing moves: he tries half a turn and stops
    last, turns = 0.0, ways[0]
    while (there := off(turns)) * here > 0:
        if abs(turns) >= REACH or abs(there) > abs(off(last)) * 1.2:
            return last
        last, turns = turns, turns * 1.6
    low, high = last, turns
    for _ in range(12):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if off(middle) * here > 0 else (low, middle)
    return 0.5 * (low + high)


def own(engine: VirtualEngine, at: str, carb: int, barrel: int | None) -> list[int]:
    """The barrels (row indices) at whose mouth a screw is set: its own, or all of its body."""
    first = (carb if at == "coupling" else carb - 1) * engine.per_carb
    return [first + barrel - 1] if barrel else list(range(first, first + engine.per_carb))


def shown(engine: VirtualEngine, quantity: str, rows: list[int]) -> float:
    """What a true instrument would show of the barrels `rows`, without scatter; of several, as `gauges.one` does."""
    now = engine.now
    if quantity == "airflow":
        return max(engine.body.overread * now.mouth[b] for b in rows)
    if quantity == "depression":
        return sum(gauges.depression(engine, b) for b in rows) / len(rows)
    if quantity == "engine speed":
        return now.speed
    if quantity == "lambda":
        return sum(now.lambdas[b] + 0.35 * now.misfire[b] for b in rows) / len(rows)
    if quantity == "CO":
        return sum(gauges.carbon_monoxide(now.lambdas[b]) * (1.0 - now.misfire[b]) for b in rows) / len(rows)
    raise KeyError(quantity)
