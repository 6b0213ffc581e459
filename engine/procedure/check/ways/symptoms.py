"""That every symptom leads somewhere from every step at which it can be given, through all callers; it follows no
path."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import leading, waits
from engine.procedure.program import Call
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span

#: A step from which a symptom leads nowhere: its name, and where it stands.
From = tuple[str, str, Span]
#: (path of the file that declares it, its span, its name) -> the steps from which it leads nowhere.
Lost = dict[tuple[str, Span, str], tuple[From, ...]]


def lost_in(study: Study, called: Mapping[str, Lost]) -> Lost:
    """The symptoms that lead nowhere from some step of a file, or of one that it calls, unless a caller sees to it."""
    procedure = study.procedure
    found: dict[tuple[str, Span, str], list[From]] = {}
    for step in procedure.steps.values():
        led = leading(study, step)
        if waits(step):
            for name, symptom in procedure.symptoms.items():
                if name not in led:
                    found.setdefault((study.path, symptom.span, name), []).append((step.name, study.path, step.span))
        # What is given in a file that a step, or a symptom there, calls is looked for at the step in the end.
        ways = [step.way, *(led.values() if waits(step) else ())]
        for file in dict.fromkeys(way.file for way in ways if isinstance(way, Call)):
            for key, steps in called.get(file, {}).items():
                if key[2] not in led:
                    found.setdefault(key, []).extend(steps)
    return {key: tuple(dict.fromkeys(steps)) for key, steps in found.items()}


def problems(lost: Lost) -> Iterator[Problem]:
    """Those that nobody sees to, of the main file."""
    for (path, span, name), steps in lost.items():
        where = ", ".join(f"'{s}'" for s, _, _ in steps[:4]) + (" and others" if len(steps) > 4 else "")
        mend = "Say `go: step` or `call: file` where it is declared, or in the steps themselves."
        if span.path:  # a kit's, which leads nowhere by itself: the step is what to mend
            _, path, span = steps[0]
            mend = f"Say `{name}: step` under `symptoms` at the top of the file, or in this step."
        yield Problem(
            "symptom-leads-nowhere",
            path,
            span,
            f"The symptom '{name}' leads nowhere from {where}.",
            "What the technician sees there could not be told to the program.",
            mend,
        )
