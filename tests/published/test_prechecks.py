"""Fit to be tuned: compression, leak-down and dwell against makers' rules and worked figures."""

from __future__ import annotations

import pytest

from engine.carburation import prechecks


def test_compression_by_share_and_spread():
    # Source S38, a maker: the lowest at least 75 % of the highest. Common practice: 10 % good, 15 % marginal.
    one = prechecks.compression((172, 168, 165, 150))
    assert one.share == pytest.approx(0.872, abs=0.001)
    assert one.spread == pytest.approx(0.128, abs=0.001)
    assert one.verdict == "marginal"
    assert prechecks.compression((172, 168, 165, 158)).verdict == "good"
    assert prechecks.compression((172, 168, 165, 128)).verdict == "fail"


def test_two_neighbours_low_point_to_the_head_gasket():
    # Source S38, a maker.
    assert prechecks.compression((170, 110, 112, 168)).gasket
    assert not prechecks.compression((110, 170, 112, 168)).gasket


def test_leak_down_is_the_share_lost():
    # Geometry: 80 in and 70 out is 12.5 %; sources S40 to S43 grade it and disagree.
    assert prechecks.leak_down(80, 70) == (12.5, "acceptable")
    assert [prechecks.leak_down(100, 100 - n)[1] for n in (5, 18, 30)] == ["very good", "serviceable", "fail"]


@pytest.mark.parametrize(("degrees", "cylinders", "percent"), [(60, 4, 66.7), (35, 6, 58.3)])
def test_dwell_as_a_share(degrees, cylinders, percent):
    # Source S44, club.
    assert 100 * prechecks.dwell(degrees, cylinders) == pytest.approx(percent, abs=0.05)
