"""What a run has settled and carries with it: answers, kept values, settings, as boxes over the axes that later guards
ask about; it follows no path.

An axis is carried where some step asks about it without taking it anew. A box has the worlds first, then a mask of
cells an axis; several boxes tell apart what belongs together.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import Any

from engine.procedure.check.guards.coverage import Ways
from engine.procedure.check.guards.forms import ONE
from engine.procedure.check.guards.formulas import Formula, TooComplex, literals
from engine.procedure.check.guards.space import Axis, Box, Cell, Space, key_of, names_in
from engine.procedure.check.guards.study import Study, guards_of_step
from engine.procedure.language.expr import Name, Node, Number, Text, Truth
from engine.procedure.program import FitSpec, Guard, MoveSpec, ReadSpec, Step

#: The most axes that are carried; those that most steps ask about come first.
AXES = 60
#: The most boxes that one step keeps apart; beyond that they are joined into one that holds them all.
APART = 24
#: The most words of a kept one that are told apart.
WORDS = 6
#: The most boxes of one branch that are told apart.
SHAPES = 64


class Carried:
    """The carried axes of one file and what its steps do with them."""

    def __init__(self, study: Study, given: Mapping[str, Collection[str]]) -> None:
        self.study, self.given = study, given
        found: dict[Any, list[Formula]] = {}
        steps: dict[Any, set[str]] = {}
        wanted: dict[Any, None] = {}
        for step, formula, entered in self._formulas():
            taken = set() if entered else set(given.get(step, ()))
            for literal in literals(formula):
                if study.worlds.mask(literal) is None:
                    key = key_of(literal)
                    found.setdefault(key, []).append(literal)
                    steps.setdefault(key, set()).add(step)
                    if not taken & names_in(key[1]):
                        wanted[key] = None
        blank = study.space([])
        order = sorted(wanted, key=lambda k: -len(steps[k]))
        self.axes: dict[Any, Axis] = {}
        for key in order:
            if len(self.axes) < AXES and not any(n.startswith("position:") for n in names_in(key[1])):
                try:
                    self.axes[key] = blank.axis(key, found[key])
                except TooComplex:
                    continue
        self.at = {key: i + 1 for i, key in enumerate(self.axes)}
        self.names = [set[str](), *(names_in(key[1]) for key in self.axes)]
        self.full: Box = (study.worlds.all, *(a.full for a in self.axes.values()))
        self._after: dict[tuple[str, Box], list[Box]] = {}
        self._fresh: dict[str, list[int]] = {}
        self._images: dict[Any, list[int | None]] = {}
        self._shapes: dict[int, list[tuple[int, tuple[tuple[int, int], ...]]]] = {}

    def _formulas(self) -> Iterator[tuple[str, Formula, bool]]:
        """Every formula that a step asks about, and whether it does so before its answer."""
        study = self.study
        for step in study.procedure.steps.values():
            asked: tuple[ReadSpec | MoveSpec | FitSpec, ...] = (*step.read, *step.moves, *step.fit)
            before = {id(r.when) for r in asked}
            for guard in guards_of_step(step):
                if guard.type.kind == "bool" and guard.type.each is None:
                    try:
                        yield step.name, study.formula(guard), id(guard) in before
                    except TooComplex:
                        continue
        kept = [guard for step in study.procedure.steps.values() for _, guard in step.keep]
        for guard in (*study.procedure.gives.values(), *kept):
            yield from (("", f, True) for f in study.told_apart(guard))

    # ---- what a step does

    def after(self, step: Step, box: Box) -> list[Box]:
        """A box once the step is answered: what it takes anew may be anything, what it keeps is what it says. A word
        that is kept under another name is told apart, since both are the same from then on."""
        known = self._after.get((step.name, box))
        if known is None:
            known = self._after[step.name, box] = self._answered(step, box)
        return known

    def _answered(self, step: Step, box: Box) -> list[Box]:
        fresh = self._fresh.get(step.name)
        if fresh is None:
            taken = frozenset(self.given.get(step.name, ()))
            fresh = self._fresh[step.name] = [i for i, names in enumerate(self.names) if names & taken]
        left = list(box)
        for i in fresh:
            left[i] = self.full[i]
        found: list[Box] = [tuple(left)]
        for name, guard in step.keep:
            found = [b for known in found for b in self._kept(known, name, guard)]
        return found

    def _kept(self, box: Box, name: str, guard: Guard) -> list[Box]:
        node = guard.node
        at = self.at.get(("enum", ("c", name)))
        if at is not None:
            return self._word(box, at, node)
        at = self.at.get(("line", ((("s", name), ONE),)))
        if at is not None and isinstance(node, Number):
            cells = self.axes["line", ((("s", name), ONE),)].cells
            mask = sum(1 << n for n, c in enumerate(cells) if c and _holds(c, node.value))
            return [(*box[:at], mask or self.full[at], *box[at + 1 :])]
        return [box]

    def _word(self, box: Box, at: int, node: Node) -> list[Box]:
        """The boxes of a word or truth that is kept on an axis."""
        cells = self.axes[list(self.axes)[at - 1]].cells
        if isinstance(node, Truth | Text) and node.value in cells:
            return [(*box[:at], 1 << cells.index(node.value), *box[at + 1 :])]
        key = ("enum", ("c", node.name)) if isinstance(node, Name) else None
        source = self.at.get(key)
        if source is None or source == at:
            return [box]
        other = self.axes[key].cells
        values = [(n, cells.index(other[n])) for n in _bits(box[source]) if other[n] in cells]
        if len(values) < box[source].bit_count() or len(values) > WORDS:
            return [box]
        return [
            tuple(1 << mine if i == at else 1 << theirs if i == source else m for i, m in enumerate(box))
            for theirs, mine in values
        ]

    def given_back(self, box: Box, name: str, values: Collection[Any] | None) -> Box:
        """A box once a called file has given back one of these values under a name; None: any."""
        found = list(box)
        for i, (key, axis) in enumerate(self.axes.items(), 1):
            if name in self.names[i]:
                found[i] = self.full[i]
                if values is not None and key == ("enum", ("c", name)):
                    found[i] = sum(1 << n for n, v in enumerate(axis.cells) if v in values) or self.full[i]
        return tuple(found)

    # ---- another space

    def narrowed(self, space: Space, boxes: Iterable[Box]) -> list[Box]:
        """What a space's axes may be where these boxes hold."""
        found: dict[Box, None] = {}
        for box in boxes:
            masks = [a.full for a in space.axes]
            masks[0] = box[0]
            for key, i in self.at.items():
                at = space.index.get(key)
                if at is not None and box[i] != self.full[i]:
                    image = self._image(key, space.axes[at])
                    masks[at] = sum({1 << to for g in _bits(box[i]) if (to := image[g]) is not None})
            found[tuple(masks)] = None
        return list(found)

    def taken(self, ways: Ways, branch: int, box: Box) -> list[Box]:
        """What is left of a box once a branch of a step is taken: nothing where it can't be."""
        found: dict[Box, None] = {}
        for worlds, masks in self._shape(ways, branch):
            left = [box[0] & worlds, *box[1:]]
            for i, mask in masks:
                left[i] &= mask
            if all(left):
                found[tuple(left)] = None
        return list(found)

    def _shape(self, ways: Ways, branch: int) -> list[tuple[int, tuple[tuple[int, int], ...]]]:
        """A branch by what it says of the carried axes alone, without what no reading can be."""
        key = id(ways.branches[branch])
        if key not in self._shapes:
            self._shapes[key] = self._shaped(ways, branch)
        return self._shapes[key]

    def _shaped(self, ways: Ways, branch: int) -> list[tuple[int, tuple[tuple[int, int], ...]]]:
        space = ways.space
        if space is None or ways.theory is None:
            return [(ways.worlds[branch], ())]
        here = [
            (i, space.index[k], self._image(k, space.axes[space.index[k]]))
            for k, i in self.at.items()
            if k in space.index
        ]
        seen: dict[tuple[tuple[int, int], ...], int] = {}
        for box in ways.fresh[branch]:
            shape = tuple((at, box[at]) for _, at, _ in here if box[at] != space.axes[at].full)
            if box[0] & ~seen.get(shape, 0) and _possible(ways, box):
                seen[shape] = seen.get(shape, 0) | box[0]
        if len(seen) > SHAPES:
            return [(ways.worlds[branch], ())]
        by_place = {at: (i, image) for i, at, image in here}
        found = []
        for shape, worlds in seen.items():
            masks = []
            for at, mask in shape:
                i, image = by_place[at]
                masks.append((i, sum(1 << g for g, to in enumerate(image) if to is not None and mask >> to & 1)))
            found.append((worlds, tuple(masks)))
        return found

    def _image(self, key: Any, axis: Axis) -> list[int | None]:
        """For each cell of a carried axis (each set of kinds, of a row) the cell of another axis that it lies in."""
        known = (key, id(axis))
        if known not in self._images:
            mine = self.axes[key]
            if mine.kind == "row":
                kinds = [next(i for i, k in enumerate(axis.cells) if _inside(kind[0], k)) for kind in mine.cells]
                sets = range(1 << len(kinds))
                self._images[known] = [sum({1 << kinds[k] for k in _bits(s)}) for s in sets]
            elif mine.kind == "line":
                self._images[known] = [
                    next((i for i, c in enumerate(axis.cells) if _within(cell, c)), None) for cell in mine.cells
                ]
            else:
                self._images[known] = [axis.cells.index(v) if v in axis.cells else None for v in mine.cells]
            self._images["kept", known] = axis  # type: ignore[assignment]  # so that its id is not used again
        return self._images[known]


