"""Air: the standard atmosphere, moist density and compressible flow through an opening; it knows no carburettor.

Units throughout: kPa, K, kg/m3, m, mm2, kg/h. Each function cites its source; `tests/published` checks them against
`ambiance` and `fluids`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from engine.carburation.rules.refusal import Refused, positive, within

#: Specific gas constant of dry air, J/(kg K). [published: ISO 2533, Standard Atmosphere]
R_AIR = 287.05287
#: Specific gas constant of water vapour, J/(kg K): molar gas constant 8.314463 over 18.01528 g/mol. [derived]
R_VAPOUR = 461.523
#: Ratio of specific heats of air near room temperature. [published: ISO 2533]
GAMMA_AIR = 1.4
#: Sea-level pressure kPa, temperature K, and lapse rate K/m of the standard atmosphere. [published: ISO 2533]
ISA_PRESSURE = 101.325
ISA_TEMPERATURE = 288.15
ISA_LAPSE = 0.0065
#: Standard gravity, m/s2. [published: ISO 80000-3]
GRAVITY = 9.80665

_ISA_EXPONENT = GRAVITY / (R_AIR * ISA_LAPSE)  # 5.25588


@dataclass(frozen=True, slots=True)
class Air:
    """A state of air: `pressure` kPa, `temperature` K, `density` kg/m3."""

    pressure: float
    temperature: float
    density: float


def saturation_pressure(temperature: float) -> float:
    """Pressure of saturated water vapour, kPa, over liquid water at `temperature` K (253 to 323 K).

    [published: Magnus-type fit of a meteorological body, constants 6.116441 hPa, 7.591386, 240.7263 degC]
    """
    celsius = within("air temperature", temperature, 233.15, 373.15, "K") - 273.15
    return 0.6116441 * 10 ** (7.591386 * celsius / (celsius + 240.7263))


def density(pressure: float, temperature: float, humidity: float = 0.0) -> float:
    """Density of moist air, kg/m3, at `pressure` kPa, `temperature` K and relative `humidity` 0 to 1.

    Ideal gases side by side: `(p - e) / (R_AIR T) + e / (R_VAPOUR T)`. [from memory: meteorology textbooks; derived]
    """
    p = positive("air pressure", pressure, "kPa")
    t = positive("air temperature", temperature, "K")
    share = within("relative humidity", humidity, 0.0, 1.0)
    vapour = share * saturation_pressure(t) if share else 0.0
    if vapour >= p:
        raise Refused(f"Air at {p:g} kPa cannot hold that much water vapour at {t:g} K. Check the pressure.")
    return 1000.0 * ((p - vapour) / (R_AIR * t) + vapour / (R_VAPOUR * t))


def isa(altitude: float) -> Air:
    """The standard atmosphere at a geopotential `altitude` of -1000 to 11000 m.

    `T = 288.15 - 0.0065 h`, `p = 101.325 (T / 288.15)^5.25588`. [published: ISO 2533, troposphere]
    """
    height = within("altitude", altitude, -1000.0, 11000.0, "m")
    temperature = ISA_TEMPERATURE - ISA_LAPSE * height
    pressure = ISA_PRESSURE * (temperature / ISA_TEMPERATURE) ** _ISA_EXPONENT
    return Air(pressure, temperature, density(pressure, temperature))


def at(altitude: float, temperature: float, humidity: float = 0.0) -> Air:
    """The air of a day: standard pressure for `altitude` m, but the measured `temperature` K and relative `humidity`.

    The weather moves the pressure by 2 or 3 % about the standard one. [common practice]
    """
    pressure = isa(altitude).pressure
    return Air(pressure, temperature, density(pressure, temperature, humidity))


def critical_ratio(gamma: float = GAMMA_AIR) -> float:
    """Pressure ratio at and below which the flow through an opening is choked: 0.52828 for air.

    [published: choked flow of an ideal gas, any textbook of gas dynamics; ISO 9300]
    """
    ratio: float = (2.0 / (gamma + 1.0)) ** (gamma / (gamma - 1.0))
    return ratio


def flow_function(ratio: float, gamma: float = GAMMA_AIR) -> float:
    """The flow function psi of `ratio = p downstream / p upstream`, 0 to 1, no unit: 0.684731 choked, 0 at ratio 1.

    `m = Cd A p0 / sqrt(R T0) psi(p / p0)`. Choked form [published: ISO 9300 critical nozzle]; below that
    [from memory: Heywood, Internal Combustion Engine Fundamentals, 1988, app. C].
    """
    if not 0.0 <= ratio <= 1.0:
        raise Refused(f"A pressure ratio of {ratio:g} is outside 0 to 1: downstream may not exceed upstream.")
    if ratio <= critical_ratio(gamma):
        choked: float = math.sqrt(gamma) * (2.0 / (gamma + 1.0)) ** ((gamma + 1.0) / (2.0 * (gamma - 1.0)))
        return choked
    return math.sqrt(2.0 * gamma / (gamma - 1.0) * max(0.0, ratio ** (2.0 / gamma) - ratio ** ((gamma + 1.0) / gamma)))


def orifice_flow(
    area: float,
    upstream: float,
    downstream: float,
    temperature: float,
    discharge: float = 1.0,
    gamma: float = GAMMA_AIR,
) -> float:
    """Mass flow of air, kg/h, through an opening of `area` mm2 from `upstream` kPa to `downstream` kPa (absolute).

    `temperature` K is that of the air upstream, at rest; `discharge` the coefficient of the opening, 0 to 1. The flow
    is negative where `downstream` exceeds `upstream`: air then runs back at the same temperature. [as `flow_function`]
    """
    if not (area >= 0.0 and upstream > 0.0 and downstream >= 0.0 and temperature > 0.0 and 0.0 <= discharge <= 1.0):
        raise Refused(
            f"No flow can be worked out for {area:g} mm2, {upstream:g} to {downstream:g} kPa, {temperature:g} K, "
            f"discharge {discharge:g}: area and pressures must not be negative, discharge is 0 to 1."
        )
    if downstream > upstream:
        return -orifice_flow(area, downstream, upstream, temperature, discharge, gamma)
    # 1e-6 m2 a mm2, 1e3 Pa a kPa, 3600 s an hour.
    flux = upstream * 1e3 / math.sqrt(R_AIR * temperature) * flow_function(downstream / upstream, gamma)
    return 3600e-6 * discharge * area * flux


def filling_flow(
    displacement: float,
    speed: float,
    pressure: float,
    temperature: float,
    efficiency: float,
) -> float:
    """Air taken by a whole four-stroke engine, kg/h, by speed and density.

    `displacement` cc, `speed` rpm, manifold `pressure` kPa absolute, charge `temperature` K, volumetric `efficiency`
    0 to 1.3 relative to the air in the manifold: `V n / 2 60 VE p / (R T)`. A plausibility figure: residual gas and
    pulsation move a gauge reading well away from it. [derived]
    """
    volume = positive("displacement", displacement, "cc") * 1e-6
    revolutions = positive("engine speed", speed, "rpm")
    filled = within("volumetric efficiency", efficiency, 0.01, 1.3)
    return volume * revolutions / 2.0 * 60.0 * filled * density(pressure, temperature)
