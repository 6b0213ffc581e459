"""Jets and chokes against the ISO 5167 meters of `fluids`: flow by the square of the bore and the root of density."""

from __future__ import annotations

import math

import pytest

from engine.carburation.rules import sizing


def _meter(kind: str, bore: float, pipe: float, density: float, viscosity: float, drop: float) -> float:
    from fluids import differential_pressure_meter_solver

    return differential_pressure_meter_solver(
        D=pipe,
        D2=bore,
        P1=101325.0,
        P2=101325.0 - drop,
        rho=density,
        mu=viscosity,
        k=1.4,
        meter_type=kind,
        **({"taps": "D"} if kind == "ISO 5167 orifice" else {}),
    )


@pytest.mark.library("fluids")
def test_fuel_through_an_orifice_goes_as_the_bore_squared():
    # Petrol at 2 kPa in a 4 mm passage, bores of 1.30 and 1.40 mm.
    flows = {bore: _meter("ISO 5167 orifice", bore / 1000, 0.004, 745.0, 5e-4, 2000.0) for bore in (1.30, 1.40)}
    assert flows[1.40] / flows[1.30] == pytest.approx(1 + sizing.area_change(130, 140), rel=0.004)


@pytest.mark.library("fluids")
@pytest.mark.parametrize("density", [1.0581, 0.9093])
def test_air_through_a_venturi_goes_as_the_root_of_density(density):
    # The same choke depression of 3 kPa in thin air.
    here, there = (
        _meter("machined convergent venturi tube", 0.032, 0.045, rho, 1.8e-5, 3000.0) for rho in (1.225, density)
    )
    on_lambda, on_bore = sizing.density_factors(density / 1.225)
    assert there / here == pytest.approx(on_lambda, rel=1e-3)
    assert on_bore**2 == pytest.approx(on_lambda)


@pytest.mark.law("geometry")
@pytest.mark.parametrize(
    ("before", "after", "percent"),
    [
        # Exact geometry, printed to two places.
        (45, 50, 23.46),
        (50, 55, 21.00),
        (55, 60, 19.01),
        (120, 125, 8.51),
        (130, 135, 7.84),
        (140, 145, 7.27),
        (150, 155, 6.78),
    ],
)
def test_a_step_of_a_jet_changes_its_area_as_printed(before, after, percent):
    assert 100 * sizing.area_change(before, after) == pytest.approx(percent, abs=0.005)


@pytest.mark.law("geometry")
def test_an_idle_step_is_about_three_times_a_main_step():
    ratio = sizing.area_change(50, 55) / sizing.area_change(130, 135)
    assert 2.5 < ratio < 3  # derived
    # Flow by area: the same law from the areas themselves.
    assert 1 + sizing.area_change(50, 55) == pytest.approx((math.pi * 55**2 / 4) / (math.pi * 50**2 / 4))
