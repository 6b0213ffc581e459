"""Whether every step can be reached, comes to an end, and does so after finitely many steps; it reads no guard.

Termination. Counters live in a frame and only grow, so after finitely many steps every limited step that is still
entered is spent: it goes to its `then`, and a symptom with a limit to its own. What is left is the spent graph, the
files that symptoms call being places of their own in it (`rounds`). If it has no cycle, no run is endless; calls are
finite by the same proof of the called file, and no file calls itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.components import components, cycle_in
from engine.procedure.check.ways.edges import Edge, Edges
from engine.procedure.check.ways.flow import Here
from engine.procedure.check.ways.rounds import Meets, rounds
from engine.procedure.program import Call, End
from engine.procedure.source.problems import Problem


def problems(study: Study, edges: Edges, found: Mapping[str, Here], called: Mapping[str, Meets]) -> Iterator[Problem]:
    """What is wrong with the ways of a file. `called` are the files that it calls."""
    lost = endless_from(study, edges, found)
    yield from unreachable(study, found)
    yield from stuck(study, edges, found, lost)
    yield from endless(study, edges, found, lost, called)


def unreachable(study: Study, found: Mapping[str, Here]) -> Iterator[Problem]:
    """Steps that no path leads to."""
    into: dict[str, list[str]] = {}
    for step in study.procedure.steps.values():
        for name in _written(step.way):
            into.setdefault(name, []).append(step.name)
    for name, step in study.procedure.steps.items():
        if found[name].reach:
            continue
        dead = [s for s in into.get(name, ()) if found[s].reach]
        if dead:
            why = f"the way to it from '{dead[0]}' can never be taken"
        elif into.get(name):
            why = f"it is only reached from '{into[name][0]}', which can't be reached either"
        else:
            why = "nothing leads to it"
        yield Problem(
            "unreachable-step",
            study.path,
            step.span,
            f"The step '{name}' can't be reached: {why}.",
            "What it is there for is never done.",
            "Lead a way to it, or delete it.",
        )


def _written(way: object) -> Iterator[str]:
    if isinstance(way, tuple):
        yield from (b.go for b in way)
    elif isinstance(way, str):
        yield way
    elif isinstance(way, Call):
        yield from way.ends.values()


def endless_from(study: Study, edges: Edges, found: Mapping[str, Here]) -> dict[str, int]:
    """Steps from which no end can be reached unless a symptom is given, each with the worlds in which that is so."""
    steps = study.procedure.steps
    ends = {n: found[n].reach for n, s in steps.items() if isinstance(s.way, End)}
    into: dict[str, list[Edge]] = {}
    for out in edges.out.values():
        for edge in out:
            if edge.kind != "symptom":
                into.setdefault(edge.target, []).append(edge)
    reached = dict.fromkeys(steps, 0) | ends
    queue = [n for n in ends if reached[n]]
    while queue:
        target = queue.pop()
        for edge in into.get(target, ()):
            more = reached[target] & edge.worlds & found[edge.source].reach & ~reached[edge.source]
            if more:
                reached[edge.source] |= more
                queue.append(edge.source)
    return {n: found[n].reach & ~reached[n] for n in steps if found[n].reach & ~reached[n]}


def stuck(study: Study, edges: Edges, found: Mapping[str, Here], lost: Mapping[str, int]) -> Iterator[Problem]:
    """One problem for each way into steps from which no end can be reached."""
    for name in _doors(lost, edges):
        where = ""
        if lost[name] != found[name].reach:
            facts = study.worlds.describe(lost[name], lambda atom: str(atom[1]))
            cases = [
                f"{n} is {v if isinstance(v, str) else 'true' if v else 'false'}"
                for n, v in facts.items()
                if isinstance(v, bool | str)
            ]
            where = f" where {' and '.join(cases)}" if cases else " in some cases"
        others = [n for n in lost if n != name]
        circle = f" It only goes round among {', '.join(repr(n) for n in (name, *others)[:6])}." if others else ""
        yield Problem(
            "no-way-to-end",
            study.path,
            study.procedure.steps[name].span,
            f"From '{name}' no end can be reached{where}.{circle}",
            "The job could never be finished.",
            "Lead a way from here towards a step with `end`.",
        )


def _doors(lost: Mapping[str, int], edges: Edges) -> list[str]:
    """Of the lost steps those by which one comes among them; all of them, if one starts inside."""
    inside = {e.target for n in lost for e in edges.out[n] if e.target in lost and e.target != n}
    doors = {e.target for n, out in edges.out.items() if n not in lost for e in out if e.target in lost}
    return [n for n in lost if n in doors or n not in inside] or list(lost)[:1]


def endless(
    study: Study, edges: Edges, found: Mapping[str, Here], lost: Mapping[str, int], called: Mapping[str, Meets]
) -> Iterator[Problem]:
    """Cycles of the spent graph: loops that no limit ends; but not those that lead to no end at all, told already."""
    places = rounds(study, edges, found, called)
    graph = {name: out for name, (out, _) in places.items()}
    for names in components(graph):
        cycle = cycle_in(graph, names, study.worlds.all)
        steps = [places[e.source][1] for e in cycle or ()]
        if cycle and any(lost.get(n) != found[n].reach for n in steps):
            yield _endless(study, cycle, steps)


def _endless(study: Study, cycle: list[Edge], steps: list[str]) -> Problem:
    path = " → ".join([e.source for e in cycle] + [cycle[-1].target])
    then = next((e for e in cycle if e.kind == "then"), None)
    symptom = next((e for e in cycle if e.kind == "symptom"), None)
    why = "The technician could go round at a hot engine for ever."
    if then:
        return Problem(
            "limit-in-loop",
            study.path,
            then.span,
            f"When '{then.source}' is spent it goes to '{then.target}', which leads back into the loop: {path}.",
            why,
            "Let `then` lead out of the loop, to an end or towards one.",
        )
    within = next((e for e in cycle if e.symptom and e.source not in steps), None)
    if within and within.call:
        return Problem(
            "endless-symptom",
            study.path,
            within.span,
            f"The symptom '{within.symptom}' may be given again inside '{within.call.file}', which it calls from "
            f"'{steps[cycle.index(within)]}', and nothing counts how often.",
            why,
            "Give the symptom a `limit: {visits: 3, then: step}`, or let that file lead it somewhere itself.",
        )
    if symptom and len(cycle) == 1 and symptom.call:
        return Problem(
            "endless-symptom",
            study.path,
            symptom.span,
            f"The symptom '{symptom.symptom}' leads back into '{symptom.source}' and may be given again and again.",
            why,
            "Give the symptom a `limit: {visits: 3, then: step}`.",
        )
    order = list(study.procedure.steps)
    last = max(zip(cycle, steps, strict=True), key=lambda pair: order.index(pair[1]))[0]
    hint = "Give one of these steps a `limit: {visits: 10, then: step}` whose `then` leads out of the loop."
    if symptom and len(cycle) == 1:
        return Problem(
            "endless-symptom",
            study.path,
            symptom.span,
            f"The symptom '{symptom.symptom}' leads from '{symptom.source}' into itself and may be given again and "
            "again.",
            why,
            f"Give '{symptom.source}' a `limit: {{visits: 3, then: step}}`, or lead the symptom elsewhere from there.",
        )
    if symptom:
        return Problem(
            "endless-symptom",
            study.path,
            symptom.span,
            f"The symptom '{symptom.symptom}' closes a loop that no limit ends: {path}.",
            why,
            hint,
        )
    return Problem("endless-loop", study.path, last.span, f"This closes a loop that no limit ends: {path}.", why, hint)
