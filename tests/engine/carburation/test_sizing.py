"""Sizing: what holds for every engine, and what is refused in a sentence."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from engine.carburation.rules import air, fuel, sizing
from engine.carburation.rules.refusal import Refused

volumes = st.floats(20, 2000)
speeds = st.floats(1500, 15000)
lambdas = st.floats(0.6, 1.6)
jets = st.integers(4, 60).map(lambda n: 5.0 * n)


@given(volumes, speeds)
def test_the_choke_rule_means_one_air_speed_for_every_engine(volume, speed):
    cycle, stroke = sizing.air_speed(sizing.choke_bore(volume, speed), volume, speed)
    assert cycle == pytest.approx(26.526, abs=0.001)
    assert stroke == pytest.approx(106.103, abs=0.002)


@given(volumes, speeds)
def test_a_choke_for_the_road_is_never_larger_than_for_a_race(volume, speed):
    road, fast, race = (sizing.choke(volume, speed, use).start for use in ("road", "fast road", "race"))
    exact = sizing.choke_bore(volume, speed)
    assert road <= fast <= race <= road + 1
    assert road <= exact + 1e-6
    assert exact <= race + 1e-6


@given(jets, lambdas)
def test_lambda_on_target_changes_no_jet(size, lam):
    assert sizing.bore_for(size, lam, lam) == size


@given(jets, lambdas, lambdas)
def test_a_jet_changed_and_changed_back_is_the_same_jet(size, one, other):
    bore = sizing.bore_for(size, one, other)
    if 1 <= bore <= 1000:
        assert sizing.bore_for(bore, other, one) == pytest.approx(size)


@example(100.0, math.nextafter(1.0, 2.0), 1.0)
@given(jets, lambdas, lambdas)
def test_leaner_than_target_means_a_larger_jet(size, one, other):
    bore = sizing.bore_for(size, one, other)
    assert bore >= size if one >= other else bore <= size
    if abs(one / other - 1) > 1e-12:  # nearer than that, a float may hold the same bore for both
        assert (bore > size) == (one > other)


@given(st.floats(20, 400), st.sampled_from([2.0, 2.5, 5.0]))
def test_a_stocked_size_is_in_the_series_and_nearest(exact, step):
    for richer in ("larger", "smaller"):
        size = sizing.stocked(exact, step, richer)
        assert sizing.in_series(size, step) == size
        assert abs(size - exact) <= step / 2 + 1e-6
    assert sizing.stocked(exact, step, "larger") >= sizing.stocked(exact, step, "smaller")


@given(st.floats(-500, 5000), st.floats(-30, 50), st.floats(0, 0.85))
def test_correcting_the_main_jet_gives_back_the_lambda_it_was_set_for(height, celsius, ethanol):
    ratio = air.at(height, celsius + 273.15).density / air.isa(0).density
    on_lambda, on_bore = sizing.density_factors(ratio)
    blend = fuel.blend(ethanol)
    # Fuel goes as the area, so lambda goes as its inverse.
    area = (on_bore * blend.bore) ** 2
    assert on_lambda * blend.lambda_factor / area == pytest.approx(1)


@given(st.floats(0, 1), st.floats(0, 1))
def test_more_ethanol_always_asks_for_more_jet(one, other):
    if one < other:
        assert fuel.blend(one).bore <= fuel.blend(other).bore
        assert fuel.blend(one).afr >= fuel.blend(other).afr


@given(st.floats(175, 575))
def test_idle_jets_grow_with_the_cylinder_and_never_hear_of_the_weather(volume):
    rule = sizing.idle_jet(volume)
    assert rule.low <= rule.start <= rule.high
    larger = sizing.idle_jet(min(575.0, volume + 30))
    assert larger.low >= rule.low
    assert larger.high >= rule.high


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf, -math.inf, "thirty", None])
@pytest.mark.parametrize(
    "ask",
    [
        lambda bad: sizing.choke_bore(bad, 6000),
        lambda bad: sizing.choke_bore(400, bad),
        lambda bad: sizing.air_speed(bad, 400, 6000),
        lambda bad: sizing.main_jet(bad),
        lambda bad: sizing.air_corrector(bad),
        lambda bad: sizing.idle_jet(bad),
        lambda bad: sizing.pump_jet(bad),
        lambda bad: sizing.bore_for(bad, 0.9, 0.87),
        lambda bad: sizing.bore_for(130, bad, 0.87),
        lambda bad: sizing.bore_for(130, 0.87, bad),
        lambda bad: sizing.stocked(bad),
        lambda bad: sizing.in_series(bad),
        lambda bad: sizing.area_change(bad, 50),
        lambda bad: sizing.density_factors(bad),
        lambda bad: sizing.gauge_band(bad, 900, 4),
        lambda bad: air.density(bad, 290),
        lambda bad: air.density(100, bad),
    ],
    ids=lambda ask: "" if callable(ask) else str(ask),
)
def test_no_figure_is_made_of_a_bad_one(ask, bad):
    with pytest.raises(Refused) as refusal:
        ask(bad)
    said = str(refusal.value)
    assert said[0].isupper() and said.rstrip().endswith("."), said
    assert "Traceback" not in said and "could not convert" not in said


@pytest.mark.parametrize(
    ("size", "says"),
    [
        (132, "132 is no main jet of a series that goes by 5. Read the number off the jet again"),
        (0.5, "outside 1 to 1000"),
    ],
)
def test_a_jet_that_is_not_in_the_series_was_misread(size, says):
    with pytest.raises(Refused, match="^.*" + says):
        sizing.in_series(size, 5, "main jet")


@pytest.mark.parametrize("lam", [0.59, 1.61])
def test_lambda_that_no_engine_runs_at_is_the_sensors_fault(lam):
    with pytest.raises(Refused, match="sensor is at fault"):
        sizing.bore_for(130, lam, 0.87)


def test_a_cylinder_beyond_the_table_of_idle_jets_gets_no_figure():
    with pytest.raises(Refused, match=r"700 cc is outside 175 to 575 cc\. The table ends there"):
        sizing.idle_jet(700)


@given(st.floats(0, 1000), st.floats(1, 200), st.floats(0, 200), st.floats(200, 400))
def test_flow_runs_down_the_pressure_and_never_past_choking(area, high, low, kelvin):
    flow = air.orifice_flow(area, high, low, kelvin)
    assert flow == pytest.approx(-air.orifice_flow(area, low, high, kelvin)) if low > 0 else flow >= 0
    assert abs(flow) <= air.orifice_flow(area, max(high, low), 0, kelvin) * (1 + 1e-9)
    assert (flow >= 0) == (high >= low) or flow == 0


@given(st.floats(0, 1), st.floats(0, 1))
def test_the_flow_function_falls_as_the_pressures_draw_level(one, other):
    if one < other:
        assert air.flow_function(one) >= air.flow_function(other) - 1e-12


@given(st.floats(80, 110), st.floats(255, 320), st.floats(0, 1), st.floats(0, 1))
def test_damp_air_is_never_denser(pressure, kelvin, one, other):
    if one < other:
        assert air.density(pressure, kelvin, one) >= air.density(pressure, kelvin, other)
