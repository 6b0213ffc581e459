"""Whether a row of gauge readings can be believed, and which rows speak of the idle as it is; it turns nothing."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Any

from engine.carburation.estimation.seen import Seen, numbers
from engine.evidence import Place, ReadingView
from engine.judgement import Found

#: A reading this many times the middle one is a slip of hand or eye: no idling bank draws so unevenly [assumed].
MANY_TIMES = 6.0
#: A turn that moves every needle, so that figures all the same are a stuck gauge [assumed: a tenth of a turn is twice
#: the scatter of a hand gauge].
TURNED_ENOUGH = 0.1


def problem(view: ReadingView, spots: Sequence[Place], seen: Sequence[Seen]) -> Found | None:
    """Why the latest row can't be used; None where it can.

    Refused: a row of the wrong length, zeros, a figure many times the others', and a gauge that shows the same figures
    although screws were turned. Holes alone are no fault.
    """
    if view.row is None:
        return unsound("no row")
    row = numbers(view.row)
    if len(row) != len(spots):
        return unsound("wrong count", has=len(row), due=len(spots))
    taken = [v for v in row if v is not None]
    if not taken:
        return unsound("none read")
    dead = [p for p, v in zip(spots, row, strict=True) if v is not None and v <= 0.0]
    if dead:
        return unsound("shows nothing", places=dead)
    middle = median(taken)
    far = [p for p, v in zip(spots, row, strict=True) if v is not None and v > MANY_TIMES * middle]
    if far:
        return unsound("many times the others", places=far)
    return _stuck(view, row, seen)


def _stuck(view: ReadingView, row: tuple[float | None, ...], seen: Sequence[Seen]) -> Found | None:
    taken = [s for s in seen if s.row(view.quantity) is not None]
    if len(taken) < 2 or taken[-1].row(view.quantity) != row or taken[-2].row(view.quantity) != row or len(row) < 2:
        return None
    start, end = seen.index(taken[-2]), seen.index(taken[-1])
    most = max((abs(v) for s in seen[start + 1 : end + 1] for v in s.turned.values() if v is not None), default=0.0)
    return unsound("stuck", row=row, turned=most) if most >= TURNED_ENOUGH else None


def unsound(way: str, **figures: Any) -> Found:
    """The finding for readings that are not believed."""
    return Found("gauge-not-believed", figures=figures, way=way)
