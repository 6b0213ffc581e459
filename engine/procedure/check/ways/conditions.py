"""That what is done only under a condition can be done at all; branches are `coverage`'s, and it follows no path."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.procedure.check.guards.formulas import TooComplex
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.flow import Here
from engine.procedure.program import Guard, Step
from engine.procedure.source.problems import Problem


def problems(study: Study, found: Mapping[str, Here]) -> Iterator[Problem]:
    """Conditions that are never true where their step can be reached."""
    for name, step in study.procedure.steps.items():
        reach = found[name].reach
        for what, guard in conditions_of(step) if reach else ():
            if guard.type.each is None and not holds_somewhere(study, guard, reach):
                yield Problem(
                    "never-true",
                    study.path,
                    guard.span,
                    f"`{guard.text}` is never true here, so this {what}.",
                    "What it is there for is never done.",
                    "Correct the number, the unit or the choice; or delete the part.",
                )


def conditions_of(step: Step) -> Iterator[tuple[str, Guard]]:
    """The conditions of a step but its branches', with what never happens where one of them never holds."""
    for what, parts in (
        ("screw is never turned", step.moves),
        ("part is never fitted", step.fit),
        ("reading is never taken", step.read),
        ("adviser is never asked", step.advise),
        ("finding is never raised", step.findings),
    ):
        yield from ((what, part.when) for part in parts if part.when is not None)
    for branch in step.way if isinstance(step.way, tuple) else ():
        yield from (("finding is never raised", f.when) for f in branch.findings if f.when is not None)


def holds_somewhere(study: Study, guard: Guard, reach: int) -> bool:
    """Whether a condition may hold in some of the worlds; true where that is too complex to tell."""
    try:
        formula = study.formula(guard)
        return bool(study.may_hold(formula) & reach) and study.possible([formula], reach)
    except TooComplex:
        return True
