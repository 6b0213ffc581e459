"""Emission limits as data: a shop's own table is read or refused in a sentence; what is not known is never passed."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.carburation import limits
from engine.carburation.refusal import Refused

OWN = """
jurisdictions:
  Sample:
    title: Invented
    periods:
      - {before: 1980-01-01, co: none, hc: none}
      - {from: 1980-01-01, co: 3.5, hc: none}
"""


@pytest.fixture
def table(tmp_path):
    def write(text: str) -> dict[str, limits.Jurisdiction]:
        path = tmp_path / "limits.yaml"
        path.write_text(text, encoding="utf-8", newline="\n")
        return limits.load(path)

    return write


def test_a_shop_may_put_its_own_table_in_place(table):
    own = table(OWN)
    assert limits.judge(own, "Sample", "1979-12-31", 9.0).result == "no limit"
    assert limits.judge(own, "Sample", date(1980, 1, 1), 3.5).result == "pass"
    assert limits.judge(own, "Sample", "1999-01-01", 3.6).result == "fail"


@pytest.mark.parametrize(("jurisdiction", "first_used", "says"), [
    ("", "1980-01-01", "No jurisdiction is set"), ("Else", "1980-01-01", "has no jurisdiction 'Else'; it has GB"),
    ("GB", "", "date of first use is not in the job"), ("GB", "2001-01-01", "no limit in this table"),
])
def test_what_is_not_known_is_not_set_and_never_passed(jurisdiction, first_used, says):
    judgement = limits.judge(limits.load(), jurisdiction, first_used, 0.1, 50)
    assert judgement.result == "not set"
    assert judgement.co_limit is None
    assert says in judgement.say


def test_what_was_not_read_is_said():
    assert "HC not read" in limits.judge(limits.load(), "GB", "1980-01-01", 3.0).say


@given(st.dates(date(1900, 1, 1), date(1992, 7, 31)), st.floats(0, 12), st.floats(0, 12))
def test_more_co_never_turns_a_fail_into_a_pass(day, one, other):
    table = limits.load()
    low, high = sorted((one, other))
    if limits.judge(table, "GB", day, low).result == "fail":
        assert limits.judge(table, "GB", day, high).result == "fail"


@given(st.dates(date(1900, 1, 1), date(2030, 1, 1)))
def test_every_day_falls_into_one_period_at_most(day):
    for jurisdiction in limits.load().values():
        assert sum(p.covers(day) for p in jurisdiction.periods) <= 1


@pytest.mark.parametrize(("text", "says"), [
    ("jurisdictions: [", "are no YAML at line"), ("a: 1", "need a key `jurisdictions`"), ("", "need a key"),
    ("jurisdictions: {A: 3}", "A needs a list of `periods`"),
    ("jurisdictions: {A: {periods: [{co: 3, hc: none, nox: 1}]}}", "period 1 has an unknown key 'nox'"),
    ("jurisdictions: {A: {periods: [{co: 3}]}}", "does not give `hc`"),
    ("jurisdictions: {A: {periods: [{co: lots, hc: none}]}}", "`co`: 'lots' does not start with a number"),
    ("jurisdictions: {A: {periods: [{co: 3 kPa, hc: none}]}}", "`co`"),
    ("jurisdictions: {A: {periods: [{co: 0, hc: none}]}}", "would pass nothing"),
    ("jurisdictions: {A: {periods: [{from: soon, co: 3, hc: none}]}}", "`from`: 'soon' is no date"),
    ("jurisdictions: {A: {periods: [{from: 1990-01-01, before: 1980-01-01, co: 3, hc: none}]}}", "ends before"),
    ("jurisdictions: {A: {periods: [{co: 3, hc: none}, {from: 1990-01-01, co: 2, hc: none}]}}", "cover the same days"),
    ("jurisdictions: {A: {periods: [3]}}", "period 1 is not written as"),
])
def test_a_broken_table_is_refused_with_its_place(table, text, says):
    with pytest.raises(Refused, match=says):
        table(text)


def test_a_missing_table_is_named(tmp_path):
    with pytest.raises(Refused, match="can't be read"):
        limits.load(tmp_path / "none.yaml")


@pytest.mark.parametrize("first_used", ["May 1976", "1976-13-01", "76"])
def test_a_date_that_is_none_is_refused(first_used):
    with pytest.raises(Refused, match=r"is no date\. Write it like 1976-05-01"):
        limits.judge(limits.load(), "GB", first_used, 3)
