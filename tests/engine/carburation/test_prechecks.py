"""Fit to be tuned: comparisons that hold in any unit, and refusals in a sentence."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.carburation import prechecks
from engine.carburation.refusal import Refused

rows = st.lists(st.floats(3, 20), min_size=2, max_size=12).map(tuple)


@given(rows)
def test_compression_does_not_depend_on_the_unit(row):
    bar, psi = prechecks.compression(row), prechecks.compression(tuple(14.5 * v for v in row))
    assert bar.share == pytest.approx(psi.share)
    assert bar.spread == pytest.approx(1 - bar.share)


@given(rows)
def test_cylinders_named_low_are_the_lowest(row):
    low = prechecks.compression(row).low
    sound = [v for n, v in enumerate(row, 1) if n not in low]
    assert all(row[n - 1] <= min(sound) for n in low)


def test_a_fail_names_the_cylinder():
    one = prechecks.compression((12, 12, 8, 12))
    assert (one.verdict, one.low) == ("fail", (3,))
    assert "low on cylinder 3" in one.say


@given(st.floats(1, 200), st.floats(0, 1))
def test_leak_down_is_between_none_and_all(supply, share):
    percent, _ = prechecks.leak_down(supply, supply * share)
    assert percent == pytest.approx(100 * (1 - share), abs=1e-6)


@pytest.mark.parametrize(("ask", "says"), [
    (lambda: prechecks.compression((12,)), "give two or more"),
    (lambda: prechecks.compression((12, 0)), "Compression of cylinder 2 of 0 must be a figure above zero"),
    (lambda: prechecks.compression((12, math.nan)), "Compression of cylinder 2 is not a number"),
    (lambda: prechecks.leak_down(80, 90), "can't exceed the supply"),
    (lambda: prechecks.leak_down(0, 0), "Supply pressure of 0 must be"),
    (lambda: prechecks.dwell(95, 4), "Look at the number of cylinders set on the meter"),
])
def test_what_no_gauge_gives_is_refused(ask, says):
    with pytest.raises(Refused, match=says):
        ask()