def joined(known: list[Box], new: Box) -> list[Box] | None:
    """Boxes with another one added; None where they hold it already. Too many are joined into one."""
    if any(all(not m & ~k for m, k in zip(new, box, strict=True)) for box in known):
        return None
    kept = [box for box in known if any(m & ~n for m, n in zip(box, new, strict=True))]
    if len(kept) < APART:
        return [*kept, new]
    whole = list(new)
    for box in kept:
        whole = [a | b for a, b in zip(whole, box, strict=True)]
    return [tuple(whole)]


def _possible(ways: Ways, box: Box) -> bool:
    assert ways.theory is not None
    try:
        return ways.theory.possible(box)
    except TooComplex:
        return True


def _inside(cell: Any, kind: list[Any]) -> bool:
    return any(_within(cell, c) if isinstance(c, Cell) else c == cell for c in kind)


def _within(cell: Cell | None, other: Cell | None) -> bool:
    if cell is None or other is None:
        return cell is other
    low = other.low is None or (
        cell.low is not None and (cell.low > other.low or (cell.low == other.low and (other.low_in or not cell.low_in)))
    )
    return low and (
        other.high is None
        or (
            cell.high is not None
            and (cell.high < other.high or (cell.high == other.high and (other.high_in or not cell.high_in)))
        )
    )


def _holds(cell: Cell, value: Any) -> bool:
    above = cell.low is None or value > cell.low or (cell.low_in and value == cell.low)
    return above and (cell.high is None or value < cell.high or (cell.high_in and value == cell.high))


def _bits(mask: int) -> Iterator[int]:
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low
