"""What makes a row of a meter doubtful by itself or against the other meter; it moves no screw."""

from __future__ import annotations

from collections.abc import Sequence

from engine.carburation.estimation.seen import numbers
from engine.carburation.rules import exhaust
from engine.evidence import Place, ReadingView
from engine.judgement import Found

#: A probe that shows leaner than this may see the oxygen of a misfire [common practice; lean misfire at idle begins at
#: about lambda 1.2, assumed].
MISFIRE = 1.12
#: Lambda by probe and by CO of one pipe further apart than this are two stories [assumed: three times the scatter of
#: both, about 0.010 and 0.006].
APART = 0.04
#: No engine that fires gives more CO, % [derived: lambda 0.68]; a meter that shows more is out of order.
CO_MOST = 12.0


def doubts(
    lambda_: ReadingView | None, carbon_monoxide: ReadingView | None, spots: Sequence[Place]
) -> tuple[Found, ...]:
    """Findings on the newest rows of lambda and CO, screw by screw; a screw that feeds several pipes is named once."""
    lam, co = _row(lambda_, len(spots)), _row(carbon_monoxide, len(spots))
    found: list[Found] = []
    for i, place in enumerate(spots):
        shown = [v for v in lam[i] if v is not None]
        if shown and max(shown) > MISFIRE:
            found.append(Found("lambda-lean-by-misfire", (place,), {"place": place, "lam": max(shown)}))
            continue
        for a, b in zip(lam[i], co[i], strict=False):
            if a is None or b is None or not exhaust.CO_BLIND <= 100.0 * b <= CO_MOST:
                continue
            by_co = exhaust.lambda_of_co(100.0 * b)
            if abs(a - by_co) > APART:
                found.append(Found("meters-disagree", (place,), {"place": place, "lam": a, "by_co": by_co}))
                break
    return tuple(found)


def _row(view: ReadingView | None, n: int) -> list[Sequence[float | None]]:
    """The newest row of a meter, the pipes of each screw together; empty where it was not read or does not fit."""
    row = numbers(view.row) if view is not None and view.row else ()
    if not row or len(row) % n:
        return [()] * n
    per = len(row) // n
    return [row[i * per : (i + 1) * per] for i in range(n)]
