"""Which ways on a step can take, and that no reading is left without one; it looks at one step's branches at a time."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from engine.procedure.check.guards.forms import Terms
from engine.procedure.check.guards.formulas import Formula, TooComplex, literals
from engine.procedure.check.guards.space import Box, Space, cut, names_in, side
from engine.procedure.check.guards.study import Study
from engine.procedure.check.guards.theory import Point, Theory
from engine.procedure.check.guards.witness import Picker, Words, shown, unit_of
from engine.procedure.language.expr import And, Name, Node, Number, Or, Text, Truth
from engine.procedure.program import Branch, Guard, Step
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span

#: How many cases that may match nothing are looked at for one that surely does.
TRIES = 16


def _parts(node: Node) -> Iterator[Node]:
    """The parts of a guard of which one is enough, where they are no such lists themselves."""
    if isinstance(node, Or):
        yield from (item for item in node.items if not isinstance(item, And | Or))
    if isinstance(node, And | Or):
        for item in node.items:
            yield from _parts(item)


def place(guard: Guard, node: Node) -> Span:
    """Where a part of a guard stands in the file."""
    span = guard.span
    if span.line != span.end_line:
        return span
    shift = 1 if span.end_column - span.column == len(guard.text) + 2 else 0
    if not shift and span.end_column - span.column != len(guard.text):
        return span
    return span.within(node.start + shift, node.end + shift)


@dataclass(slots=True)
class Ways:
    """The branches of one step as regions of its readings. `own` is where a guard holds, `fresh` where it is the
    first to, `left` where none does. `worlds` are those in which a branch can be taken. `complex_at` is a guard past
    the cap."""

    step: Step
    branches: tuple[Branch, ...]
    space: Space | None = None
    theory: Theory | None = None
    own: list[list[Box]] = field(default_factory=list)
    fresh: list[list[Box]] = field(default_factory=list)
    left: list[Box] = field(default_factory=list)
    worlds: list[int] = field(default_factory=list)
    complex_at: Span | None = None


def ways(study: Study, step: Step) -> Ways:
    """Work out the regions of a branching step over all worlds."""
    assert isinstance(step.way, tuple)
    found = Ways(step, step.way)
    try:
        _measure(study, found)
    except TooComplex:
        found.space = None
        found.worlds = [study.worlds.all] * len(found.branches)
        found.complex_at = found.complex_at or step.span
    return found


def _measure(study: Study, found: Ways) -> None:
    formulas: list[Formula] = []
    for branch in found.branches:
        found.complex_at = branch.when.span if branch.when else branch.span
        formulas.append(study.formula(branch.when))
    found.complex_at = found.step.spans.get("branch", found.step.span)
    space = found.space = study.space(formulas)
    found.theory = study.theory(space, Picker(study.normal))
    left = [space.full]
    for branch, formula in zip(found.branches, formulas, strict=True):
        found.complex_at = branch.when.span if branch.when else branch.span
        own = space.boxes(formula)
        fresh = _distinct(space.meet(left, own))
        found.own.append(own)
        found.fresh.append(fresh)
        found.worlds.append(_worlds(found.theory, fresh))
        left = space.minus(left, own)
    found.left = left
    found.complex_at = None


def _distinct(boxes: list[Box]) -> list[Box]:
    return list(dict.fromkeys(boxes))


def _worlds(theory: Theory, boxes: list[Box]) -> int:
    mask = 0
    for box in boxes:
        if box[0] & ~mask and theory.possible(box):
            mask |= box[0]
    return mask


def problems(study: Study, found: Ways, settled: list[Box], known: Collection[str], words: Words) -> list[Problem]:
    """What is wrong with a step's branches where it can be reached. `settled` are boxes of its space that hold all that
    may be so once it is answered, `known` the names that are surely there then."""
    if found.complex_at is not None:
        return [_too_complex(study, found, found.complex_at)]
    told: list[Problem] = []
    try:
        for problem in _judged(study, found, _Judge(study, found, settled, known, words)):
            told.append(problem)
    except TooComplex:
        told.append(_too_complex(study, found, found.step.spans.get("branch", found.step.span)))
    return told


def _too_complex(study: Study, found: Ways, span: Span) -> Problem:
    return Problem(
        "too-complex",
        study.path,
        span,
        f"The branches of '{found.step.name}' have too many cases to prove.",
        "Whether every reading leads somewhere can't be told, so nobody should stand at the engine with it.",
        "Split the step in two, or give a part of the guard a name under `values` and branch on it earlier.",
    )


def _judged(study: Study, found: Ways, judge: _Judge) -> Iterator[Problem]:
    for i, branch in enumerate(found.branches):
        if branch.when is not None:
            told = list(judge.dead(i))
            yield from told or judge.idle_parts(branch.when)
        elif not judge.alive(found.fresh[i]):
            yield Problem(
                "idle-otherwise",
                study.path,
                branch.span,
                f"Nothing is left for `otherwise` in '{found.step.name}'.",
                "The branches above already cover every reading, so this way is never taken.",
                "Delete it, or see whether a branch above takes more than it should.",
                "warning",
            )
    if all(b.when is not None for b in found.branches):
        yield from judge.uncovered()
    if found.step.exclusive:
        yield from judge.overlaps()


class _Judge:
    def __init__(self, study: Study, found: Ways, settled: list[Box], known: Collection[str], words: Words) -> None:
        assert found.space is not None and found.theory is not None
        self.study, self.found, self.words = study, found, words
        self.space, self.theory = found.space, found.theory
        there = self.space.there(known)
        self.may_be = [may for box in settled if all(may := tuple(map(int.__and__, box, there)))]

    def here(self, boxes: list[Box]) -> Iterator[Box]:
        """Boxes narrowed to what may be at this step: worlds that reach it, nothing that was settled otherwise before,
        nothing missing that was surely taken."""
        for box in boxes:
            for may in self.may_be:
                narrowed = tuple(map(int.__and__, box, may))
                if all(narrowed):
                    yield narrowed

    def alive(self, boxes: list[Box]) -> bool:
        """Whether a real reading may lie in one of the boxes."""
        return any(self.theory.possible(b) for b in self.here(boxes))

    def dead(self, i: int) -> Iterator[Problem]:
        """A branch that is never taken: because its guard is never true, or because others come first."""
        if self.alive(self.found.fresh[i]):
            return
        branch = self.found.branches[i]
        assert branch.when is not None
        if not self.alive(self.found.own[i]):
            yield Problem(
                "never-true",
                self.study.path,
                branch.when.span,
                f"`{branch.when.text}` is never true{self._reason(i)}.",
                f"The way to '{branch.go}' can't be taken, so what it is there for is never seen to.",
                "Correct the number, the unit or the choice; or delete the branch.",
            )
            return
        before = self._covering(i)
        names = " and ".join(f"`{self._text(j)}`" for j in before)
        yield Problem(
            "shadowed-branch",
            self.study.path,
            branch.when.span,
            f"`{branch.when.text}` is never reached: {names or 'the branches above'} "
            f"{'takes' if len(before) == 1 else 'take'} every such reading first.",
            f"The first true branch wins, so the way to '{branch.go}' can't be taken.",
            "Move this branch above, or narrow what stands above it.",
        )

    def idle_parts(self, guard: Guard) -> Iterator[Problem]:
        """Parts of a guard of which one is enough, and that are never true here."""
        for part in _parts(guard.node):
            try:
                boxes = self.space.boxes(self.study.normal.formula(part))
            except (TooComplex, KeyError):
                continue
            if self.alive(boxes):
                continue
            yield Problem(
                "idle-part",
                self.study.path,
                place(guard, part),
                f"`{guard.text[part.start : part.end]}` is never true here, so it changes nothing.",
                "Whoever reads the file takes it for a case that comes up.",
                "Delete it, or correct what makes it so: a reading that can't be missing, a range, a branch above.",
                "warning",
            )

    def _text(self, j: int) -> str:
        when = self.found.branches[j].when
        return when.text if when else "otherwise"

    def _covering(self, i: int) -> list[int]:
        """The fewest earlier branches, greedily, that take all of branch i."""
        needed = [j for j in range(i) if self.space.meet(list(self.here(self.found.own[i])), self.found.own[j])]
        for j in list(needed):
            left = list(self.here(self.found.own[i]))
            for k in needed:
                if k != j:
                    left = self.space.minus(left, self.found.own[k])
            if not self.alive(left):
                needed.remove(j)
        return needed

    def _reason(self, i: int) -> str:
        """Why a guard is never true: a range that one of its parts lies outside, or parts that exclude each other."""
        if any(self.theory.possible(b) for b in self.found.own[i]):
            return " where this step can be reached"
        branch = self.found.branches[i]
        every = list(literals(self.study.formula(branch.when)))
        for literal in every:
            if literal[0] in ("lin", "row") and not isinstance(literal[2], frozenset) and not self._possible(literal):
                said = self._range(literal)
                if said:
                    return f": {said}"
        if len(every) > 1 and all(self._possible(literal) for literal in every):
            return ": its parts exclude each other"
        return ""

    def _possible(self, literal: Formula) -> bool:
        return self.alive(self.space.boxes(literal))

    def _within(self, literal: Formula, low: Fraction, high: Fraction) -> bool:
        """Whether a literal may hold somewhere in the range of what it speaks of, by that range alone."""
        held = self._held(literal, low, high)
        return any(held) if literal[0] == "lin" or literal[-1] else not all(held)

    def _held(self, literal: Formula, low: Fraction | None, high: Fraction | None) -> list[bool]:
        """For each stretch of a range whether what a literal says of a number holds there."""
        _, _, *rest, last = literal
        where = rest[0] if literal[0] == "row" else ((rest[0], last),)
        return [all(side(cell, c) & bits for c, bits in where) for cell in cut((low, high), (c for c, _ in where))]

    def _range(self, literal: Formula) -> str:
        terms: Terms = literal[1]
        if any(self.study.normal.length(a[1])[1] == 0 for a, _ in terms if a[0] in ("min", "max", "mean")) or (
            terms[0][0][0] == "e" and self.study.normal.length(terms)[1] == 0
        ):
            return "no bank that this file is for has such a place"
        if literal[0] == "row" and not any(self._held(literal, None, None)):
            return "its parts exclude each other"
        low, high = self.study.range_of(terms)
        if terms[0][0][0] == "o" and terms[0][0][1][0] == "many":
            low = Fraction(0)  # none at all is a count too, and an axis of its own
        if low is None or high is None or self._within(literal, low, high):
            return ""
        value = self.words.values.get(terms)
        unit = value[3] if value else unit_of(terms[0][0], self.study.normal)
        name = value[0] if value and value[1] == 1 and value[2] == 0 else self.words.row_name(terms)
        return (
            f"{name} lies between {shown(low, None)} and {shown(high, unit)}"
            if not unit
            else (f"{name} lies between {shown(low, unit).removesuffix(' ' + unit)} and {shown(high, unit)}")
        )

    def uncovered(self) -> Iterator[Problem]:
        """A reading that no branch takes, with the reading."""
        exact = self._exact()
        unsure: list[tuple[Box, Point]] = []
        for box in self.here(self.found.left):
            point = self.theory.point(box) if self.theory.possible(box) else None
            if point is None:
                continue
            if point.sure and exact:
                yield self._missing(box, point, True)
                return
            unsure.append((box, point))
            if not exact or len(unsure) == TRIES:
                break
        if unsure:
            yield self._missing(*unsure[0], False)

    def _exact(self) -> bool:
        """Whether the axes say all there is to say: no number known by its range, none kept and worked out."""
        worked_out = {
            name
            for step in self.study.procedure.steps.values()
            for name, guard in step.keep
            if not isinstance(guard.node, Name | Number | Text | Truth)
        }

        def plain(key: Any) -> bool:
            return all(
                a[0] == "s"
                or (a[0] in ("min", "max") and len(a[1]) == 1 and isinstance(a[1][0][0][1], str))
                or (a[0] == "e" and isinstance(a[1], str))
                for a, _ in key
            )

        return not any(worked_out & names_in(axis.key) for axis in self.space.axes) and all(
            axis.kind == "worlds"
            or (axis.kind == "enum" and not str(axis.key[1]).startswith(("known:", "over:")))
            or (axis.kind == "line" and plain(axis.key))
            or (axis.kind == "row" and (isinstance(axis.key[0], str) or (len(axis.key) == 1 and plain(axis.key))))
            for axis in self.space.axes
        )

    def _missing(self, box: Box, point: Point, sure: bool) -> Problem:
        box = self._widened(box)
        point = self.theory.point(box) or point
        case = self.words.say(self.space, point, box)
        return Problem(
            "uncovered-reading",
            self.study.path,
            self.found.step.spans.get("branch", self.found.step.span),
            f"{'Nothing matches' if sure else 'May match nothing:'} {case or 'whatever is read'}.",
            "The technician would stand at a running engine with no way on.",
            "Add a branch for it, or end the list with `- {otherwise: step}`.",
            witness=case,
        )

    def _widened(self, box: Box) -> Box:
        """The box opened along every axis that does not matter, so that the witness names only what does."""
        taken = [b for own in self.found.own for b in own]
        may_be = next(m for m in self.may_be if not any(a & ~b for a, b in zip(box, m, strict=True)))
        for i in range(len(box)):
            wide = (*box[:i], may_be[i], *box[i + 1 :])
            if wide != box and not self.space.meet([wide], taken):
                box = wide
        return tuple(f if m == whole else m for m, whole, f in zip(box, may_be, self.space.full, strict=True))

    def overlaps(self) -> Iterator[Problem]:
        """Two branches of an exclusive step that hold at once, with the reading."""
        own = self.found.own
        for j, branch in enumerate(self.found.branches):
            for i in range(j if branch.when else 0):
                for box in self.here(self.space.meet(own[i], own[j])):
                    point = self.theory.point(box) if self.theory.possible(box) else None
                    if point is None:
                        continue
                    case = self.words.say(self.space, point, box)
                    sure = point.sure and self._exact()
                    yield Problem(
                        "overlapping-branches",
                        self.study.path,
                        branch.when.span if branch.when else branch.span,
                        f"`{self._text(i)}` and `{self._text(j)}` {'both hold' if sure else 'may both hold'}"
                        f"{f': {case}' if case else ''}.",
                        "The step says `exclusive: true`: only one of its branches may fit a reading.",
                        "Narrow one of them, or delete `exclusive`.",
                        witness=case,
                    )
                    break
