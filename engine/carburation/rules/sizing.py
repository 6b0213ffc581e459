"""Sizing: what choke and jets an engine would start from, a rule a function; it reads no job and judges no reading.

Jet numbers are bores in hundredths of a millimetre. The rules are for fixed-choke bodies with a barrel a cylinder; they
give a first setting to drive from, never a verdict on a part that works.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from engine.carburation.rules import air
from engine.carburation.rules.refusal import Refused, positive, within

Use = Literal["road", "fast road", "race"]

#: 20 sqrt(V[L] n / 1000) written as one constant. [from memory: handbooks of sidedraught tuning]
CHOKE_CONSTANT = 20 / math.sqrt(1000)
#: The constant of the same rule for bodies without a choke of their own (slides). [from memory: a maker's guide]
SLIDE_CONSTANTS = 0.65, 0.90
#: Choke over throttle bore. [from memory]
CHOKE_TO_BORE = 0.70, 0.90

#: How much smaller than the rule a choke for the road may be, and how far any may be off, mm. [common practice: smaller
#: chokes on the road, faster air at low flow; the figures assumed]
SMALLER_ON_THE_ROAD, OFF_BY = 3.0, 1.0
#: Main jet over choke: just above the rule, and what is accepted. [common practice; range from memory: tuning guides]
MAIN_TO_CHOKE, MAIN_TO_CHOKE_RANGE = 4.0, (3.8, 4.3)
#: Air corrector above main: the rule, and what is accepted. [common practice 40 to 50; from memory 30 to 70]
CORRECTOR_ABOVE_MAIN, CORRECTOR_ABOVE_MAIN_RANGE = 45.0, (30.0, 70.0)
#: One step of the common series of jets. [common practice]
JET_STEP = 5.0
#: Pump jets usually met; the start holds for cylinders of 400 to 500 cc, half a row of the idle table either way taken
#: as grace. [from memory]
PUMP_RANGE, PUMP_START, PUMP_VOLUMES = (35.0, 50.0), 40.0, (375.0, 525.0)
#: Idle jet by the volume of one cylinder: cc, from, to. To 400 cc [published: source S4]; above [from memory].
IDLE_TABLE: tuple[tuple[float, float, float], ...] = (
    (200, 35, 40),
    (250, 40, 45),
    (300, 45, 50),
    (350, 45, 50),
    (400, 50, 50),
    (450, 50, 55),
    (500, 50, 55),
    (550, 50, 55),
)


@dataclass(frozen=True, slots=True)
class Usual:
    """What is usually met where no rule gives a start: from `low` to `high`; `words` and `source` as of a rule."""

    low: float
    high: float
    words: str
    source: str


@dataclass(frozen=True, slots=True)
class Rule:
    """What a rule gives: `exact` before rounding, `start` a stocked size, accepted from `low` to `high`.

    Chokes in mm, jets by number. `words` is the formula with its numbers in, `source` its label.
    """

    exact: float
    start: float
    low: float
    high: float
    words: str
    source: str


def choke_bore(volume: float, speed: float, constant: float = CHOKE_CONSTANT) -> float:
    """Choke bore, mm, for one cylinder of `volume` cc with peak power at `speed` rpm: `20 sqrt(V[L] n / 1000)`.

    [from memory: handbooks of sidedraught tuning]
    """
    litres = within("volume of one cylinder", volume, 20, 2000, "cc") / 1000
    revolutions = within("speed of peak power", speed, 1500, 15000, "rpm")
    return positive("choke constant", constant) * math.sqrt(litres * revolutions)


def air_speed(bore: float, volume: float, speed: float) -> tuple[float, float]:
    """Mean air speed in a choke of `bore` mm, m/s: over the whole cycle, and over one induction stroke. [derived]

    `volume` cc of one cylinder, `speed` rpm, filled once each two turns.
    """
    area = math.pi / 4 * (positive("choke", bore, "mm") / 1000) ** 2
    volume_flow = positive("volume of one cylinder", volume, "cc") * 1e-6 * positive("speed", speed, "rpm") / 120
    return volume_flow / area, 4 * volume_flow / area


def choke(volume: float, speed: float, use: Use = "road") -> Rule:
    """The choke, mm, to start from: down for the road, up for a race, the nearest between. Step 1 mm [common practice].

    Accepted is a step either way of it, for the road down to 3 mm below: a smaller choke gives faster air at low flow,
    an easier idle and pick-up. [common practice]
    """
    exact = choke_bore(volume, speed)
    rounded = {"road": math.floor(exact + 1e-9), "race": math.ceil(exact - 1e-9)}.get(use, math.floor(exact + 0.5))
    way = {"road": "down", "race": "up"}.get(use, "to the nearest")
    return Rule(
        exact,
        float(rounded),
        rounded - (SMALLER_ON_THE_ROAD if use == "road" else OFF_BY),
        rounded + OFF_BY,
        f"20 x sqrt({volume / 1000:.4g} L x {speed:g} rpm / 1000) = {exact:.2f} mm, rounded {way} for {use} use",
        "from memory: sidedraught handbooks; step and rounding common practice",
    )


def in_series(size: float, step: float = JET_STEP, part: str = "jet") -> float:
    """Return `size` if it belongs to a series of `step`; else refuse: it was misread, or the series is another."""
    number = within(f"{part} number", size, 1, 1000, hint="Jets are numbered in hundredths of a millimetre.")
    if abs(number / step - round(number / step)) > 1e-6:
        raise Refused(
            f"{number:g} is no {part} of a series that goes by {step:g}. Read the number off the jet again; one of "
            f"another series, or rated by flow, can't be compared."
        )
    return number


def stocked(exact: float, step: float = JET_STEP, richer: Literal["larger", "smaller"] = "larger") -> float:
    """The nearest size of a series; half-way goes to the `richer` side: larger for fuel, smaller for air.

    [common practice]
    """
    steps = positive("jet number", exact) / positive("step of the series", step)
    whole = math.floor(steps)
    part = steps - whole
    up = part > 0.5 + 1e-9 or (abs(part - 0.5) <= 1e-9 and richer == "larger")
    return max(1, whole + up) * step


def main_jet(bore: float, factor: float = 1.0, step: float = JET_STEP) -> Rule:
    """The main jet for a choke of `bore` mm: the size just above four times the choke, accepted from 3.8 to 4.3 times.

    `factor` corrects the bore for fuel and altitude, 1 for neat petrol at sea level. Rounded up, which is richer: rich
    costs petrol, lean costs pistons. [common practice; range from memory: trade tuning guides]
    """
    mm = within("choke", bore, 8, 70, "mm")
    scale = within("correction of the main jet", factor, 0.5, 2.0)
    exact = MAIN_TO_CHOKE * mm * scale
    low, high = (f * mm * scale for f in MAIN_TO_CHOKE_RANGE)
    words = f"choke {mm:g} mm x 4 = {MAIN_TO_CHOKE * mm:g}"
    if abs(scale - 1) > 5e-4:
        words += f", x {scale:.4f} for fuel and altitude = {exact:.1f}"
    start = math.ceil(exact / step - 1e-9) * step
    source = "common practice: just above four times the choke; range from memory, trade tuning guides"
    return Rule(exact, start, low, high, f"{words}, rounded up", source)


def air_corrector(main: float, step: float = JET_STEP) -> Rule:
    """The air corrector for a main jet, the one fitted where it is known: 45 above it, accepted 30 to 70 above.

    Half-way sizes go to the smaller, which is richer. [common practice]
    """
    number = within("main jet", main, 20, 1000)
    exact = number + CORRECTOR_ABOVE_MAIN
    low, high = (number + above for above in CORRECTOR_ABOVE_MAIN_RANGE)
    return Rule(
        exact,
        stocked(exact, step, "smaller"),
        low,
        high,
        f"main {number:g} + 45, accepted 30 to 70 above it",
        "common practice 40 to 50 above; range from memory",
    )


def idle_jet(volume: float, cylinders_per_barrel: int = 1, step: float = JET_STEP) -> Rule:
    """The idle jet by the volume of one cylinder, cc: the nearest row of the table; shared ports one size up.

    Never corrected for air or fuel: the density law is another at a choked idle. [published: source S4, to 400 cc]
    """
    cc = within("volume of one cylinder", volume, 175, 575, "cc", "The table ends there; take the maker's.")
    row = min(IDLE_TABLE, key=lambda r: (abs(r[0] - cc), -r[0]))
    up = step if cylinders_per_barrel > 1 else 0.0
    low, high = row[1] + up, row[2] + up
    middle = (low + high) / 2
    words = f"table: {row[0]:g} cc a cylinder takes {row[1]:g}" + (f" to {row[2]:g}" if row[2] > row[1] else "")
    return Rule(
        middle,
        stocked(middle, step),
        low,
        high,
        words + (", one size up for ports shared by two" if up else ""),
        "published: source S4, an older tuning guide" if row[0] <= 400 else "from memory, past the table of source S4",
    )


def pump_jet(volume: float) -> Rule | Usual:
    """The pump jet for a cylinder of 400 to 500 cc: 40, 35 to 50 being usual. [from memory]

    Below that nothing is known to start from, and what is usual is all that is said; above, it is refused.
    """
    cc = positive("volume of one cylinder", volume, "cc")
    if cc < PUMP_VOLUMES[0]:
        low, high = PUMP_RANGE
        words = f"35 to 50 is usual; no start is known for {cc:.4g} cc a cylinder"
        return Usual(low, high, words, "from memory")
    cc = within(
        "volume of one cylinder",
        volume,
        *PUMP_VOLUMES,
        "cc",
        "No start is known there; 35 to 50 is usual [from memory].",
    )
    return Rule(
        PUMP_START,
        PUMP_START,
        *PUMP_RANGE,
        f"40 for 400 to 500 cc a cylinder ({cc:.4g} cc here), 35 to 50 usual",
        "from memory",
    )


def density_factors(ratio: float) -> tuple[float, float]:
    """Main circuit only: what air of density `ratio` (to that of the setting) does: factor on lambda, and on the bore.

    At the same choke depression air goes as `sqrt(rho)` and the fuel stays: lambda x `rho^0.5`, so thin air is RICHER;
    the area to restore it goes as `rho^0.5`, the bore as `rho^0.25`. The rule "fuel in proportion to density"
    over-corrects. Never for idle jets. [derived; Heywood 1988 ch. 7 from memory; direction published, source S55]
    """
    share = within("density ratio", ratio, 0.3, 1.5)
    return math.sqrt(share), share**0.25


def bore_for(size: float, measured: float, target: float) -> float:
    """The jet, before rounding, that takes lambda from `measured` to `target`: `d2 = d1 sqrt(measured / target)`.

    Fuel goes as the square of the bore at the same signal. First order: the air corrector shares the load. [derived]
    """
    number = within("jet number", size, 1, 1000)
    hint = "Outside that the sensor is at fault, or air gets into the exhaust."
    error = within("lambda", measured, 0.6, 1.6, hint=hint) / within("target lambda", target, 0.6, 1.6)
    return number * math.sqrt(error)


def area_change(before: float, after: float) -> float:
    """How much more area a jet `after` has than `before`, a share: 45 to 50 is 0.2346. Exact geometry."""
    return (positive("jet number", after) / positive("jet number", before)) ** 2 - 1


def gauge_band(displacement: float, speed: float, barrels: int) -> tuple[float, float]:
    """What an airflow gauge may plausibly show at idle, kg/h a barrel, lowest and highest: a warning, never a target.

    0.5 to 1.6 times the speed-density flow at 35 kPa, 320 K, filling 0.85 [derived]; the flow pulses, so a hand-held
    gauge reads above the mean. The band holds the workshop figures of 3 to 6 kg/h for 1.3 to 2.0 L fours [from memory].
    `displacement` cc and `barrels` of the whole engine, `speed` rpm.
    """
    mean = air.filling_flow(displacement, speed, 35.0, 320.0, 0.85) / within("number of barrels", barrels, 1, 48)
    return 0.5 * mean, 1.6 * mean
