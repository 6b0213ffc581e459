"""Where the throttle plates stand, and the area that each leaves open: screws, links, coupling and their faults."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.bench.plant import assumed

if TYPE_CHECKING:
    from engine.bench.plant.engine import VirtualEngine

LEAKS = ("manifold leak", "spindle leak", "worn spindle")


def openings(engine: VirtualEngine, pedal: float = 0.0) -> list[float]:
    """Degrees that each carb's spindle stands from shut, with the pedal `pedal` degrees down.

    Coupled by balance screws, each carb stands off its neighbour by the gap's screw; uncoupled, each on its own stop. A
    stop or a link that holds a body further open wins.
    """
    per_turn = engine.body.lever
    coupled = engine.job.bank.linkage_balance_screws and engine.state["coupling"] == "on"
    linked = engine.state["pedal_link"] == "on"
    out: list[float] = []
    for c in range(engine.carbs):
        screw = 0.0 if engine.having("dead speed screw", carb=c) else engine.at["plate"][c]
        own = max(0.0, screw * per_turn)
        if coupled and c:
            own = max(own, out[c - 1] + engine.at["coupling"][c - 1] * per_turn)
        else:
            own += max(0.0, pedal - (0.0 if coupled else engine.having("uneven linkage", carb=c)))
        if linked:
            own = max(own, engine.having("linkage preload", carb=c))
        out.append(max(0.0, own) + engine.having("sticking plate", carb=c))
    return out


def degrees(engine: VirtualEngine, barrel: int, spindles: Sequence[float]) -> float:
    """Degrees of one plate from shut, with what its body is out of step by."""
    carb, within = divmod(barrel, engine.per_carb)
    wrong = engine.having("plate out of step", carb=carb)
    twist = engine.having("twisted spindle", carb=carb)
    wrong += twist + (assumed.TWIST_PER_DEG * spindles[carb] if twist else 0.0)
    shift = max(0.0, wrong) if within == 1 else max(0.0, -wrong) if within == 0 else 0.0
    return spindles[carb] + engine.body.plate_offset[barrel] + shift


def areas(engine: VirtualEngine, spindles: Sequence[float]) -> tuple[list[float], list[float], list[float]]:
    """By barrel: degrees of the plate, open area in mm2 that draws through the mouth, and area that leaks in behind."""
    turned = [degrees(engine, b, spindles) for b in range(engine.barrels)]
    mouth, leak = [], []
    for b, deg in enumerate(turned):
        bypass = assumed.BYPASS_MM2_PER_TURN * engine.at["bypass"][b] if engine.job.bank.air_bypass_screws else 0.0
        plate = engine.body.plate_area(b, deg) if engine.body.feeds[b] else engine.body.seat[b]
        mouth.append(plate + bypass)
        leak.append(sum(engine.having(k, barrel=b) for k in LEAKS))
    return turned, mouth, leak
