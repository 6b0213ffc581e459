"""The patient technician of reference: lean drop by quarter turns, one screw at a time, measuring after each.

He turns each mixture screw once through its drop and does not repeat it; jets whose screws rest out of their bands he
changes by the trade's rule, and sets those barrels again. Where the shop has lambda or CO of each cylinder he reads the
pipe that he turned. On constant-depression bodies he goes by the lifting pin, a flat at a time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.bench.plant import assumed, constant_depression, gauges
from engine.bench.plant.engine import VirtualEngine
from engine.bench.technicians.craft import PIPE_MINUTES, Craft, Habits

#: A flat of a jet nut, turns, and how many he goes at most on one body in one pass.
FLAT, MOST_FLATS = 1 / 6, 8


@dataclass(frozen=True, slots=True)
class Patience(Habits):
    """The patient technician's settings, tuned on seeds 20000 to 20119 for most engines right with least work.

    A fall of `drop` rpm means that a screw has gone in too far, then it comes `back` so many turns (for a band of half
    a turn); a rise of `rise` that it pays to go on out. Tried: drop 6 to 20, back 0.25 to 0.75, even 0.2 to 0.4, close
    0.5 to 0.7.
    """

    drop: float = 7.0
    rise: float = 3.0
    back: float = 0.45
    judges_jets: bool = True


class Patient(Craft):
    """Zero and preset, rough air, speed, mixture, fine air, speed, jets by their bands, as often as it takes."""

    def __init__(self, engine: VirtualEngine, how: Patience | None = None) -> None:
        self.patience = how or Patience()
        super().__init__(engine, self.patience)
        shop = engine.job.instruments
        each = shop.exhaust_sampling == "each cylinder"
        self.meter = "lambda" if each and shop.lambda_meter else "CO" if each and shop.co_meter else None
        self.nuts = engine.body.kind == "constant depression"

    def works(self) -> None:
        self.prepare()
        self.mixture(self.feeding)
        self.settle_air()
        if self.patience.judges_jets and not self.nuts:
            for _ in range(2):
                changed = self.jets()
                if not changed:
                    break
                self.mixture(changed)
                self.settle_air()
        self.hand_over()

    def mixture(self, rows: Sequence[int]) -> None:
        """The mixture of the barrels `rows`, one after the other."""
        for _ in range(2 if self.nuts and not self.meter else 1):  # the bodies of a set feel each other's nuts
            for b in rows:
                if self.nuts and not self.meter:
                    self.lift(b)
                else:
                    self.lean_drop(b)
            self.to_speed()

    def lift(self, row: int) -> None:
        """One nut by the lifting pin: a flat richer where the body falls off, weaker where it stays up."""
        for _ in range(MOST_FLATS):
            if not self.alive():
                self.enrich(row, 2 * FLAT)
                continue
            self.engine.pass_time(2 * PIPE_MINUTES)
            heard = constant_depression.heard(self.engine, row // self.engine.per_carb)
            if not heard:
                break
            self.enrich(row, -heard * FLAT)

    def lean_drop(self, row: int) -> None:
        """One mixture screw: out while it pays, in until the speed falls, then back out; a meter trims it."""
        how, best = self.patience, self.speed()
        drop = max(how.drop, 0.8 * self.engine.nature.tachometer)
        for _ in range(4):
            if best == 0.0:
                self.revive()
                best = self.speed()
        for _ in range(16):
            if not self.spits(row):
                break
            best = max(best, self.mixed(row, how.quarter))
        for _ in range(6):
            now = self.mixed(row, how.quarter)
            pays, best = now > best + how.rise, max(best, now)
            if not pays:
                break
        for _ in range(12):
            if self.richer > 0 and self.stands(row) <= 0.05:
                break
            now = self.mixed(row, -how.quarter)
            best = max(best, now)
            if now < best - drop:
                break
        band = assumed.BAND[self.engine.body.screw]
        self.mixed(row, how.back * 2.0 * min(1.0, band[1] - band[0]))
        for _ in range(6 if self.meter else 0):
            way = self.meter_says(row)
            if not way:
                break
            self.mixed(row, way * how.quarter / 2)

    def mixed(self, row: int, turns: float) -> float:
        """Turn a mixture screw (richer where positive) and look at the speed."""
        self.enrich(row, turns)
        return self.speed()

    def meter_says(self, row: int) -> int:
        """+1 richer, -1 leaner, 0 right, by a look into that pipe."""
        if self.meter is None or not self.alive():
            return 0
        self.work.rounds += 1.0 / len(self.feeding)
        self.engine.pass_time(PIPE_MINUTES)
        shown = gauges.one(self.engine, self.meter, [row])
        low, high = (0.87, 0.95) if self.meter == "lambda" else (1.8, 4.9)
        lean = shown > high if self.meter == "lambda" else shown < low
        rich = shown < low if self.meter == "lambda" else shown > high
        return int(lean) - int(rich)

    def jets(self) -> list[int]:
        """Change the idle jets whose screws rest outside their band, by the trade's rule; the barrels changed."""
        e = self.engine
        low, high = assumed.BAND[e.body.screw]
        out = {b: 1 if self.stands(b) > 1.25 * high else -1 if self.stands(b) < 0.6 * low else 0 for b in self.feeding}
        changed = [b for b, way in out.items() if way]
        if changed:
            e.set_state({"engine": "stopped"})
            self.work.stops += 1
            for b in changed:
                self.work.jets += 1
                e.fit("idle jet", *self.place(b), e.stamps[b] + 5.0 * out[b] * self.richer)
            self.start()
        return changed
