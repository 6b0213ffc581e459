"""The instruments on a virtual engine: what a gauge, meter or count shows, with scatter and steps; it turns nothing.

`read` answers in one fixed unit a quantity (`UNITS`): a value a place, or one value. Positions and looks are truthful
within what an eye sees.
"""

from __future__ import annotations

import math
import random
from typing import TYPE_CHECKING

from engine.bench.plant import assumed, idle_circuit, plates
from engine.bench.terms import NOISE

if TYPE_CHECKING:
    from engine.bench.plant.engine import VirtualEngine

#: Quantity -> unit of what `read` gives.
UNITS = {
    "airflow": "kg/h",
    "depression": "kPa",
    "engine speed": "rpm",
    "mixture screw position": "turn",
    "speed screw position": "turn",
    "bypass screw position": "turn",
    "coupling screw position": "turn",
    "coolant temperature": "degC",
    "oil temperature": "degC",
    "lambda": "",
    "CO": "%",
    "HC": "ppm",
    "CO2": "%",
    "O2": "%",
    "idle jet size": "",
    "fuel level": "mm",
}
RUNNING = frozenset({"airflow", "depression", "engine speed", "lambda", "CO", "HC", "CO2", "O2"})
POSITIONS = {
    "mixture screw position": "jet",
    "speed screw position": "plate",
    "bypass screw position": "bypass",
    "coupling screw position": "coupling",
}


class NotTakeable(RuntimeError):
    """A running quantity asked of a stopped engine."""


def bias(engine: VirtualEngine) -> float:
    """What the shop's one airflow gauge is out by, as a factor: the same for every barrel of a job."""
    return 1.0 + random.Random(f"gauge {engine.seed}").gauss(0.0, NOISE.gauge_bias)


def can_be_plugged(engine: VirtualEngine) -> bool:
    """Whether the take-off that disturbs a reading of this engine can be plugged for a while."""
    return random.Random(f"take-off {engine.seed}").random() < assumed.TAKE_OFF_PLUGS


def _flow(engine: VirtualEngine, barrel: int, take: int) -> float:
    plugged = engine.state.get("take_offs") in ("plugged", "pinched", "shut") and can_be_plugged(engine)
    away = 0.0 if plugged else engine.having("disturbed gauge point", barrel=barrel)
    scatter = NOISE.airflow_disturbed if away else NOISE.airflow
    weak = engine.having("weak cylinder", barrel=barrel) or engine.having("tight valve", barrel=barrel)
    kick = assumed.WEAK_GAUGE_KICK if weak else 0.0
    swing = engine.hunting / max(300.0, engine.now.speed) / 2
    scatter = math.hypot(scatter, kick, swing, 0.04 if engine.having("worn spindle", barrel=barrel) else 0.0)
    true = engine.body.overread * engine.now.mouth[barrel] * bias(engine) * (1.0 + away) * engine.nature.seating[barrel]
    return sum(_to_step(true * engine.rng.gauss(1.0, scatter), NOISE.airflow_step) for _ in range(take)) / take


def _to_step(value: float, step: float) -> float:
    return max(0.0, round(value / step) * step)


def _speed(engine: VirtualEngine, averaged: bool, take: int) -> float:
    count = max(take, NOISE.averaged if averaged else 1)
    scatter = math.hypot(NOISE.speed, engine.hunting / 2)
    engine.wanders(assumed.READING_SECONDS / 60.0)
    speed = float(engine.state["hold"] or engine.now.speed) + engine.wander
    step = engine.nature.tachometer
    looks = [engine.rng.gauss(speed, scatter) for _ in range(count)]
    return sum(_to_step(look, step) if step else look for look in looks) / count


def carbon_monoxide(lam: float) -> float:
    """Dry CO in % of an idling engine at `lambda`: the equilibrium fit, rounded off where cycles differ.

    [derived: equilibrium at 1738 K; real engines show 0.3 to 0.8 % at lambda 1]
    """
    short = 0.5 * ((1.0 - lam) + math.sqrt((1.0 - lam) ** 2 + 0.02**2))
    return min(12.0, 11.357 * short * short + 35.828 * short)


