"""What may be so when a step is reached, over every path of a file: worlds, names not yet known, how things stand,
what answers and kept values have settled.

All of it is carried together, by worlds, from the start along every edge until nothing is added. A file that is called
counts by its summary: what it leaves standing, and may give back, at each of its ends.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from engine.contract import Registry
from engine.procedure.check.guards.formulas import Formula, TooComplex, negation
from engine.procedure.check.guards.space import Box
from engine.procedure.check.guards.study import Study, midway
from engine.procedure.check.ways import traces
from engine.procedure.check.ways.carried import Carried, joined
from engine.procedure.check.ways.edges import Edge, Edges, leading, waits
from engine.procedure.check.ways.traces import State
from engine.procedure.program import Call, Guard, Procedure, Step

#: Stands for "as it was when this file was entered".
ENTRY = "as at entry"
#: Stands for a value that an expression gives.
GIVEN = "as given"


@dataclass(slots=True)
class Here:
    """What may be so at a step: the worlds it is reached in, for each name the worlds in which it may be unknown,
    and how things may stand."""

    reach: int = 0
    unknown: dict[str, int] = field(default_factory=dict)
    state: State = field(default_factory=dict)
    #: What is settled: boxes over the axes that are carried.
    boxes: list[Box] = field(default_factory=list)

    def join(self, other: Here) -> bool:
        """Add what another path brings; whether anything was new."""
        new = other.reach & ~self.reach
        for key in self.state.keys() | other.state.keys():
            mine = self.state.get(key)
            theirs = other.state.get(key) or {ENTRY: other.reach}
            if mine is None:
                mine = self.state[key] = {ENTRY: self.reach} if self.reach else {}
            for value, mask in theirs.items():
                if mask & ~mine.get(value, 0):
                    mine[value] = mine.get(value, 0) | mask
                    new |= mask
        self.reach |= other.reach
        for box in other.boxes:
            more = joined(self.boxes, box)
            if more is not None:
                self.boxes, new = more, -1
        for name, mask in other.unknown.items():
            if mask & ~self.unknown.get(name, 0):
                self.unknown[name] = self.unknown.get(name, 0) | mask
                new |= mask
        return bool(new)


@dataclass(frozen=True, slots=True)
class Summary:
    """What a called file leaves: for each of its ends, and for `None` anywhere on the way, key -> the values that
    may stand; and what it may give back there, by end and name, of a choice or a truth."""

    leaves: Mapping[str | None, Mapping[str, frozenset[str]]]
    gives: Mapping[tuple[str, str], frozenset[Any]] = field(default_factory=dict)
    #: Whether it records what was found, on a path on which it has turned nothing itself.
    records_found: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """What `flow` finds: for each step what may be so just before it is entered, the edges that can be taken, and what
    is carried along them."""

    here: dict[str, Here]
    edges: Edges
    carried: Carried

    def before(self, step: Step) -> list[Box]:
        """What is settled when a step is entered."""
        return self.here[step.name].boxes

    def answered(self, step: Step) -> list[Box]:
        """What is settled once it is answered, before its way on."""
        return list(dict.fromkeys(a for b in self.before(step) for a in self.carried.after(step, b)))


def flow(study: Study, edges: Edges, advisers: Registry, called: Mapping[str, Summary]) -> Found:
    """The least solution: for each step what may be so just before it is entered."""
    steps = study.procedure.steps
    here = {name: Here() for name in steps}
    start = study.procedure.start
    files = study.program.files
    given = {s.name: frozenset(given_by(s, advisers, files)) for s in steps.values()}
    carried = Carried(study, given)
    if start not in steps:
        return Found(here, edges, carried)
    names = frozenset(study.procedure.readings).union(*given.values())
    here[start] = Here(study.worlds.all, dict.fromkeys(names, study.worlds.all), {}, [carried.full])
    gains = {s.name: gains_of(study, s, advisers) for s in steps.values()}
    followed = {s.name: followed_from(study, s) for s in steps.values()}
    queue, waiting = deque([start]), {start}
    while queue:
        name = queue.popleft()
        waiting.discard(name)
        for edge in edges.out[name]:
            boxes = _settled(carried, edges, here[name].boxes, steps[name], edge, called)
            if not boxes:
                continue
            after = _along(study, here[name], steps[name], edge, boxes, gains[name], followed[name], called, advisers)
            if here[edge.target].join(after) and edge.target not in waiting:
                queue.append(edge.target)
                waiting.add(edge.target)
    return Found(here, _taken(carried, edges, here, steps, called), carried)


def _taken(
    carried: Carried, edges: Edges, here: Mapping[str, Here], steps: Mapping[str, Step], called: Mapping[str, Summary]
) -> Edges:
    """The edges that can be taken, each in the worlds in which it can."""
    out: dict[str, tuple[Edge, ...]] = {}
    for name, ways in edges.out.items():
        left = []
        for edge in ways:
            worlds = _worlds_of(_settled(carried, edges, here[name].boxes, steps[name], edge, called))
            if worlds or not here[name].reach:
                left.append(replace(edge, worlds=worlds) if worlds else edge)
        out[name] = tuple(left)
    return Edges(out, edges.ways)


def _settled(
    carried: Carried, edges: Edges, boxes: list[Box], step: Step, edge: Edge, called: Mapping[str, Summary]
) -> list[Box]:
    """What is settled at the end of an edge, by what was where its step was entered."""
    if edge.when != "answered":
        return [(b[0] & edge.worlds, *b[1:]) for b in boxes if b[0] & edge.worlds]
    found: dict[Box, None] = {}
    for box in dict.fromkeys(a for b in boxes for a in carried.after(step, b)):
        if not box[0] & edge.worlds:
            continue
        if edge.branch is not None:
            found |= dict.fromkeys(carried.taken(edges.ways[step.name], edge.branch, box))
            continue
        if edge.call is not None and edge.call.name and edge.end:
            summary = called.get(edge.call.file)
            for (end, name), values in (summary.gives if summary else {}).items():
                if end == edge.end and edge.call.each is None:
                    box = carried.given_back(box, f"{edge.call.name}.{name}", values)
        found[box[0] & edge.worlds, *box[1:]] = None
    return list(found)


def _worlds_of(boxes: Iterable[Box]) -> int:
    worlds = 0
    for box in boxes:
        worlds |= box[0]
    return worlds


def given_by(step: Step, advisers: Registry, files: Mapping[str, Procedure]) -> Iterable[str]:
    """The names that a step gives a worth to."""
    yield from (r.reading for r in step.read)
    yield from (name for name, _ in step.keep)
    for advise in step.advise:
        yield advise.name
        adviser = advisers.get(advise.adviser)
        yield from (f"{advise.name}.{o}" for o in (adviser.outputs if adviser else ()))
    if isinstance(step.way, Call) and step.way.name and step.way.file in files:
        yield from (f"{step.way.name}.{g}" for g in files[step.way.file].gives)


def gains_of(study: Study, step: Step, advisers: Registry) -> dict[str, int]:
    """For each name that a step gives, the worlds in which it surely does."""
    gains: dict[str, int] = {}

    def gain(name: str, worlds: int) -> None:
        gains[name] = gains.get(name, 0) | worlds

    for read in step.read:
        gain(read.reading, study.surely_in(read.when))
    for name, _ in step.keep:
        gain(name, study.worlds.all)
    for advise in step.advise:
        worlds = study.surely_in(advise.when)
        gain(advise.name, worlds)
        adviser = advisers.get(advise.adviser)
        for output in adviser.outputs if adviser else ():
            gain(f"{advise.name}.{output}", worlds)
    if isinstance(step.way, Call) and step.way.name and step.way.file in study.program.files:
        for given in study.program.files[step.way.file].gives:
            gain(f"{step.way.name}.{given}", study.worlds.all)
    return gains


def surely_known(study: Study, here: Here, step: Step, advisers: Registry) -> frozenset[str]:
    """Of the names that some guard asks for, those that are there on every way once a step is answered."""
    gains = gains_of(study, step, advisers)
    return frozenset(n for n in study.normal.asked if not here.unknown.get(n, 0) & ~gains.get(n, 0) & here.reach)


def followed_from(study: Study, step: Step) -> list[str]:
    """The files that may be followed from a step before its way on: the one that it calls, those of its symptoms."""
    found = [step.way.file] if isinstance(step.way, Call) else []
    if waits(step):
        found += [led.file for led in leading(study, step).values() if isinstance(led, Call)]
    return found


def anywhere_in(study: Study, state: State, followed: Iterable[str], called: Mapping[str, Summary]) -> State:
    """How things may stand while a step is in force, or while a file is followed from it."""
    found = state
    for file in followed:
        found = _either(found, after_call(study, state, called.get(file), None))
    return found


def _along(
    study: Study,
    here: Here,
    step: Step,
    edge: Edge,
    boxes: list[Box],
    gains: Mapping[str, int],
    followed: Iterable[str],
    called: Mapping[str, Summary],
    advisers: Registry,
) -> Here:
    reach = _worlds_of(boxes)
    if edge.when == "enter":
        return _narrowed(here.unknown, here.state, reach, boxes)
    state = standing(here, step)
    if edge.when == "again":
        state = _either(state, traces.made(study, step, state, ENTRY, traces.BROKEN))
    elif edge.when == "asked":
        # The symptom may come up inside a file that is followed from here, at any of its steps, its moves made or not.
        state = anywhere_in(
            study, _either(state, traces.made(study, step, state, ENTRY, traces.BROKEN)), followed, called
        )
    else:
        state = traces.answered(study, step, state, advisers, ENTRY)
    if edge.call is not None:
        state = after_call(study, state, called.get(edge.call.file), edge.end)
    unknown = here.unknown
    if edge.when == "answered":
        unknown = {n: m & ~gains.get(n, 0) for n, m in unknown.items()}
    return _narrowed(unknown, state, reach, boxes)


def _narrowed(unknown: Mapping[str, int], state: State, reach: int, boxes: list[Box]) -> Here:
    return Here(
        reach,
        {n: m & reach for n, m in unknown.items() if m & reach},
        {k: {v: m & reach for v, m in values.items() if m & reach} for k, values in state.items()},
        boxes,
    )


def standing(here: Here, step: Step) -> State:
    """How things stand once a step is entered: as before, and as its own `state` says."""
    if not step.state:
        return here.state
    state = dict(here.state)
    for key, value in step.state.items():
        state[key] = {GIVEN if isinstance(value, Guard) else value: here.reach}
    if step.state.get("engine") == "stopped" and "hold" not in step.state:
        state["hold"] = {"none": here.reach}
    held = traces.speed(step)
    if held is not None:
        state[traces.SPEED] = {held: here.reach}
    return state


def after_call(study: Study, state: State, summary: Summary | None, end: str | None) -> State:
    """How things stand after a called file, by the end that it came to (None: anywhere in it)."""
    leaves = summary.leaves.get(end) if summary else None
    if not leaves:
        return state
    after = dict(state)
    for key, values in leaves.items():
        before = state.get(key)
        every = -1
        found: dict[str, int] = {}
        for value in values:
            if value == ENTRY:
                for old, mask in (before or {ENTRY: every}).items():
                    found[old] = found.get(old, 0) | mask
            else:
                found[value] = every
        after[key] = found
    return traces.after_call(study, after, leaves.get(traces.TURNED, frozenset()), ENTRY)


def _either(a: State, b: State) -> State:
    found: State = {}
    for key in a.keys() | b.keys():
        found[key] = {}
        for state in (a, b):
            for value, mask in state.get(key, {ENTRY: -1}).items():
                found[key][value] = found[key].get(value, 0) | mask
    return found


def summary(study: Study, flowed: Found, called: Mapping[str, Summary], advisers: Registry) -> Summary:
    """What a file leaves standing, and gives back, for those that call it."""
    found = flowed.here
    leaves: dict[str | None, dict[str, set[str]]] = {None: {}}
    keys: set[str] = set()
    states = {}
    for name, step in study.procedure.steps.items():
        if found[name].reach:
            entered = standing(found[name], step)
            at = traces.answered(study, step, entered, advisers, ENTRY)
            both = _either(entered, at)
            states[name] = (at, anywhere_in(study, both, followed_from(study, step), called))
            keys |= {k for k in states[name][1] if traces.public(k)}
    for name, (at, anywhere) in states.items():
        ends_here = [(name, at)] if name in study.procedure.ends else []
        for target, state in [(None, anywhere), *ends_here]:
            into = leaves.setdefault(target, {})
            for key in keys:
                into.setdefault(key, set()).update(state.get(key, {ENTRY: -1}))
    gives = {
        (end, name): values
        for end in study.procedure.ends
        if found[end].reach
        for name, guard in study.procedure.gives.items()
        if (values := _given_back(study, flowed, study.procedure.steps[end], guard)) is not None
    }
    records = any(
        _records_found(study.procedure.steps[name], called)
        for name in states
        if ENTRY in standing(found[name], study.procedure.steps[name]).get(traces.TURNED, {ENTRY: -1})
    )
    fixed = {end: {k: frozenset(v) for k, v in values.items()} for end, values in leaves.items()}
    return Summary(fixed, gives, records)


def _records_found(step: Step, called: Mapping[str, Summary]) -> bool:
    inner = called.get(step.way.file) if isinstance(step.way, Call) else None
    return step.record == "as found" or bool(inner and inner.records_found)


def _given_back(study: Study, found: Found, step: Step, guard: Guard) -> frozenset[Any] | None:
    """What a guard may be at an end; None where that can't be told."""
    options = study.told_apart(guard)
    if not options:
        return None
    if guard.type.kind == "bool":
        truths: dict[Any, Formula] = {True: options[0], False: negation(options[0])}
    elif len(options) == len(guard.type.choices):
        truths = dict(zip(guard.type.choices, options, strict=True))
    else:
        return None
    boxes = found.answered(step)
    return frozenset(v for v, formula in truths.items() if possible(study, found.carried, formula, boxes)) | (
        frozenset() if guard.type.kind == "bool" else {None}
    )


def possible(study: Study, carried: Carried, formula: Formula, boxes: list[Box]) -> bool:
    """Whether a formula may hold where these boxes do; true where that is too complex to tell."""
    try:
        space = study.space([formula])
        theory = study.theory(space, midway)
        own = space.boxes(formula)
        for may in carried.narrowed(space, boxes):
            for box in own:
                left = tuple(map(int.__and__, box, may))
                if all(left) and theory.possible(left):
                    return True
        return False
    except TooComplex:
        return True
