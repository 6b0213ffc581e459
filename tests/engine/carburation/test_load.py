"""Under load: what a pull's lambda readings ask for, one change at a time, and never the lean way."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.carburation.rules import under_load
from engine.carburation.rules.refusal import Refused
from engine.carburation.rules.sizing import bore_for
from engine.wording import Words, put

SPEEDS = (2500, 3500, 4500, 5500, 6500)


def pull(*lambdas: float) -> tuple[tuple[float, float], ...]:
    return tuple(zip(SPEEDS, lambdas, strict=True))


def straight(low: float, high: float) -> tuple[tuple[float, float], ...]:
    return tuple((n, low + (high - low) * i / 4) for i, n in enumerate(SPEEDS))


@pytest.mark.parametrize(
    ("readings", "verdict", "before", "after"),
    [
        (pull(0.87, 0.88, 0.86, 0.87, 0.88), "right", None, None),
        # Square-root law: 130 at lambda 0.92 wants 133.68, at 0.80 it wants 124.66.
        (pull(0.92, 0.92, 0.92, 0.92, 0.92), "main jet", 130, 135),
        (pull(0.80, 0.80, 0.80, 0.80, 0.80), "main jet", 130, 125),
        # Only the high end: the corrector, smaller when lean, larger when rich; 3.5 of its units for one of the main
        # (from
        # memory): 130 would be 2.95 more, so 164.7, and 4.4 less, so 190.4; both go down, which is richer.
        (pull(0.87, 0.88, 0.89, 0.90, 0.91), "air corrector", 175, 160),
        (pull(0.87, 0.86, 0.84, 0.83, 0.81), "air corrector", 175, 190),
        # Only the low end: neither of the two.
        (pull(0.92, 0.91, 0.89, 0.88, 0.87), "elsewhere", None, None),
        # Rich low and lean high: the corrector; lean low and rich high: the main first.
        (pull(0.80, 0.83, 0.86, 0.89, 0.92), "air corrector", 175, 160),
        (pull(0.93, 0.90, 0.87, 0.84, 0.81), "main jet", 130, 135),
    ],
)
def test_what_a_pull_asks_for(readings, verdict, before, after):
    advice = under_load.advise(readings, 130, 175)
    assert (advice.verdict, advice.size_from, advice.size_to) == (verdict, before, after)


def test_a_corrector_is_changed_by_twenty_at_a_time_however_lean_the_high_end_is():
    advice = under_load.advise(straight(0.87, 1.05), 130, 175)
    assert (advice.verdict, advice.exact, advice.size_to) == ("air corrector", 155, 155)


@pytest.mark.parametrize(("off", "verdict"), [(0.02, "right"), (0.05, "withheld")])
def test_readings_within_three_hundredths_of_a_line_are_judged(off, verdict):
    # One of five readings lies off, so that the line through all lies a fifth of it off the four others.
    assert under_load.advise(pull(0.87, 0.87, 0.87 - off, 0.87, 0.87), 130, 175).verdict == verdict


def test_lean_under_load_stops_the_pull_whatever_else_is_said():
    advice = under_load.advise(pull(0.87, 0.89, 0.91, 0.93, 0.95), 130, 175)
    assert advice.lean
    assert put(advice.say, Words({})).startswith("Lean under load, lambda above 0.92: lift off")
    assert "Check fuel pressure" in put(advice.say, Words({}))
    assert not under_load.advise(pull(0.92, 0.92, 0.92, 0.92, 0.92), 130, 175).lean


def test_readings_that_do_not_follow_the_speed_change_no_jet():
    advice = under_load.advise(pull(0.84, 0.91, 0.80, 0.90, 0.82), 130, 175)
    assert (advice.verdict, advice.size_to) == ("withheld", None)
    assert "pull again" in put(advice.say, Words({}))


def test_one_reading_cannot_tell_the_corrector_from_the_main():
    assert under_load.advise(((4000, 0.92),), 130, 175).verdict == "main jet"
    advice = under_load.advise(((4000, 0.88),), 130, 175)
    assert (advice.verdict, advice.sureness) == ("right", "likely")
    assert "air corrector" in advice.unless


def test_without_the_corrector_in_the_job_no_size_is_made_up():
    advice = under_load.advise(pull(0.87, 0.88, 0.89, 0.90, 0.91), 130)
    assert (advice.verdict, advice.size_to) == ("air corrector", None)
    assert "read it off" in put(advice.say, Words({}))


def test_the_order_of_the_readings_does_not_matter():
    readings = pull(0.80, 0.83, 0.86, 0.89, 0.92)
    assert under_load.advise(readings[::-1], 130, 175) == under_load.advise(readings, 130, 175)


ends = st.floats(0.75, 1.05)


@given(ends, ends, st.integers(18, 40).map(lambda n: 5.0 * n))
def test_one_change_at_a_time_and_only_towards_the_target(low, high, main):
    advice = under_load.advise(straight(low, high), main, main + 45)
    assert (advice.size_to is None) == (advice.verdict not in ("main jet", "air corrector"))
    if advice.verdict == "main jet":
        error = low + high - 2 * under_load.TARGET
        assert advice.size_to != main
        assert advice.size_to % 5 == 0
        assert advice.size_to > main or error < 0
    if advice.verdict == "air corrector":
        assert (advice.size_to < advice.size_from) == (high > under_load.TARGET)


@given(ends, ends, st.integers(18, 40).map(lambda n: 5.0 * n))
def test_a_smaller_main_jet_never_leaves_the_engine_lean_past_half_a_step(low, high, main):
    advice = under_load.advise(straight(low, high), main, main + 45)
    if advice.verdict == "main jet" and advice.size_to < main:
        after = max(low, high) * (main / advice.size_to) ** 2
        assert after <= under_load.TARGET + under_load.half_step(advice.size_to) + 1e-9


@given(st.floats(0.76, 1.04), st.integers(18, 40).map(lambda n: 5.0 * n))
def test_a_second_pull_on_the_advised_main_jet_asks_for_no_more(lam, main):
    advice = under_load.advise(straight(lam, lam), main)
    if advice.verdict == "main jet":
        after = lam * (main / advice.size_to) ** 2
        again = under_load.advise(straight(after, after), advice.size_to)
        assert again.verdict == "right" or again.size_to > advice.size_to


@given(ends, ends)
def test_what_is_lean_is_never_left_as_it_is(low, high):
    advice = under_load.advise(straight(low, high), 130, 175)
    assert advice.lean == (max(low, high) > under_load.LEAN_STOP)
    if advice.lean:
        assert advice.verdict in ("main jet", "air corrector", "elsewhere")
        if advice.size_to is not None:
            assert advice.size_to > 130 if advice.verdict == "main jet" else advice.size_to < 175


def test_half_a_step_is_the_law_itself():
    # The size half a step up mends exactly that error.
    half = under_load.half_step(130)
    assert bore_for(130, under_load.TARGET + half, under_load.TARGET) == pytest.approx(132.5)
    assert half == pytest.approx(0.03, abs=0.005)


@pytest.mark.parametrize(
    ("readings", "main", "corrector", "says"),
    [
        ((), 130, 175, "There is no reading under load"),
        (((4000, 0.5),), 130, 175, "Lambda of 0.5 is outside 0.6 to 1.6"),
        (((4000, 1.7),), 130, 175, "sensor is cold or at fault"),
        (((4000, math.nan),), 130, 175, "Lambda is not a number"),
        (((0, 0.9),), 130, 175, "Engine speed of 0 rpm is outside"),
        (((-4000, 0.9),), 130, 175, "Engine speed of -4000 rpm is outside"),
        (((4000, 0.9),), 132, 175, "132 is no main jet of a series"),
        (((4000, 0.9),), 130, 173, "173 is no air corrector of a series"),
        (((4000, 0.9),), 0, 175, "Main jet number of 0 is outside"),
    ],
)
def test_what_no_meter_gives_is_refused_in_a_sentence(readings, main, corrector, says):
    with pytest.raises(Refused, match=says):
        under_load.advise(readings, main, corrector)
