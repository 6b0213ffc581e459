"""Metering of a constant-depression carburettor: fuel in proportion to the air through its own mouth, by the jet nut.

The piston keeps the depression over the jet, so that the mixture hardly depends on the plate; it depends on how far the
nut holds the jet down, a little on the fuel level, and on a piston that hangs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from engine.bench.plant import assumed as a
from engine.bench.plant.idle_circuit import cold_share

if TYPE_CHECKING:
    from engine.bench.plant.engine import VirtualEngine
    from engine.bench.plant.physics import FuelLaw


def law(
    engine: VirtualEngine,
    degrees: Sequence[float],
    mouth: Sequence[float],
    leak: Sequence[float],
) -> FuelLaw:
    """The fuel of each body; `mouth` and `leak` are open areas, of which only the first draws fuel along."""
    body, cold = engine.body, cold_share(engine)
    share = []
    for b in range(engine.barrels):
        stuck = engine.having("dead mixture screw", barrel=b)
        nut = stuck or body.needle.passes(engine.at["jet"][b], body.rests[b]) + body.jet_scatter[b] - 1.0
        level = engine.having("high fuel level", barrel=b) - engine.having("low fuel level", barrel=b)
        hangs = 1.0 - (a.STICKING_LEANS if engine.having("sticking piston", barrel=b) else 0.0)
        drawn = mouth[b] / (mouth[b] + leak[b]) * (engine.barrels * mouth[b] / sum(mouth) if body.build.shared else 1.0)
        share.append(
            max(0.0, nut) * (1.0 + a.LEVEL_SHARE_PER_MM * level) * hangs * drawn
            + engine.having("starter stuck open", barrel=b)
        )

    def fuel(b: int, flow: float, pressure: float) -> float:
        return cold * flow * share[b] / (a.SETTLED_LAMBDA * a.PETROL_AFR)

    return fuel


def heard(engine: VirtualEngine, carb: int) -> int:
    """What the lifting pin of one body (row index) tells: +1 rich, it stays up; -1 weak, it falls; 0 right."""
    change = lifted(engine, carb) * engine.carbs / 2.0
    return 1 if change > a.LIFT_RISES_RPM else -1 if change < a.LIFT_FALLS_RPM else 0


def lifted(engine: VirtualEngine, carb: int) -> float:
    """Change of speed, rpm, when the piston of one body (row index) is lifted 0.8 mm: it goes a little leaner."""
    return engine.with_fuel(carb * engine.per_carb, 1.0 - a.LIFT_LEANS).speed - engine.now.speed
