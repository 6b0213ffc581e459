"""The idle circuit of a fixed-choke carburettor: fuel from jet, mixture screw, depression, level and progression holes.

The jet passes fuel by the square root of the small head over it. The mixture screw and the progression holes pass the
depression behind the plate on to it; the level of the fuel adds its own weight.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.bench.plant import assumed as a
from engine.bench.plant.anatomy import Anatomy

if TYPE_CHECKING:
    from engine.bench.plant.engine import VirtualEngine
    from engine.bench.plant.physics import FuelLaw


#: The air past a plate over that of a right idle, within which its idle hole feels the plate; further, the holes do.
FELT = (0.6, 1.5)


def follows_air(body: Anatomy, barrel: int, degrees: float) -> float:
    """How the fuel of the idle hole follows the air past its plate at `degrees`: 1 at a right idle."""
    if body.follows >= 1.0:
        return 1.0
    past = body.plate_area(barrel, degrees) / body.plate_area(barrel, body.idle_deg)
    felt: float = max(FELT[0], min(FELT[1], past)) ** (1.0 - body.follows)
    return felt


def holes_open(degrees: float, edge: float, scale: float = 1.0) -> float:
    """Signal of the progression holes at a plate `degrees` from shut, the first at `edge`; in units of the screw's."""
    total = 0.0
    past = (degrees - edge) / (a.HOLE_RAMP_DEG * scale) + 0.5
    for _ in range(a.HOLES):
        if past <= 0.0:
            break
        share = min(1.0, past)
        total += a.HOLE_SIGNAL * share * share * (3.0 - 2.0 * share)
        past -= a.HOLE_PITCH_DEG / a.HOLE_RAMP_DEG  # both grow with the scale
    return total


def uncovered(degrees: float, edge: float) -> str:
    """How the first progression hole looks at that plate: covered, at the edge or uncovered."""
    gap = degrees - edge
    return "covered" if gap < -0.06 else "at the edge" if gap <= 0.04 else "uncovered"


def fuel_flow(
    body: Anatomy,
    barrel: int,
    *,
    size: float,
    screw: float,
    degrees: float,
    flow: float,
    depression: float,
    level: float,
) -> float:
    """Fuel of one barrel, kg/h. `size` is the jet's (hundredths of a mm, scaled for dirt), `screw` its effect, `flow`
    the air (kg/h) of a port, `depression` behind the plate (Pa), `level` of the fuel (mm)."""
    opened = screw * screw + holes_open(degrees, body.hole_edge[barrel], body.hole_scale)
    signal = body.idle_signal * opened * max(0.0, depression) / body.idle_depression
    head = signal + a.FUEL_WEIGHT_PA_PER_MM * level * min(1.0, opened / 0.05)
    area = (size / body.right_jet) ** 2 * body.jet_scatter[barrel]
    start = a.MAIN_STARTS * body.port_air * (1.0 - a.MAIN_LATE_PER_MM * level)
    main = max(0.0, flow - start) / (a.MAIN_LAMBDA * a.PETROL_AFR)
    return body.idle_fuel * area * math.sqrt(max(0.0, head) / body.idle_signal) + main


def cold_share(engine: VirtualEngine) -> float:
    """What a cold engine burns of its fuel; the rest wets the walls. Nursed at the pedal, the pumps help."""
    nursed = a.NURSED if engine.state["hold"] else 1.0
    return 1.0 - nursed * a.COLD_FUEL * max(0.0, a.HOT_COOLANT_C - engine.coolant) / 70.0


def law(
    engine: VirtualEngine,
    degrees: Sequence[float],
    mouth: Sequence[float],
    leak: Sequence[float],
) -> FuelLaw:
    """The fuel of each barrel of an engine whose plates stand at `degrees`."""
    body, cold = engine.body, cold_share(engine)
    feeding = engine.barrels / sum(body.feeds)
    rows = []
    for b in range(engine.barrels):
        turns = 3.5 if engine.having("broken screw tip", barrel=b) else engine.at["jet"][b]
        stuck = engine.having("dead mixture screw", barrel=b)
        passes = stuck or body.needle.passes(turns, body.rests[b])
        rows.append(
            (
                engine.jets[b] * engine.dirt[b] ** 0.5,
                passes * follows_air(body, b, degrees[b]),
                engine.having("high fuel level", barrel=b) - engine.having("low fuel level", barrel=b),
                engine.having("starter stuck open", barrel=b) * body.idle_fuel,
            )
        )

    def fuel(b: int, flow: float, pressure: float) -> float:
        if not body.feeds[b]:
            return 0.0
        size, screw, level, extra = rows[b]
        return (
            cold
            * feeding
            * (
                extra
                + fuel_flow(
                    body,
                    b,
                    size=size,
                    screw=screw,
                    degrees=degrees[b],
                    flow=flow,
                    depression=body.build.p0 - pressure,
                    level=level,
                )
            )
        )

    return fuel
