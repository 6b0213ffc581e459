"""The worlds that a file's facts leave open: one bit a combination of facts; it knows facts, and no step.

A fact is constant in a run, so a set of worlds can be carried along the paths of a procedure: a reading taken only
where a fact holds may be used where that fact is known to hold.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine.procedure.check.guards.formulas import Formula

#: The most worlds that are told apart; facts beyond that are ordinary axes, which loses no proof, only finer ones.
CAP = 4096


class Worlds:
    """Facts, each with its cells (choices, truths, or stretches of a number) in order; the first varies slowest."""

    def __init__(self, facts: Mapping[Any, list[Any]], side: Any = None) -> None:
        kept: dict[Any, list[Any]] = {}
        count = 1
        for atom, cells in facts.items():
            if len(cells) > 0 and count * len(cells) <= CAP:
                kept[atom] = cells
                count *= len(cells)
        self.facts = kept
        self.count = count
        self.all = (1 << count) - 1
        self._side = side
        self._bits: dict[Any, list[int]] = {}
        inner = count
        for atom, cells in kept.items():
            block, inner = inner, inner // len(cells)
            once = (1 << inner) - 1
            every = sum(1 << (k * block) for k in range(count // block))
            self._bits[atom] = [every * (once << (i * inner)) for i in range(len(cells))]
        self._cache: dict[Formula, int | None] = {}

    def mask(self, literal: Formula) -> int | None:
        """The worlds where a literal about facts holds; None for any other literal."""
        try:
            return self._cache[literal]
        except KeyError:
            self._cache[literal] = found = self._mask(literal)
            return found

    def _mask(self, literal: Formula) -> int | None:
        if literal[0] == "enum" and literal[1] in self._bits:
            cells = self.facts[literal[1]]
            mask = sum(m for v, m in zip(cells, self._bits[literal[1]], strict=True) if v in literal[2])
            return mask if literal[3] else self.all & ~mask
        if literal[0] == "lin" and len(literal[1]) == 1 and literal[1][0][0] in self._bits:
            atom = literal[1][0][0]
            cells = self.facts[atom]
            return sum(
                m for v, m in zip(cells, self._bits[atom], strict=True) if self._side(v, literal[2]) & literal[3]
            )
        return None

    def cell(self, world: int, atom: Any) -> Any:
        """The value, or stretch, of a fact in one world."""
        for value, mask in zip(self.facts[atom], self._bits[atom], strict=True):
            if mask >> world & 1:
                return value
        raise LookupError(atom)

    def describe(self, worlds: int, name: Any) -> dict[Any, Any]:
        """Of a set of worlds, the facts that have one value in all of it."""
        found = {}
        for atom, masks in self._bits.items():
            here = [v for v, m in zip(self.facts[atom], masks, strict=True) if m & worlds]
            if len(here) == 1 and len(masks) > 1:
                found[name(atom)] = here[0]
        return found
