"""The technician of reference who knows everything: what he can't bring into tolerance, screws and jets can't mend."""

from __future__ import annotations

from engine.bench.plant import assumed, physics, plates
from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians import mending
from engine.bench.technicians.hands import Work
from engine.bench.terms import TOLERANCE

#: So far, lambda, to the lean side of the crest he sets a mixture [assumed: within 2 % of torque on every width].
LEAN_OF_CREST = 0.017
#: No screw is turned further out than this.
MOST_TURNS = 8.0


def all_knowing(engine: VirtualEngine) -> Work:
    """Mend what a shop mends, fit right jets where there are none, then turn each screw once to where it belongs."""
    work = Work(rounds=1, stops=1, starts=1)
    coupled = engine.job.bank.linkage_balance_screws
    engine.set_state({"engine": "running", "pedal_link": "off", "hold": None, "coupling": "on" if coupled else "off"})
    engine.warm()
    kinds = {kind for row in mending.BY_QUANTITY.values() for kind in row}
    mending.at(engine, sorted(kinds), range(engine.barrels))
    for b in range(engine.barrels):
        if abs(engine.jets[b] - engine.body.right_jet) > 1.0 or engine.dirt[b] < 1.0:
            engine.fit("idle jet", b // engine.per_carb + 1, b % engine.per_carb + 1, engine.body.right_jet)
            work.jets += 1
    low, high = 0.3 * engine.body.idle_air, 3.0 * engine.body.idle_air
    for _ in range(18):
        each = 0.5 * (low + high)
        _draw(engine, each / (engine.body.build.flux * physics.CHOKED), coupled)
        _mix(engine)
        low, high = (low, each) if engine.now.speed > engine.body.target else (each, high)
    work.moves = engine.carbs + engine.barrels + sum(x > 0.02 for x in engine.at["bypass"])
    return work


def _draw(engine: VirtualEngine, area: float, coupled: bool) -> None:
    """Set plates and bypasses so that the barrels of a body leave `area` mm2 open in the mean (each, by bypass)."""
    per, bypass = engine.per_carb, engine.job.bank.air_bypass_screws
    spindles = []
    for c in range(engine.carbs):
        low, high = 0.0, 6.0
        for _ in range(26):
            middle = 0.5 * (low + high)
            open_ = [
                engine.body.plate_area(b, plates.degrees(engine, b, [middle] * engine.carbs))
                for b in range(c * per, (c + 1) * per)
            ]
            reached = max(open_) if bypass else 0.5 * (max(open_) + min(open_))
            low, high = (low, middle) if reached > area else (middle, high)
        spindles.append(middle)
        if bypass:
            for b, has in zip(range(c * per, (c + 1) * per), open_, strict=True):
                engine.at["bypass"][b] = max(0.0, area - has) / assumed.BYPASS_MM2_PER_TURN
    turn = engine.body.lever
    for c, deg in enumerate(spindles):
        engine.at["plate"][c] = deg / turn if not (coupled and c) else -0.5
        if coupled and c:
            engine.at["coupling"][c - 1] = (deg - spindles[c - 1]) / turn
    engine.reset()


def _mix(engine: VirtualEngine) -> None:
    """Every mixture screw a little to the lean side of this engine's crest, within where mixture belongs."""
    goal = max(0.87, min(0.95, 1.0 / engine.body.build.burning.crest + LEAN_OF_CREST))
    ends = [[0.0, MOST_TURNS] for _ in range(engine.barrels)]
    for _ in range(16):
        engine.at["jet"] = [0.5 * (low + high) for low, high in ends]
        engine.reset()
        for b, lam in enumerate(engine.turned_at(engine.body.target).lambdas):
            richer = lam > goal
            if engine.body.screw == "air screw":
                richer = not richer
            ends[b][0 if richer else 1] = engine.at["jet"][b]


def mendable(engine: VirtualEngine) -> bool:
    """Whether screws and jets can bring this engine into tolerance: what the all-knowing technician gets to."""
    truth = engine.truth()
    return truth.spread_ok and abs(truth.speed - engine.body.target) <= TOLERANCE.idle
