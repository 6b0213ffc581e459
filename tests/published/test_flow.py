"""Compressible flow through an opening, against NACA Report 1135, API 520 as `fluids` has it, and printed figures."""

from __future__ import annotations

import math

import pytest

from engine.carburation.rules import air


@pytest.mark.kept("the textbook form, computed once")
@pytest.mark.parametrize(
    ("ratio", "psi"),
    [
        # Computed once for gamma 1.4 from the textbook form (Heywood 1988, app. C).
        (0.6, 0.676915),
        (0.7, 0.638317),
        (0.8, 0.560661),
        (0.9, 0.422581),
        (0.95, 0.307641),
        (0.3, 0.684731),
    ],
)
def test_the_flow_function_has_its_known_values(ratio, psi):
    assert air.flow_function(ratio) == pytest.approx(psi, abs=1e-6)


@pytest.mark.table("NACA Report 1135, from memory")
@pytest.mark.parametrize(
    ("ratio", "area_ratio"),
    [
        # NACA Report 1135 (1953), table I, subsonic, from memory: p/pt and A/A* at Mach 0.3, 0.5, 0.8 and 1.
        (0.9395, 2.0351),
        (0.8430, 1.3398),
        (0.6560, 1.0382),
        (0.5283, 1.0),
    ],
)
def test_the_flow_function_is_the_area_ratio_of_the_isentropic_tables(ratio, area_ratio):
    # The table's pressure ratios are printed to four figures: near Mach 0.3 that is worth 0.0005 of A/A*.
    assert air.flow_function(0.5) / air.flow_function(ratio) == pytest.approx(area_ratio, rel=5e-4)


@pytest.mark.library("fluids")
def test_the_critical_ratio_is_that_of_fluids():
    from fluids import P_critical_flow

    assert air.critical_ratio() == pytest.approx(P_critical_flow(1.0, 1.4), rel=1e-12)
    assert air.critical_ratio() == pytest.approx(0.52828, abs=1e-5)


@pytest.mark.library("fluids")
def test_choked_flow_is_that_of_a_relief_valve():
    from fluids.safety_valve import API520_C

    # API 520, critical gas in SI: A[mm2] = W / (C P1) sqrt(T Z / M), W in kg/h, P in kPa, all coefficients 1.
    flow = air.orifice_flow(100.0, 101.325, 40.0, 293.15)
    area = flow / (API520_C(1.4) * 101.325) * math.sqrt(293.15 / 28.9644)
    assert area == pytest.approx(100.0, rel=1e-3)


@pytest.mark.library("fluids")
@pytest.mark.parametrize("downstream", [60.0, 75.0, 95.0, 100.0])
def test_unchoked_flow_is_that_of_a_relief_valve(downstream):
    from fluids.safety_valve import API520_F2

    # API 520, subcritical gas in SI: A[mm2] = 17.9 W / F2 sqrt(Z T / (M P1 (P1 - P2))), W in kg/h, P in kPa.
    flow = air.orifice_flow(50.0, 101.325, downstream, 300.0)
    f2 = API520_F2(k=1.4, P1=101.325, P2=downstream)
    area = 17.9 * flow / f2 * math.sqrt(300.0 / (28.9644 * 101.325 * (101.325 - downstream)))
    assert area == pytest.approx(50.0, rel=2e-3)


@pytest.mark.table("ISO 9300")
def test_the_choked_flux_is_the_printed_one():
    # ISO 9300: 0.6847 p0 / sqrt(R T0), which is 239.17 kg/(s m2) at 101.325 kPa and 293.15 K, 0.861 kg/h a mm2.
    assert air.orifice_flow(1.0, 101.325, 0.0, 293.15) == pytest.approx(0.861, abs=5e-4)
    assert air.orifice_flow(1e6, 101.325, 50.0, 293.15) / 3600 == pytest.approx(239.17, abs=0.02)


@pytest.mark.kept("choked flow, worked once")
def test_a_plate_that_passes_2_3_kg_an_hour_is_open_by_3_3_mm2():
    # Derived: coefficient 0.8, choked, 20 degC.
    assert 2.3 / air.orifice_flow(1.0, 101.325, 35.0, 293.15, 0.8) == pytest.approx(3.34, abs=0.01)
