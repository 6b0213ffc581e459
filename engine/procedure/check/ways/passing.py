"""How many steps may pass by themselves between two answers, called files with them; it looks at no answer.

The run refuses to pass more than `MOST_SILENT`, so that nothing spins unseen; a sound file never comes near.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.components import components, cycle_in
from engine.procedure.check.ways.edges import Edge, Edges
from engine.procedure.check.ways.flow import Here
from engine.procedure.program import MOST_SILENT, Call, End, ReadSpec, Step
from engine.procedure.source.problems import Problem


@dataclass(frozen=True, slots=True)
class Passing:
    """The most steps of a file that pass by themselves: from its start (`head`), from its start to an end without
    asking (`through`; None where it always asks), after its last answer to an end (`tail`). `asks` says whether it
    may ask at all."""

    head: int
    through: int | None
    tail: int
    asks: bool


def passing(study: Study, edges: Edges, found: Mapping[str, Here], called: Mapping[str, Passing]) -> Passing:
    """How a file passes by itself. `called` are those of the files that it calls."""
    return _Count(study, edges, found, called).result()


def problems(study: Study, edges: Edges, found: Mapping[str, Here], called: Mapping[str, Passing]) -> Iterator[Problem]:
    """Loops that ask nothing, and stretches that are too long to be passed unseen."""
    count = _Count(study, edges, found, called)
    told = False
    for cycle in count.loops():
        told = True
        path = " → ".join([e.source for e in cycle] + [cycle[-1].target])
        yield Problem(
            "silent-loop",
            study.path,
            cycle[-1].span,
            f"This loop asks nothing and changes nothing: {path}.",
            "It would spin until its limit stops it, and nobody would see why.",
            "Give one of its steps something to do or to read.",
        )
    if told:
        return
    step, most = count.longest()
    if most > MOST_SILENT:
        yield Problem(
            "passes-unseen",
            study.path,
            study.procedure.steps[step].span,
            f"From '{step}' on, {most if most < count.CAP else 'far too many'} steps may pass without asking anything; "
            f"{MOST_SILENT} are the most.",
            "The program would spin, and nobody would see why.",
            "Give a step of the loop, or of the file that it calls, something to do or to read.",
        )


class _Count:
    #: Longer stretches are all the same.
    CAP = 10**9

    def __init__(self, study: Study, edges: Edges, found: Mapping[str, Here], called: Mapping[str, Passing]) -> None:
        self.study, self.edges, self.found, self.called = study, edges, found, called
        self.steps = {n: s for n, s in study.procedure.steps.items() if found[n].reach}
        layout = study.procedure.layout
        self.places = {
            None: 1,
            "carb": layout.carbs[1],
            "barrel": layout.carbs[1] * layout.barrels_per_carb[1],
            "gap": layout.carbs[1],
        }
        quiet = {n for n, s in self.steps.items() if self._may_pass(s)}
        #: Steps that may pass by themselves, with those that may then be entered.
        self.graph = {n: [e for e in self.ahead(n) if e.target in self.steps] for n in self.steps if n in quiet}
        self.after = self._stretches()

    def _may_pass(self, step: Step) -> bool:
        """Whether a step may ask nothing in some visit: what it reads hangs on a condition, or has no place on some
        bank; its moves may be none."""
        return step.waits_for([r for r in step.read if r.when is None and not self._placeless(r)]) != "always"

    def _placeless(self, read: ReadSpec) -> bool:
        reading = self.study.procedure.readings.get(read.reading)
        return reading is not None and self.study.places(reading.type.each)[0] == 0

    def ahead(self, name: str) -> list[Edge]:
        """The edges by which a run may leave a step without a symptom and without an answer inside a called file."""
        step = self.steps[name]
        if isinstance(step.way, Call) and self._through(step.way) is None:
            return []
        return [e for e in self.edges.out[name] if e.when == "answered" and e.worlds & self.found[name].reach]

    def _through(self, call: Call) -> int | None:
        known = self.called.get(call.file)
        if known is None:
            return 0
        return None if known.through is None else known.through * self.places.get(call.each, 1)

    def weight(self, name: str) -> int:
        """The most steps that pass where a step passes by itself: it, and the file that it calls."""
        way = self.steps[name].way
        if not isinstance(way, Call):
            return 1
        known, through = self.called.get(way.file), self._through(way)
        head = known.head if known else 0
        return min(self.CAP, 1 + max(head, (through or 0) + head if way.each else through or 0))

    def _stretches(self) -> dict[str, int]:
        """For each step the most steps that pass from the moment it is entered until one asks, or the file ends."""
        after: dict[str, int] = {}
        inner = {n: [e for e in out if e.target in self.graph] for n, out in self.graph.items()}
        for part in components(inner, every=True):
            inside = set(part)
            size = max(self.weight(n) for n in part)
            if len(part) > 1 or any(e.target in inside for n in part for e in inner[n]):
                # Each limited step is entered so often, and between two of those each other step once at most.
                limits = {n: limit.visits for n in part if (limit := self.steps[n].limit)}
                others = sum(self.weight(n) for n in part if n not in limits)
                size = sum(self.weight(n) * v for n, v in limits.items()) + (1 + sum(limits.values())) * others
            onward = max((after.get(e.target, 0) for n in part for e in inner[n] if e.target not in inside), default=0)
            for n in part:
                after[n] = min(self.CAP, size + onward)
        return after

    def loops(self) -> Iterator[list[Edge]]:
        """Loops of steps that surely ask nothing, through files that never ask."""
        never = {
            n
            for n in self.graph
            if self.steps[n].silent
            and not isinstance(self.steps[n].way, End)
            and not (isinstance(way := self.steps[n].way, Call) and self._asks(way))
        }
        graph = {n: [e for e in self.graph[n] if e.target in never] for n in self.graph if n in never}
        for names in components(graph):
            cycle = cycle_in(graph, names, self.study.worlds.all)
            if cycle and not all(e.spent for e in cycle):
                yield cycle

    def _asks(self, call: Call) -> bool:
        known = self.called.get(call.file)
        return known is not None and known.asks

    def longest(self) -> tuple[str, int]:
        """The step after whose answer, or at whose entry, the most steps may pass, with how many."""
        best = (self.study.procedure.start, 0)
        for name, step in self.steps.items():
            most = self.after.get(name, 0)
            for edge in self.edges.out[name]:
                most = max(most, self.after.get(edge.target, 0) + self._brought(step, edge))
            if most > best[1]:
                best = (name, most)
        return best

    def _brought(self, step: Step, edge: Edge) -> int:
        """What has passed already when an edge is taken: in the file whose end leads to it."""
        if edge.call is not None:
            known = self.called.get(edge.call.file)
            places = self.places.get(edge.call.each, 1)
            return 1 + (known.tail + (places - 1) * max(known.through or 0, known.head) if known else 0)
        return 1

    def result(self) -> Passing:
        start = self.study.procedure.start
        head = self.after.get(start, 0)
        ends = {n for n, s in self.steps.items() if isinstance(s.way, End) and n in self.graph}
        reached, queue = {start} & set(self.graph), [start] if start in self.graph else []
        while queue:
            for edge in self.graph[queue.pop()]:
                if edge.target in self.graph and edge.target not in reached:
                    reached.add(edge.target)
                    queue.append(edge.target)
        asks = any(not s.silent or (isinstance(s.way, Call) and self._asks(s.way)) for s in self.steps.values())
        return Passing(head, head if reached & ends else None, min(self.CAP, self.longest()[1]), asks)
