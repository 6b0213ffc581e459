"""What was claimed of each barrel's mixture, against what was so at that moment; it listens and judges only.

A claim is read of the last advice on mixture whose verdict ends the search (`best`, and its like, not `turn`): of each
barrel that it calls set, how sure it is, by its own row of sureness where the advice has one, else by the whole's. It
is true where the cylinder is near its best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple, TypeGuard

from engine.bench.plant.engine import VirtualEngine
from engine.bench.terms import TOLERANCE
from engine.evidence import Advice
from engine.judgement import Judged

#: Verdicts with which a search goes on, or which say nothing of the mixture.
_GOES_ON = frozenset({"turn", "read again", "lost", "unsound readings", "count", "unknown"})
#: What a barrel is called that is claimed to be right.
_SET = frozenset({"set", "right", "best"})
#: Names under which an advice gives a row of sureness, a value a barrel.
_ROWS = ("sureness", "sure", "barrel_sureness", "barrels_sureness")


class Claim(NamedTuple):
    """One barrel: how sure (0 to 1; 0: no claim), whether it was near its best then, and where it belonged."""

    sure: float
    near_best: bool
    belongs: bool


@dataclass(slots=True)
class ClaimWatch:
    """Listens to the advice on mixture while a run goes on."""

    engine: VirtualEngine
    claims: tuple[Claim, ...] = field(default=())

    def heard(self, advice: Advice | Judged) -> None:
        """One advice on mixture."""
        if str(advice.outputs.get("verdict")) in _GOES_ON:
            return
        feeding = [b for b in range(self.engine.barrels) if self.engine.body.feeds[b]]
        words = advice.outputs.get("barrels")
        row: Sequence[Any] = (
            words if _is_row(words, self.engine.barrels, len(feeding)) else ("set",) * self.engine.barrels
        )
        sure = self._sureness(advice, feeding)
        lambdas = self.engine.now.lambdas
        claims = []
        for i, b in enumerate(feeding):
            word = row[b] if len(row) == self.engine.barrels else row[i]
            said = sure[b] if len(sure) == self.engine.barrels else sure[i]
            claims.append(
                Claim(
                    said if str(word) in _SET else 0.0,
                    TOLERANCE.near_best[0] <= lambdas[b] <= TOLERANCE.near_best[1],
                    TOLERANCE.belongs[0] <= lambdas[b] <= TOLERANCE.belongs[1],
                )
            )
        self.claims = tuple(claims)

    def _sureness(self, advice: Advice | Judged, feeding: Sequence[int]) -> list[float]:
        count = self.engine.barrels
        for name in _ROWS:
            row = advice.outputs.get(name)
            if _is_row(row, count, len(feeding)):
                return [_share(x) for x in row]
        whole = _share(advice.outputs.get("sureness"))
        return [whole] * count


def _is_row(value: object, *lengths: int) -> TypeGuard[Sequence[Any]]:
    return isinstance(value, tuple | list) and len(value) in lengths


def _share(value: object) -> float:
    """A sureness as 0 to 1; nothing said is 0."""
    try:
        return max(0.0, min(1.0, float(value)))  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return 0.0
