"""Which jet sits in which barrel as a run goes on, told apart by identity: a jet that changes places is the same jet.

It judges no jet.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from engine.evidence import Answered, Evidence, Part, Place
from engine.job.model import Job

IDLE_JET = "idle jet"


class Stock:
    """The jets of a bank, followed answer by answer.

    `numbers`: the number on each barrel's jet, None where nobody knows. `jets`: of each jet ever fitted its number, and
    whether it came from the shelf in this run. `had[i]`: the jets that barrel i had, oldest first. `era` counts the
    changes, and `eras` tells of each which of its jets (a place in `had`) a barrel had.
    """

    def __init__(self, job: Job, spots: Sequence[Place]) -> None:
        self.spots = list(spots)
        per = job.bank.barrels_per_carb
        listed = job.row("idle_jet")
        self.numbers: list[Fraction | None] = [
            None if listed is None else listed[((p.carb or 1) - 1) * per + (p.barrel or 1) - 1] for p in spots
        ]
        self.jets: list[tuple[Fraction | None, bool]] = [(x, False) for x in self.numbers]
        self.had = [[i] for i in range(len(spots))]
        self.era = 0
        self.eras: list[list[int]] = [[0] * len(spots)]

    def take(self, answer: Answered) -> None:
        """Follow one answer: numbers read off the jets, jets fitted and swapped."""
        read = answer.readings.get("idle jet size", ())
        if len(read) == len(self.spots):
            for i, size in enumerate(read):
                if size is not None:
                    self.numbers[i] = Fraction(size)
                    self.jets[self.had[i][-1]] = (Fraction(size), self.jets[self.had[i][-1]][1])
        parts = [p for p in answer.parts if p.part == IDLE_JET and p.place in self.spots]
        if not parts:
            return
        self.era += 1
        before = [h[-1] for h in self.had]
        for part, came in self._origins(parts):
            i = self.spots.index(part.place)
            if came is None:
                self.jets.append((Fraction(part.size), True))
                self.had[i].append(len(self.jets) - 1)
            else:
                self.had[i].append(before[came])
            self.numbers[i] = Fraction(part.size)
        self.eras.append([len(h) - 1 for h in self.had])

    def _origins(self, parts: Sequence[Part]) -> Iterator[tuple[Part, int | None]]:
        """Each part with the barrel that it came from: as told, or where two that follow each other changed numbers."""
        k = 0
        while k < len(parts):
            a, b = parts[k], parts[k + 1] if k + 1 < len(parts) else None
            if a.origin is not None:
                yield a, self.spots.index(a.origin) if a.origin in self.spots else None
            elif b is not None and b.origin is None and self._changed_places(a, b):
                yield a, self.spots.index(b.place)
                yield b, self.spots.index(a.place)
                k += 1
            else:
                yield a, None
            k += 1

    def _changed_places(self, a: Part, b: Part) -> bool:
        i, j = self.spots.index(a.place), self.spots.index(b.place)
        return self.numbers[i] == Fraction(b.size) and self.numbers[j] == Fraction(a.size)

    @property
    def swapped(self) -> set[int]:
        """Barrels whose jet of now sat in another barrel before."""
        first = {j: i for i, h in reversed(list(enumerate(self.had))) for j in h[:1]}
        return {i for i, h in enumerate(self.had) if h[-1] in first and first[h[-1]] != i}


def sizes(job: Job, evidence: Evidence, spots: Sequence[Place]) -> tuple[Fraction | None, ...]:
    """The number on each barrel's idle jet: as last fitted in this run or read off the jet, else as the job says."""
    stock = Stock(job, spots)
    for answer in evidence.answers:
        stock.take(answer)
    return tuple(stock.numbers)