def _exhaust(engine: VirtualEngine, quantity: str, barrels: list[int]) -> float:
    """What a probe shows of the gas of some barrels, mixed by flow; a missed cycle carries its oxygen out."""
    now = engine.now
    whole = sum(now.total[b] for b in barrels)
    part = {b: now.total[b] / whole if whole else 1.0 / len(barrels) for b in barrels}
    lam = 1.0 / sum(share / now.lambdas[b] for b, share in part.items())
    miss = sum(share * now.misfire[b] for b, share in part.items())
    gauss = engine.rng.gauss
    if quantity == "lambda":
        return max(0.6, min(1.6, (lam + 0.35 * miss) * gauss(1.0, NOISE.lambda_)))
    co = sum(share * carbon_monoxide(now.lambdas[b]) for b, share in part.items()) * (1.0 - miss)
    if quantity == "CO":
        return co * gauss(1.0, NOISE.co)
    if quantity == "O2":
        return min(20.9, (0.4 + 20.5 * miss + 20.5 * (1 - miss) * max(0.0, 1.0 - 1.0 / lam)) * gauss(1.0, 0.03))
    if quantity == "CO2":
        return max(0.0, (15.0 - 0.72 * co) * (1.0 - miss) / max(1.0, lam) * gauss(1.0, 0.02))
    return max(20.0, (180.0 + 45.0 * co + 9000.0 * miss) * gauss(1.0, 0.08))


def depression(engine: VirtualEngine, barrel: int) -> float:
    """What a true damped gauge on that runner (or on the plenum) shows, kPa below the air of the day."""
    shown = 1.0 if engine.body.build.shared else assumed.DEPRESSION_SHOWN
    return shown * (engine.body.build.p0 - engine.now.pressure[barrel]) / 1e3


def _depression(engine: VirtualEngine, barrel: int, take: int) -> float:
    true = depression(engine, barrel)
    return (
        sum(_to_step(true * engine.rng.gauss(1.0, NOISE.depression), NOISE.depression_step) for _ in range(take)) / take
    )


def one(engine: VirtualEngine, quantity: str, row: list[int], *, averaged: bool = False, take: int = 1) -> float:
    """One value of a quantity: of the barrels `row` together (indices), or of the engine where it has no place."""
    if quantity in RUNNING and engine.state["engine"] != "running":
        raise NotTakeable(f"{quantity} is read on a running engine; this one stands still.")
    gauss = engine.rng.gauss
    if quantity == "airflow":
        return max(_flow(engine, b, take) for b in row)
    if quantity == "depression":
        return sum(_depression(engine, b, take) for b in row) / len(row)
    if quantity == "engine speed":
        return _speed(engine, averaged, take)
    if quantity in ("coolant temperature", "oil temperature"):
        return gauss(engine.coolant if quantity.startswith("coolant") else engine.oil, 0.7)
    if quantity == "idle jet size":
        return engine.stamps[row[0]]
    if quantity == "fuel level":
        level = engine.having("high fuel level", barrel=row[0]) - engine.having("low fuel level", barrel=row[0])
        off = engine.nature.level
        return level + engine.rng.uniform(-off, off) if off else gauss(level, 0.15)
    if quantity in ("lambda", "CO", "HC", "CO2", "O2"):
        return _exhaust(engine, quantity, row)
    raise KeyError(quantity)


def hole(engine: VirtualEngine, barrel: int) -> str:
    """The first progression hole as a torch shows it: covered, at the edge, uncovered."""
    turned = plates.degrees(engine, barrel, engine.openings())
    return idle_circuit.uncovered(turned, engine.body.hole_edge[barrel])


def count_to_seat(engine: VirtualEngine, quantity: str, i: int) -> float:
    """A screw counted to its zero and back, told to the step that a hand counts."""
    true = engine.at[POSITIONS[quantity]][i] + engine.rng.gauss(0.0, 0.01)
    step = 1 / 6 if engine.body.screw == "jet nut" and quantity.startswith("mixture") else assumed.POSITION_STEP
    return round(true / step) * step


def read(
    engine: VirtualEngine,
    quantity: str,
    each: str | None = None,
    *,
    averaged: bool = False,
    take: int = 1,
) -> float | list[float]:
    """A row of a quantity over `each` (barrel, carb, gap, cylinder), or a single value with None; units in `UNITS`."""
    per, cyl = engine.per_carb, engine.job.bank.cylinders_per_barrel
    if quantity in POSITIONS:
        row = range(len(engine.at[POSITIONS[quantity]]))
        return [count_to_seat(engine, quantity, i) for i in row] if each else count_to_seat(engine, quantity, 0)
    if each is None:
        return one(engine, quantity, list(range(engine.barrels)), averaged=averaged, take=take)
    places = {
        "barrel": [[b] for b in range(engine.barrels)],
        "cylinder": [[min(b // cyl, engine.barrels - 1)] for b in range(engine.job.engine.cylinders)],
        "carb": [list(range(c * per, (c + 1) * per)) for c in range(engine.carbs)],
    }[each]
    return [one(engine, quantity, place, averaged=averaged, take=take) for place in places]
