"""Emission limits as data: a shop's own table is read or refused in a sentence; what is not known is never passed."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.carburation.rules import limits
from engine.carburation.rules.refusal import Refused

OWN = """
in_force: Sample
jurisdictions:
  Sample:
    title: Invented
    periods:
      - {before: 1980-01-01, co: none, hc: none}
      - {from: 1980-01-01, co: 3.5, hc: none}
"""


@pytest.fixture
def table(tmp_path):
    def write(text: str) -> limits.Table:
        path = tmp_path / "limits.yaml"
        path.write_text(text, encoding="utf-8", newline="\n")
        return limits.load(path)

    return write


def test_a_shop_may_put_its_own_table_in_place(table):
    own = table(OWN)
    assert limits.judge(own, "1979-12-31", 9.0).result == "no limit"
    assert limits.judge(own, date(1980, 1, 1), 3.5).result == "pass"
    assert limits.judge(own, "1999-01-01", 3.6).result == "fail"


@pytest.mark.parametrize(
    ("jurisdiction", "first_used", "says"),
    [
        ("", "1980-01-01", "No jurisdiction is set"),
        ("Else", "1980-01-01", "has no jurisdiction 'Else'; it has GB"),
        ("GB", "", "date of first use is not in the job"),
        ("GB", "2001-01-01", "no limit in this table"),
    ],
)
def test_what_is_not_known_is_not_set_and_never_passed(jurisdiction, first_used, says):
    judgement = limits.judge(limits.load(), first_used, 0.1, 50, jurisdiction)
    assert judgement.result == "not set"
    assert judgement.co_limit is None
    assert says in judgement.say


def test_nothing_read_gives_the_limit_and_passes_nothing():
    judgement = limits.judge(limits.load(), "1980-01-01", jurisdiction="GB")
    assert (judgement.result, judgement.co_limit, judgement.hc_limit) == ("not read", 4.5, 1200)
    assert "CO at most 4.5 %; HC at most 1200 ppm" in judgement.say


def test_hc_alone_passes_nothing_but_may_fail():
    assert limits.judge(limits.load(), "1980-01-01", None, 200, "GB").result == "not read"
    assert limits.judge(limits.load(), "1980-01-01", None, 2000, "GB").result == "fail"


def test_as_shipped_no_jurisdiction_holds():
    assert limits.load().in_force == ""


def test_the_job_comes_before_the_shops_table(table):
    both = table(OWN + "  Other:\n    periods: [{co: 1, hc: none}]\n")
    assert limits.judge(both, "1979-01-01", 3).result == "no limit"
    assert limits.judge(both, "1979-01-01", 3, None, "Other").result == "fail"


def test_what_was_not_read_is_said():
    assert "HC at most 1200 ppm" in limits.judge(limits.load(), "1980-01-01", 3.0, None, "GB").say


@given(st.dates(date(1900, 1, 1), date(1992, 7, 31)), st.floats(0, 12), st.floats(0, 12))
def test_more_co_never_turns_a_fail_into_a_pass(day, one, other):
    table = limits.load()
    low, high = sorted((one, other))
    if limits.judge(table, day, low, None, "GB").result == "fail":
        assert limits.judge(table, day, high, None, "GB").result == "fail"


@given(st.dates(date(1900, 1, 1), date(2030, 1, 1)))
def test_every_day_falls_into_one_period_at_most(day):
    for jurisdiction in limits.load().jurisdictions.values():
        assert sum(p.covers(day) for p in jurisdiction.periods) <= 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("jurisdictions: [", "are no YAML at line"),
        ("a: 1", "need a key `jurisdictions`"),
        ("", "need a key"),
        (
            "{in_force: B, jurisdictions: {A: {periods: [{co: 3, hc: none}]}}}",
            "`in_force` names 'B', which has no entry",
        ),
        ("jurisdictions: {A: 3}", "A needs a list of `periods`"),
        ("jurisdictions: {A: {periods: [{co: 3, hc: none, nox: 1}]}}", "period 1 has an unknown key 'nox'"),
        ("jurisdictions: {A: {periods: [{co: 3}]}}", "does not give `hc`"),
        ("jurisdictions: {A: {periods: [{co: lots, hc: none}]}}", "`co`: 'lots' does not start with a number"),
        ("jurisdictions: {A: {periods: [{co: 3 kPa, hc: none}]}}", "`co`"),
        ("jurisdictions: {A: {periods: [{co: 0, hc: none}]}}", "would pass nothing"),
        ("jurisdictions: {A: {periods: [{from: soon, co: 3, hc: none}]}}", "`from`: 'soon' is no date"),
        ("jurisdictions: {A: {periods: [{from: 1990-01-01, before: 1980-01-01, co: 3, hc: none}]}}", "ends before"),
        (
            "jurisdictions: {A: {periods: [{co: 3, hc: none}, {from: 1990-01-01, co: 2, hc: none}]}}",
            "cover the same days",
        ),
        ("jurisdictions: {A: {periods: [3]}}", "period 1 is not written as"),
    ],
)
def test_a_broken_table_is_refused_with_its_place(table, text, says):
    with pytest.raises(Refused, match=says):
        table(text)


def test_a_missing_table_is_named(tmp_path):
    with pytest.raises(Refused, match="can't be read"):
        limits.load(tmp_path / "none.yaml")


@pytest.mark.parametrize("first_used", ["May 1976", "1976-13-01", "76"])
def test_a_date_that_is_none_is_refused(first_used):
    with pytest.raises(Refused, match=r"is no date\. Write it like 1976-05-01"):
        limits.judge(limits.load(), first_used, 3, None, "GB")


@pytest.mark.parametrize(("year", "result"), [("1980", "pass"), ("1975", "not set"), ("1990", "pass")])
def test_a_year_alone_is_enough_where_one_limit_held_all_through_it(year, result):
    judgement = limits.judge(limits.load(), year, 3.0, 500, "GB")
    assert judgement.result == result
    assert result != "not set" or "the day of first use is needed" in judgement.say
