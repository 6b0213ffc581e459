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

from engine.bench import anatomy, assumed, found, idle_circuit, physics
from engine.bench.faults import Fault
from engine.bench.terms import TOLERANCE
from engine.job import Job

KINDS_OF_SCREW = ("plate", "bypass", "jet", "coupling")


@dataclass(frozen=True, slots=True)
class Truth:
    """What is really so, for judging, without noise. `gauge` is what a true gauge would show, kg/h; rows by barrel."""

    running: bool
    stalled: bool
    speed: float
    flow: tuple[float, ...]
    gauge: tuple[float, ...]
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
        """Every barrel within the tolerance of their mean."""
        mean = sum(self.gauge) / len(self.gauge)
        allowed = max(TOLERANCE.flow, TOLERANCE.flow_share * mean)
        return all(abs(g - mean) <= allowed for g in self.gauge)


class VirtualEngine:
    """One engine of `job` with hidden `faults`; all chance comes from `seed`."""

    def __init__(self, job: Job, faults: Sequence[Fault] = (), seed: int = 0) -> None:
        self.job = job
        self.faults = tuple(faults)
        self.seed = seed
        self.rng = random.Random(f"readings {seed}")
        self.body = anatomy.draw(job, seed, sum(f.size for f in self.faults if f.kind == "wrong jets"))
        self.per_carb = job.bank.barrels_per_carb
        self.carbs, self.barrels = job.bank.carbs, job.bank.barrels
        self.state: dict[str, Any] = {
            "engine": "stopped", "pedal_link": "on", "coupling": "on", "starter": "shut", "hold": None}
        self.coolant = self.oil = float(job.conditions.temperature)
        self.stalled = False
        self.mended: set[Fault] = set()
        self.stamps = found.stamps(self)
        self.jets = [s + 5.0 * self.having("mis-drilled jet", barrel=b) for b, s in enumerate(self.stamps)]
        self._now: physics.Running | None = None
        self._guess = self.body.target
        self.at: dict[str, list[float]] = found.screws(self)
        found.driven_in(self)

    # --- places and faults --------------------------------------------------------------------------------------
    def index(self, carb: int, barrel: int | None = None) -> int:
        """Row index of a barrel (or of a carb, with `barrel` None and one value a carb)."""
        if not 1 <= carb <= self.carbs or (barrel is not None and not 1 <= barrel <= self.per_carb):
            raise ValueError(f"This bank has no carb {carb}" + (f", barrel {barrel}." if barrel else "."))
        return carb - 1 if barrel is None else (carb - 1) * self.per_carb + barrel - 1

    def _hits(self, fault: Fault, barrel: int) -> bool:
        carb, within = divmod(barrel, self.per_carb)
        return (fault.carb in (None, carb + 1)) and (fault.barrel in (None, within + 1))

    def having(self, kind: str, barrel: int | None = None, carb: int | None = None) -> float:
        """Summed size of the faults of a kind at a barrel or carb (row indices), 0 where there is none left."""
        return sum(
            f.size for f in self.faults if f.kind == kind and f not in self.mended
            and (barrel is None or self._hits(f, barrel)) and (carb is None or f.carb in (None, carb + 1)))

    def mend(self, kind: str, carb: int | None = None, barrel: int | None = None) -> bool:
        """Mend the faults of a kind there; tell whether there was one."""
        these = {f for f in self.faults if f.kind == kind and f not in self.mended
                 and carb in (None, f.carb) and barrel in (None, f.barrel)}
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
                    self.mended |= {f for f in self.faults if f.kind == "dirty jet" and self._hits(f, b)}
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
        for name, hot, tau in (("coolant", assumed.HOT_COOLANT_C, assumed.COOLANT_MINUTES),
                               ("oil", assumed.HOT_OIL_C, assumed.OIL_MINUTES)):
            now = getattr(self, name)
            goal, slow = (hot, tau) if run else (ambient, 90.0)
            setattr(self, name, goal + (now - goal) * math.exp(-max(0.0, minutes) / slow))
        self._now = None

    def warm(self) -> None:
        """Bring it to working temperature at once."""
        self.coolant, self.oil = assumed.HOT_COOLANT_C, assumed.HOT_OIL_C
        self._now = None

    # --- what it does -------------------------------------------------------------------------------------------
    def openings(self, pedal: float = 0.0) -> list[float]:
        """Degrees that each carb's spindle stands from shut, with the pedal `pedal` degrees down."""
        per_turn = assumed.LEVER_DEG_PER_TURN
        coupled = self.job.bank.linkage_balance_screws and self.state["coupling"] == "on"
        out: list[float] = []
        for c in range(self.carbs):
            screw = 0.0 if self.having("dead speed screw", carb=c) else self.at["plate"][c]
            own = max(0.0, screw * per_turn)
            if coupled and c:
                own = max(own, out[c - 1] + self.at["coupling"][c - 1] * per_turn)
            else:
                late = self.having("uneven linkage", carb=c) if not coupled else 0.0
                own += max(0.0, pedal - late)
            if self.state["pedal_link"] == "on":
                own = max(own, self.having("linkage preload", carb=c))
            out.append(max(0.0, own) + self.having("sticking plate", carb=c))
        return out

    def plate_degrees(self, barrel: int, openings: Sequence[float]) -> float:
        """Degrees of one plate from shut, with what its body is out of step by."""
        carb, within = divmod(barrel, self.per_carb)
        wrong = self.having("plate out of step", carb=carb)
        twist = self.having("twisted spindle", carb=carb)
        wrong += twist + (assumed.TWIST_PER_DEG * openings[carb] if twist else 0.0)
        shift = max(0.0, wrong) if within == 1 else max(0.0, -wrong) if within == 0 else 0.0
        return openings[carb] + self.body.plate_offset[barrel] + shift

    def _areas(self, openings: Sequence[float]) -> tuple[list[float], list[float], list[float]]:
        degrees = [self.plate_degrees(b, openings) for b in range(self.barrels)]
        mouth, leak = [], []
        for b, deg in enumerate(degrees):
            bypass = assumed.BYPASS_MM2_PER_TURN * self.at["bypass"][b] if self.job.bank.air_bypass_screws else 0.0
            mouth.append(self.body.plate_area(b, deg) + bypass)
            leak.append(sum(self.having(k, barrel=b) for k in ("manifold leak", "spindle leak", "worn spindle")))
        return degrees, mouth, leak

    def _fuel_law(self, degrees: Sequence[float]) -> physics.FuelLaw:
        body = self.body
        cold = 1.0 - assumed.COLD_FUEL * max(0.0, assumed.HOT_COOLANT_C - self.coolant) / 70.0
        rows = []
        for b in range(self.barrels):
            turns = 3.5 if self.having("broken screw tip", barrel=b) else self.at["jet"][b]
            dirt = self.having("dirty jet", barrel=b)
            rows.append((
                self.jets[b] * (dirt ** 0.5 if dirt else 1.0),
                idle_circuit.screw_effect(body.screw, turns, body.rest_turns),
                self.having("high fuel level", barrel=b) - self.having("low fuel level", barrel=b),
                self.having("starter stuck open", barrel=b) * body.idle_fuel))

        def fuel(b: int, flow: float, pressure: float) -> float:
            size, screw, level, extra = rows[b]
            return cold * (extra + idle_circuit.fuel_flow(
                body, b, size=size, screw=screw, degrees=degrees[b], flow=flow,
                depression=body.build.p0 - pressure, level=level))

        return fuel

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
        cold = 1.0 + assumed.COLD_FRICTION * max(0.0, assumed.HOT_OIL_C - self.oil) / 70.0
        strength, build = self.strengths(), self.body.build

        def shut(pedal: float) -> tuple[list[float], list[float], physics.FuelLaw]:
            degrees, mouth, leak = self._areas(self.openings(pedal))
            return mouth, leak, self._fuel_law(degrees)

        hold = self.state.get("hold")
        if not hold:
            now = physics.idle(build, *shut(0.0), strength, cold, self._guess)
            if now.speed < 0.75 * self.body.target:      # a low balance may only be where the search began
                again = physics.idle(build, *shut(0.0), strength, cold, 1.3 * self.body.target)
                now = max(now, again, key=lambda r: r.speed)
            return now
        pedal = low = high = 0.0
        while high < 12.0:                               # the first opening that carries the speed, then close in on it
            now = physics.at_speed(build, *shut(high), strength, float(hold))
            if physics.surplus(build, now, cold) >= 0.0:
                break
            low, high = high, high + 0.1
        for _ in range(14):
            pedal = 0.5 * (low + high)
            now = physics.at_speed(build, *shut(pedal), strength, float(hold))
            if physics.surplus(build, now, cold) < 0.0:
                low = pedal
            else:
                high = pedal
        return now

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
        if self.now.speed < self.stall_speed:
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
        openings = self.openings()
        return Truth(
            running=running, stalled=self.stalled, speed=now.speed if running else 0.0, flow=now.mouth,
            gauge=tuple(assumed.GAUGE_OVERREAD * m for m in now.mouth), lambdas=now.lambdas, misfire=now.misfire,
            hole=tuple(idle_circuit.uncovered(self.plate_degrees(b, openings), self.body.hole_edge[b])
                       for b in range(self.barrels)),
            positions={k: tuple(v) for k, v in self.at.items()}, jets=tuple(self.jets),
            right_jet=self.body.right_jet, coolant=self.coolant, oil=self.oil)
