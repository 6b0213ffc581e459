"""The ways between the steps of one file: branches, limits, ends of calls, symptoms; it walks none of them.

`when` says how far a step has come when it is left by an edge: "enter" (its limit is spent: nothing of it happened),
"asked" (a symptom: its state and moves stand, its readings are void), "again" (its answer led to a stop that was
mended; as "asked", but no file was followed from it), "answered" (everything).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from engine.contract import Registry
from engine.procedure.check.guards.coverage import Ways, ways
from engine.procedure.check.guards.study import Study
from engine.procedure.program import Call, Program, Step
from engine.procedure.source.spans import Span

BACK, NEXT = "back", "next"


@dataclass(frozen=True, slots=True)
class Edge:
    """One way from a step to another, possible in `worlds`. `call` is the file followed on the way and `end` the end
    of it that leads here. `spent` says whether the way is still there when every limit is used up."""

    source: str
    target: str
    kind: Literal["then", "branch", "go", "call", "symptom"]
    worlds: int
    when: Literal["enter", "asked", "again", "answered"]
    span: Span
    call: Call | None = None
    end: str | None = None
    spent: bool = True
    symptom: str | None = None
    #: Which of the step's branches it is.
    branch: int | None = None


@dataclass(frozen=True, slots=True)
class Edges:
    """The edges of a file by the step that they leave, and the regions of its branching steps."""

    out: Mapping[str, tuple[Edge, ...]]
    ways: Mapping[str, Ways]


def waits(step: Step) -> bool:
    """Whether a symptom can be given at a step: it asks something, or the file that it calls may."""
    return not step.silent or isinstance(step.way, Call)


def edges_of(study: Study, advisers: Registry) -> Edges:
    """Every edge of a file whose target exists."""
    steps = study.procedure.steps
    regions = {s.name: ways(study, s) for s in steps.values() if isinstance(s.way, tuple)}
    stops = may_stop(study.program, advisers)
    out = {
        s.name: tuple(e for e in _from(study, s, regions.get(s.name), stops) if e.target in steps)
        for s in steps.values()
    }
    return Edges(out, regions)


def may_stop(program: Program, advisers: Registry) -> bool:
    """Whether any finding of a program has the severity stop, an adviser's or a file's own."""
    return any(stops_at(step, advisers) for file in program.files.values() for step in file.steps.values())


def stops_at(step: Step, advisers: Registry) -> bool:
    """Whether a step itself may find what has the severity stop, or an adviser that it asks."""
    branches = step.way if isinstance(step.way, tuple) else ()
    if any(f.severity == "stop" for f in (*step.findings, *(f for b in branches for f in b.findings))):
        return True
    asked = (advisers[a.adviser] for a in step.advise if a.adviser in advisers)
    return any(r.severity == "stop" for adviser in asked for r in adviser.findings.values())


def _from(study: Study, step: Step, region: Ways | None, stops: bool) -> Iterator[Edge]:
    every = study.worlds.all
    free = step.limit is None
    if step.limit:
        yield Edge(step.name, step.limit.then, "then", every, "enter", step.limit.span)
        if stops and not step.silent:
            # What it read led to a stop; that was mended, and it is to be entered again when its visits are used up.
            yield Edge(step.name, step.limit.then, "then", every, "again", step.limit.span, spent=False)
    way = step.way
    if isinstance(way, tuple):
        assert region is not None
        for i, (branch, worlds) in enumerate(zip(way, region.worlds, strict=True)):
            if worlds:
                yield Edge(step.name, branch.go, "branch", worlds, "answered", branch.span, spent=free, branch=i)
    elif isinstance(way, str):
        yield Edge(step.name, way, "go", every, "answered", step.spans.get("go", step.span), spent=free)
    elif isinstance(way, Call):
        for end, target in way.ends.items():
            target = way.go or step.name if target == NEXT else target
            yield Edge(step.name, target, "call", every, "answered", way.ends_span.get(end, way.span), way, end, free)
    if waits(step):
        for name, led in leading(study, step).items():
            yield from _by_symptom(step, name, led, every, free)


def leading(study: Study, step: Step) -> dict[str, str | Call]:
    """The symptoms that lead somewhere from a step, within this file."""
    found: dict[str, str | Call] = dict(step.symptoms)
    for name, symptom in study.procedure.symptoms.items():
        if name not in found and symptom.way is not None:
            found[name] = symptom.way
    return found


def _by_symptom(step: Step, name: str, led: str | Call, every: int, free: bool) -> Iterator[Edge]:
    if isinstance(led, str):
        span = step.spans.get("symptoms", step.span)
        yield Edge(step.name, led, "symptom", every, "asked", span, spent=free, symptom=name)
        return
    for end, target in led.ends.items():
        yield Edge(
            step.name,
            step.name if target == BACK else target,
            "symptom",
            every,
            "asked",
            led.ends_span.get(end, led.span),
            led,
            end,
            free and led.limit is None,
            name,
        )
    if led.limit:
        yield Edge(step.name, led.limit.then, "symptom", every, "asked", led.limit.span, spent=free, symptom=name)
