"""One engine in its idle: air past the plates, burning, and the speed where torque meets friction; pure functions.

It knows no screw, no gauge and no fault by name: it takes open areas, a fuel law and torque shares. SI inside, flows in
kg/h, areas in mm2, speeds in rpm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from engine.bench.plant import assumed as a
from engine.bench.plant.nature import PLAIN_BURNING, Burning
from engine.carburation.rules import air

CRITICAL = air.critical_ratio()
CHOKED = air.flow_function(CRITICAL)

#: Fuel in kg/h for (barrel, air through and past it in kg/h, pressure behind its plate in Pa).
FuelLaw = Callable[[int, float, float], float]


@dataclass(frozen=True, slots=True)
class Build:
    """What does not change while an engine is tuned. `volume` in m3 is that of the whole engine, `ports` the barrels
    that feed it, `shared` whether they feed one plenum, `mixing` the share of mixture that ports exchange;
    `friction` scatters about 1; `afr` is stoichiometric; `burning` says what mixture does to torque."""

    p0: float
    t0: float
    volume: float
    ports: int
    shared: bool = False
    mixing: float = 0.0
    friction: float = 1.0
    afr: float = a.PETROL_AFR
    burning: Burning = PLAIN_BURNING

    @property
    def flux(self) -> float:
        """Air through one mm2 at flow function 1, kg/h."""
        return 3600e-6 * a.PLATE_DISCHARGE * self.p0 / math.sqrt(air.R_AIR * self.t0)


@dataclass(frozen=True, slots=True)
class Running:
    """A balance: `speed` rpm, and a value a barrel: air through the mouth and in all, pressure behind the plate (Pa),
    lambda, share of cycles that misfire, torque as a share of the best."""

    speed: float
    mouth: tuple[float, ...]
    total: tuple[float, ...]
    pressure: tuple[float, ...]
    lambdas: tuple[float, ...]
    misfire: tuple[float, ...]
    torque: tuple[float, ...]


def motored_bar(speed: float) -> float:
    """Friction of a motored engine, bar, at `speed` rpm: 0.97 + 0.15 n + 0.05 n^2. [from memory: Barnes-Moss]"""
    n = speed / 1000.0
    return 0.97 + 0.15 * n + 0.05 * n * n


def burn(how: Burning, lam: float) -> tuple[float, float]:
    """Torque of a cylinder as a share of its best at the same air, and the share of cycles that misfire."""
    if lam > 3.0 or lam < 0.3:
        return 0.0, 1.0
    off = 1.0 / lam - how.crest
    share = 1.0 - (how.rich_fall if off > 0 else how.lean_fall) * off * off
    lean = 1.0 / (1.0 + math.exp(min(50.0, (how.lean_limit - lam) / a.LEAN_WIDTH)))
    rich = 1.0 / (1.0 + math.exp(min(50.0, (lam - a.RICH_LIMIT) / a.RICH_WIDTH)))
    miss = min(1.0, lean + rich)
    return max(0.0, share) * (1.0 - miss), miss


def drag_kw(build: Build, speed: float, pressure: float, cold: float) -> float:
    """Power lost to friction, pumping and load, kW; `cold` multiplies friction (1 hot)."""
    pumping = a.PUMPING_SHARE * max(0.0, build.p0 + a.EXHAUST_OVER_PA - pressure) / 1e5
    bar = motored_bar(speed) * build.friction * cold + pumping + a.LOAD_BAR
    return bar * 1e5 * build.volume * speed / 120.0 / 1e3


#: kW of indicated power for a kg/h of air burnt at the best mixture, 900 rpm. [derived from the idle balance]
POWER_OF_AIR = a.NEEDED_IMEP_BAR * 1e5 * 1e-3 * 900.0 / 120.0 / 1e3 / a.IDLE_AIR_KG_H_PER_L


def indicated_kw(speed: float, total: Sequence[float], torque: Sequence[float]) -> float:
    """Indicated power, kW, of air `total` (kg/h a barrel) burnt with `torque` shares."""
    power: float = (
        POWER_OF_AIR
        * (speed / 900.0) ** a.EFFICIENCY_SPEED_POWER
        * sum(m * t for m, t in zip(total, torque, strict=True))
    )
    return power


def behind_plate(build: Build, conductance: float, volume: float, speed: float) -> tuple[float, float]:
    """Air (kg/h) through a `conductance` (kg/h at flow function 1) into `volume` m3 of cylinders; pressure behind it.

    The port takes V N/(120 R T) (s p - y): a straight line against the choked or unchoked opening.
    """
    slope = 120.0 * air.R_AIR * a.CHARGE_TEMPERATURE_K / (a.PORT_SLOPE * volume * speed * 3600.0)
    base = a.PORT_OFFSET_PA / a.PORT_SLOPE
    flow = conductance * CHOKED
    pressure = slope * flow + base
    if pressure <= CRITICAL * build.p0:
        return flow, pressure
    low, high = CRITICAL * build.p0, build.p0
    for _ in range(24):
        pressure = 0.5 * (low + high)
        flow = conductance * air.flow_function(pressure / build.p0)
        if slope * flow + base > pressure:
            low = pressure
        else:
            high = pressure
    return flow, pressure


def breathe(
    build: Build,
    mouth: Sequence[float],
    leak: Sequence[float],
    speed: float,
) -> tuple[list[float], list[float], list[float]]:
    """Air through each mouth, air in all and pressure at a given speed, from open areas in mm2 a barrel."""
    flux = build.flux
    if build.shared:
        area = sum(mouth) + sum(leak)
        flow, pressure = behind_plate(build, flux * area, build.volume, speed)
        each = flow / area if area > 0 else 0.0
        through = [each * m for m in mouth]
        return through, [flow / build.ports] * build.ports, [pressure] * build.ports
    through, total, pressures = [], [], []
    volume = build.volume / build.ports
    for m, le in zip(mouth, leak, strict=True):
        flow, pressure = behind_plate(build, flux * (m + le), volume, speed)
        through.append(flow * m / (m + le) if m + le > 0 else 0.0)
        total.append(flow)
        pressures.append(pressure)
    return through, total, pressures


def at_speed(
    build: Build,
    mouth: Sequence[float],
    leak: Sequence[float],
    fuel: FuelLaw,
    strength: Sequence[float],
    speed: float,
) -> Running:
    """The engine held at `speed`: what it breathes and burns. `strength` is each barrel's torque factor (1 sound)."""
    through, total, pressures = breathe(build, mouth, leak, speed)
    petrol = [fuel(i, total[i], pressures[i]) for i in range(build.ports)]
    if build.mixing:
        mean = sum(petrol) / build.ports
        petrol = [(1.0 - build.mixing) * f + build.mixing * mean for f in petrol]
    lambdas, misfire, torque = [], [], []
    for i in range(build.ports):
        lam = total[i] / (petrol[i] * build.afr) if petrol[i] > 1e-9 else 9.99
        share, miss = burn(build.burning, lam)
        lambdas.append(min(lam, 9.99))
        misfire.append(miss)
        torque.append(share * strength[i])
    return Running(speed, tuple(through), tuple(total), tuple(pressures), tuple(lambdas), tuple(misfire), tuple(torque))


