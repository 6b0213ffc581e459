"""Air against the standard atmosphere of `ambiance` and `fluids`, water vapour against IAPWS-95 of `chemicals`."""

from __future__ import annotations

import pytest

from engine.carburation.rules import air

HEIGHTS = (-500.0, 0.0, 500.0, 1000.0, 1500.0, 2000.0, 3000.0, 5000.0)


def _geopotential(height: float) -> float:
    """Both judges take geometric heights; ours are geopotential (ISO 2533: earth radius 6356766 m)."""
    return 6356766.0 * height / (6356766.0 + height)


@pytest.mark.library("ambiance")
@pytest.mark.parametrize("height", HEIGHTS)
def test_the_standard_atmosphere_is_that_of_ambiance(height):
    from ambiance import Atmosphere

    judge, ours = Atmosphere(height), air.isa(_geopotential(height))
    assert ours.temperature == pytest.approx(float(judge.temperature[0]), rel=1e-6)
    assert ours.pressure * 1000 == pytest.approx(float(judge.pressure[0]), rel=1e-5)
    assert ours.density == pytest.approx(float(judge.density[0]), rel=1e-5)


@pytest.mark.library("fluids")
@pytest.mark.parametrize("height", HEIGHTS)
def test_the_standard_atmosphere_is_that_of_fluids(height):
    from fluids import ATMOSPHERE_1976

    judge, ours = ATMOSPHERE_1976(height), air.isa(_geopotential(height))
    assert ours.density == pytest.approx(judge.rho, rel=1e-4)
    assert ours.pressure * 1000 == pytest.approx(judge.P, rel=1e-4)


@pytest.mark.table("ISO 2533, from memory")
@pytest.mark.parametrize(
    ("height", "kelvin", "pascal", "density"),
    [
        # ISO 2533 by geopotential altitude, as tabled from memory; 1000 m seen on a public page of a simulation
        # library.
        (0, 288.15, 101325, 1.2250),
        (500, 284.90, 95461, 1.16727),
        (1000, 281.65, 89875, 1.11164),
        (1500, 278.40, 84556, 1.05807),
        (2000, 275.15, 79495, 1.00649),
        (3000, 268.65, 70109, 0.90912),
    ],
)
def test_the_standard_atmosphere_is_the_printed_one(height, kelvin, pascal, density):
    ours = air.isa(height)
    assert ours.temperature == pytest.approx(kelvin, abs=0.005)
    assert ours.pressure * 1000 == pytest.approx(pascal, abs=1)
    assert ours.density == pytest.approx(density, abs=1e-5)


@pytest.mark.library("chemicals")
@pytest.mark.parametrize("celsius", [1, 10, 20, 30, 40])
def test_saturated_vapour_is_that_of_iapws_95(celsius):
    from chemicals.iapws import iapws95_Psat

    kelvin = celsius + 273.15
    assert air.saturation_pressure(kelvin) * 1000 == pytest.approx(iapws95_Psat(kelvin), rel=0.001)


@pytest.mark.table("a meteorological page; Smithsonian tables, from memory")
@pytest.mark.parametrize(
    ("celsius", "hectopascal", "tolerance"),
    [
        # The first four as printed by a meteorological page; below freezing, over water that is still liquid, from
        # memory:
        # Smithsonian Meteorological Tables.
        (0, 6.116, 0.0005),
        (10, 12.282, 0.001),
        (20, 23.379, 0.003),
        (30, 42.435, 0.005),
        (-10, 2.8627, 0.01),
        (-20, 1.2540, 0.01),
    ],
)
def test_saturated_vapour_is_the_printed_one(celsius, hectopascal, tolerance):
    assert air.saturation_pressure(celsius + 273.15) * 10 == pytest.approx(hectopascal, abs=tolerance)


@pytest.mark.kept("the ideal mixture, computed once")
@pytest.mark.parametrize(
    ("celsius", "humidity", "density"),
    [
        # Computed once from the ideal mixture with source-quoted constants; 15 degC dry is the standard atmosphere.
        (15, 0.0, 1.2250),
        (15, 0.6, 1.2203),
        (30, 0.8, 1.1497),
        (30, 0.0, 1.1644),
    ],
)
def test_moist_air_is_lighter(celsius, humidity, density):
    assert air.density(101.325, celsius + 273.15, humidity) == pytest.approx(density, abs=1e-4)


@pytest.mark.library("chemicals")
def test_moist_air_is_the_ideal_mixture_by_molar_mass():
    from chemicals import molecular_weight
    from chemicals.iapws import iapws95_Psat

    pressure, kelvin, humidity = 95.0, 305.15, 0.7
    share = humidity * iapws95_Psat(kelvin) / (pressure * 1000)
    water = molecular_weight({"H": 2, "O": 1})
    # Dry air by its gases: from memory, the standard atmosphere's composition by volume.
    dry = sum(
        share * molecular_weight(atoms)
        for share, atoms in (
            (0.78084, {"N": 2}),
            (0.209476, {"O": 2}),
            (0.00934, {"Ar": 1}),
            (0.000314, {"C": 1, "O": 2}),
        )
    )
    mixture = pressure * 1000 * ((1 - share) * dry + share * water) / 1000 / (8.31446 * kelvin)
    assert air.density(pressure, kelvin, humidity) == pytest.approx(mixture, rel=2e-4)


@pytest.mark.law("speed and density, by hand")
@pytest.mark.parametrize(
    ("displacement", "speed", "kpa", "efficiency", "total"),
    [
        # Speed and density at 320 K, derived by hand: 1.6 L, 2.0 L and 3.0 L.
        (1600, 900, 35, 0.85, 13.99),
        (2000, 900, 35, 0.85, 17.49),
        (2000, 1000, 40, 0.85, 22.21),
    ],
)
def test_an_idling_engine_draws_what_speed_and_density_say(displacement, speed, kpa, efficiency, total):
    assert air.filling_flow(displacement, speed, kpa, 320, efficiency) == pytest.approx(total, abs=0.02)
