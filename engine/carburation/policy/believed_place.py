"""Between which positions a screw's best place is believed to lie, for whoever shows the search; it moves nothing."""

from __future__ import annotations

from engine.carburation.estimation.mixture import Mixture

#: Half of the interval that holds the best place with 90 of 100, in standard deviations [exact: normal distribution].
NINETY = 1.645
#: How finely it is looked for, in turns [assumed: a hand counts no finer than half of it].
GRAIN = 1 / 8


def span_of_best(mix: Mixture, u: int, best: float, doubt: float, reach: tuple[float, float]) -> tuple[float, float]:
    """The positions of unit `u`, within `reach` (turns), whose mixture differs from that at `best` by less than the
    `doubt` of the mixture there (standard deviation of its logarithm) allows."""
    half = NINETY * doubt
    there = float(mix.xs(u, best).mean())

    def walk(way: float, end: float) -> float:
        at = best
        while (at + way <= end) if way > 0 else (at + way >= end):
            if abs(float(mix.xs(u, at + way).mean()) - there) > half:
                return at + way
            at += way
        return end

    return max(reach[0], walk(-GRAIN, reach[0])), min(reach[1], walk(GRAIN, reach[1]))
