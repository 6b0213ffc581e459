"""How a virtual engine comes in: jets as stamped, screws out of step, driven in at some idle; it sets a start."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from engine.bench.plant import assumed
from engine.bench.terms import RATES

if TYPE_CHECKING:
    from engine.bench.plant.engine import VirtualEngine


def stamps(engine: VirtualEngine) -> list[float]:
    """The numbers on the idle jets: what the job says is fitted, else the right ones, made wrong by the jet faults."""
    row = engine.job.row("idle_jet")
    common = engine.body.right_jet + 5.0 * engine.having("wrong jets")
    return [
        (common if row is None else float(row[b])) + 5.0 * engine.having("wrong jet", barrel=b)
        for b in range(engine.barrels)
    ]


def _rng(engine: VirtualEngine) -> random.Random:
    return random.Random(f"found {engine.seed}")


def screws(engine: VirtualEngine) -> dict[str, list[float]]:
    """Screws as found: speed screws out of step either way about the right idle, mixture screws anywhere."""
    rng = _rng(engine)
    idle = engine.body.idle_deg / engine.body.lever
    out = [rng.uniform(-RATES.speed_screw_found, RATES.speed_screw_found) for _ in range(engine.carbs)]
    if engine.job.bank.linkage_balance_screws:
        plate = [idle + out[0]] + [-0.5] * (engine.carbs - 1)
        gaps = [out[k + 1] - out[k] for k in range(engine.carbs - 1)]
    else:
        plate, gaps = [idle + o for o in out], [0.0] * (engine.carbs - 1)
    return {
        "plate": plate,
        "coupling": gaps,
        "bypass": [0.0] * engine.barrels,
        "jet": [_mixture(engine, rng) for _ in range(engine.barrels)],
    }


def _mixture(engine: VirtualEngine, rng: random.Random) -> float:
    """A mixture screw anywhere on a twin-choke sidedraught, for which the terms hold; else about its right place."""
    if engine.job.bank.family == "twin-choke sidedraught":
        return rng.uniform(*RATES.mixture_found)
    return engine.body.rest_turns + rng.uniform(-assumed.OTHERS_FOUND, assumed.OTHERS_FOUND)


def driven_in(engine: VirtualEngine) -> None:
    """Shift all speed screws alike so that it idles somewhere near its speed hot, as whoever drove it in had left it.

    [assumed: 80 rpm below to 120 above; where the mixture allows no such idle, as near as half a turn goes]
    """
    speed = engine.body.target + _rng(engine).uniform(-80.0, 120.0)
    cold = engine.coolant
    engine.warm()
    carbs = [0] if engine.job.bank.linkage_balance_screws else range(engine.carbs)
    span = engine.body.hole_scale * assumed.LEVER_DEG_PER_TURN / engine.body.lever
    start, low, high = list(engine.at["plate"]), -0.35 * span, 0.45 * span
    for _ in range(7):
        shift = 0.5 * (low + high)
        for c in carbs:
            engine.at["plate"][c] = start[c] + shift
        engine.reset()
        low, high = (shift, high) if engine.now.speed < speed else (low, shift)
    engine.coolant = engine.oil = cold
    engine.reset()
