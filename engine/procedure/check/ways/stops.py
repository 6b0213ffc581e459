"""That no ok end simply follows a stop: the run offers a gate there, and only "go on knowingly" passes it; it reads no
guard.

A finding with the severity stop is met by the run at once: mended now and read again, the run ends here, or the
technician goes on knowingly. Where it leads straight to an end that says ok, with nothing asked between, that word is
the wrong one: the run ends stopped.
"""

from __future__ import annotations

from collections.abc import Iterator

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.flow import Found
from engine.procedure.program import Branch, End, FindingSpec, Step
from engine.procedure.source.problems import Problem


def problems(study: Study, found: Found) -> Iterator[Problem]:
    """Stops that lead straight to an ok end."""
    for name, step in study.procedure.steps.items():
        if not found.here[name].reach:
            continue
        for branch, spec in _raised(step):
            end = _end(study, branch.go if branch is not None else step.way, spec.code)
            if end is not None and end[1].outcome == "ok":
                yield Problem(
                    "ok-over-stop",
                    study.path,
                    spec.span,
                    f"The stop '{spec.code}' leads straight to '{end[0]}', which says ok.",
                    "A run can't end ok while a stop stands: past it one only goes on knowingly, and it ends stopped.",
                    "Lead to a step with `end: stopped` or `failed`, or to one that reads again and clears it.",
                )


def _raised(step: Step) -> Iterator[tuple[Branch | None, FindingSpec]]:
    """The findings of a step that stop the work, each with its branch."""
    yield from ((None, f) for f in step.findings if f.severity == "stop" and f.when is None and f.where is None)
    for branch in step.way if isinstance(step.way, tuple) else ():
        yield from ((branch, f) for f in branch.findings if f.severity == "stop" and f.when is None)


def _end(study: Study, way: object, code: str) -> tuple[str, End] | None:
    """The end that a way leads to with nothing asked and nothing decided on the way, if the finding still stands."""
    seen: set[str] = set()
    while isinstance(way, str) and way in study.procedure.steps and way not in seen:
        seen.add(way)
        step = study.procedure.steps[way]
        if code in step.clear or not step.silent:
            return None
        if isinstance(step.way, End):
            return way, step.way
        way = step.way
    return None
