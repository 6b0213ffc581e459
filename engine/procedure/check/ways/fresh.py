"""That what is read is used while it is true: not after screws were turned, not at another speed than it was taken at;
it judges no number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.contract import Adviser, Registry
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways import traces
from engine.procedure.check.ways.flow import ENTRY, Found, Summary, standing
from engine.procedure.program import Call, Guard, Step
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span
from engine.vocabulary.states import NONE

#: A use of a reading: its name, where, in which words, and by which adviser, if by one.
Use = tuple[str, Span, str, Adviser | None]


def problems(study: Study, found: Found, advisers: Registry, called: Mapping[str, Summary]) -> Iterator[Problem]:
    """Readings used when they are no longer true, each once a step; findings recorded when it is too late."""
    for name, step in study.procedure.steps.items():
        here = found.here[name]
        if not here.reach:
            continue
        state = traces.answered(study, step, standing(here, step), advisers, ENTRY)
        told: set[str] = set()
        for reading, span, words, adviser in _uses(study, step, advisers):
            taken = state.get(traces.TAKEN + reading, {ENTRY: here.reach})
            marks = {mark for mark, worlds in taken.items() if worlds & here.reach}
            if reading not in told:
                problem = _judged(study, step, reading, span, words, adviser, marks)
                if problem is not None:
                    told.add(reading)
                    yield problem
        yield from _too_late(study, step, state, called)


def _uses(study: Study, step: Step, advisers: Registry) -> Iterator[Use]:
    """Where a step uses readings that turning a screw changes: what is kept is kept on purpose."""
    for advise in step.advise:
        adviser = advisers.get(advise.adviser)
        for binding in advise.bindings.values():
            names = [binding.target] if binding.guard is None else binding.guard.uses
            for name in names:
                if name in study.watched and binding.kind != "screw":
                    words = f"`{advise.adviser}` is asked with `{name}`"
                    yield name, binding.span, words, adviser
    guards: list[Guard | None] = [g for f in step.findings for g in (f.when, f.where)]
    for branch in step.way if isinstance(step.way, tuple) else ():
        guards += [branch.when, *(g for f in branch.findings for g in (f.when, f.where))]
    for guard in guards:
        if guard is None:
            continue
        for name in sorted(guard.uses & study.watched):
            yield name, guard.span, f"`{guard.text}` looks at `{name}`", None


def _judged(
    study: Study, step: Step, name: str, span: Span, words: str, adviser: Adviser | None, marks: set[str]
) -> Problem | None:
    quantity = study.procedure.readings[name].quantity
    some = " on some path" if len(marks) > 1 else ""
    if traces.BEFORE in marks or (traces.BROKEN in marks and adviser is None):
        return Problem(
            "stale-reading",
            study.path,
            span,
            f"In '{step.name}' {words}, which was read before screws were turned or parts changed{some}.",
            f"The {quantity} is another one since.",
            f"Read `{name}` again before this; or `keep` it under a name of its own where the old one is meant.",
        )
    held = sorted(m.removeprefix(traces.AT) for m in marks if m.startswith(traces.AT))
    if adviser is not None and adviser.idle and any(speed != NONE for speed in held):
        return Problem(
            "not-at-idle",
            study.path,
            span,
            f"In '{step.name}' {words}, which was read while {_held(held)} was held{some}; it judges an idle.",
            "What is true of a held engine is not true of its idle, and the move would be wrong.",
            "Add `hold: none` to the `state` of the step that reads it.",
        )
    if len(held) > 1:
        return Problem(
            "mixed-hold",
            study.path,
            span,
            f"In '{step.name}' {words}, which was read at {' on one path, at '.join(_at(h) for h in held)} on another.",
            "The same figure means another thing at another speed.",
            "Say `hold` in the `state` of every step that reads it.",
        )
    return None


def _held(speeds: list[str]) -> str:
    return " or ".join(s for s in speeds if s != NONE)


def _at(speed: str) -> str:
    return "idle" if speed == NONE else speed


def _too_late(study: Study, step: Step, state: traces.State, called: Mapping[str, Summary]) -> Iterator[Problem]:
    """What is to be written down as found, once nothing is any more as it was found."""
    turned = set(state.get(traces.TURNED, {ENTRY: -1}))
    if turned != {traces.YES}:
        return
    late = f"'{step.name}' records what was found" if step.record == "as found" else ""
    if isinstance(step.way, Call) and step.way.file in called and called[step.way.file].records_found:
        late = f"'{step.way.file}', which '{step.name}' calls, records what was found"
    if late:
        yield Problem(
            "found-after-moves",
            study.path,
            step.spans.get("record", step.spans.get("call", step.span)),
            f"{late}, and on every path screws were turned or parts changed before.",
            "The sheet would show the customer as found what was set minutes ago.",
            "Record it before the first move.",
        )
