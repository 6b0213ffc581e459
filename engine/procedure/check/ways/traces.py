"""What a step leaves behind besides how things stand: screws turned, readings taken and at which speed, advice to be
made; it finds no fault.

Each trace is a key of the state that `flow` carries, so that it is known on every path and by worlds:

- `#turned`: whether screws were turned or parts fitted since the file was entered;
- `#speed`: the speed that is held by hand, as it is written, or `none`;
- `#taken:READING`: `at SPEED` since it was last read, `BEFORE` once something was turned after that, `BROKEN` where a
  symptom broke into the turning: no guard knows of it, an adviser sees it in the evidence;
- `#advice:NAME`: `NEW` from being asked until its moves are made, then `DONE`;
- `#said:NAME`: `NEW` since an adviser was asked, `BEFORE` once something was turned after that.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.contract import Registry
from engine.procedure.check.guards.study import Study
from engine.procedure.program import FitSpec, MoveSpec, Step
from engine.vocabulary.states import ENGINE, HOLD, NONE, STOPPED

#: key -> value -> the worlds in which it may be so.
State = dict[str, dict[str, int]]

TURNED, SPEED, TAKEN, ADVICE, SAID = "#turned", "#speed", "#taken:", "#advice:", "#said:"
YES, BEFORE, BROKEN, NEW, DONE = "yes", "before", "broken", "new", "done"
AT = "at "
#: Traces that a caller sees; the others are of names that are private to a file.
PUBLIC = (TURNED, SPEED)
_EVERY = -1


def turns(step: Step) -> bool:
    """Whether a step asks for moves or parts."""
    return bool(step.moves or step.make or step.fit)


def answered(study: Study, step: Step, state: State, advisers: Registry, entry: str) -> State:
    """The traces once a step was answered. `entry` stands for what was so at the file's entry."""
    found = made(study, step, state, entry)
    for read in step.read:
        if read.reading in study.watched:
            found = found if found is not state else dict(state)
            worlds = study.holds_in(read.when)
            holds = found.get(SPEED) or {entry: _EVERY}
            new = {AT + hold: mask & worlds for hold, mask in holds.items() if mask & worlds}
            if read.when is not None:
                for old, mask in (found.get(TAKEN + read.reading) or {entry: _EVERY}).items():
                    new[old] = new.get(old, 0) | mask
            found[TAKEN + read.reading] = new
    for advise in step.advise:
        adviser = advisers.get(advise.adviser)
        if adviser is None:
            continue
        found = found if found is not state else dict(state)
        if adviser.makes:
            found[ADVICE + advise.name] = {NEW: _EVERY}
        said = found.get(SAID + advise.name) or {entry: _EVERY}
        found[SAID + advise.name] = {NEW: _EVERY} if advise.when is None else {**said, NEW: _EVERY}
    return found


def made(study: Study, step: Step, state: State, entry: str, mark: str = BEFORE) -> State:
    """The traces once a step's moves and parts were made, if it asks for any; `mark` for what was read before."""
    if not turns(step):
        return state
    found = dict(state)
    made: tuple[MoveSpec | FitSpec, ...] = (*step.moves, *step.fit)
    surely = bool(step.make) or any(m.when is None for m in made)
    found[TURNED] = {YES: _EVERY} if surely else {**(found.get(TURNED) or {entry: _EVERY}), YES: _EVERY}
    for key in _aging(study, state):
        old = found.get(key) or {entry: _EVERY}
        found[key] = {mark: _EVERY} if surely else {**old, mark: _EVERY}
    if step.make:
        found[ADVICE + step.make] = {DONE: _EVERY}
    return found


def after_call(study: Study, state: State, turned: Mapping[str, int] | frozenset[str], entry: str) -> State:
    """The traces of a file's own names once a called file has come to an end, by what that left under `#turned`."""
    if YES not in turned:
        return state
    found = dict(state)
    for key in _aging(study, state):
        old = found.get(key) or {entry: _EVERY}
        found[key] = {BEFORE: _EVERY} if set(turned) == {YES} else {**old, BEFORE: _EVERY}
    return found


def _aging(study: Study, state: State) -> Iterator[str]:
    """The traces of what is no longer true once something is turned."""
    yield from (TAKEN + reading for reading in study.watched)
    yield from (key for key in state if key.startswith(SAID))


def speed(step: Step) -> str | None:
    """The speed that a step says is held by hand, as it is written; None where it says nothing of it."""
    value = step.state.get(HOLD)
    if value is None:
        return NONE if step.state.get(ENGINE) == STOPPED else None
    return value if isinstance(value, str) else value.text


def public(key: str) -> bool:
    """Whether a key of the state means the same in a file that calls."""
    return not key.startswith("#") or key.startswith(PUBLIC)
