"""That what is read is used while it is true: not after screws were turned, not at another speed than it was taken at;
it judges no number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.contract import Adviser, Registry
from engine.procedure.check.guards.study import Study, guards_in
from engine.procedure.check.ways import traces
from engine.procedure.check.ways.flow import ENTRY, Found, Summary, standing
from engine.procedure.program import Call, End, Guard, Step, Template
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span
from engine.vocabulary.states import NONE

#: A use of a reading: its name, where, in which words, by which adviser, if by one, whether before the answer, and
#: whether it is held against no other reading.
Use = tuple[str, Span, str, Adviser | None, bool, bool]

#: How the use of a reading in a text is said: an old figure misleads whoever reads it, and no run.
SHOWN = "the text shows"


def problems(study: Study, found: Found, advisers: Registry, called: Mapping[str, Summary]) -> Iterator[Problem]:
    """Readings used when they are no longer true, each once a step; findings recorded when it is too late."""
    for name, step in study.procedure.steps.items():
        here = found.here[name]
        if not here.reach:
            continue
        entered = standing(here, step)
        state = traces.answered(study, step, entered, advisers, ENTRY)
        told: set[str] = set()
        for reading, span, words, adviser, before, alone in _uses(study, step, advisers):
            taken = (entered if before else state).get(traces.TAKEN + reading, {ENTRY: here.reach})
            marks = {mark for mark, worlds in taken.items() if worlds & here.reach}
            if reading not in told:
                now = {s for s, w in entered.get(traces.SPEED, {ENTRY: here.reach}).items() if w & here.reach}
                problem = _judged(study, step, reading, span, words, adviser, marks, now if alone else set())
                if problem is not None:
                    told.add(reading)
                    yield problem
        yield from _held_speed(study, step, entered)
        yield from _old_advice(study, step, entered, state)
        yield from _too_late(study, step, state, called)


def _held_speed(study: Study, step: Step, entered: traces.State) -> Iterator[Problem]:
    """An engine speed that is read while a hand holds it."""
    for read in step.read:
        reading = study.procedure.readings.get(read.reading)
        if reading is None or reading.quantity != "engine speed":
            continue
        held = {s for s, w in entered.get(traces.SPEED, {}).items() if w and s not in (ENTRY, NONE)}
        if held:
            yield Problem(
                "speed-while-held",
                study.path,
                read.span,
                f"'{step.name}' reads the engine speed while {' or '.join(sorted(held))} is held.",
                "It is the hand's speed, and says nothing of the engine.",
                "Add `hold: none` to the `state` of the step.",
                "warning",
            )


def _old_advice(study: Study, step: Step, entered: traces.State, state: traces.State) -> Iterator[Problem]:
    """Guards that look at what an adviser said before something was turned, and that was not asked again since."""
    for guard, before in _guards(step):
        for name in sorted({n.partition(".")[0] for n in guard.uses if "." in n}):
            marks = (entered if before else state).get(traces.SAID + name, {})
            if traces.BEFORE not in marks:
                continue
            some = " on some path" if len(marks) > 1 else ""
            yield Problem(
                "stale-advice",
                study.path,
                guard.span,
                f"In '{step.name}' `{guard.text}` looks at what `{name}` said before screws were turned or parts "
                f"changed{some}.",
                "It was said of an engine that is no longer there.",
                "Ask the adviser again on every way that leads here.",
            )
            return


def _uses(study: Study, step: Step, advisers: Registry) -> Iterator[Use]:
    """Where a step uses readings that turning a screw changes: what is kept is kept on purpose."""
    for advise in step.advise:
        adviser = advisers.get(advise.adviser)
        for binding in advise.bindings.values():
            names = [binding.target] if binding.guard is None else binding.guard.uses
            for name in names:
                if name in study.watched and binding.kind != "screw":
                    words = f"`{advise.adviser}` is asked with `{name}`"
                    yield name, binding.span, words, adviser, False, False
    for text, before in _texts(step):
        for guard in guards_in(text):
            for name in sorted(guard.uses & study.watched):
                yield name, guard.span, f"{SHOWN} `{name}`", None, before, False
    for guard, before in _guards(step):
        seen = sorted(guard.uses & study.watched)
        for name in seen:
            yield name, guard.span, f"`{guard.text}` looks at `{name}`", None, before, len(seen) == 1


def _texts(step: Step) -> Iterator[tuple[Template | None, bool]]:
    """The texts of a step, and whether each is shown before the answer."""
    yield from ((t, True) for t in (step.caution, step.do, step.why, step.hear, step.note))
    branches = step.way if isinstance(step.way, tuple) else ()
    for finding in (*step.findings, *(f for b in branches for f in b.findings)):
        yield from ((t, False) for t in (finding.say, finding.do))
    if isinstance(step.way, End):
        yield step.way.say, False


def _guards(step: Step) -> Iterator[tuple[Guard, bool]]:
    """The guards of a step that decide what is done, and whether each does so before the answer."""
    hands: list[Guard | None] = [g for g in step.state.values() if isinstance(g, Guard)]
    hands += [g for m in step.moves for g in (m.when, m.to, m.by)]
    hands += [g for f in step.fit for g in (f.when, f.size)]
    hands += [r.when for r in step.read]
    yield from ((g, True) for g in hands if g is not None)
    guards: list[Guard | None] = [g for f in step.findings for g in (f.when, f.where)]
    for branch in step.way if isinstance(step.way, tuple) else ():
        guards += [branch.when, *(g for f in branch.findings for g in (f.when, f.where))]
    yield from ((g, False) for g in guards if g is not None)


def _judged(
    study: Study, step: Step, name: str, span: Span, words: str, adviser: Adviser | None, marks: set[str], now: set[str]
) -> Problem | None:
    """`marks`: how the reading was taken, on whatever way; `now`: the speeds that may be held where it is used by
    itself: held against another, it is meant as what it was."""
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
            "warning" if words.startswith(SHOWN) else "error",
        )
    held = sorted(m.removeprefix(traces.AT) for m in marks if m.startswith(traces.AT))
    if adviser is not None and adviser.idle and any(speed != NONE for speed in held):
        return Problem(
            "not-at-idle",
            study.path,
            span,
            f"In '{step.name}' {words}, which was read {_held(held)}{some}; it judges an idle.",
            "What is true of a held engine is not true of its idle, and the move would be wrong.",
            "Add `hold: none` to the `state` of the step that reads it.",
        )
    if now == {NONE} and held and not {NONE, ENTRY} & set(held):
        return Problem(
            "stale-reading",
            study.path,
            span,
            f"In '{step.name}' {words}, which was read {_held(held)}{some}, and it has been let go since.",
            f"The {quantity} is another one at idle.",
            f"Read `{name}` again before this; or `keep` it under a name of its own where the held one is meant.",
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
    known = " or ".join(s for s in speeds if s not in (NONE, ENTRY))
    unsaid = "with nothing said of a speed that is held" if ENTRY in speeds else ""
    return " or ".join(filter(None, (f"while {known} was held" if known else "", unsaid)))


def _at(speed: str) -> str:
    return "idle" if speed == NONE else "whatever speed was held before" if speed == ENTRY else speed


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
