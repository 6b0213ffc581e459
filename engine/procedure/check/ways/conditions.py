"""That what is done only under a condition can be done at all; branches are `coverage`'s, and it follows no path."""

from __future__ import annotations

from collections.abc import Iterator

from engine.procedure.check.guards.formulas import TooComplex
from engine.procedure.check.guards.space import Box
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.flow import Found, possible
from engine.procedure.program import Guard, Step
from engine.procedure.source.problems import Problem


def problems(study: Study, found: Found) -> Iterator[Problem]:
    """Conditions that are never true where their step can be reached."""
    for name, step in study.procedure.steps.items():
        for what, guard, before in conditions_of(step) if found.here[name].reach else ():
            boxes = found.before(step) if before else found.answered(step)
            if guard.type.each is None and not holds_somewhere(study, found, guard, boxes):
                yield Problem(
                    "never-true",
                    study.path,
                    guard.span,
                    f"`{guard.text}` is never true here, so this {what}.",
                    "What it is there for is never done.",
                    "Correct the number, the unit or the choice; or delete the part.",
                )


def conditions_of(step: Step) -> Iterator[tuple[str, Guard, bool]]:
    """The conditions of a step but its branches', with what never happens where one of them never holds, and whether it
    is asked before the step is answered."""
    for what, parts, before in (
        ("screw is never turned", step.moves, True),
        ("part is never fitted", step.fit, True),
        ("reading is never taken", step.read, True),
        ("adviser is never asked", step.advise, False),
        ("finding is never raised", step.findings, False),
    ):
        yield from ((what, part.when, before) for part in parts if part.when is not None)
    for branch in step.way if isinstance(step.way, tuple) else ():
        yield from (("finding is never raised", f.when, False) for f in branch.findings if f.when is not None)


def holds_somewhere(study: Study, found: Found, guard: Guard, boxes: list[Box]) -> bool:
    """Whether a condition may hold where these boxes do; true where that is too complex to tell."""
    try:
        return possible(study, found.carried, study.formula(guard), boxes)
    except TooComplex:
        return True
