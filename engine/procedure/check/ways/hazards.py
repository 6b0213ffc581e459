"""That what is dangerous carries its caution: states, hazards, tools, and quantities that are taken from something
dangerous."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from difflib import SequenceMatcher

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import waits
from engine.procedure.check.ways.flow import ENTRY, Here, standing
from engine.procedure.program import Procedure, Step
from engine.procedure.source.problems import Problem, nearest
from engine.procedure.source.spans import Span

GRAVEST = ("danger", "warning", "caution", "notice")
WHY = "Somebody would be led into the danger without a word of warning."


def problems(study: Study, found: Mapping[str, Here]) -> Iterator[Problem]:
    """Dangers without a caution, and cautions that nothing shows."""
    procedure = study.procedure
    covered = demands(procedure)
    grave = {" ".join(d.split()) for c in procedure.cautions.values() if c.word == "danger" for d in c.demanded_by}
    told: set[str] = set()
    for step in procedure.steps.values():
        for hazard in step.hazards:
            if hazard not in covered:
                yield _hazard(study, step, hazard, covered)
            elif hazard not in told:
                told.add(hazard)
                yield from _mild(study, step, hazard)
        yield from _states(study, step, grave, told)
        yield from _quantities(study, step, covered)
    yield from _tools(study, covered)
    yield from _idle(study, found)


def demands(procedure: Procedure) -> set[str]:
    """Everything that some caution of a file answers to: its name and what it is demanded by."""
    return {" ".join(d.split()) for name, c in procedure.cautions.items() for d in (name, *c.demanded_by)}


def _hazard(study: Study, step: Step, hazard: str, covered: set[str]) -> Problem:
    close = nearest(hazard, covered)
    hint = f"Did you mean '{close}'?" if close and SequenceMatcher(None, close, hazard).ratio() > 0.8 else ""
    return Problem(
        "missing-caution",
        study.path,
        step.spans.get("hazards", step.span),
        f"The hazard '{hazard}' of '{step.name}' has no caution in this file.",
        WHY,
        hint
        or f"Add one under `cautions`: `{hazard.replace(' ', '_')}: {{word: warning, text: ..., "
        f"demanded_by: [{hazard}]}}`.",
    )


def _mild(study: Study, step: Step, hazard: str) -> Iterator[Problem]:
    """A hazard whose cautions all speak of it more mildly than it is."""
    known = study.procedure.vocabulary.hazards.get(hazard)
    said = [c.word for n, c in study.procedure.cautions.items() if hazard in (n, *c.demanded_by)]
    if known is None or not said or min(GRAVEST.index(w) for w in said) <= GRAVEST.index(known.least):
        return
    yield Problem(
        "mild-caution",
        study.path,
        step.spans.get("hazards", step.span),
        f"No caution of this file speaks of the hazard '{hazard}' as a {known.least}.",
        "Whoever reads a milder word takes less care than it needs.",
        f"Say `word: {known.least}` in the caution that is demanded by it.",
        "warning",
    )


def _states(study: Study, step: Step, grave: set[str], told: set[str]) -> Iterator[Problem]:
    dangerous = study.procedure.vocabulary.dangerous_states
    for key, value in step.state.items():
        state = f"{key}: {value}"
        if state in dangerous and state not in grave and state not in told:
            told.add(state)
            yield Problem(
                "missing-caution",
                study.path,
                _state_span(step, key),
                f"'{step.name}' sets `{state}`, and no danger among the cautions of this file is demanded by that.",
                f"It means {dangerous[state]}. {WHY}",
                f'Add a caution with `word: danger` and `demanded_by: ["{state}"]`.',
            )


def _state_span(step: Step, key: str) -> Span:
    return step.spans.get(f"state.{key}", step.spans.get("state", step.span))


def _quantities(study: Study, step: Step, covered: set[str]) -> Iterator[Problem]:
    for read in step.read:
        reading = study.procedure.readings.get(read.reading)
        known = study.procedure.vocabulary.quantities.get(reading.quantity) if reading else None
        hazard = known.hazard if known else None
        if hazard is None or hazard in step.hazards or _shown(study.procedure, step, hazard):
            continue
        yield Problem(
            "missing-hazard",
            study.path,
            read.span,
            f"To read {reading.quantity if reading else ''} is to meet the hazard '{hazard}', and '{step.name}' "
            "does not name it.",
            WHY,
            f"Add `hazards: [{hazard}]` to the step.",
            "warning",
        )


def _shown(procedure: Procedure, step: Step, hazard: str) -> bool:
    return any(hazard in procedure.cautions[c].demanded_by for c in step.cautions if c in procedure.cautions)


def _tools(study: Study, covered: set[str]) -> Iterator[Problem]:
    dangerous = study.procedure.vocabulary.dangerous_tools
    for tool in study.procedure.needs:
        hazard = dangerous.get(tool)
        if hazard and tool not in covered and hazard not in covered:
            yield Problem(
                "missing-caution",
                study.path,
                study.procedure.layout.span,
                f"The tool '{tool}' is a hazard ({hazard}), and no caution of this file is demanded by it.",
                WHY,
                f"Add `demanded_by: [{tool}]` to the caution that warns of it.",
            )


def _idle(study: Study, found: Mapping[str, Here]) -> Iterator[Problem]:
    """Cautions that no step, state, hazard or tool ever shows."""
    procedure = study.procedure
    asked = {d for s in procedure.steps.values() for d in s.hazards} | set(procedure.needs)
    open_keys: set[str] = set()
    for name, step in procedure.steps.items():
        if waits(step) and found[name].reach:
            stands = standing(found[name], step)
            for key in procedure.vocabulary.states:
                values = stands.get(key, {ENTRY: 0})
                asked |= {f"{key}: {value}" for value in values}
                open_keys |= {key} if ENTRY in values else set()
    named = {c for s in procedure.steps.values() for c in s.cautions}
    for name, caution in procedure.cautions.items():
        demanded = {name, *(" ".join(d.split()) for d in caution.demanded_by)}
        if caution.span.path:  # a kit may hold more than one file needs
            continue
        if name in named or asked & demanded or any(d.partition(": ")[0] in open_keys for d in demanded):
            continue
        yield Problem(
            "idle-caution",
            study.path,
            caution.span,
            f"The caution '{name}' is never shown.",
            "Nobody would read it.",
            "Name it in a step, or say under `demanded_by` which state, hazard or tool demands it.",
            "warning",
        )
