"""The hidden build of one virtual engine, drawn from a seed; it turns and reads nothing.

Everything here is what a technician can't see. The right engine of the same job would idle at its target with every
plate just short of the first progression hole and every mixture screw in mid band.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from dataclasses import dataclass

from engine.bench.plant import assumed as a
from engine.bench.plant import physics
from engine.bench.plant.nature import Nature, Needle, plain, screw_of
from engine.carburation.rules import air
from engine.job.model import Job

STOCK_JETS = (35, 40, 45, 50, 55, 60, 65, 70, 75, 80)


@dataclass(frozen=True, slots=True)
class Anatomy:
    """Sizes of one engine. Rows are a barrel each; degrees from the shut plate, areas in mm2, flows in kg/h, Pa.

    `lever`: degrees of plate a turn of the speed screw;
    `feeds`: barrels that feed at idle (not a progressive secondary); `overread`: a hand gauge over the mean flow.
    `rests`: where each mixture screw would rest with the right jet, turns, about the engine's own `rest_turns`.
    """

    kind: str
    build: physics.Build
    feeds: tuple[bool, ...]
    overread: float
    target: float
    bore: float
    rest_deg: float
    seat: tuple[float, ...]
    plate_offset: tuple[float, ...]
    hole_edge: tuple[float, ...]
    screw: str
    needle: Needle
    rest_turns: float
    rests: tuple[float, ...]
    right_jet: float
    follows: float
    jet_scatter: tuple[float, ...]
    hole_scale: float
    idle_air: float
    port_air: float
    idle_fuel: float
    idle_depression: float
    idle_signal: float
    idle_deg: float
    lever: float

    def plate_area(self, barrel: int, degrees: float) -> float:
        """Open area past a plate turned `degrees` from shut: pi D^2/4 (1 - cos th / cos th0), and its seat."""
        shut = math.radians(self.rest_deg)
        open_ = 1.0 - math.cos(shut + math.radians(max(0.0, degrees))) / math.cos(shut)
        return self.seat[barrel] + math.pi * self.bore**2 / 4.0 * open_


def kind_of(job: Job) -> str:
    """How the carburettors of a job meter: by constant depression, or with a fixed choke and an idle circuit."""
    nuts = job.bank.mixture_screw == "jet nut" or "constant depression" in job.bank.family
    return "constant depression" if nuts else "fixed choke"


def stoichiometric(ethanol: float) -> float:
    """Stoichiometric air-fuel ratio of petrol with a share `ethanol` (0 to 1 by volume) in it."""
    spirit = ethanol * a.ETHANOL_DENSITY
    petrol = (1.0 - ethanol) * a.PETROL_DENSITY
    return (petrol * a.PETROL_AFR + spirit * a.ETHANOL_AFR) / (petrol + spirit)


def air_at_target(build: physics.Build, target: float) -> tuple[float, float]:
    """Air of the whole engine (kg/h) and runner pressure (Pa) of a sound hot engine idling at `target` rpm."""
    share, _ = physics.burn(build.burning, a.SETTLED_LAMBDA)
    flow, pressure = 6.0 * build.volume * 1e3, 35e3
    for _ in range(30):
        lost = physics.drag_kw(build, target, pressure, 1.0)
        flow = lost / physics.indicated_kw(target, [1.0], [share])
        flux = build.flux * physics.CHOKED
        pressure = physics.breathe(build, [flow / build.ports / flux] * build.ports, [0.0] * build.ports, target)[2][0]
    return flow, pressure


def right_jet_for(cylinder_cc: float, fuel: float) -> float:
    """The stocked idle jet that this maker would fit: about 134 Pa of head, by the fuel (kg/h) that idle needs.

    Near the trade's table (200 cc 35-40, 250 cc 40-45, 300-350 cc 45-50, 400 cc 50) [published: S4].
    """
    by_table = 50.0 * (cylinder_cc / 400.0) ** 0.42
    by_need = 50.0 * math.sqrt(fuel / 0.20)
    return min(STOCK_JETS, key=lambda size: abs(size - 0.5 * (by_table + by_need)))


def draw(job: Job, seed: int | str, jets_off: float = 0, nature: Nature | None = None) -> Anatomy:
    """The anatomy of the engine of `job`, the same for the same seed; its jets are all `jets_off` sizes of 5 wrong."""
    nature = nature or plain(job)
    rng = random.Random(f"anatomy {seed}")
    bank = job.bank
    day = air.at(float(job.conditions.altitude), float(job.conditions.temperature) + 273.15)
    n, kind = bank.barrels, kind_of(job)
    shared = bank.manifold == "shared"
    build = physics.Build(
        p0=day.pressure * 1e3,
        t0=day.temperature,
        volume=float(job.engine.displacement) * 1e-6,
        ports=n,
        shared=shared,
        mixing=1.0 if shared else a.BALANCE_PIPE if kind == "constant depression" and n > 1 else 0.0,
        friction=rng.gauss(1.0, a.FRICTION_SCATTER),
        afr=stoichiometric(float(job.fuel.ethanol) / 100.0),
        burning=nature.burning,
    )
    target = float(job.engine.idle_speed)
    flow, pressure = air_at_target(build, target)
    feeds = tuple(b % bank.barrels_per_carb == 0 or "progressive" not in bank.family for b in range(n))
    each = flow / sum(feeds)
    cylinder = float(job.engine.displacement) / job.engine.cylinders
    bore = float(bank.throttle_bore) if bank.throttle_bore else (40.0 if cylinder <= 430 else 45.0)
    rest = a.PLATE_REST_DEG[40 if bore < 42.5 else 45]
    area = each / (build.flux * air.flow_function(min(1.0, pressure / build.p0)))
    seat = [(a.SEAT_SHARE if f else a.SECONDARY_SEAT) * area * rng.gauss(1.0, a.SEAT_SCATTER) for f in feeds]
    opening = (area * (1.0 - a.SEAT_SHARE)) / (math.pi * bore**2 / 4.0)
    shut = math.radians(rest)
    idle_deg = math.degrees(math.acos(math.cos(shut) * (1.0 - opening)) - shut)
    margin = rng.uniform(*a.HOLE_MARGIN_TURNS) * a.LEVER_DEG_PER_TURN
    per_deg = math.pi * bore**2 / 4.0 * math.sin(shut + math.radians(idle_deg)) / math.cos(shut) * math.pi / 180.0
    scale = area / per_deg / a.HOLE_REFERENCE_DEG  # holes are drilled where the air of that body needs them
    lever = a.LEVER_DEG_PER_TURN if kind == "fixed choke" and not shared else idle_deg / a.OTHERS_IDLE_TURNS
    screw, declared = screw_of(job), bank.mixture_screw_band
    low, high = a.BAND[screw] if declared is None else (float(v) for v in declared.rest)
    fuel = flow / n / (a.SETTLED_LAMBDA * a.PETROL_AFR)
    duty = a.INTAKE_DUTY * (job.engine.cylinders if shared else bank.cylinders_per_barrel)
    scatter = a.NUT_SCATTER * a.SCREW_SLOPE["jet nut"] if kind == "constant depression" else a.JET_SCATTER
    fitted = job.row("idle_jet")
    right = right_jet_for(cylinder * bank.cylinders_per_barrel, fuel)
    if fitted is not None:
        right = float(Counter(fitted).most_common(1)[0][0]) - 5.0 * jets_off
    jet = math.pi / 4.0 * (right * 1e-5) ** 2
    return Anatomy(
        kind=kind,
        build=build,
        feeds=feeds,
        overread=1.0 / math.sqrt(min(1.0, duty)),
        target=target,
        bore=bore,
        rest_deg=rest,
        seat=tuple(seat),
        plate_offset=tuple(abs(rng.gauss(0.0, a.PLATE_SCATTER_DEG)) for _ in range(n)),
        hole_edge=tuple(idle_deg + margin * scale + rng.gauss(0.0, 0.015) for _ in range(n)),
        screw=screw,
        needle=nature.needle,
        rest_turns=(rest_turns := low + (high - low) * rng.uniform(0.3, 0.7)),
        rests=tuple(max(0.3, rest_turns + off) for off in nature.rest_off),
        follows=nature.follows,
        right_jet=right,
        jet_scatter=tuple(rng.gauss(1.0, scatter) * share for share in nature.delivery),
        hole_scale=scale,
        idle_air=each,
        port_air=flow / n,
        idle_fuel=fuel,
        idle_depression=build.p0 - pressure,
        idle_signal=(fuel / 3600.0 / (a.IDLE_JET_DISCHARGE * jet)) ** 2 / (2.0 * a.PETROL_DENSITY),
        idle_deg=idle_deg,
        lever=lever,
    )
