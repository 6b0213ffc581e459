"""Numbers in a run are exact: made so once where they come in, and said in words that a mechanic uses."""

from __future__ import annotations

import json
import math
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.book.codec import value_in, value_out
from engine.quantity.exact import GRAIN, exact, grained, rounded
from engine.quantity.wording import decimal, fraction, quantity

fractions = st.fractions(-1000, 1000, max_denominator=10_000)


@given(st.decimals(-(10**6), 10**6, places=4))
def test_a_float_means_what_its_digits_say(value: Decimal) -> None:
    assert exact(float(value)) == Fraction(value) == exact(value)


@pytest.mark.parametrize("value", [True, None, "1", [1], math.nan, math.inf, -math.inf, Decimal("inf"), 10**20, 1e20])
def test_what_is_no_number_is_none(value: object) -> None:
    assert exact(value) is None


@given(fractions, st.fractions(Fraction(1, 1000), 10, max_denominator=1000))
def test_rounding_goes_to_the_nearest_step_and_stays_there(value: Fraction, step: Fraction) -> None:
    near = rounded(value, step)
    assert (near / step).denominator == 1
    assert abs(near - value) <= step / 2
    assert rounded(near, step) == near


@given(fractions, st.fractions(Fraction(1, 1000), 10, max_denominator=1000))
def test_rounding_never_leaves_the_range(value: Fraction, step: Fraction) -> None:
    low, high = Fraction(-7, 3), Fraction(22, 7)
    inside = min(max(value, low), high)
    assert low <= rounded(inside, step, low, high) <= high


@given(st.floats(-(10**6), 10**6))
def test_an_advisers_float_is_held_to_the_millionth_once(value: float) -> None:
    held = grained(value)
    assert abs(held - Fraction(value)) <= Fraction(1, 2 * GRAIN)
    assert grained(held) == held


@pytest.mark.parametrize("value", [math.nan, math.inf, "6", None, True])
def test_an_adviser_that_answers_no_number_is_found_out(value: object) -> None:
    with pytest.raises(ValueError, match="number"):
        grained(value)


@given(
    st.recursive(
        st.one_of(fractions, st.none(), st.text(max_size=4), st.booleans()),
        lambda inner: st.lists(inner, max_size=3).map(tuple),
        max_leaves=6,
    )
)
def test_a_value_comes_back_from_the_record_as_it_was(value: object) -> None:
    assert value_in(json.loads(json.dumps(value_out(value)))) == value


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("0", "0"),
        ("1/4", "1/4"),
        ("5/4", "1 1/4"),
        ("2", "2"),
        ("-7/8", "-7/8"),
        ("33/32", "1 1/32"),
        ("1/3", "1/3"),
        ("1/5", "0.2"),
        ("0.3", "0.3"),
    ],
)
def test_turns_are_said_as_a_mechanic_says_them(value: str, said: str) -> None:
    assert fraction(Fraction(value)) == said


@given(fractions)
def test_a_number_in_words_is_that_number_to_its_last_place(value: Fraction) -> None:
    text = decimal(value)
    assert abs(Fraction(text) - value) <= Fraction(1, 2000)
    assert text == "0" or not text.startswith("-0") or Fraction(text) != 0
    assert "." not in text or not text.endswith("0")


def test_values_in_words() -> None:
    assert quantity(Fraction(24, 5), "kg/h") == "4.8 kg/h"
    assert quantity((Fraction(5), None, Fraction(11, 2)), "kg/h") == "5, not taken, 5.5 kg/h"
    assert quantity(Fraction(35315, 100), "degC") == "80 degC"
    assert (quantity(True, None), quantity("steady", None)) == ("yes", "steady")


TRADE = ("carbur", "jet", "choke", "mixture", "bypass", "throttle", "idle", "petrol", "lambda_", "spark", "taper")


def test_run_and_book_know_no_word_of_the_trade() -> None:
    root = Path(__file__).parents[3] / "engine"
    for path in (*(root / "run").glob("*.py"), *(root / "book").glob("*.py")):
        text = path.read_text(encoding="utf-8").lower()
        assert [word for word in TRADE if word in text] == [], path.name
