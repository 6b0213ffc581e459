"""Formulas: `and` and `or` over literals that name an axis and where on it; they know no guard and no file.

A formula is True, False, ("and" | "or", items), or a literal:

- ("lin", terms, c, bits): the sum of `terms` compared with c; bits 1 below, 2 equal, 4 above, 8 something is missing;
- ("enum", axis, values, held): a choice or truth lies among `values`, or not; axis ("c", name), ("e", name) in a row;
  None among the values is a choice that is missing;
- ("row", key, where, held): some element of a row lies in `where` (held), or none does; `where` is a tuple of (c, bits)
  that hold together, or a frozenset of choices;
- ("opaque", key, held): a truth of its own, of which nothing else is known.

Negation is exact on every literal: a comparison with something missing is false, so its opposite holds there. In a row
only the places that are there count.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

Formula = Any
BITS = {"<": 1, "<=": 3, "==": 2, ">": 4, ">=": 6, "!=": 5}


class TooComplex(Exception):
    """More cases than a proof takes; the file should name a part of the guard."""


class Effort:
    """How much work the proofs of one file may still take, so that no file, however made, holds anybody up.

    Counted in steps of the work itself, never in time: the same file always gets the same answer.
    """

    def __init__(self, left: int) -> None:
        self.left = left

    def spend(self, amount: int) -> None:
        """Take some of it; raises `TooComplex` when all is spent."""
        self.left -= amount
        if self.left < 0:
            raise TooComplex


def turn(bits: int) -> int:
    """The same comparison seen from the other side."""
    return (bits & 10) | (4 if bits & 1 else 0) | (1 if bits & 4 else 0)


def conjunction(items: list[Formula]) -> Formula:
    """All of them; flat, without what is always true."""
    return _join("and", items, True)


def disjunction(items: list[Formula]) -> Formula:
    """One of them; flat, without what is never true."""
    return _join("or", items, False)


def _join(op: str, items: list[Formula], unit: bool) -> Formula:
    flat: list[Formula] = []
    for item in items:
        if item is unit:
            continue
        if item is (not unit):
            return item
        flat.extend(item[1] if item[0] == op else (item,))
    flat = list(dict.fromkeys(flat))
    return unit if not flat else flat[0] if len(flat) == 1 else (op, tuple(flat))


def negation(f: Formula) -> Formula:
    """The opposite, exact on every literal."""
    if isinstance(f, bool):
        return not f
    match f[0]:
        case "and":
            return disjunction([negation(i) for i in f[1]])
        case "or":
            return conjunction([negation(i) for i in f[1]])
        case "lin":
            return (*f[:3], f[3] ^ 15)
    return (*f[:-1], not f[-1])


def literals(f: Formula) -> Iterator[Formula]:
    """Every literal of a formula."""
    if isinstance(f, bool):
        return
    if f[0] in ("and", "or"):
        for item in f[1]:
            yield from literals(item)
    else:
        yield f


def alternatives(f: Formula, cap: int) -> list[tuple[Formula, ...]]:
    """The disjunctive form: cases of literals that hold together. `!=` is split in two. Raises `TooComplex` past
    `cap`."""
    if isinstance(f, bool):
        return [()] if f else []
    if f[0] == "or":
        cases = [case for item in f[1] for case in alternatives(item, cap)]
    elif f[0] == "and":
        cases = [()]
        for item in f[1]:
            cases = [(*a, *b) for a in cases for b in alternatives(item, cap)]
            if len(cases) > cap:
                raise TooComplex
    elif f[0] == "lin" and f[3] & 7 == 5 and f[1][0][0][0] == "e":
        cases = [((*f[:3], 1),), ((*f[:3], 4),)]
    elif f[0] == "lin" and f[1][0][0][0] == "e":
        cases = [((*f[:3], f[3] & 7),)] if f[3] & 7 else []
    else:
        cases = [(f,)]
    if len(cases) > cap:
        raise TooComplex
    return cases
