"""The patient technician of reference: common practice at a virtual engine, one carb at a time, measuring after each.

After a move of a speed or bypass screw he reads the row; after a move of a mixture screw the speed, and the meter's row
where the shop has lambda or CO of each cylinder; after each carb whose mixture he has set the row again. He follows no
procedure file and asks no adviser; he sees what anybody can see.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from engine.bench.plant import assumed, gauges
from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians import hand
from engine.bench.technicians.hands import Work


@dataclass(frozen=True, slots=True)
class Patience:
    """The patient technician's settings, tuned on seeds 20000 to 20119 for most engines right with least work.

    `quarter` is his step of a mixture screw in turns, `eighth` that of a speed screw, halved within `close` kg/h of the
    mark and again within half of that; `even` kg/h is even enough. A fall of `drop` rpm means that a screw has gone in
    too far, then it comes `back` so many turns (for a band of half a turn); a rise of `rise` that it pays to go on out.
    `averaged`: he reads the tachometer over some seconds. Tried: drop 6 to 20, back 0.25 to 0.75, even 0.2 to 0.4,
    close 0.5 to 0.7, one pass and two.
    """

    quarter: float = 0.25
    eighth: float = 0.125
    close: float = 0.7
    even: float = 0.3
    drop: float = 7.0
    rise: float = 3.0
    back: float = 0.45
    averaged: bool = True
    passes: int = 1
    speed_close: float = 20.0
    judges_jets: bool = True


class Patient:
    """Zero and preset, rough air, speed, mixture, fine air, speed, jets by their bands, as often as it takes."""

    def __init__(self, engine: VirtualEngine, how: Patience | None = None) -> None:
        self.engine, self.how, self.work = engine, how or Patience(), Work()
        self.coupled = engine.job.bank.linkage_balance_screws
        shop = engine.job.instruments
        each = shop.exhaust_sampling == "each cylinder"
        self.meter = "lambda" if each and shop.lambda_meter else "CO" if each and shop.co_meter else None
        self.shows: list[float] = []

    def run(self) -> Work:
        """Do the whole job; the work that it took."""
        e = self.engine
        self.row(), self.speed()  # as found
        self.zero()
        self.start()
        e.pass_time(25.0)
        self.to_speed()
        self.air()
        self.to_speed()
        self.mixture()
        self.air()
        self.to_speed()
        if self.how.judges_jets:
            for _ in range(2):
                if not self.jets():
                    break
                self.mixture()
                self.air()
                self.to_speed()
        self.mixture()
        self.air()
        self.to_speed()
        self.hand_over()
        return self.work

    # --- single acts --------------------------------------------------------------------------------------------
    def start(self) -> None:
        """Start the engine, held by hand first; links off."""
        self.engine.set_state(
            {"engine": "running", "pedal_link": "off", "hold": None, "coupling": "on" if self.coupled else "off"}
        )
        self.work.starts += 1

    def alive(self) -> bool:
        """Let it settle; a stall is started again."""
        if self.engine.settle() == "stall":
            self.work.stalls += 1
            self.start()
            return False
        if self.engine.state["engine"] != "running":
            self.start()
        return True

    def row(self) -> list[float]:
        """One measuring round: the gauge on every barrel. A stalled engine is kept alive at the pedal meanwhile."""
        self.work.rounds += 1
        held = not self.alive()
        if held:
            self.engine.set_state({"hold": self.engine.body.target})
        flow = gauges.read(self.engine, "airflow", "barrel")
        if held:
            self.engine.set_state({"hold": None})
        assert isinstance(flow, list)
        return flow

    def speed(self) -> float:
        """The speed, 0 where it stalled."""
        return float(gauges.one(self.engine, "engine speed", [], averaged=self.how.averaged)) if self.alive() else 0.0

    def move(self, at: str, carb: int, barrel: int | None, turns: float) -> None:
        """One counted move."""
        self.work.moves += 1
        hand.turn(self.engine, "mixture" if at == "jet" else "air", at, carb, barrel, turns)

    def body_screw(self, carb: int) -> tuple[str, int]:
        """The screw that sets a body against its neighbour: its own, or the coupling's before it."""
        return ("coupling", carb - 1) if self.coupled and carb > 1 else ("plate", carb)

    def hand_over(self) -> None:
        """Linkage on and read, held off idle and read, read as left."""
        self.engine.set_state({"pedal_link": "on", "coupling": "on"})
        self.row()
        if self.alive():
            self.engine.set_state({"hold": 1800.0})
            self.row()
            self.engine.set_state({"hold": None})
        self.row(), self.speed()

    # --- the routine --------------------------------------------------------------------------------------------
    def zero(self) -> None:
        """Everything to its zero, then to the trade's starting positions."""
        e, n = self.engine, self.engine.body
        e.set_state({"engine": "stopped", "pedal_link": "off", "coupling": "on" if self.coupled else "off"})
        self.work.stops += 1
        low, high = assumed.BAND[n.screw]
        start = {"short taper": 1.0, "long taper": 2.5}.get(n.screw, 0.5 * (low + high))
        for carb in range(1, e.carbs + 1):
            at, place = self.body_screw(carb)
            hand.seat(e, "air", at, place, None)
            self.work.moves += 2
            hand.turn(e, "air", at, place, None, 0.25 if at == "plate" else 0.0)
            for barrel in range(1, e.per_carb + 1):
                if e.job.bank.air_bypass_screws:
                    hand.seat(e, "air", "bypass", carb, barrel)
                    self.work.moves += 1
                hand.seat(e, "mixture", "jet", carb, barrel)
                self.work.moves += 2
                hand.turn(e, "mixture", "jet", carb, barrel, start)

    def air(self) -> None:
        """The body furthest from the mark by an eighth (less when near), a row after each; then bypasses likewise."""
        e, per = self.engine, self.engine.per_carb
        for _ in range(40):
            row = self.row()
            bodies = [sum(row[c * per : (c + 1) * per]) / per for c in range(e.carbs)]
            mark = bodies[0] if self.coupled else sum(bodies) / len(bodies)
            off = [b - mark for b in bodies]
            worst = max(range(e.carbs), key=lambda c: abs(off[c]))
            if abs(off[worst]) <= self.how.even:
                break
            at, place = self.body_screw(worst + 1)
            self.move(at, place, None, -math.copysign(self.step(off[worst]), off[worst]))
        if e.job.bank.air_bypass_screws and per > 1:
            self.bypass()

    def step(self, off: float) -> float:
        """His step of a speed screw for a difference of `off` kg/h: an eighth, when near a sixteenth, then half."""
        near = abs(off) / self.how.close
        return self.how.eighth * (1.0 if near > 1.0 else 0.5 if near > 0.5 else 0.25)

    def bypass(self) -> None:
        """In each body the lower barrel up to its neighbour by quarter turns, a row after each."""
        e = self.engine
        for _ in range(24):
            row = self.row()
            pairs = [sorted((2 * c, 2 * c + 1), key=lambda b: row[b]) for c in range(e.carbs)]
            low, high = max(pairs, key=lambda p: row[p[1]] - row[p[0]])
            if row[high] - row[low] <= self.how.even:
                break
            carb, step = low // 2 + 1, self.how.quarter * (1.0 if row[high] - row[low] > 0.6 else 0.5)
            if e.position("bypass", carb, high % 2 + 1) > 0.05:
                self.move("bypass", carb, high % 2 + 1, -step)
            else:
                self.move("bypass", carb, low % 2 + 1, step)

    def to_speed(self) -> None:
        """All bodies alike until the speed is right; the master alone where the bodies are coupled."""
        e = self.engine
        for _ in range(20):
            now = self.speed()
            off = now - e.body.target
            if now == 0.0:
                self.revive()
                continue
            if abs(off) <= self.how.speed_close:
                break
            step = self.how.eighth if abs(off) > 120 else min(self.how.eighth, abs(off) / 1000.0)
            for carb in [1] if self.coupled else range(1, e.carbs + 1):
                self.move("plate", carb, None, -math.copysign(step, off))

    def revive(self) -> None:
        """It will not idle: a quarter turn richer everywhere, and a little more air."""
        for carb in range(1, self.engine.carbs + 1):
            for barrel in range(1, self.engine.per_carb + 1):
                self.move("jet", carb, barrel, self.how.quarter)
        for carb in [1] if self.coupled else range(1, self.engine.carbs + 1):
            self.move("plate", carb, None, self.how.eighth / 4)

    def mixture(self) -> None:
        """Lean drop, barrel by barrel; after each carb the row again, to see that the air has stayed."""
        e, how = self.engine, self.how
        for _ in range(how.passes):
            for carb in range(1, e.carbs + 1):
                for barrel in range(1, e.per_carb + 1):
                    self.lean_drop(carb, barrel)
                self.row()
            self.to_speed()

    def lean_drop(self, carb: int, barrel: int) -> None:
        """One mixture screw: out while it pays, in until the speed falls, then back out; a meter trims it."""
        how, best = self.how, self.speed()
        for _ in range(4):
            if best == 0.0:
                self.revive()
                best = self.speed()
        for _ in range(6):
            now = self.mixed(carb, barrel, how.quarter)
            pays, best = now > best + how.rise, max(best, now)
            if not pays:
                break
        for _ in range(12):
            if self.engine.position("jet", carb, barrel) <= 0.05:
                break
            now = self.mixed(carb, barrel, -how.quarter)
            best = max(best, now)
            if now < best - how.drop:
                break
        band = assumed.BAND[self.engine.body.screw]
        self.mixed(carb, barrel, how.back * 2.0 * (band[1] - band[0]))
        for _ in range(6 if self.meter else 0):
            way = self.meter_says(self.engine.index(carb, barrel))
            if not way:
                break
            self.mixed(carb, barrel, way * how.quarter / 2)

    def mixed(self, carb: int, barrel: int, turns: float) -> float:
        """Turn a mixture screw and measure: the speed, and the row of the meter where the shop has one."""
        self.move("jet", carb, barrel, turns)
        now = self.speed()
        if self.meter and now:
            self.work.rounds += 1
            row = gauges.read(self.engine, self.meter, "barrel")
            assert isinstance(row, list)
            self.shows = row
        return now

    def meter_says(self, barrel: int) -> int:
        """+1 out (richer), -1 in, 0 right, by the last row of the meter; 0 where there is none yet."""
        if not self.shows:
            return 0
        low, high = (0.87, 0.95) if self.meter == "lambda" else (1.8, 4.9)
        lean = self.shows[barrel] > high if self.meter == "lambda" else self.shows[barrel] < low
        rich = self.shows[barrel] < low if self.meter == "lambda" else self.shows[barrel] > high
        return int(lean) - int(rich)

    def jets(self) -> bool:
        """Change the idle jets whose screws rest outside their band, by the trade's rule; whether any was changed."""
        e = self.engine
        low, high = assumed.BAND[e.body.screw]
        stands = [e.position("jet", b // e.per_carb + 1, b % e.per_carb + 1) for b in range(e.barrels)]
        out = [1 if s > 1.25 * high else -1 if s < 0.6 * low else 0 for s in stands]
        if not any(out):
            return False
        e.set_state({"engine": "stopped"})
        self.work.stops += 1
        for b, way in enumerate(out):
            if way:
                self.work.jets += 1
                e.fit("idle jet", b // e.per_carb + 1, b % e.per_carb + 1, e.stamps[b] + 5.0 * way)
        self.start()
        return True
