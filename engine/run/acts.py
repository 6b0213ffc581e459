"""What a step does on entering and on leaving, compiled once per run from its text; it does none of it.

The walk performs these acts, and the fast path of the machine is open to a step that has none, so that there is one
description of a step. Each act is handed the walk, what the step reads then, and the readings of the answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from engine.procedure.program import Advise, Branch, Call, End, FindingSpec, Guard, Step

if TYPE_CHECKING:
    from engine.run.layout import StepPlan
    from engine.run.scope import Scope
    from engine.run.walk import Walk

Readings = Mapping[str, Any]
Act = Callable[["Walk", "Scope", Readings], None]


class Exit(NamedTuple):
    """One way on by a guard (None: otherwise), and what it does on the way."""

    when: Callable[[Mapping[str, Any]], Any] | None
    target: StepPlan
    acts: tuple[Act, ...]


#: Where a step leads: exits to try in turn, a call, or an end.
Way = tuple[Exit, ...] | Call | End


def entering(step: Step) -> tuple[Act, ...]:
    """What a step does as it is entered, beyond counting the visit."""
    return (_standing(step.state),) if step.state else ()


def leaving(step: Step) -> tuple[Act, ...]:
    """What a step does on its answer, in its order, before the way on."""
    return (
        *(_keeping(name, guard) for name, guard in step.keep),
        *(_asking(spec) for spec in step.advise),
        *((_recording(step.record),) if step.record else ()),
        *(_clearing(code) for code in step.clear),
        *(_finding(spec) for spec in step.findings),
    )


def way_on(step: Step, steps: Mapping[str, StepPlan]) -> Way:
    """Where a step leads, its targets found."""
    way = step.way
    if isinstance(way, Call | End):
        return way
    if isinstance(way, str):
        return (Exit(None, steps[way], ()),)
    return tuple(Exit(b.when.run if b.when else None, steps[b.go], tuple(_leaving_by(b))) for b in way)


def _leaving_by(branch: Branch) -> Iterator[Act]:
    yield from (_finding(spec) for spec in branch.findings)
    if branch.why:
        yield _saying(branch.why)


def _standing(state: Mapping[str, str | Guard]) -> Act:
    def act(walk: Walk, look: Scope, _: Readings) -> None:
        walk.set_state(state, look)

    return act


def _keeping(name: str, guard: Guard) -> Act:
    def act(walk: Walk, look: Scope, _: Readings) -> None:
        walk.give(look, name, guard.run(look.names))

    return act


def _asking(spec: Advise) -> Act:
    def act(walk: Walk, look: Scope, _: Readings) -> None:
        walk.ask(spec, look)

    return act


def _recording(which: str) -> Act:
    def act(walk: Walk, _: Scope, readings: Readings) -> None:
        walk.keep_record(which, readings)

    return act


def _clearing(code: str) -> Act:
    def act(walk: Walk, _: Scope, __: Readings) -> None:
        walk.clear(code)

    return act


def _finding(spec: FindingSpec) -> Act:
    def act(walk: Walk, look: Scope, _: Readings) -> None:
        walk.find(spec, look)

    return act


def _saying(why: str) -> Act:
    def act(walk: Walk, look: Scope, _: Readings) -> None:
        walk.say(why, look)

    return act
