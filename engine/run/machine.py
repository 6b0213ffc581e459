"""The run as a pure function: a state and an event in, the next state and its effects out; no clock, no file, no
adviser of its own.

`step` expects an event that `admit` let through. `advise` answers a request: the registry's on a live answer, the
stored one when a record is folded again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from engine.evidence import Place
from engine.procedure.program import Call
from engine.run import gate
from engine.run.advice import Advise
from engine.run.bind import parts_of
from engine.run.events import Event
from engine.run.layout import ReadPlan, RunLayout, StepPlan
from engine.run.moves import asked, fitted, turned
from engine.run.scope import Names, began
from engine.run.state import Ending, Frame, Made, Past, State, Waiting, World, walk
from engine.run.walk import Ended, Unsound, Walk
from engine.run.walk import made as made_of

Effects = tuple[Any, ...]
_new = tuple.__new__


def begin(plan: RunLayout, advise: Advise) -> tuple[State, Effects]:
    """The state after the start: the first step that waits for an answer."""
    file = plan.main
    parts = {(name, Place(carb, barrel)): size for (name, carb, barrel), size in parts_of(plan.job).items()}
    positions: Mapping[tuple[str, Place], Fraction | None] = {}
    world = World(positions, parts, 0, {}, (), frozenset())
    start = file.steps[file.start]
    frame = Frame(start, began(file, None), (), {}, None, None, None)
    blank = State(-1, frame, None, world, {}, {}, None, None, (), (), None)
    walk = Walk(plan, blank, advise, None)
    walk.enter(start)
    walk.settle()
    return walk.result()


def step(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """The next state, and what happened on the way (`Raised`, `Advised`, `Ended`)."""
    kind, readings, _, understood, moved, fitted_, _, _, _, _, _, _, _ = event
    if kind == "readings":
        seq, frame, made, world, findings, kept, _, _, notes, _, _, _, visited, stop, accepted = state
        at, names, advice, visits, here, caller, site = frame
        _, _, epoch, _, changed, _, rested = world
        if (
            at.plain
            and made is None
            and not changed
            and not understood
            and not rested
            and moved is None
            and fitted_ is None
            and stop is None
        ):
            # The common gate: take the readings, try the guards in order, wait at the next step. Built without the
            # constructors' checks, for every answer of every trial passes here.
            names = {**names, **readings}  # type: ignore[dict-item]
            target = _first(at, names)
            if target.easy:
                seq += 1
                name = target.name
                frame = _new(
                    Frame, (target, names, advice, {**visits, name: visits.get(name, 0) + 1}, here, caller, site)
                )
                past = _new(Past, (state, event, None, seq, epoch, None, None, {}))
                stand = (
                    seq,
                    frame,
                    None,
                    world,
                    findings,
                    kept,
                    past,
                    None,
                    notes,
                    (),
                    None,
                    None,
                    visited,
                    None,
                    accepted,
                )
                return _new(State, stand), ()
    return _HANDLERS[kind](plan, state, event, advise)


def _first(at: StepPlan, names: Names) -> StepPlan:
    for when, target, _ in at.exits:
        if when is None or when(names):
            return target
    raise Unsound(f"No branch of step '{at.name}' of '{at.file.name}' matches this answer.")


# ---- answers


def _hands(plan: RunLayout, state: State, event: Event) -> tuple[World, Made, bool]:
    """What hands did before this answer: as asked, unless it says otherwise. Also whether the step's own moves are
    made.
    """
    moves, parts = asked(plan, state)
    due = bool(moves or parts)
    moves = moves if event.moved is None else event.moved
    parts = parts if event.fitted is None else event.fitted
    world = state.world
    earlier = state.made or Made((), (), world.positions)
    made = Made(earlier.moves + moves, earlier.parts + parts, earlier.before)
    if moves:
        world = world._replace(positions=turned(plan, world.positions, moves))
    if parts:
        # A part that was changed changes what each screw does, so what was learnt of it no longer holds.
        world = world._replace(parts=fitted(world.parts, parts, plan.bank.rows["barrel"]), epoch=world.epoch + 1)
    understood = world.understood | dangers(plan, state) if event.understood else world.understood
    world = world._replace(changed=(), understood=understood, rested=world.rested and not _runs(world))
    return world, made, not due or bool(moves or parts) or state.made is not None


def _runs(world: World) -> bool:
    return world.conditions.get("engine") == "running"


def _answer(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    walk, done = _walk(plan, state, event, advise)
    readings = event.readings or {}
    for read in state.frame.at.reads:
        if read.reading.position_of and read.name in readings:
            walk.world = _counted(plan, walk.world, read, state.frame.here, readings[read.name])
    if done:
        walk.make_made()
    walk.leave(readings)
    walk.settle()
    return walk.result()


def _counted(plan: RunLayout, world: World, read: ReadPlan, here: Place | None, value: Any) -> World:
    """A count of turns as an answer: where the screws stand is known from here on."""
    screw = read.reading.position_of or ""
    row = value if isinstance(value, tuple) else (value,)
    if read.reading.of is not None:
        places: tuple[Place, ...] = (Place(*read.reading.of),)
    elif read.reading.type.each is None:
        places = plan.bank.places(plan.screws[screw].each, here)
    else:
        places = plan.bank.places(read.reading.type.each, here)
    told = {(screw, p): v for p, v in zip(places, row, strict=False) if v is not None}
    return world._replace(positions={**world.positions, **told})


def _walk(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[Walk, bool]:
    world, made, done = _hands(plan, state, event)
    past = Past(state, event, made, state.seq + 1, world.epoch, None, None, {})
    walk = Walk(plan, state, advise, past)
    walk.world = world
    return walk, done


def _gate(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """Go on from a stop by the way that was chosen."""
    if state.gate is None:
        raise Unsound(f"There is no stop to answer at step '{state.frame.at.name}'.")
    walk, _ = _walk(plan, state, event, advise)
    gate.passed(walk, state.gate, event.gate, event.text)
    walk.settle()
    return walk.result()


def _symptom(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """Leave the step by a symptom: its readings are void, its moves were made."""
    walk, done = _walk(plan, state, event, advise)
    if done:
        walk.make_made()
    found = way_of(state.frame, event.symptom or "")
    if found is None:
        raise Unsound(f"The symptom '{event.symptom}' leads nowhere from step '{state.frame.at.name}'.")
    frame, way = found
    if frame is not state.frame:
        walk.leave_call(frame)
    if isinstance(way, Call) and way.limit is not None:
        key = f"symptom:{event.symptom}"
        count = frame.visits.get(key, 0)
        if count >= way.limit.visits:
            way = way.limit.then
        else:
            walk.frame = walk.frame._replace(visits={**frame.visits, key: count + 1})
    if isinstance(way, Call):
        walk.call(way, symptom=True, made=done)
    else:
        walk.enter(walk.frame.at.file.steps[way])
    walk.settle()
    return walk.result()


def way_of(frame: Frame, symptom: str) -> tuple[Frame, str | Call] | None:
    """Where a symptom leads: looked for in the step, its file, then the calling step and its file (leaving the
    call).
    """
    here: Frame | None = frame
    while here is not None:
        way = here.at.step.symptoms.get(symptom)
        if way is None:
            declared = here.at.file.procedure.symptoms.get(symptom)
            way = declared.way if declared is not None else None
        if way is not None:
            return here, way
        here = here.caller
    return None


def _lost(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """The count of some screws was lost: their positions are unknown, and moves to a position are asked for again."""
    world, made, _ = _hands(plan, state, event)
    lost = {key: None if key[0] in event.lost else now for key, now in world.positions.items()}
    # The moves of this step count for the answer that the step still gets.
    past = Past(state, event, None, state.seq + 1, world.epoch, world.positions, lost, {})
    world = world._replace(positions=lost, changed=state.world.changed)
    return state._replace(
        seq=state.seq + 1,
        made=made,
        world=world,
        past=past,
        redo=None,
        because=("The count was lost: these positions are unknown now.",),
    ), ()


def _abandoned(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    state = _aside(plan, state, event)._replace(seq=state.seq)
    past = Past(state, event, state.made, state.seq + 1, state.world.epoch, None, None, {})
    end = Ending("stopped", event.text, abandoned=True)
    return state._replace(seq=state.seq + 1, past=past, redo=None, because=(), end=end), (Ended("stopped"),)


# ---- undo and redo

_STRUCK = "The last answer is struck."


def _undo(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """Strike the last answer. No screw turns: what hands did since stays done, and belongs to the next answer's
    evidence.
    """
    state = _aside(plan, state, event)._replace(seq=state.seq)
    past = state.past
    if past is None:
        return state._replace(seq=state.seq + 1), ()
    old, world = past.state, state.world
    before, now = past.made or Made((), (), old.world.positions), state.made or Made((), (), world.positions)
    made = Made(before.moves + now.moves, before.parts + now.parts, before.before)
    positions = world.positions
    if past.kept is not None and positions is past.lost:
        positions = past.kept
    same = old.world.conditions == world.conditions
    moved = tuple(k for k, v in old.world.conditions.items() if world.conditions.get(k) != v)
    back = World(
        positions,
        world.parts,
        world.epoch,
        old.world.conditions,
        tuple(dict.fromkeys((*old.world.changed, *moved))),
        world.understood if same else old.world.understood,
    )
    said = _STRUCK
    if made.moves or made.parts:
        said += " No screw was turned back: moves made stay made, parts stay fitted."
    undone = past.made is None and state.made is None
    return old._replace(
        seq=state.seq + 1, made=None if undone else made, world=back, redo=state, notes=state.notes, because=(said,)
    ), ()


def _strike(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """Strike an earlier answer and all that followed: undone one after the other, and taken up again by one redo."""
    here, count = state, 0
    for past in walk(state.past):
        here, _ = _undo(plan, here, event._replace(understood=False, moved=None, fitted=None), advise)
        count += 1
        if past.seq == int(event.text):
            break
    said = f"{count} answer{' is' if count == 1 else 's are'} struck." + here.because[0].removeprefix(_STRUCK)
    return _aside(plan, here, event)._replace(seq=state.seq + 1, redo=state, because=(said,)), ()


def _redo(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """Take the struck answer up again: the state that it led to, with the screws where they stand now."""
    state = _aside(plan, state, event)._replace(seq=state.seq)
    target = state.redo
    if target is None:
        return state._replace(seq=state.seq + 1), ()
    world = target.world._replace(positions=state.world.positions, parts=state.world.parts, epoch=state.world.epoch)
    if target.past is not None and target.past.lost is not None:
        world = world._replace(positions=target.world.positions)
    return target._replace(seq=state.seq + 1, world=world, notes=state.notes), ()


# ---- what answers nothing


def _aside(plan: RunLayout, state: State, event: Event) -> State:
    """What rides beside an event that answers nothing is not lost: dangers understood, moves and parts reported, which
    stand for what the step asks for, or correct what was made.
    """
    world, frame, made = state.world, state.frame, state.made
    if event.understood:
        world = world._replace(understood=world.understood | dangers(plan, state))
    if event.moved is not None or event.fitted is not None:
        world, made, _ = _hands(plan, state, event._replace(moved=event.moved or (), fitted=event.fitted or ()))
        world = world._replace(changed=state.world.changed)
        if event.moved:
            frame = frame._replace(advice=made_of(frame.advice, frame.at.step.make))
    return state._replace(seq=state.seq + 1, frame=frame, made=made, world=world)


def _told(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """Something told by itself: a danger understood, moves or parts."""
    moved = event.kind in ("moved", "fitted")
    event = event._replace(understood=event.understood or event.kind == "understood")
    return _aside(plan, state, event)._replace(redo=None if moved else state.redo), ()


def _waiting(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """The run waits for parts: nothing but notes, and another list, until it is resumed."""
    return _aside(plan, state, event)._replace(waiting=Waiting(event.awaited, event.text)), ()


def _resumed(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    """The work goes on after a pause: what was understood is to be understood again, and nobody knows whether the
    engine is hot.
    """
    state = _aside(plan, state, event)
    return state._replace(waiting=None, world=state.world._replace(understood=frozenset(), rested=True)), ()


def _noted(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    return _aside(plan, state, event)._replace(notes=(*state.notes, (state.seq + 1, event.text))), ()


def _passed(plan: RunLayout, state: State, event: Event, advise: Advise) -> tuple[State, Effects]:
    return _aside(plan, state, event), ()


_HANDLERS: dict[str, Callable[[RunLayout, State, Event, Advise], tuple[State, Effects]]] = {
    "done": _answer,
    "readings": _answer,
    "symptom": _symptom,
    "gate": _gate,
    "lost": _lost,
    "abandoned": _abandoned,
    "undo": _undo,
    "strike": _strike,
    "redo": _redo,
    "understood": _told,
    "moved": _told,
    "fitted": _told,
    "note": _noted,
    "waited": _passed,
    "waiting": _waiting,
    "resumed": _resumed,
    "suspended": _passed,
}


# ---- dangers

_GRAVEST = ("danger", "warning", "caution", "notice")


def cautions(plan: RunLayout, state: State) -> tuple[str, ...]:
    """The cautions of the step in force, by name, the gravest first: its own, and those that its state, its hazards
    and its tools demand.
    """
    if state.gate is not None:
        return ()
    at = state.frame.at
    file, step_ = at.file, at.step
    demands = [*step_.hazards, *(f"{k}: {v}" for k, v in state.world.conditions.items())]
    if step_.name == file.start:
        demands += file.procedure.needs
    names = [*step_.cautions]
    for demand in demands:
        names += file.demanding.get(demand, ())
    declared = file.procedure.cautions
    return tuple(sorted(dict.fromkeys(names), key=lambda n: _GRAVEST.index(declared[n].word)))


def dangers(plan: RunLayout, state: State) -> frozenset[str]:
    """The dangers that the step in force still wants understood, by file-free name."""
    declared = state.frame.at.file.procedure.cautions
    return frozenset(n for n in cautions(plan, state) if declared[n].word == "danger") - state.world.understood
