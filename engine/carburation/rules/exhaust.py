"""Exhaust: lambda from four gases, CO against lambda, and what the gases say about misfire; it sets nothing.

Gases are dry, in percent by volume; HC in ppm as hexane, as analysers show it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from engine.carburation.rules.fuel import CARBON, HYDROGEN, PETROL_HC
from engine.carburation.rules.refusal import Refused, within

#: Water-gas constant CO * H2O / (CO2 * H2) at which exhaust freezes. [published: 3.5, source S20; 3.7 elsewhere]
WATER_GAS = 3.5
#: Nitrogen and the rest of dry air for one of oxygen, by moles. [published: ISO 2533]
INERT_PER_OXYGEN = 1 / 0.209476 - 1
#: Fuel that inspection rules assume: hydrogen and oxygen to carbon; HC as hexane, percent carbon a ppm.
#: [from memory: EU inspection directives, OIML R 99]
HCV, OCV, HEXANE = 1.7261, 0.0175, 6e-4
#: A sound engine at lambda 1.0 still reads 0.3 to 0.8 % CO: below that CO can't place lambda. [common practice]
CO_BLIND = 0.8
#: Oxygen beside this much CO was not burnt: misfire, or uneven cylinders. [from memory: analyser handbooks]
OXYGEN_HIGH, CO_RICH = 2.0, 1.0
#: CO2 and CO together in a sound sample; less is diluted with air. [from memory: inspection manuals]
CARBON_LEAST = 12.0
#: Hydrocarbons that say misfire by themselves, ppm. [from memory: analyser handbooks]
HC_MISFIRE = 1200.0
#: Lambda by all gases and by CO alone contradict each other from this distance on. [assumed: half a main jet]
CONTRADICTS = 0.03


@dataclass(frozen=True, slots=True)
class Gases:
    """One reading of the analyser: `co`, `co2`, `o2` and `no` in percent dry, `hc` in ppm as hexane."""

    co: float
    co2: float
    o2: float
    hc: float = 0.0
    no: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no exhaust holds."""
        within("CO", self.co, 0, 12, "%", "More than that points to the analyser; zero it in fresh air.")
        within("CO2", self.co2, 0, 20, "%", "Zero the analyser in fresh air and read again.")
        within("O2", self.o2, 0, 21, "%", "Zero the analyser in fresh air and read again.")
        within("HC", self.hc, 0, 30000, "ppm")
        within("NO", self.no, 0, 1, "%")
        if self.co + self.co2 < 1:
            raise Refused("There is hardly any CO or CO2 in this sample: the probe is in air. Push it in, read again.")


def brettschneider(gas: Gases, hydrogen: float = HCV, oxygen: float = OCV, hexane: float = HEXANE) -> float:
    """Lambda from the balance of oxygen in the exhaust.

    Air that gets into the pipe raises O2 and makes lambda read lean, as it does a sensor. Infrared benches may see
    petrol's HC low by half; then `hexane` is 12e-4. Structure [published: source S20, after Brettschneider 1979];
    fuel constants [from memory: EU inspection directives].
    """
    if gas.co2 <= 0:
        raise Refused("Lambda can't be worked out without CO2: read all four gases.")
    carbon = gas.co2 + gas.co
    burnt = hydrogen / 4 * WATER_GAS / (WATER_GAS + gas.co / gas.co2) - oxygen / 2
    supplied = gas.co2 + gas.co / 2 + gas.o2 + gas.no / 2 + burnt * carbon
    return supplied / ((1 + hydrogen / 4 - oxygen / 2) * (carbon + hexane * gas.hc))


def spindt(gas: Gases, hydrogen: float = PETROL_HC) -> float:
    """Air-fuel ratio by mass, of a petrol without oxygen, from the same gases; HC is taken as six carbons.

    [from memory: Spindt, Air-fuel ratios from exhaust gas analysis, 1965, SAE 650507]
    """
    if gas.co2 <= 0:
        raise Refused("Air-fuel ratio can't be worked out without CO2: read all four gases.")
    carbon = CARBON / (CARBON + HYDROGEN * hydrogen)
    r, q = gas.co / gas.co2, gas.o2 / gas.co2
    burnt = (gas.co + gas.co2) / (gas.co + gas.co2 + HEXANE * gas.hc)
    return burnt * (11.492 * carbon * (1 + r / 2 + q) / (1 + r) + 120 * (1 - carbon) / (3.5 + r))


