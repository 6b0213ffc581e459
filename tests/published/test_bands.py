"""Screw bands: where mixture screws come to rest, by kind of screw, as the trade and its guides say."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.quantity.units import convert
from engine.vocabulary import screws
from engine.vocabulary.vocabulary import SHIPPED


@pytest.mark.table("common practice, and source S10")
@pytest.mark.parametrize(
    ("screw", "turns", "jet"),
    [
        # Common practice, no source: short taper rests at 1 to 1.5; past 1.5 to 2 the jet is too small; at half a
        # turn too
        # large.
        ("short taper", "1", "right"),
        ("short taper", "1.5", "right"),
        ("short taper", "1.75", "perhaps too small"),
        ("short taper", "2.25", "too small"),
        ("short taper", "0.75", "perhaps too large"),
        ("short taper", "0.25", "too large"),
        # Common practice, no source: long taper rests at 2 to 3; reconsider the jet beyond. Lower doubt from memory.
        ("long taper", "2", "right"),
        ("long taper", "3", "right"),
        ("long taper", "3.25", "too small"),
        ("long taper", "1.75", "perhaps too large"),
        ("long taper", "1", "too large"),
        # Source S10, club: a fuel screw beyond 1 or 3 turns means the wrong jet; the direction is derived.
        ("fuel screw", "2", "right"),
        ("fuel screw", "3.5", "too small"),
        ("fuel screw", "0.5", "too large"),
        # Source S10, club: an air screw works the other way round; the numbers are from memory.
        ("air screw", "1.5", "right"),
        ("air screw", "0.5", "too small"),
        ("air screw", "3", "too large"),
    ],
)
def test_what_a_resting_place_says_of_the_jet(screw, turns, jet):
    assert SHIPPED.band(screw).jet(Fraction(turns)) == jet


@pytest.mark.table("common practice, sources S7 and S8")
@pytest.mark.parametrize(
    ("screw", "turns"),
    [
        # Short taper 1 turn: common practice. Long taper 2.5: from memory. Pilot screws 2 turns: source S7, a maker.
        # Air
        # screws 1.5 to 2: source S8.
        ("short taper", "1"),
        ("long taper", "2.5"),
        ("fuel screw", "2"),
        ("air screw", "1.5"),
    ],
)
def test_where_a_screw_is_first_set(screw, turns):
    band = SHIPPED.band(screw)
    assert band.start == Fraction(turns)
    assert band.jet(band.start) == "right"


@pytest.mark.law("geometry, and source S24")
def test_twelve_flats_are_two_turns():
    # Source S24, club, and exact geometry.
    assert Fraction(screws.JET_NUT_START, screws.FLATS_PER_TURN) == 2
    assert convert(Fraction(screws.JET_NUT_START), "flat", "turn") == 2
    assert SHIPPED.band("jet nut") is None, "a jet nut has no idle jet to judge"


@pytest.mark.table("source S24")
def test_bodies_13_and_16_flats_down_stand_at_the_alarm_and_18_past_it():
    # Source S24, club: the example is 13 against 16 to 18.
    assert screws.JET_NUT_SPREAD == 16 - 13
    assert screws.JET_NUT_SPREAD < 18 - 13


@pytest.mark.law("an air screw leans as it goes out")
@pytest.mark.parametrize("screw", [s for s in screws.MIXTURE_SCREWS if s.band], ids=lambda s: s.name)
def test_a_band_lies_inside_its_doubt_and_says_where_it_comes_from(screw):
    band = screw.band
    assert band.doubt[0] <= band.rest[0] < band.rest[1] <= band.doubt[1]
    assert screw.source
    assert (band.below == "small") == (screw.out == "leaner"), "a screw that leans as it goes out judges the other way"