def surplus(build: Build, now: Running, cold: float) -> float:
    """log(indicated / lost power) of a state: above 0 the engine speeds up."""
    mean = sum(now.pressure) / build.ports
    made = indicated_kw(now.speed, now.total, now.torque)
    lost = drag_kw(build, now.speed, mean, cold)
    return math.log(max(made, 1e-6) / max(lost, 1e-6))


def idle(
    build: Build,
    mouth: Sequence[float],
    leak: Sequence[float],
    fuel: FuelLaw,
    strength: Sequence[float],
    cold: float,
    guess: float = 900.0,
) -> Running:
    """The speed where indicated power equals what is lost, from `guess` rpm; below 120 rpm counts as no speed."""
    x = math.log(max(guess, 150.0))
    now = at_speed(build, mouth, leak, fuel, strength, math.exp(x))
    f = surplus(build, now, cold)
    slope = -1.2
    for _ in range(40):
        if abs(f) < 2e-6 or x < math.log(120.0):
            break
        step = max(-0.5, min(0.5, -f / slope))
        there = at_speed(build, mouth, leak, fuel, strength, math.exp(x + step))
        g = surplus(build, there, cold)
        found = (g - f) / step
        slope = found if -8.0 < found < -0.3 else -1.2
        x, f, now = x + step, g, there
    return now
