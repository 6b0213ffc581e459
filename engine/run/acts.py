"""What a step does on entering and on leaving, compiled once per run from its text; it does none of it.

The walk performs these acts, and the fast path of the machine is open to a step that has none, so that there is one
description of a step. Each act is handed the walk, what the step reads then, and the readings of the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from engine.procedure.program import Branch, Call, End, Step

if TYPE_CHECKING:
    from engine.run.layout import StepPlan
    from engine.run.scope import Scope
    from engine.run.walk import Walk

Act = Callable[["Walk", "Scope", Mapping[str, Any]], None]


class Exit(NamedTuple):
    """One way on by a guard (None: otherwise), and what it does on the way."""

    when: Callable[[Mapping[str, Any]], Any] | None
    target: StepPlan
    acts: tuple[Act, ...]


#: Where a step leads: exits to try in turn, a call, or an end.
Way = tuple[Exit, ...] | Call | End


def entering(step: Step) -> tuple[Act, ...]:
    """What a step does as it is entered, beyond counting the visit."""
    state = step.state
    return ((lambda walk, scope, _: walk.set_state(state, scope)),) if state else ()


def leaving(step: Step) -> tuple[Act, ...]:
    """What a step does on its answer, in its order, before the way on."""
    return tuple(_leaving(step))


def _leaving(step: Step) -> Iterator[Act]:
    for name, guard in step.keep:
        yield lambda walk, scope, _, name=name, guard=guard: walk.give(scope, name, guard.run(scope.names))
    for spec in step.advise:
        yield lambda walk, scope, _, spec=spec: walk.ask(spec, scope)
    if step.record:
        yield lambda walk, scope, readings, which=step.record: walk.keep_record(which, readings)
    for code in step.clear:
        yield lambda walk, scope, _, code=code: walk.clear(code)
    for finding in step.findings:
        yield lambda walk, scope, _, finding=finding: walk.find(finding, scope)


def way_on(step: Step, steps: Mapping[str, StepPlan]) -> Way:
    """Where a step leads, its targets found."""
    way = step.way
    if isinstance(way, Call | End):
        return way
    if isinstance(way, str):
        return (Exit(None, steps[way], ()),)
    return tuple(Exit(b.when.run if b.when else None, steps[b.go], tuple(_leaving_by(b))) for b in way)


def _leaving_by(branch: Branch) -> Iterator[Act]:
    for finding in branch.findings:
        yield lambda walk, scope, _, finding=finding: walk.find(finding, scope)
    if branch.why:
        yield lambda walk, scope, _, why=branch.why: walk.say(why, scope)
