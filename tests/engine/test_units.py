"""Numbers as a technician types them, held exactly; what is none is refused in a sentence."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.quantity.units import UNITS, NotAQuantity, parse_number, parse_quantity, write_number

fractions = st.fractions(min_value=-1000, max_value=1000, max_denominator=5000)


@pytest.mark.parametrize(
    ("typed", "value"),
    [
        ("1 1/4", "5/4"),
        ("1.25", "5/4"),
        ("1,25", "5/4"),
        ("5/4", "5/4"),
        ("1/4", "1/4"),
        (".5", "1/2"),
        (",5", "1/2"),
        ("3.", "3"),
        ("3,", "3"),
        ("0", "0"),
        ("-1 1/4", "-5/4"),
        ("+2", "2"),
        ("- 3/8", "-3/8"),
        ("  1  1/4  ", "5/4"),
        ("1 1 / 4", "5/4"),
        ("012", "12"),
        ("0.30", "3/10"),
        ("1/3", "1/3"),
    ],
)
def test_a_number_is_read_as_it_is_said(typed, value):
    assert parse_number(typed) == (Fraction(value), "")


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("4.5 kg/h", "4.5", "kg/h"),
        ("4,5kg/h", "4.5", "kg/h"),
        ("1 1/4 turn", "5/4", "turn"),
        ("12 flat", "12", "flat"),
        ("88 °C", "88", "°C"),
        ("-10degC", "-10", "degC"),
        ("5 %", "5", "%"),
        ("5%", "5", "%"),
        ("0.2 bar", "0.2", "bar"),
    ],
)
def test_a_unit_may_follow(typed, value, unit):
    number, found = parse_quantity(typed)
    assert (number, found.name) == (Fraction(value), unit)


def test_a_bare_number_takes_the_unit_that_is_asked_for():
    assert parse_quantity("4.5", "kg/h")[1].name == "kg/h"
    assert parse_quantity("4.5 g/s", "kg/h")[1].name == "g/s"
    assert parse_quantity("4.5")[1].dimension == "number"


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "does not start with a number"),
        ("   ", "does not start with a number"),
        ("five", "does not start"),
        ("nan", "does not start with a number"),
        ("inf", "does not start with a number"),
        (".", "does not start"),
        ("-", "does not start"),
        ("/4", "does not start"),
        ("1/0", "divides by zero"),
        ("1 1/0", "divides by zero"),
        ("4.5 furlong", "'furlong' is not a known unit"),
        ("1 2", "'2' can't stand behind the number"),
        ("1e3", "not a known unit"),
        ("1.2.3", "more than one decimal mark"),
        ("1,234.5", "more than one decimal mark"),
        ("1/2/3", "'/3' can't stand behind the number"),
        ("--1", "does not start"),
    ],
)
def test_what_is_no_number_is_refused_in_a_sentence(typed, says):
    with pytest.raises(NotAQuantity, match=says) as refusal:
        parse_quantity(typed)
    assert str(refusal.value).endswith(".")


@given(st.text(max_size=200))
def test_anything_pasted_is_a_quantity_or_a_sentence(pasted):
    try:
        value, unit = parse_quantity(pasted)
    except NotAQuantity as refusal:
        assert len(str(refusal)) < 200
    else:
        assert isinstance(value, Fraction)
        assert unit.name in UNITS


@given(fractions)
def test_a_number_that_is_written_is_read_back_exactly(value):
    assert parse_number(write_number(value)) == (value, "")


@given(fractions, st.sampled_from(sorted(UNITS)))
def test_a_quantity_that_is_written_is_read_back_exactly(value, unit):
    number, found = parse_quantity(f"{write_number(value)} {unit}")
    assert (number, found) == (value, UNITS[unit])


@given(st.integers(0, 20), st.integers(1, 31))
def test_turns_said_and_turns_in_decimals_are_the_same(whole, parts):
    value = whole + Fraction(parts, 32)
    said = f"{whole} {parts}/32"
    assert (
        parse_number(said)[0]
        == parse_number(write_number(value))[0]
        == parse_number(write_number(value).replace(".", ","))[0]
        == value
    )
