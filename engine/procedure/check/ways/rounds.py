"""Where a run can go round and round: steps, and the files that symptoms call from them; it judges no loop.

A symptom given inside a file that a symptom called is looked for there, then at the step that was broken into: it may
lead to the same call again, without that step's ever being entered anew. So such a call is a place of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import BACK, Edge, Edges, leading
from engine.procedure.check.ways.flow import Here
from engine.procedure.program import Call, Step


@dataclass(frozen=True, slots=True)
class Meets:
    """Whether a file ever waits for an answer, so that a symptom may be given in it, and which symptoms it then always
    leads somewhere itself."""

    waits: bool
    always: frozenset[str]

    def lets_out(self, symptom: str) -> bool:
        """Whether a symptom given somewhere in the file may be looked for in its caller."""
        return self.waits and symptom not in self.always


def meets(study: Study, found: Mapping[str, Here], called: Mapping[str, Meets]) -> Meets:
    """What a file does with symptoms. `called` are the files that it calls."""
    points = [p for s in study.procedure.steps.values() if found[s.name].reach for p in _points(study, s, called)]
    return Meets(bool(points), frozenset.intersection(*points) if points else frozenset())


def _points(study: Study, step: Step, called: Mapping[str, Meets]) -> Iterator[frozenset[str]]:
    """The symptoms that are led somewhere, at each place at or below a step where one can be given."""
    led = leading(study, step)
    below = called.get(step.way.file) if isinstance(step.way, Call) else None
    if not step.silent:
        yield frozenset(led)
    if below is not None and below.waits:
        yield frozenset(led) | below.always
    if step.silent and not (below and below.waits):
        return
    for way in led.values():
        inner = called.get(way.file) if isinstance(way, Call) else None
        if inner is not None and inner.waits:
            yield frozenset(led) | inner.always


def inside(step: str, symptom: str) -> str:
    """The name of the place that a symptom's call from a step is."""
    return f"{step} ({symptom})"


def rounds(
    study: Study, edges: Edges, found: Mapping[str, Here], called: Mapping[str, Meets]
) -> dict[str, tuple[list[Edge], str]]:
    """Every place of a file by name: the edges that leave it once every limit is used up, and the step it belongs
    to."""
    graph: dict[str, tuple[list[Edge], str]] = {}
    for name, out in edges.out.items():
        if found[name].reach:
            graph[name] = ([e for e in out if e.spent and e.worlds & found[name].reach], name)
    for name in list(graph):
        led = leading(study, study.procedure.steps[name])
        # A symptom whose own limit is spent is not called for any more: such a place is never come to again.
        calls = {
            e.symptom: e for e in edges.out[name] if e.kind == "symptom" and e.end and e.symptom and _counts(led, e)
        }
        entered = {s: e for s, e in calls.items() if (file := _file(e, called)) and file.waits}
        # One that may be given again inside its own call is a loop of itself, and enough to tell.
        alone = next((s for s, e in entered.items() if (file := _file(e, called)) and file.lets_out(s)), None)
        for symptom, edge in {alone: entered[alone]}.items() if alone else entered.items():
            file, here = _file(edge, called), inside(name, symptom)
            assert file is not None
            if edge.spent:
                graph[name][0].append(replace(edge, target=here, end=None))
            given = [(s, w) for s, w in led.items() if file.lets_out(s) and alone in (None, s)]
            again = [e for s, w in given for e in _again(edge, here, s, w, called)]
            graph[here] = ([replace(e, source=here, spent=True) for e in _ends(edges, edge)] + again, name)
    return graph


def _counts(led: Mapping[str, str | Call], edge: Edge) -> bool:
    way = led.get(edge.symptom or "")
    return isinstance(way, Call) and way.limit is None


def _file(edge: Edge, called: Mapping[str, Meets]) -> Meets | None:
    return called.get(edge.call.file) if edge.call else None


def _ends(edges: Edges, edge: Edge) -> Iterator[Edge]:
    """The ways by which a symptom's call comes to an end."""
    yield from (
        e for e in edges.out[edge.source] if e.kind == "symptom" and e.symptom == edge.symptom and e.call and e.end
    )


def _again(edge: Edge, here: str, symptom: str, way: str | Call, called: Mapping[str, Meets]) -> Iterator[Edge]:
    """The ways of a symptom that is given inside the file that `edge` calls, once every limit is used up."""
    given = replace(edge, source=here, symptom=symptom, spent=True)
    if isinstance(way, str):
        yield replace(given, target=way, call=None, end=None)
        return
    if way.limit is not None:
        yield replace(given, target=way.limit.then, call=None, end=None)
        return
    inner = called.get(way.file)
    if inner is not None and inner.waits:
        yield replace(given, target=inside(edge.source, symptom), call=way, end=None)
    for end, target in way.ends.items():
        yield replace(given, target=edge.source if target == BACK else target, call=way, end=end)
