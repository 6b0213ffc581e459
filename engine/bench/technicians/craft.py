"""What every technician of reference knows how to do on his family: zero, start, read, turn, even the air, reach speed.

Each act takes its time on the engine and counts as work. None follows a procedure file or asks an adviser; each sees
what anybody can see. A reading of one pipe counts as that share of a round.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from engine.bench.plant import assumed, gauges
from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians import hand, mending
from engine.bench.technicians.hands import Work

#: Minutes that a look at the tachometer takes with a screw turned before it, and a look into a pipe [assumed].
LOOK_MINUTES, PIPE_MINUTES = 0.25, assumed.READING_SECONDS / 60.0
#: Columns of vacuum gauges this near each other are even enough to him, kPa [common practice: half of what is allowed].
COLUMNS_EVEN = 1.3
#: The whole exhaust this rich is seen to smoke black [assumed].
SMOKES_LAMBDA = 0.72
#: It fires so well that its exhaust and its spitting tell something, rpm; and so often he tries to make it idle.
DIES_RPM, MOST_REVIVED = 300.0, 12
#: Mixture screws start here, turns out [common practice]; others in mid band.
STARTS_AT = {"short taper": 1.0, "long taper": 2.5}


class GaveUp(Exception):
    """It can't be made to idle by screws."""


@dataclass(frozen=True, slots=True)
class Habits:
    """How he works. `eighth` is his step of a speed screw in turns, `quarter` that of a bypass or mixture screw; steps
    of air are halved within `close` kg/h of the mark and again within half of that; `even` kg/h is even enough, and
    `speed_close` rpm close enough. `averaged`: he reads the tachometer over some seconds."""

    quarter: float = 0.25
    eighth: float = 0.125
    close: float = 0.7
    even: float = 0.2
    speed_close: float = 20.0
    averaged: bool = True


