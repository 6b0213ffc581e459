"""That a reading is taken with the engine as it must be: running or stopped, known on every path; it reads no
guard's value."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import Edge, Edges
from engine.procedure.check.ways.flow import ENTRY, GIVEN, Here, Summary, followed_from, standing
from engine.procedure.check.ways.paths import said, shortest
from engine.procedure.program import Reading, ReadSpec, Step
from engine.procedure.source.problems import Problem
from engine.vocabulary.hazards import ENGINE, NEED_RUNNING, NEED_STOPPED, RUNNING, STOPPED


def problems(
    study: Study,
    edges: Edges,
    found: Mapping[str, Here],
    called: Mapping[str, Summary],
) -> Iterator[Problem]:
    """Readings that some path takes with the engine wrongly running, wrongly stopped, or in a state that nobody
    knows."""
    way = _Way(study, edges, called)
    for name, step in study.procedure.steps.items():
        here = found[name]
        if not here.reach:
            continue
        engine = standing(here, step).get(ENGINE) or {ENTRY: here.reach}
        for read in step.read:
            reading = study.procedure.readings.get(read.reading)
            if reading is not None:
                yield from _read(way, step, read, reading, engine, here.reach & study.holds_in(read.when))


def _read(
    way: _Way,
    step: Step,
    read: ReadSpec,
    reading: Reading,
    engine: Mapping[str, int],
    worlds: int,
) -> Iterator[Problem]:
    running = reading.quantity in NEED_RUNNING
    if not running and reading.quantity not in NEED_STOPPED:
        return
    wanted, other = (RUNNING, STOPPED) if running else (STOPPED, RUNNING)
    if engine.get(other, 0) & worlds:
        some = "" if not engine.get(wanted, 0) & worlds else " on some path"
        yield Problem(
            f"read-while-{other}",
            way.study.path,
            read.span,
            f"'{read.reading}' ({reading.quantity}) is read in '{step.name}' while the engine is {other}{some}.",
            "There is nothing to read then." if running else "Hands, tools and a turning engine would meet.",
            f"Add `state: {{engine: {wanted}}}` to this step or to one before it.",
            witness=way.to(step, {other}),
        )
    elif (engine.get(ENTRY, 0) | engine.get(GIVEN, 0)) & worlds:
        yield Problem(
            "unknown-state",
            way.study.path,
            read.span,
            f"'{read.reading}' ({reading.quantity}) is read in '{step.name}', and on some path this file has not said "
            "whether the engine runs.",
            f"It can only be taken with the engine {wanted}.",
            f"Add `state: {{engine: {wanted}}}` to this step or to one before it.",
            witness=way.to(step, {ENTRY, GIVEN}),
        )


class _Way:
    """Finds a way through the file by which the engine comes to stand so at a step."""

    def __init__(self, study: Study, edges: Edges, called: Mapping[str, Summary]) -> None:
        self.study, self.edges, self.called = study, edges, called

    def to(self, step: Step, values: set[str]) -> str:
        """The way in words; empty once enough ways were shown."""
        if self.study.ways_to_show <= 0:
            return ""
        self.study.ways_to_show -= 1
        start = self.study.procedure.start
        path = shortest(
            self.edges,
            start,
            step.name,
            (ENTRY, ""),
            self._follow,
            lambda v: self._at(step, v[0]) in values,
            self.study.worlds.all,
        )
        return said(path, start, lambda carried: carried[1])

    def _at(self, step: Step, value: str) -> str:
        """How the engine stands in a step that is entered with `value`."""
        own = step.state.get(ENGINE)
        return value if own is None else own if isinstance(own, str) else GIVEN

    def _follow(self, carried: tuple[str, str], edge: Edge) -> Iterator[tuple[str, str]]:
        """How the engine may stand at the end of an edge, with the file within which its symptom was given."""
        if edge.when == "enter":
            yield carried[0], ""
            return
        step = self.study.procedure.steps[edge.source]
        stands = [(self._at(step, carried[0]), "")]
        if edge.when == "asked":
            for file in followed_from(self.study, step):
                stands += [(v, file) for v in self._left(file, None) if v != ENTRY]
        for value, file in stands:
            after = self._left(edge.call.file, edge.end) if edge.call else [ENTRY]
            yield from ((value if v == ENTRY else v, file) for v in after)

    def _left(self, file: str, end: str | None) -> list[str]:
        """How a called file may leave the engine, by its end; anywhere in it for None."""
        summary = self.called.get(file)
        left = (summary.leaves.get(end) if summary else None) or {}
        return sorted(left.get(ENGINE, {ENTRY}))
