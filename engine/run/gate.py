"""The gate of a stop: when it opens, and what each of its three ways does; it asks nobody and words nothing but itself.

A finding of severity stop opens it on the spot, before the next step. `mended` reads again the step whose answer led
here, `ends here` ends the run with what stands on the sheet, `go on knowingly` goes on with the reason written down.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from engine.evidence import Finding
from engine.procedure.program import Call, End
from engine.run.events import ENDS_HERE, GO_ON, MENDED
from engine.run.state import Frame, Gate, Made, State, by_order, standing
from engine.run.texts import render

if TYPE_CHECKING:
    from engine.run.layout import StepPlan
    from engine.run.scope import Scope
    from engine.run.walk import Walk

#: The first format of a record whose runs have gates.
SINCE = 2
#: So often a stop is believed to be mended, in one frame, when the same is found again; a run must come to an end.
_BELIEVED = 3
#: What the gate is called where a step has a name and a reading has one.
NAME = "stop_gate"


def opened(walk: Walk, way: StepPlan | Call | End, look: Scope) -> Gate | None:
    """The gate that opens before `way`; None where no stop stands that was not answered, or where the run ends here by
    itself.
    """
    stops = [
        f
        for group in sorted(walk.findings.values(), key=by_order)
        for f in group.findings
        if f.severity == "stop" and (f.code, f.where) not in walk.accepted
    ]
    if not stops or (isinstance(way, End) and walk.frame.caller is None and way.outcome != "ok"):
        return None
    stops = list({(f.code, f.where): f for f in stops}.values())
    worded = look.file.steps[walk.frame.at.name].step.on_stop or look.file.procedure.on_stop
    say = render(worded.say, look) if worded else ""
    todo = render(worded.do, look) if worded else ""
    return Gate(
        tuple((f.code, f.where) for f in stops),
        say or " ".join(dict.fromkeys(f.say for f in stops if f.say)),
        todo or " ".join(dict.fromkeys(f.do for f in stops if f.do)),
        way,
        _again(walk, stops),
    )


def _again(walk: Walk, stops: list[Finding]) -> State | None:
    """The state whose step is to be read again."""
    if walk.past is None:
        return None
    state = walk.past.state
    again = state if state.gate is None else _once_more(state.gate)
    if again is None or any(again.frame.visits.get(_count(f.code), 0) >= _BELIEVED for f in stops):
        return None
    return again


def _once_more(gate: Gate) -> State | None:
    """The state to be read again after a gate that led to another with nothing asked between: it was believed once."""
    again = gate.again
    return None if again is None else again._replace(frame=_believed(again, gate))


def _believed(again: State, gate: Gate) -> Frame:
    """The frame of the state to be read again, each stop of the gate counted as believed once more."""
    visits = dict(again.frame.visits)
    for code in {code for code, _ in gate.findings}:
        visits[_count(code)] = visits.get(_count(code), 0) + 1
    return again.frame._replace(visits=visits)


def _count(code: str) -> str:
    return f"gate:{code}"


def choices(gate: Gate) -> tuple[str, ...]:
    """The ways on from a gate."""
    return (MENDED, ENDS_HERE, GO_ON) if gate.again is not None else (ENDS_HERE, GO_ON)


def passed(walk: Walk, gate: Gate, choice: str, reason: str) -> None:
    """Go on from a gate by one of its ways."""
    if choice == GO_ON:
        walk.accepted = {**walk.accepted, **dict.fromkeys(gate.findings, reason)}
        walk.because.append(f"Gone on knowingly: {reason}")
        walk.own()
        walk.follow(gate.way, walk.look())
    elif choice == MENDED and gate.again is not None:
        _mended(walk, gate, gate.again)
    else:
        walk.end_run("stopped", " ".join(filter(None, (reason, "Ended here:", gate.say))))


def _mended(walk: Walk, gate: Gate, again: State) -> None:
    """Take what was found for mended, and read again where it was found. Hands were in the engine: what was learnt of
    its screws no longer holds.
    """
    told = set(gate.findings)
    kept = {
        raiser: group._replace(findings=tuple(f for f in group.findings if (f.code, f.where) not in told))
        for raiser, group in walk.findings.items()
    }
    walk.findings = {raiser: group for raiser, group in kept.items() if group.findings}
    old, now = again.world.conditions, walk.world.conditions
    changed = tuple(k for k, v in old.items() if now.get(k) != v)
    walk.world = walk.world._replace(
        conditions=old, changed=tuple(dict.fromkeys((*again.world.changed, *changed))), epoch=walk.world.epoch + 1
    )
    walk.frame, walk.visited = _believed(again, gate), again.visited
    # Its moves were made when the stop was found; they are not to be made twice.
    walk.enter(again.frame.at, Made((), (), walk.world.positions))


def stops(state: State) -> tuple[Finding, ...]:
    """The findings that a gate is about."""
    told = set(state.gate.findings) if state.gate is not None else set()
    return tuple(f for f in standing(state) if (f.code, f.where) in told)
