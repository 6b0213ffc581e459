"""What belief leaves open however much was seen: how many laws of a screw, which exponents of air, which jets."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from engine.carburation.estimation import bank, follows, laws, mixture


@pytest.mark.parametrize("likelier", [0.5, 1.0, 3.0, 8.0])
def test_never_fewer_than_ten_laws_of_a_screw_are_left_however_much_one_is_likelier(likelier: float) -> None:
    screws: Any = SimpleNamespace(mid=1.25)
    odds = mixture._law_odds(screws, [], -likelier * np.arange(laws.LAWS, dtype=float))
    assert 10.0 <= 1.0 / float((odds**2).sum()) < 13.0


def test_the_exponents_of_air_that_are_weighed_lie_two_and_a_half_deviations_either_way() -> None:
    for end in (min(follows.EXPONENTS), max(follows.EXPONENTS)):
        assert abs(end - follows.FOLLOWS) == pytest.approx(2.5 * follows.FOLLOWS_SD)


def test_three_jets_on_the_move_are_tried_in_every_way_and_of_four_one_at_most_is_wrong() -> None:
    sizes = len(bank.SIZES)
    assert len(bank._tries(3)) == sizes**3
    assert len(bank._tries(4)) == 1 + 4 * (sizes - 1)
