"""Where a mixture screw is put when its idle jet is changed, so that the engine fires with the new one; it judges none.

A screw that rests far out because its jet was too small would drown its cylinder as soon as the right one is in.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from engine.carburation import saying
from engine.carburation.estimation.search import Search
from engine.carburation.policy.mixture_moves import best_place, ends, place_of
from engine.evidence import Move, Part, ScrewView

#: A reset by less than this is left to the search, turns [assumed].
WORTH = Fraction(1, 4)


def for_new_jets(view: ScrewView, s: Search, parts: Sequence[Part], was: Sequence[Fraction | None]) -> list[Move]:
    """Moves for the barrels that get new jets: to where the fuel is as it belongs if the numbers say what they do.

    A jet in place of one with its own number is a sound one: there the screw goes to mid band.
    """
    moves = []
    for part in parts:
        i = s.spots.index(part.place) if part.place in s.spots else None
        if i is None or s.mix is None:
            continue
        old = was[i]
        to = s.screws.mid
        if old is not None and old > 0 and part.size > 0 and part.size != old:
            to = place_of(s, view, s.unit_of(i), 2.0 * math.log(float(part.size / old)))
        moves += _to(view, s, i, to)
    return moves


def for_swap(view: ScrewView, s: Search, suspect: int, neighbour: int) -> list[Move]:
    """The move of a suspect's screw to where its neighbour's jet wants it. The neighbour's stays: one of the two
    barrels then stands as it should, and the other tells whose the fault is."""
    return [] if s.mix is None else _to(view, s, suspect, best_place(s, view, s.unit_of(neighbour)))


def _to(view: ScrewView, s: Search, i: int, to: float) -> list[Move]:
    at = s.at[i]
    if at is None:
        return []
    low, high = ends(view, s)
    by = saying.to_step(max(low, min(high, to)) - at, view.step)
    return [saying.turn(view, s.spots[i], saying.exact(at, 6), by)] if abs(by) >= WORTH else []
