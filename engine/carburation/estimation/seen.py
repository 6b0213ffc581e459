"""What a technician has seen and done, as plain numbers in order: evidence made ready for estimation; it judges
nothing.

Numbers leave exactness here: advisers compute in floats and round once, on the way out (`words.exact`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.carburation.estimation.asks import Here
from engine.evidence import Answered, Evidence, Place, ReadingView, ScrewView
from engine.job.model import Job

Key = tuple[str, Place]

_NUMBER = (Fraction, int, float)


@dataclass(frozen=True, slots=True)
class Seen:
    """One answer. `turned`: net turns of each screw just before its readings, in the way its position grows (None: by
    aim,
    or from an unknown place). `stands`: positions while the readings were taken. `aims`: what was turned until it
    showed.
    `parts`: whether parts were changed. Rows are of floats, None where a place was not taken."""

    answer: Answered
    turned: Mapping[Key, float | None]
    stands: Mapping[Key, float | None]
    aims: tuple[tuple[Key, Place, float], ...]

    @property
    def epoch(self) -> int:
        """Sensitivities live within one epoch."""
        return self.answer.epoch

    def row(self, quantity: str) -> tuple[float | None, ...] | None:
        """The row of a quantity taken here."""
        row = self.answer.readings.get(quantity)
        return None if row is None else numbers(row)

    @property
    def idling(self) -> bool:
        """Running with nobody holding its speed."""
        hold = self.answer.state.get("hold")
        return hold in (None, "none") and self.answer.state.get("engine", "running") == "running"

    def speed(self) -> float | None:
        """Idle speed as read here, if the engine idled."""
        row = self.row("engine speed") if self.idling else None
        return row[0] if row and len(row) == 1 else None


def numbers(row: Iterable[Any]) -> tuple[float | None, ...]:
    """A row as floats; what is no finite number is a hole."""
    out = []
    for v in row:
        told = float(v) if isinstance(v, _NUMBER) and not isinstance(v, bool) else math.nan
        out.append(told if math.isfinite(told) else None)
    return tuple(out)


def places(each: str | None, job: Job, count: int | None = None) -> tuple[Place, ...]:
    """The places of a row `each` on this bank. With one value for a whole bank: the bank's only place."""
    bank = job.bank
    if each in ("barrel", "cylinder"):
        if each == "cylinder":
            return tuple(
                Place(b // bank.barrels_per_carb + 1, b % bank.barrels_per_carb + 1)
                for c in range(job.engine.cylinders)
                for b in (min(c // bank.cylinders_per_barrel, bank.barrels - 1),)
            )
        return tuple(Place(c + 1, b + 1) for c in range(bank.carbs) for b in range(bank.barrels_per_carb))
    if each == "carb":
        return tuple(Place(c + 1, None) for c in range(bank.carbs))
    if each == "gap":
        return tuple(Place(c + 1, None) for c in range(bank.carbs - 1))
    return (Place(None, None),)


def screw_places(screw: ScrewView, job: Job, inputs: Here) -> tuple[Place, ...]:
    """Where this screw sits; in a file called for one place, the places that belong to it."""
    full, here = places(screw.each, job), inputs.here
    if here is None or screw.each in (None, "bank"):
        return full
    ours = (None, here.barrel)
    return tuple(p for p in full if p.carb == here.carb and (here.barrel is None or p.barrel in ours))


def row_places(view: ReadingView, job: Job, inputs: Here) -> tuple[Place, ...]:
    """Where the values of a reading belong; a single one in a file called for one place belongs there."""
    if view.each is None and inputs.here is not None:
        return (inputs.here,)
    return places(view.each, job)


def stroke(screw: ScrewView) -> int:
    """+1 where turning the screw out makes its position grow, else -1."""
    return 1 if screw.counts == "out" else -1


def history(evidence: Evidence, screws: Iterable[ScrewView]) -> list[Seen]:
    """All answers that stand, oldest first, with what was turned between the readings of the given screws."""
    sign = {s.name: stroke(s) for s in screws}
    out = []
    answers = evidence.answers
    for i, answer in enumerate(answers):
        after = answers[i + 1].positions if i + 1 < len(answers) else evidence.positions
        turned: dict[Key, float | None] = {}
        aims = []
        for move in answer.moves:
            if move.screw not in sign:
                continue
            key = (move.screw, move.place)
            if move.aim is not None:
                turned[key] = None
                aims.append((key, move.aim.place or move.place, float(move.aim.value)))
            elif move.turns is not None:
                step = float(move.turns) * sign[move.screw] * (1 if move.direction == "out" else -1)
                was = turned.get(key, 0.0)
                turned[key] = None if was is None else was + step
            else:
                before, now = answer.positions.get(key), after.get(key)
                turned[key] = None if before is None or now is None else float(now - before)
        stands = {k: None if v is None else float(v) for k, v in after.items() if k[0] in sign}
        out.append(Seen(answer, turned, stands, tuple(aims)))
    return out


def value(given: Fraction | None, default: float) -> float:
    """A number as it was given, or the default where it was left out."""
    return default if given is None else float(given)


def fitted_screw(view: ScrewView | None) -> ScrewView | None:
    """A bound screw that this engine has: one that it lacks has no place."""
    return view if view is not None and view.positions else None


def step_of(view: ReadingView | None, default: float) -> float:
    """The finest figure that is written down of a reading."""
    return default if view is None or view.step is None else float(view.step)
