"""The virtual engine: screws, parts and hidden faults in, speed, mixture and air out; it gives no advice.

A position is in turns from its zero: speed screws in from first contact, coupling screws in from level, mixture and
bypass screws out from the seat, so that a greater figure always opens. `carb` counts from 1, `barrel` from 1 within its
carb; a coupling screw is named by the gap's lower carb. It is exact: `gauges.read` and `hand` add what people add.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.bench.plant import (
    anatomy,
    assumed,
    constant_depression,
    found,
    gauges,
    idle_circuit,
    nature,
    physics,
    plates,
)
from engine.bench.plant.faults import Fault
from engine.bench.terms import TOLERANCE
from engine.job.model import Job

#: A change of friction by less than this share does not show in the speed (0.05 rpm), so the balance is kept.
SAME_DRAG = 1e-4
KINDS_OF_SCREW = ("plate", "bypass", "jet", "coupling")


@dataclass(frozen=True, slots=True)
class Truth:
    """What is really so, for judging, without noise. `gauge` is what a true gauge would show, kg/h; rows by barrel."""

    running: bool
    stalled: bool
    speed: float
    flow: tuple[float, ...]
    gauge: tuple[float, ...]
    feeds: tuple[bool, ...]
    depression: tuple[float, ...]
    by_vacuum: bool
    lambdas: tuple[float, ...]
    misfire: tuple[float, ...]
    hole: tuple[str, ...]
    positions: Mapping[str, tuple[float, ...]]
    jets: tuple[float, ...]
    right_jet: float
    coolant: float
    oil: float

    @property
    def spread_ok(self) -> bool:
        """Every barrel that feeds at idle within the tolerance of their mean, by the gauge that the shop has."""
        if self.by_vacuum:
            return max(self.depression) - min(self.depression) <= TOLERANCE.depression
        open_ = [g for g, feeds in zip(self.gauge, self.feeds, strict=True) if feeds]
        mean = sum(open_) / len(open_)
        allowed = max(TOLERANCE.flow, TOLERANCE.flow_share * mean)
        return all(abs(g - mean) <= allowed for g in open_)


class VirtualEngine:
    """One engine of `job` with hidden `faults` and a nature (left out: the plain one); all chance comes from `seed`."""

    def __init__(self, job: Job, faults: Sequence[Fault] = (), seed: int = 0, its: nature.Nature | None = None) -> None:
        self.job = job
        self.faults = tuple(faults)
        self.seed = seed
        self.rng = random.Random(f"readings {seed}")
        self.nature = its or nature.plain(job)
        off = sum(f.size for f in self.faults if f.kind == "wrong jets")
        self.body = anatomy.draw(job, seed, off, self.nature)
        self.minutes_run = self.wander = 0.0
        self.went: dict[tuple[int, int | None], float] = {}
        self.metering = constant_depression.law if self.body.kind == "constant depression" else idle_circuit.law
        self.per_carb = job.bank.barrels_per_carb
        self.carbs, self.barrels = job.bank.carbs, job.bank.barrels
        self.state: dict[str, Any] = {
            "engine": "stopped",
            "pedal_link": "on",
            "coupling": "on",
            "starter": "shut",
            "hold": None,
        }
        self.coolant = self.oil = float(job.conditions.temperature)
        self.stalled = False
        self.mended: set[Fault] = set()
        self.stamps = found.stamps(self)
        self.jets = [s + 5.0 * self.having("mis-drilled jet", barrel=b) for b, s in enumerate(self.stamps)]
        self.jet_ids = list(range(self.barrels))
        self.dirt = [self.having("dirty jet", barrel=b) or 1.0 for b in range(self.barrels)]
        self._now: physics.Running | None = None
        self._dragged = 1.0
        self._guess = self.body.target
        self.at: dict[str, list[float]] = found.screws(self)
        found.driven_in(self)

    # --- places and faults --------------------------------------------------------------------------------------
    def index(self, carb: int, barrel: int | None = None) -> int:
        """Row index of a barrel (or of a carb, with `barrel` None and one value a carb)."""
        if not 1 <= carb <= self.carbs or (barrel is not None and not 1 <= barrel <= self.per_carb):
            raise ValueError(f"This bank has no carb {carb}" + (f", barrel {barrel}." if barrel else "."))
        return carb - 1 if barrel is None else (carb - 1) * self.per_carb + barrel - 1

    def hits(self, fault: Fault, barrel: int) -> bool:
        carb, within = divmod(barrel, self.per_carb)
        return (fault.carb in (None, carb + 1)) and (fault.barrel in (None, within + 1))

    def having(self, kind: str, barrel: int | None = None, carb: int | None = None) -> float:
        """Summed size of the faults of a kind at a barrel or carb (row indices), 0 where there is none left."""
        return sum(
            f.size
            for f in self.faults
            if f.kind == kind
            and f not in self.mended
            and (barrel is None or self.hits(f, barrel))
            and (carb is None or f.carb in (None, carb + 1))
        )

    def mend(self, kind: str, carb: int | None = None, barrel: int | None = None) -> bool:
        """Mend the faults of a kind there; tell whether there was one."""
        these = {
            f
            for f in self.faults
            if f.kind == kind and f not in self.mended and carb in (None, f.carb) and barrel in (None, f.barrel)
        }
        self.mended |= these
        self._now = None
        return bool(these)

    # --- acts ---------------------------------------------------------------------------------------------------
    def _row(self, at: str, carb: int, barrel: int | None) -> tuple[list[float], int]:
        if at not in KINDS_OF_SCREW:
            raise ValueError(f"No screw works at '{at}': {', '.join(KINDS_OF_SCREW)}.")
        row = self.at[at]
        i = self.index(carb, None if at in ("plate", "coupling") else barrel or 1)
        if i >= len(row):
            raise ValueError(f"There is no {at} screw at carb {carb}.")
        return row, i

    def position(self, at: str, carb: int, barrel: int | None = None) -> float:
        """Where a screw really stands, turns from its zero."""
        row, i = self._row(at, carb, barrel)
        return row[i]

    def set_turns(self, acts: str, at: str, carb: int, barrel: int | None, turns: float) -> None:
        """Put a screw at `turns` from its zero; a mixture or bypass screw stops at its seat."""
        row, i = self._row(at, carb, barrel)
        low = -3.0 if at in ("plate", "coupling") else 0.0
        row[i] = max(low, min(turns, assumed.BYPASS_TURNS if at == "bypass" else 20.0))
        self._now = None

    def turn(self, acts: str, at: str, carb: int, barrel: int | None, turns: float) -> None:
        """Turn a screw by `turns`, positive the way that opens (`acts`: air or mixture; the place `at` decides)."""
        self.set_turns(acts, at, carb, barrel, self.position(at, carb, barrel) + turns)

    def fit(self, part: str, carb: int, barrel: int | None, size: float) -> None:
        """Fit a part. An idle jet comes clean; other sizes do nothing at idle."""
        if part == "idle jet":
            for b in range(self.barrels) if barrel is None else [self.index(carb, barrel)]:
                if barrel is not None or b // self.per_carb == carb - 1:
                    self.jets[b] = self.stamps[b] = float(size)
                    self.dirt[b], self.jet_ids[b] = 1.0, max(self.jet_ids) + 1
        self._now = None

    def swap_jets(self, one: int, two: int) -> None:
        """Change the idle jets of two barrels (row indices): number, bore and dirt go along."""
        rows: tuple[list[Any], ...] = (self.jets, self.stamps, self.dirt, self.jet_ids)
        for row in rows:
            row[one], row[two] = row[two], row[one]
        self._now = None

    def set_state(self, wanted: Mapping[str, Any]) -> None:
        """Start, stop, hold a speed, put links on and off. A start that can't be held shows at `settle`."""
        if wanted.get("engine") == "stopped":
            self.state["hold"] = None
        if wanted.get("engine") == "running" and self.state["engine"] != "running":
            self.stalled = False
        self.state.update(wanted)
        self._now = None

    def reset(self) -> None:
        """Forget the last balance after a change from outside."""
        self._now, self._guess = None, self.body.target

    def pass_time(self, minutes: float) -> None:
        """Let time go by: a running engine warms, oil behind coolant; a stopped one barely cools."""
        ambient = float(self.job.conditions.temperature)
        run = self.state["engine"] == "running"
        for name, hot, tau in (
            ("coolant", assumed.HOT_COOLANT_C, assumed.COOLANT_MINUTES),
            ("oil", assumed.HOT_OIL_C, assumed.OIL_MINUTES),
        ):
            now = getattr(self, name)
            goal, slow = (hot, tau) if run else (ambient, 90.0)
            setattr(self, name, goal + (now - goal) * math.exp(-max(0.0, minutes) / slow))
        self.minutes_run += minutes if run else 0.0
        self.wanders(minutes)
        if abs(self._drag() - self._dragged) > SAME_DRAG or self.coolant < assumed.HOT_COOLANT_C - 0.1:
            self._now = None

    def wanders(self, minutes: float) -> None:
        """Let the slow wander of the speed go on for so long: it forgets itself, and is as wide at any time."""
        its = self.nature
        if its.wander:
            kept = math.exp(-max(0.0, minutes) / nature.WANDER_MINUTES)
            self.wander = self.wander * kept + its.wander * math.sqrt(1.0 - kept * kept) * self.rng.gauss(0.0, 1.0)

    def warm(self) -> None:
        """Bring it to working temperature at once."""
        self.coolant, self.oil = assumed.HOT_COOLANT_C, assumed.HOT_OIL_C
        self._now = None

    # --- what it does -------------------------------------------------------------------------------------------
    def openings(self, pedal: float = 0.0) -> list[float]:
        """Degrees that each carb's spindle stands from shut, with the pedal `pedal` degrees down."""
        return plates.openings(self, pedal)

    def _breathing(self, pedal: float = 0.0) -> tuple[list[float], list[float], physics.FuelLaw]:
        degrees, mouth, leak = plates.areas(self, plates.openings(self, pedal))
        return mouth, leak, self.metering(self, degrees, mouth, leak)

    def strengths(self) -> list[float]:
        """Torque factor of each barrel: weak cylinders, tight valves, ignition."""
        timing = 1.0 - assumed.RETARD_LOSS * self.having("retarded ignition")
        out = []
        for b in range(self.barrels):
            factor = timing
            for kind in ("weak cylinder", "tight valve"):
                size = self.having(kind, barrel=b)
                factor *= 1.0 - (1.0 - size) / self.job.bank.cylinders_per_barrel if size else 1.0
            out.append(factor)
        return out

    def _solve(self) -> physics.Running:
        cold, strength, build = self._drag(), self.strengths(), self.body.build
        self._dragged = cold

        hold = self.state.get("hold")
        self._held = True
        if not hold:
            now = physics.idle(build, *self._breathing(), strength, cold, self._guess)
            if now.speed < 0.75 * self.body.target:  # a low balance may only be where the search began
                again = physics.idle(build, *self._breathing(), strength, cold, 1.3 * self.body.target)
                now = max(now, again, key=lambda r: r.speed)
            return now
        pedal = low = high = 0.0
        while high < 12.0:  # the first opening that carries the speed, then close in on it
            now = physics.at_speed(build, *self._breathing(high), strength, float(hold))
            if physics.surplus(build, now, cold) >= 0.0:
                break
            low, high = high, high + 0.1
        self._held = high < 12.0
        for _ in range(14):
            pedal = 0.5 * (low + high)
            now = physics.at_speed(build, *self._breathing(pedal), strength, float(hold))
            if physics.surplus(build, now, cold) < 0.0:
                low = pedal
            else:
                high = pedal
        return now

    def without(self, barrel: int) -> physics.Running:
        """The balance with the plugs of one barrel shorted; nothing is kept of it."""
        strength = self.strengths()
        strength[barrel] = 0.0
        return physics.idle(self.body.build, *self._breathing(), strength, self._drag(), self._guess)

    def turned_at(self, speed: float) -> physics.Running:
        """What it breathes and burns as the screws stand, were it turned at `speed` rpm; nothing is kept of it."""
        return physics.at_speed(self.body.build, *self._breathing(), self.strengths(), speed)

    def held_at(self, speed: float) -> physics.Running:
        """The balance with the pedal holding `speed` rpm; nothing is kept of it."""
        kept, self.state = self.state, self.state | {"hold": speed}
        try:
            return self._solve()
        finally:
            self.state = kept

    def with_fuel(self, barrel: int, share: float) -> physics.Running:
        """The balance with one barrel's fuel at `share` of what it is; nothing is kept of it."""
        mouth, leak, law = self._breathing()

        def fuel(b: int, flow: float, pressure: float) -> float:
            return law(b, flow, pressure) * (share if b == barrel else 1.0)

        return physics.idle(self.body.build, mouth, leak, fuel, self.strengths(), self._drag(), self._guess)

    def _drag(self) -> float:
        drifts = self.nature.drift * math.exp(-self.minutes_run / self.nature.drift_minutes)
        return 1.0 + drifts + assumed.COLD_FRICTION * max(0.0, assumed.HOT_OIL_C - self.oil) / 70.0

    @property
    def now(self) -> physics.Running:
        """The balance that the engine runs at, or would run at if it were started."""
        if self._now is None:
            self._now = self._solve()
            self._guess = max(0.7 * self.body.target, self._now.speed)
        return self._now

    @property
    def stall_speed(self) -> float:
        """Below this speed the engine stops, rpm: higher the rougher it runs."""
        return assumed.STALL_RPM + assumed.STALL_ROUGHNESS_RPM * sum(self.now.misfire) / self.barrels

    def settle(self) -> str | None:
        """Let a running engine find its speed; the kind of what is then seen or heard, or None."""
        if self.state["engine"] != "running":
            return None
        if self.now.speed < self.stall_speed or not self._held:
            self.state["engine"], self.state["hold"], self.stalled = "stopped", None, True
            return "stall"
        return None

    @property
    def hunting(self) -> float:
        """Swing of the speed, rpm either way: some cycles missing, or advance coming in at idle."""
        miss = sum(self.now.misfire) / self.barrels
        return 160.0 * miss * (1.0 - miss) + 8.0 * self.having("early advance")

    def truth(self) -> Truth:
        """What is really so now."""
        now = self.now
        running = self.state["engine"] == "running"
        return Truth(
            running=running,
            stalled=self.stalled,
            speed=now.speed if running else 0.0,
            flow=now.mouth,
            gauge=tuple(self.body.overread * m for m in now.mouth),
            feeds=self.body.feeds,
            depression=tuple(gauges.depression(self, b) for b in range(self.barrels)),
            by_vacuum=self.job.instruments.vacuum_gauges and not self.job.instruments.airflow_gauge,
            lambdas=now.lambdas,
            misfire=now.misfire,
            hole=tuple(gauges.hole(self, b) for b in range(self.barrels)),
            positions={k: tuple(v) for k, v in self.at.items()},
            jets=tuple(self.jets),
            right_jet=self.body.right_jet,
            coolant=self.coolant,
            oil=self.oil,
        )
