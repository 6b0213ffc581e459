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


class TestHowMixtureFollowsAir:
    """Sweeps of one barrel at two airs, and what they are taken to tell of the exponent between them."""

    @staticmethod
    def learned(monkeypatch: pytest.MonkeyPatch, deviation: float, apart: float = 0.1) -> tuple[float, float]:
        """With sweeps whose airs lie so far apart (ln), and that agree best at 0.9, with such a deviation."""
        told = tuple(-0.5 * ((f - 0.9) / deviation) ** 2 for f in follows.EXPONENTS)
        monkeypatch.setattr(follows, "_agreement", lambda screws, before, after, wander: told)
        sweeps: Any = [SimpleNamespace(unit=0, air=1.0), SimpleNamespace(unit=0, air=float(np.exp(apart)))]
        screws: Any = None
        return follows.learned(screws, sweeps, 0.0)

    def test_they_count_half_since_neither_law_nor_air_is_quite_as_told(self, monkeypatch: pytest.MonkeyPatch) -> None:
        # Before: 0.3 with 0.6, weight 1/0.36. Told: 0.9 with 0.3, half of 1/0.09. So (0.3 x 2.78 + 0.9 x 5.56) / 8.33.
        assert self.learned(monkeypatch, 0.3)[0] == pytest.approx(0.70, abs=0.01)

    def test_the_exponent_is_never_known_to_less_than_0_15(self, monkeypatch: pytest.MonkeyPatch) -> None:
        mean, sd = self.learned(monkeypatch, 0.01)
        assert (mean, sd) == pytest.approx((0.9, 0.15), abs=0.005)

    @pytest.mark.parametrize(("apart", "two"), [(0.008, False), (0.012, True)])
    def test_airs_that_differ_by_less_than_a_hundredth_are_one(
        self, monkeypatch: pytest.MonkeyPatch, apart: float, two: bool
    ) -> None:
        assert (self.learned(monkeypatch, 0.01, apart)[0] > 0.8) is two
