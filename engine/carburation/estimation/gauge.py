"""Whether a row of gauge readings can be believed, and which rows speak of the idle as it is; it turns nothing."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from engine.carburation.advisers import saying
from engine.carburation.estimation.seen import Seen, numbers
from engine.evidence import Finding, Place, ReadingView


def problem(view: ReadingView, spots: Sequence[Place], seen: Sequence[Seen]) -> str | None:
    """Why the latest row can't be used, as a sentence for the screen; None where it can.

    Refused: a row of the wrong length, zeros, a figure many times the others', and a gauge that shows the same figures
    although screws were turned. Holes alone are no fault.
    """
    if view.row is None:
        return "No row of readings was taken yet. Take one at every place."
    row = numbers(view.row)
    due = len(spots)
    if len(row) != due:
        return (
            f"The row has {len(row)} readings, but this bank has {due} places. Take the row again, one at each place."
        )
    taken = [v for v in row if v is not None]
    if not taken:
        return "No place was read. Take the row again."
    dead = [saying.place(p) for p, v in zip(spots, row, strict=True) if v is not None and v <= 0.0]
    if dead:
        return (
            f"The gauge shows nothing at {saying.listed(dead)}. A running barrel always draws: seat the gauge "
            "square on "
            "the mouth, see that its needle is free, and read again."
        )
    middle = median(taken)
    far = [saying.place(p) for p, v in zip(spots, row, strict=True) if v is not None and v > 6.0 * middle]
    if far:
        return f"The reading at {saying.listed(far)} is many times the others. Read that place again."
    return _stuck(view, row, seen)


def _stuck(view: ReadingView, row: tuple[float | None, ...], seen: Sequence[Seen]) -> str | None:
    taken = [s for s in seen if s.row(view.quantity) is not None]
    if len(taken) < 2 or taken[-1].row(view.quantity) != row or taken[-2].row(view.quantity) != row or len(row) < 2:
        return None
    start, end = seen.index(taken[-2]), seen.index(taken[-1])
    most = max((abs(v) for s in seen[start + 1 : end + 1] for v in s.turned.values() if v is not None), default=0.0)
    if most < 0.1:
        return None
    return (
        f"The gauge shows exactly {saying.figures(row)} as before, although a screw was turned by "
        f"{saying.turns(most)}. "
        "Tap the gauge and see that its needle is free, and that the screw touches its lever; then read again."
    )


def unsound(say: str, where: Sequence[Place] = ()) -> Finding:
    """The finding for a row that is not believed."""
    return Finding("gauge-not-believed", "note", tuple(where), say, "Take the row again before anything is turned.")