class Craft:
    """A technician of reference at `engine`; `works` of each says what he does with his craft."""

    def __init__(self, engine: VirtualEngine, how: Habits | None = None) -> None:
        self.engine, self.work, self.revived = engine, Work(), 0
        self.how = how or Habits()
        bank = engine.job.bank
        self.coupled = bank.linkage_balance_screws
        self.one_knob = self.coupled or engine.carbs == 1
        self.feeding = [b for b in range(engine.barrels) if engine.body.feeds[b]]
        columns = engine.job.instruments.vacuum_gauges and not engine.job.instruments.airflow_gauge
        self.gauge = "depression" if columns else "airflow"
        self.balances = len(self.feeding) > 1 and not (columns and engine.body.build.shared)
        self.sidedraught = bank.family == "twin-choke sidedraught"
        self.richer = -1.0 if engine.body.screw == "air screw" else 1.0

    def run(self) -> Work:
        """Do the whole job, or give it up; the work that it took."""
        try:
            self.works()
        except GaveUp:
            self.engine.set_state({"engine": "stopped"})
        return self.work

    def works(self) -> None:
        """What he does."""
        raise NotImplementedError

    # --- single acts --------------------------------------------------------------------------------------------
    def start(self) -> None:
        """Start the engine; links off."""
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

    def row(self, rows: Sequence[int] | None = None) -> list[float]:
        """The gauge on the barrels `rows` (all that feed), a share of a round each. A stalled engine is kept alive at
        the pedal meanwhile."""
        these = list(self.feeding if rows is None else rows)
        self.work.rounds += len(these) / len(self.feeding)
        self.engine.pass_time(len(these) * PIPE_MINUTES)
        held = not self.alive()
        if held:
            self.engine.set_state({"hold": self.engine.body.target})
        shown = [gauges.one(self.engine, self.gauge, [b]) for b in these]
        if held:
            self.engine.set_state({"hold": None})
        return shown

    def speed(self) -> float:
        """The speed, 0 where it stalled."""
        self.engine.pass_time(LOOK_MINUTES)
        return gauges.one(self.engine, "engine speed", [], averaged=self.how.averaged) if self.alive() else 0.0

    def move(self, at: str, carb: int, barrel: int | None, turns: float) -> None:
        """One counted move."""
        self.work.moves += 1
        hand.turn(self.engine, "mixture" if at == "jet" else "air", at, carb, barrel, turns)

    def enrich(self, row: int, turns: float) -> None:
        """One counted move of the mixture screw of a barrel (row index), richer where `turns` is positive."""
        self.move("jet", *self.place(row), self.richer * turns)

    def place(self, row: int) -> tuple[int, int]:
        """Carb and barrel of a row index."""
        return row // self.engine.per_carb + 1, row % self.engine.per_carb + 1

    def stands(self, row: int) -> float:
        """Turns of a mixture screw from its seat."""
        return self.engine.position("jet", *self.place(row))

    def body_screw(self, carb: int) -> tuple[str, int]:
        """The screw that sets a body against its neighbour: its own, or the coupling's before it."""
        return ("coupling", carb - 1) if self.coupled and carb > 1 else ("plate", carb)

    def knobs(self) -> range:
        """The carbs whose speed screws set the speed of the whole engine."""
        return range(1, 2) if self.one_knob else range(1, self.engine.carbs + 1)

    def hand_over(self) -> None:
        """Linkage on and read, held off idle and read, read as left."""
        self.engine.set_state({"pedal_link": "on", "coupling": "on"})
        if self.balances:
            self.row()
            if self.alive():
                self.engine.set_state({"hold": 1800.0})
                self.row()
                self.engine.set_state({"hold": None})
            self.row()
        self.speed()

    # --- the routine --------------------------------------------------------------------------------------------
    def prepare(self, mid_band: bool = False) -> None:
        """Looked over, as found, zero and preset, warm, to speed and the air even: what all of them do first."""
        mending.look_over(self.engine)
        if self.balances:
            self.row()
        self.speed()
        self.zero(mid_band)
        self.start()
        self.engine.pass_time(25.0)
        self.settle_air()

    def settle_air(self) -> None:
        """To speed, the air even, to speed."""
        self.to_speed()
        if self.balances:
            self.air()
            self.to_speed()

    def zero(self, mid_band: bool = False) -> None:
        """Everything to its zero, then to the trade's starting positions (mixture screws in `mid_band`)."""
        e, n = self.engine, self.engine.body
        e.set_state({"engine": "stopped", "pedal_link": "off", "coupling": "on" if self.coupled else "off"})
        self.work.stops += 1
        low, high = assumed.BAND[n.screw]
        middle = 0.5 * (low + high)
        start = middle if mid_band else STARTS_AT.get(n.screw, middle)
        idle = self.how.quarter if self.sidedraught else assumed.OTHERS_IDLE_TURNS
        for carb in range(1, e.carbs + 1):
            at, place = self.body_screw(carb)
            hand.seat(e, "air", at, place, None)
            self.work.moves += 2
            hand.turn(e, "air", at, place, None, idle if at == "plate" else 0.0)
        for b in self.feeding:
            if e.job.bank.air_bypass_screws:
                hand.seat(e, "air", "bypass", *self.place(b))
                self.work.moves += 1
            hand.seat(e, "mixture", "jet", *self.place(b))
            self.work.moves += 2
            hand.turn(e, "mixture", "jet", *self.place(b), start)

    def to_speed(self) -> None:
        """All bodies alike until the speed is right; the master alone where the bodies are coupled."""
        e = self.engine
        for _ in range(20):
            now = self.speed()
            off = now - e.body.target
            if now == 0.0:
                self.revive()
                continue
            if abs(off) <= max(self.how.speed_close, 0.8 * e.nature.tachometer):
                break
            if self.one_knob and not self.sidedraught:  # he turns it with the tachometer in view
                self.work.moves += 1
                made = hand.aim(e, "air", "plate", 1, None, "engine speed", e.body.target)
                if not self.alive():
                    hand.turn(e, "air", "plate", 1, None, -made)
                continue
            step = self.how.eighth if abs(off) > 120 else min(self.how.eighth, abs(off) / 1000.0)
            reach = 1.0 if self.sidedraught else assumed.LEVER_DEG_PER_TURN / e.body.lever
            for carb in self.knobs():
                self.move("plate", carb, None, -math.copysign(step * reach, off))

    def revive(self) -> None:
        """It will not idle: richer where it spits back; leaner all over where it smokes; else richer, and more air.
        Raises `GaveUp` where that was tried often."""
        self.revived += 1
        if self.revived > MOST_REVIVED:
            raise GaveUp
        turns = self.engine.now.speed > DIES_RPM
        smokes = sum(self.engine.now.lambdas[b] for b in self.feeding) / len(self.feeding) < SMOKES_LAMBDA
        spitting = [b for b in self.feeding if turns and self.spits(b)]
        for b in spitting or self.feeding:
            self.enrich(b, -self.how.quarter if turns and smokes and not spitting else self.how.quarter)
        reach = 1.0 if self.sidedraught else 4.0
        for carb in self.knobs():
            self.move("plate", carb, None, reach * self.how.eighth / 4)

    def spits(self, row: int) -> bool:
        """Whether that barrel is heard to spit back through its mouth, as a far too lean one does."""
        return self.engine.now.lambdas[row] > assumed.SPIT_LAMBDA

    def air(self) -> None:
        """Bodies even, then the barrels of each body by its bypasses; he reads again only the pipes that he turned."""
        if self.gauge == "depression":
            self.columns()
            return
        e, per, row = self.engine, self.engine.per_carb, self.row()
        for _ in range(40):
            bodies = [sum(row[c * per : (c + 1) * per]) / per for c in range(e.carbs)]
            mark = bodies[0] if self.coupled else sum(bodies) / len(bodies)
            off = [b - mark for b in bodies]
            worst = max(range(e.carbs), key=lambda c: abs(off[c]))
            if abs(off[worst]) <= self.how.even:
                break
            at, place = self.body_screw(worst + 1)
            self.move(at, place, None, -math.copysign(self.step(off[worst]), off[worst]))
            moved = range(worst * per, (e.carbs if self.coupled else worst + 1) * per)
            row[moved.start : moved.stop] = self.row(moved)
        if e.job.bank.air_bypass_screws and per > 1:
            self.bypass(row)

    def step(self, off: float) -> float:
        """His step of a speed screw for a difference of `off` kg/h: an eighth, when near a sixteenth, then half."""
        near = abs(off) / self.how.close
        reach = 1.0 if self.sidedraught else assumed.LEVER_DEG_PER_TURN / self.engine.body.lever
        return reach * self.how.eighth * (1.0 if near > 1.0 else 0.5 if near > 0.5 else 0.25)

    def bypass(self, row: list[float]) -> None:
        """In each body the lowest barrel up to the highest by quarter turns, its pipe read after each."""
        e, per = self.engine, self.engine.per_carb
        for _ in range(24):
            bodies = [sorted(range(c * per, (c + 1) * per), key=lambda b: row[b]) for c in range(e.carbs)]
            low, *_, high = max(bodies, key=lambda body: row[body[-1]] - row[body[0]])
            if row[high] - row[low] <= self.how.even:
                break
            step = self.how.quarter * (1.0 if row[high] - row[low] > 0.6 else 0.5)
            turned = high if e.position("bypass", *self.place(high)) > 0.05 else low
            self.move("bypass", *self.place(turned), step if turned == low else -step)
            row[turned] = self.row([turned])[0]

    def columns(self) -> None:
        """Vacuum gauges on every runner: each gap's screw is turned until its column stands beside its neighbour's."""
        for _ in range(4):
            row = self.row()
            if max(row) - min(row) <= COLUMNS_EVEN:
                break
            for carb in range(2, self.engine.carbs + 1):
                if abs(row[carb - 1] - row[carb - 2]) > 0.5 * COLUMNS_EVEN and self.alive():
                    self.beside(carb)

    def beside(self, carb: int) -> None:
        """One gap's screw, with both columns in view: a touch, then as far as the touch told, a few times."""
        e, (at, place) = self.engine, self.body_screw(carb)
        self.work.moves += 1

        def apart() -> float:
            lower, upper = (gauges.one(e, "depression", [c], take=3) for c in (carb - 2, carb - 1))
            return upper - lower

        off = apart()
        touch = math.copysign(hand.FEEL, off)  # a higher column belongs to a plate more shut
        for _ in range(5):
            made = hand.turn(e, "air", at, place, None, touch)
            if not self.alive():
                hand.turn(e, "air", at, place, None, -made)
                break
            was, off = off, apart()
            if abs(off) <= 0.3 * COLUMNS_EVEN:
                break
            told = (off - was) / made if made else 0.0
            far = -off / told if told < 0.0 else math.copysign(hand.FEEL, off)
            touch = max(-4 * hand.FEEL, min(4 * hand.FEEL, far))
