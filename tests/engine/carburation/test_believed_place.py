"""Where a mixture screw is believed to belong is said with its doubt, and the doubt shrinks as more is read."""

from __future__ import annotations

import numpy as np

from engine.carburation.policy.believed_place import span_of_best


class Straight:
    """A mixture whose logarithm grows by `slope` a turn out, at its crest for 1.5 turns."""

    def __init__(self, slope: float) -> None:
        self.slope = slope

    def xs(self, i: int, turns: float) -> np.ndarray:
        return self.slope * (turns - 1.5) + np.array([-0.1, 0.0, 0.1])


def test_the_span_holds_the_best_place_and_is_as_wide_as_the_doubt_over_the_slope() -> None:
    low, high = span_of_best(Straight(0.3), 0, 1.5, 0.1, (0.0, 4.0))  # type: ignore[arg-type]
    # 90 of 100 of a normal distribution lie within 1.645 standard deviations: 0.1645 / 0.3 of a turn either side.
    assert low <= 1.5 - 0.1645 / 0.3 <= low + 0.125
    assert high >= 1.5 + 0.1645 / 0.3 >= high - 0.125


def test_a_surer_belief_and_a_steeper_screw_narrow_it_and_it_keeps_to_the_reach() -> None:
    def wide(slope: float, doubt: float) -> float:
        low, high = span_of_best(Straight(slope), 0, 1.5, doubt, (0.0, 4.0))  # type: ignore[arg-type]
        return high - low

    assert wide(0.3, 0.05) < wide(0.3, 0.2) and wide(0.6, 0.2) < wide(0.3, 0.2)
    assert span_of_best(Straight(0.3), 0, 1.5, 9.0, (0.5, 3.0)) == (0.5, 3.0)  # type: ignore[arg-type]
