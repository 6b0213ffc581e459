"""That no ok end simply follows a stop: the run offers a gate there, and only "go on knowingly" passes it; it
follows no path that asks anything.

A finding with the severity stop is met by the run at once: mended now and read again, the run ends here, or the
technician goes on knowingly. Where it leads straight to an end that says ok, with nothing asked between, that word is
the wrong one: the run ends stopped.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.contract import Registry
from engine.procedure.check.guards.formulas import Formula, TooComplex, negation
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.flow import Found
from engine.procedure.program import Advise, Branch, End, FindingSpec, Step
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span


def problems(study: Study, found: Found, advisers: Registry) -> Iterator[Problem]:
    """Stops that lead straight to an ok end, the file's own and its advisers'."""
    for name, step in study.procedure.steps.items():
        if not found.here[name].reach:
            continue
        for branch, spec in _raised(step):
            end = _end(study, branch.go if branch is not None else step.way, spec.code)
            if end is not None and end[1].outcome == "ok":
                yield _over(study, spec.span, f"The stop '{spec.code}'", end[0])
        for advise in step.advise:
            yield from _advised(study, step, advise, advisers)


def _over(study: Study, span: Span, what: str, end: str) -> Problem:
    return Problem(
        "ok-over-stop",
        study.path,
        span,
        f"{what} leads straight to '{end}', which says ok.",
        "A run can't end ok while a stop stands: past it one only goes on knowingly, and it ends stopped.",
        "Lead to a step with `end: stopped` or `failed`, or to one that reads again and clears it.",
    )


def _advised(study: Study, step: Step, advise: Advise, advisers: Registry) -> Iterator[Problem]:
    """The ways on which a stop that an adviser found leads straight to an ok end; each stop once a step."""
    adviser = advisers.get(advise.adviser)
    for code, raised in adviser.findings.items() if adviser is not None else ():
        if raised.severity != "stop":
            continue
        output, word = raised.told or ("", "")
        axis = ("c", f"{advise.name}.{output}")
        known = word in study.normal.choices.get(axis, ())
        told: Formula = ("enum", axis, frozenset({word}), True) if known else True
        for span, way in _open_ways(study, step, told):
            end = _end(study, way, code, advise.adviser)
            if end is not None and end[1].outcome == "ok":
                yield _over(study, span, f"The stop '{code}' of `{advise.adviser}`", end[0])
                break


def _open_ways(study: Study, step: Step, told: Formula) -> Iterator[tuple[Span, str]]:
    """The ways that are open to a step where a formula holds, each with what decides it."""
    if isinstance(step.way, str):
        yield step.spans.get("go", step.span), step.way
    before: list[Formula] = [told]
    for branch in step.way if isinstance(step.way, tuple) else ():
        try:
            when = study.formula(branch.when)
        except TooComplex:
            return
        if study.possible([*before, when]):
            yield branch.span, branch.go
        before.append(negation(when))


def _raised(step: Step) -> Iterator[tuple[Branch | None, FindingSpec]]:
    """The findings of a step that stop the work, each with its branch."""
    yield from ((None, f) for f in step.findings if f.severity == "stop" and f.when is None and f.where is None)
    for branch in step.way if isinstance(step.way, tuple) else ():
        yield from ((branch, f) for f in branch.findings if f.severity == "stop" and f.when is None)


def _end(study: Study, way: object, code: str, adviser: str = "") -> tuple[str, End] | None:
    """The end that a way leads to with nothing asked and nothing decided on the way, if the finding still stands; an
    `adviser`'s own goes when it is asked again."""
    seen: set[str] = set()
    while isinstance(way, str) and way in study.procedure.steps and way not in seen:
        seen.add(way)
        step = study.procedure.steps[way]
        asked = any(a.adviser == adviser for a in step.advise)
        if (code in step.clear and not adviser) or asked or not step.silent:
            return None
        if isinstance(step.way, End):
            return way, step.way
        way = step.way
    return None
