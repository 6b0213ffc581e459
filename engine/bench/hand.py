"""A technician's hand on a screw: counted moves that miss a little, and turning until a gauge shows a figure.

Nobody counts a thirty-second of a turn; a gauge is read with its own scatter. All chance comes from the engine's seed.
"""

from __future__ import annotations

from engine.bench import assumed, gauges
from engine.bench.engine import VirtualEngine

#: How far a person goes on turning one screw towards a figure before he gives up, turns.
REACH = 1.5


def turn(engine: VirtualEngine, acts: str, at: str, carb: int, barrel: int | None, turns: float) -> float:
    """Turn a screw by a counted `turns` (positive opens); the turns really made."""
    before = engine.position(at, carb, barrel)
    scatter = assumed.COUNT_SCATTER[at] + assumed.COUNT_SHARE * abs(turns)
    engine.turn(acts, at, carb, barrel, turns + (engine.rng.gauss(0.0, scatter) if turns else 0.0))
    return engine.position(at, carb, barrel) - before


def seat(engine: VirtualEngine, acts: str, at: str, carb: int, barrel: int | None) -> None:
    """Turn a screw to its zero, which the hand feels."""
    engine.set_turns(acts, at, carb, barrel, 0.0)


def aim(
    engine: VirtualEngine, acts: str, at: str, carb: int, barrel: int | None, quantity: str, value: float,
    watch: list[int] | None = None,
) -> float:
    """Turn a screw until `quantity` (`gauges.UNITS`) shows `value` at the barrels `watch` (row indices); turns made.

    The gauge is read with one reading's scatter; the hand stops within a hundredth of a turn or so. It gives up after
    1.5 turns either way, where the figure can't be reached, and leaves the screw as near as it came.
    """
    rows = watch if watch is not None else _own(engine, at, carb, barrel)
    start = engine.position(at, carb, barrel)
    ratio = 1.0
    seen, true = gauges.one(engine, quantity, rows), shown(engine, quantity, rows)
    if true > 0:
        ratio = seen / true

    def off(turns: float) -> float:
        engine.set_turns(acts, at, carb, barrel, start + turns)
        return shown(engine, quantity, rows) * ratio - value

    low, high = -REACH, REACH
    at_low, at_high = off(low), off(high)
    if at_low * at_high > 0:
        best = low if abs(at_low) < abs(at_high) else high
        if abs(at_low - at_high) < 0.02 * max(1.0, abs(value)):    # nothing moves: he tries half a turn and stops
            best = 0.5 if engine.rng.random() < 0.5 else -0.5
    else:
        for _ in range(16):
            best = 0.5 * (low + high)
            now = off(best)
            low, high = (best, high) if now * at_low > 0 else (low, best)
    engine.set_turns(acts, at, carb, barrel, start + best + engine.rng.gauss(0.0, assumed.AIM_SCATTER))
    return engine.position(at, carb, barrel) - start


def _own(engine: VirtualEngine, at: str, carb: int, barrel: int | None) -> list[int]:
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
