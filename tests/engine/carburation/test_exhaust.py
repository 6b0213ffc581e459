"""Exhaust: round trips, and what the gases may be believed for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.carburation.rules import exhaust, fuel
from engine.carburation.rules.exhaust import Gases
from engine.carburation.rules.refusal import Refused


@given(st.floats(0.72, 1.6))
def test_brettschneider_gives_back_any_lambda(lam):
    gas = Gases(*exhaust.equilibrium(lam, exhaust.HCV, exhaust.OCV))
    assert exhaust.brettschneider(gas) == pytest.approx(lam, abs=1e-4)


@given(st.floats(0.72, 1.3), st.floats(1.6, 2.2))
def test_spindt_gives_back_any_air_fuel_ratio(lam, hydrogen):
    afr = exhaust.spindt(Gases(*exhaust.equilibrium(lam, hydrogen)), hydrogen)
    assert afr == pytest.approx(lam * fuel.stoichiometric_afr(hydrogen), rel=2e-3)


@given(st.floats(0.72, 0.99), st.floats(0, 0.2))
def test_lambda_and_co_are_each_others_inverse(lam, ethanol):
    blend = fuel.blend(ethanol)
    co = exhaust.co_of(lam, blend.hydrogen, blend.oxygen)
    assert exhaust.lambda_of_co(co, blend.hydrogen, blend.oxygen) == pytest.approx(lam, abs=1e-6)


@given(st.floats(0.6, 1.0), st.floats(0.6, 1.0))
def test_richer_always_means_more_co(one, other):
    if one < other:
        assert exhaust.co_of(one) >= exhaust.co_of(other)


@given(st.floats(0.7, 1.4), st.floats(0.01, 0.5))
def test_air_in_the_pipe_makes_lambda_read_lean(lam, share):
    pure = exhaust.equilibrium(lam)
    leaky = Gases(pure[0] * (1 - share), pure[1] * (1 - share), pure[2] * (1 - share) + 20.9476 * share)
    assert exhaust.brettschneider(leaky) > exhaust.brettschneider(Gases(*pure))


@given(st.floats(0.7, 0.97))
def test_a_lean_reading_from_misfire_is_not_believed(lam):
    # A tenth of the charge leaves unburnt: its oxygen and fuel come out, the rest burns as it was.
    co, co2, o2 = (0.9 * x for x in exhaust.equilibrium(lam))
    reading = exhaust.read(Gases(co, co2, o2 + 2.1, 4000))
    assert reading.combustion == "misfire"


@pytest.mark.parametrize(
    ("gas", "kind"),
    [
        (Gases(3.5, 12.5, 0.8, 300), "burning"),
        (Gases(0.4, 14.5, 0.7, 100), "burning"),
        (Gases(3.0, 11.0, 3.5, 700), "misfire"),
        (Gases(1.5, 12.0, 1.0, 2500), "misfire"),
        (Gases(0.5, 9.0, 8.0, 150), "diluted"),
        (Gases(2.0, 7.0, 9.0, 300), "diluted"),
    ],
)
def test_what_the_sample_is(gas, kind):
    assert exhaust.combustion(gas) == kind


def test_little_co_places_no_lambda():
    reading = exhaust.read(Gases(0.5, 14.5, 0.5, 100))
    assert reading.by_co is None
    assert any("can't place lambda" in note for note in reading.notes)


def test_gases_that_contradict_co_are_said_so():
    # An even engine at 3.5 % CO has no 1.9 % of oxygen beside it.
    reading = exhaust.read(Gases(3.5, 11.5, 1.9, 300))
    assert any("CO alone says" in note for note in reading.notes)
    # 0.04 apart is a contradiction, 0.023 is what an analyser errs by (by both formulas: 0.9585 and 0.9409 to 0.9181).
    assert any("CO alone says" in note for note in exhaust.read(Gases(3.0, 12.8, 1.2, 250)).notes)
    assert not exhaust.read(Gases(3.0, 12.8, 0.8, 250)).notes


def test_a_merged_pipe_names_no_cylinder():
    assert any("names no cylinder" in note for note in exhaust.read(Gases(3.5, 12.5, 0.8, 300), merged=True).notes)
    assert not exhaust.read(Gases(3.5, 12.5, 0.8, 300)).notes


@pytest.mark.parametrize(
    ("gases", "says"),
    [
        ((13.0, 10, 1), "CO of 13 % is outside 0 to 12 %"),
        ((-1, 12, 1), "CO of -1 % is outside"),
        ((math.nan, 12, 1), "CO is not a number"),
        ((3, 25, 1), "CO2 of 25 % is outside"),
        ((3, 12, 22), "O2 of 22 % is outside"),
        ((3, 12, 1, -5), "HC of -5 ppm is outside"),
        ((0, 0, 20.9), "the probe is in air"),
        ((0.2, 0.1, 20), "the probe is in air"),
    ],
)
def test_gases_that_no_exhaust_holds_are_refused(gases, says):
    with pytest.raises(Refused, match=says):
        Gases(*gases)


def test_without_co2_there_is_no_lambda():
    for ask in (exhaust.brettschneider, exhaust.spindt):
        with pytest.raises(Refused, match="without CO2"):
            ask(Gases(3, 0, 1))


@pytest.mark.parametrize("co", [-0.1, 12.5, math.nan])
def test_co_that_no_engine_gives_is_refused(co):
    with pytest.raises(Refused):
        exhaust.lambda_of_co(co)
