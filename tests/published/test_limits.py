"""Emission limits by date of first use, against SI 2001/25 and a tester's guide."""

from __future__ import annotations

import pytest

from engine.carburation.rules import limits


@pytest.mark.table("SI 2001/25, source S12")
@pytest.mark.parametrize(
    ("first_used", "co", "hc", "result"),
    [
        # SI 2001/25 schedule 3 (source S21): 4.5 % CO before 1 August 1986, 3.5 % from then to 31 July 1992.
        ("1976-05-01", 4.2, None, "pass"),
        ("1987-01-01", 4.2, None, "fail"),
        ("1986-07-31", 4.5, None, "pass"),
        ("1986-08-01", 4.5, None, "fail"),
        ("1992-07-31", 3.5, None, "pass"),
        # A tester's guide (source S12): 1200 ppm HC; smoke only before 1 August 1975.
        ("1976-05-01", 4.2, 1200, "pass"),
        ("1976-05-01", 4.2, 1201, "fail"),
        ("1975-07-31", 8.0, 2000, "no limit"),
        ("1975-08-01", 8.0, 2000, "fail"),
        # The table says nothing of later vehicles, so nothing passes.
        ("1992-08-01", 0.1, 10, "not set"),
    ],
)
def test_limits_by_first_use(first_used, co, hc, result):
    assert limits.judge(limits.load(), first_used, co, hc, "GB").result == result


@pytest.mark.table("source S22")
def test_hc_that_fails_alone_may_be_read_again_at_2000_rpm():
    # Source S22, quoting a tester's manual.
    say = limits.judge(limits.load(), "1980-01-01", 3.0, 1500, "GB").say
    assert "exceeds 1200 ppm" in say
    assert "2000 rpm" in say
