"""What the checks found beside a jet: how it moves a mixture screw's rest, and what it hides."""

import math

import pytest

from engine.carburation.estimation.masks import Mask


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
        (Mask(leak=True), "leak not excluded"),
        (Mask(apart=0.2), "air not even"),
        (Mask(), "between sizes"),
    ],
)
def test_the_reason_is_the_gravest_thing_that_was_found(mask, word):
    assert mask.reason() == word


def test_where_nothing_was_found_a_mixture_not_placed_is_the_reason():
    assert Mask().reason(unplaced=True) == "mixture not found"
    assert Mask(leak=True).reason(unplaced=True) == "leak not excluded"
