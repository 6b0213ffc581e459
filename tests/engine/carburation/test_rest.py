"""What a mixture screw's rest says of the idle jet, and what a check that found something takes away from it."""

import math

import pytest

from engine.carburation.estimation.masks import Mask
from engine.carburation.estimation.rest import judge, richness

DOUBT = 0.04


def sizes(lean, numbers=None, usual=None, doubt=DOUBT):
    numbers = numbers or [50.0] * len(lean)
    verdict = judge(lean, [doubt] * len(lean), numbers, 5.0, usual)
    return [verdict.likeliest(i)[0] for i in range(len(lean))]


@pytest.mark.parametrize("off", [-2, -1, 1, 2])
def test_one_screw_out_by_what_a_jet_of_that_many_sizes_lacks_names_that_jet_and_no_other(off):
    lean = [0.0, 0.0, richness(50.0, 5.0, off), 0.0]
    assert sizes(lean) == [0, 0, off, 0]


def test_all_screws_out_alike_by_one_size_are_all_jets():
    verdict = judge([richness(50.0, 5.0, 1)] * 4, [DOUBT] * 4, [50.0] * 4, 5.0)
    assert verdict.all_by[1] > 0.85


def test_a_screw_further_out_than_two_sizes_explain_is_no_riddle():
    assert sizes([0.0, 0.0, 0.8, 0.0])[2] == 2
    assert sizes([0.0, 0.0, -0.9, 0.0])[2] == -2


def test_the_table_weighs_in_where_the_screws_leave_it_open_and_does_not_rule():
    between = [0.12] * 4  # less than a size, all alike: the screws alone can't tell
    small = judge(between, [DOUBT] * 4, [50.0] * 4, 5.0, 55.0).all_by[1]
    right = judge(between, [DOUBT] * 4, [50.0] * 4, 5.0, 50.0).all_by[1]
    assert small > 2 * right
    assert judge([0.0] * 4, [DOUBT] * 4, [50.0] * 4, 5.0, 55.0).all_by[1] < 0.1


def test_of_two_numbers_in_equal_count_the_table_tells_which_is_meant():
    lean = [-richness(50.0, 5.0, 2), 0.0, -richness(50.0, 5.0, 2), 0.0]
    assert sizes(lean, [60.0, 50.0, 60.0, 50.0], 50.0) == [-2, 0, -2, 0]


def test_doubt_about_the_mixture_takes_the_sureness_away():
    lean = [0.0, 0.0, richness(50.0, 5.0, 1), 0.0]
    sure = judge(lean, [DOUBT] * 4, [50.0] * 4, 5.0).likeliest(2)[1]
    vague = judge(lean, [DOUBT, DOUBT, 0.2, DOUBT], [50.0] * 4, 5.0).likeliest(2)
    assert sure > 0.85 and (vague[0] == 0 or vague[1] < sure)


# --- what the checks found ------------------------------------------------------------------------------------------


def test_a_low_level_and_a_leak_lean_a_barrel_and_a_high_level_enriches_it():
    assert Mask(level=-2.0).shift > 0 and Mask(leak=True).shift > 0 > Mask(level=2.0).shift
    assert Mask(level=0.5).shift == Mask().shift == 0.0
    shares = []
    for fuel, discharge in ((0.20, 0.6), (0.20, 0.8), (0.25, 0.6), (0.25, 0.8)):  # kg/h through a 50 jet [assumed]
        speed = fuel / 3600 / (745 * math.pi / 4 * 0.5e-3**2 * discharge)
        shares.append(0.5 * 745 * 9.81e-3 / (0.5 * 745 * speed**2))  # Bernoulli: half, by the root
    assert min(shares) < Mask(level=-1.0).shift < max(shares)


@pytest.mark.parametrize(
    ("mask", "like", "unlike"),
    [(Mask(leak=True), 1, -1), (Mask(level=-2.0), 1, -1), (Mask(level=2.0), -1, 1), (Mask(hole=True), -1, 1)],
)
def test_what_was_found_hides_the_jet_that_looks_like_it_and_not_the_other(mask, like, unlike):
    assert mask.hides(like) and not mask.hides(unlike) and mask.doubt >= 0.0


@pytest.mark.parametrize(
    ("mask", "word"),
    [
        (Mask(leak=True, hole=True), "hole uncovered"),
        (Mask(leak=True, level=3.0), "level off"),
        (Mask(leak=True, unplaced=True), "leak not excluded"),
        (Mask(unplaced=True), "mixture not found"),
        (Mask(apart=0.2), "air not even"),
        (Mask(), "between sizes"),
    ],
)
def test_the_reason_is_the_gravest_thing_that_was_found(mask, word):
    assert mask.reason == word
