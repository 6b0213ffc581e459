"""Whether the elements of several rows can be put into places so that what is asked of one place comes out; it knows
no bank, so that a way is found wherever enough places would have one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from itertools import product
from math import prod
from typing import Any

from engine.procedure.check.guards.formulas import Formula
from engine.procedure.check.guards.space import holds

#: What one place is at once: each row with what its element must be (as in a "row" literal).
Together = tuple[tuple[Any, Any], ...]
#: The most kinds of place that are looked through; beyond that there may be a way.
PLACES = 512


@cache
def together(key: Any) -> Together:
    """What a truth of its own asks of one place, as `Normal` makes it; empty where it can't be put by rows."""
    if not (isinstance(key, tuple) and len(key) == 2 and key[0] == "any" and isinstance(key[1], frozenset)):
        return ()
    found: dict[Any, Any] = {}
    for literal in key[1]:
        row, where = row_of(literal)
        if row is None:
            return ()
        if isinstance(where, frozenset):
            found[row] = found.get(row, where) & where
        else:
            found[row] = tuple(sorted({*found.get(row, ()), *where}))
    return tuple(sorted(found.items(), key=repr))


def row_of(literal: Formula) -> tuple[Any, Any]:
    """The row that a literal of an element is about and what it says of the element; (None, None) if it isn't alone."""
    if literal[0] == "enum":
        return literal[1], literal[2]
    if all(atom[0] == "e" for atom, _ in literal[1]):
        return literal[1], ((literal[2], literal[3]),)
    return None, None


def fits(
    rows: Mapping[Any, tuple[Any, ...]], asked: Iterable[tuple[bool, Together]], holes: Callable[[Any], bool]
) -> bool:
    """Whether there are places that hold each of the kinds of `rows` and no others, of which one at least is all that
    is asked with True, and none all that is asked with False. `holes` tells the rows of which a place may lack."""
    asked = [(so, what) for so, what in asked if what and all(row in rows for row, _ in what)]
    names = list(dict.fromkeys(row for _, what in asked for row, _ in what))
    if not asked or prod(len(rows[row]) + 1 for row in names) > PLACES:
        return True
    kinds = [(*rows[row], *((None,) if holes(row) else ())) for row in names]
    met: set[int] = set()
    seen: set[tuple[Any, Any]] = set()
    for place in product(*kinds):
        here = dict(zip(names, place, strict=True))
        is_so = {n for n, (_, what) in enumerate(asked) if _is(here, what)}
        if all(asked[n][0] for n in is_so):
            met |= is_so
            seen |= {(row, kind) for row, kind in here.items() if kind is not None}
    return all(n in met for n, (so, _) in enumerate(asked) if so) and all(
        (row, kind) in seen for row in names for kind in rows[row]
    )


def _is(place: Mapping[Any, Any], what: Together) -> bool:
    return all(place[row] is not None and holds(place[row], where) for row, where in what)