def equilibrium(
    lam: float,
    hydrogen: float = PETROL_HC,
    oxygen: float = 0.0,
    constant: float = WATER_GAS,
) -> tuple[float, float, float]:
    """CO, CO2 and O2, percent dry, of CH`hydrogen`O`oxygen` burnt evenly at `lam` 0.6 to 1.6, with no HC and no NO.

    Rich: all oxygen used, CO2 + H2 against CO + H2O by the water-gas constant. Lean: the rest is oxygen. [derived]
    """
    value = within("lambda", lam, 0.6, 1.6)
    need = 1 + hydrogen / 4 - oxygen / 2
    inert = INERT_PER_OXYGEN * value * need
    if value >= 1:
        spare = (value - 1) * need
        total = 1 + spare + inert
        return 0.0, 100 / total, 100 * spare / total
    # One carbon: x CO2 and 1 - x CO; w water from the oxygen left, the rest of the hydrogen free.
    # K = (1 - x) w / (x (y/2 - w)) with w = s - x is a quadratic in x.
    s = oxygen + 2 * value * need - 1
    half = hydrogen / 2
    a, b, c = 1 - constant, -(1 + s) - constant * (half - s), s
    x = (-b - (b * b - 4 * a * c) ** 0.5) / (2 * a) if abs(a) > 1e-12 else -c / b
    free = half - (s - x)
    total = 1 + free + inert
    return 100 * (1 - x) / total, 100 * x / total, 0.0


def co_of(lam: float, hydrogen: float = PETROL_HC, oxygen: float = 0.0) -> float:
    """CO, percent dry, of an evenly burning engine at `lam` 0.6 to 1.0; real engines read up to 0.8 more near 1.

    [derived; `tests/published` checks it against equilibrium by `cantera`]
    """
    return equilibrium(within("lambda", lam, 0.6, 1.0), hydrogen, oxygen)[0]


def lambda_of_co(co: float, hydrogen: float = PETROL_HC, oxygen: float = 0.0) -> float:
    """Lambda from CO, percent dry, the inverse of `co_of`; at 0 to 0.8 % it only says "about 1 or leaner".

    [derived]
    """
    wanted = within("CO", co, 0, 12, "%", "More than that points to the analyser; zero it in fresh air.")
    low, high = 0.6, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if co_of(middle, hydrogen, oxygen) > wanted else (low, middle)
    return (low + high) / 2


Combustion = Literal["burning", "misfire", "diluted"]


@dataclass(frozen=True, slots=True)
class ExhaustReading:
    """What one four-gas reading says: `lam` by Brettschneider, `by_co` by CO alone, `afr` by Spindt.

    `by_co` is None below 0.8 % CO. `combustion` says whether lambda may be believed,
    `notes` what limits it.
    """

    lam: float
    by_co: float | None
    afr: float
    combustion: Combustion
    notes: tuple[str, ...]


def combustion(gas: Gases) -> Combustion:
    """Whether the sample is exhaust of an engine that burns all it gets.

    Very high HC, or high O2 beside CO, is misfire; little carbon altogether, air in the sample.
    [from memory: analyser handbooks]
    """
    thin = gas.co + gas.co2 < CARBON_LEAST
    if gas.hc > HC_MISFIRE or (gas.o2 > OXYGEN_HIGH and gas.co > CO_RICH and not thin):
        return "misfire"
    return "diluted" if thin else "burning"


def read(gas: Gases, merged: bool = False) -> ExhaustReading:
    """Lambda from one reading, and how far it may be believed; `merged` is a pipe after the cylinders have joined."""
    lam, kind = brettschneider(gas), combustion(gas)
    by_co = lambda_of_co(gas.co) if gas.co > CO_BLIND else None
    notes: list[str] = []
    if by_co is None:
        notes.append(f"CO of {gas.co:g} % can't place lambda: about 1, or leaner.")
    elif abs(by_co - lam) > CONTRADICTS:
        notes.append(
            f"CO alone says {by_co:.3f}: the cylinders differ, or air gets in. CO is the better witness of a "
            f"rich cylinder."
        )
    if merged:
        notes.append("A pipe after the junction names no cylinder: it is the mean of all.")
    return ExhaustReading(lam, by_co, spindt(gas), kind, tuple(notes))
