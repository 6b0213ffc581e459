"""That a reading is taken with things as its quantity needs them, such as the engine running, known on every path; it
reads no guard's value."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.contract import Registry
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import Edge, Edges
from engine.procedure.check.ways.flow import ENTRY, GIVEN, Here, Summary, followed_from, standing
from engine.procedure.check.ways.paths import said, shortest
from engine.procedure.program import Reading, ReadSpec, Step
from engine.procedure.source.problems import Problem
from engine.vocabulary.states import ENGINE, HOLD, NONE, RUNNING, STOPPED


def problems(
    study: Study,
    edges: Edges,
    found: Mapping[str, Here],
    called: Mapping[str, Summary],
    advisers: Registry,
) -> Iterator[Problem]:
    """Readings that some path takes with the engine wrongly running, wrongly stopped, or with something else in a state
    that they don't have, or that nobody knows; and parts that are fitted on a running engine."""
    quantities = study.procedure.vocabulary.quantities
    for name, step in study.procedure.steps.items():
        here = found[name]
        if not here.reach:
            continue
        stands = standing(here, step)
        if step.state.get(HOLD, NONE) != NONE and set(stands.get(ENGINE, {ENTRY: here.reach})) == {STOPPED}:
            yield Problem(
                "held-while-stopped",
                study.path,
                step.spans.get(f"state.{HOLD}", step.span),
                f"'{name}' holds a speed, and the engine is stopped there.",
                "Nothing turns that a hand could hold.",
                "Say `hold: none`, or `engine: running`.",
            )
        running = stands.get(ENGINE, {}).get(RUNNING, 0) & here.reach
        if running and (step.fit or _fits(study, step, advisers)):
            yield Problem(
                "fitted-while-running",
                study.path,
                step.spans.get("fit", step.spans.get("make", step.span)),
                f"Parts are fitted in '{name}', and the engine runs there"
                + (" on some path." if set(stands[ENGINE]) != {RUNNING} else "."),
                "Hands, petrol and a turning engine would meet.",
                f"Add `state: {{{ENGINE}: {STOPPED}}}` to this step.",
                witness=_Way(study, edges, called, ENGINE).to(step, {RUNNING}),
            )
        for read in step.read:
            reading = study.procedure.readings.get(read.reading)
            quantity = quantities.get(reading.quantity) if reading is not None else None
            if reading is None or quantity is None or quantity.needs is None:
                continue
            key, wanted = quantity.needs
            way = _Way(study, edges, called, key)
            found_here = stands.get(key) or {ENTRY: here.reach}
            worlds = here.reach & study.holds_in(read.when)
            yield from _read(way, step, read, reading, wanted, found_here, worlds)


def _fits(study: Study, step: Step, advisers: Registry) -> bool:
    """Whether a step makes an advice that may name parts to fit."""
    asked = (a for s in study.procedure.steps.values() for a in s.advise if step.make and a.name == step.make)
    return any("parts" in adviser.makes for a in asked if (adviser := advisers.get(a.adviser)) is not None)


def _read(
    way: _Way,
    step: Step,
    read: ReadSpec,
    reading: Reading,
    wanted: str,
    stands: Mapping[str, int],
    worlds: int,
) -> Iterator[Problem]:
    key, engine = way.key, way.key == ENGINE
    mend = f"Add `state: {{{key}: {wanted}}}` to this step or to one before it."
    wrong = {v for v, where in stands.items() if v not in (wanted, ENTRY, GIVEN) and where & worlds}
    if wrong:
        some = " on some path" if stands.get(wanted, 0) & worlds else ""
        other = sorted(wrong)[0]
        how = f"while the engine is {other}" if engine else f"while `{key}: {other}` holds"
        yield Problem(
            f"read-while-{other}" if engine and other in (RUNNING, STOPPED) else "read-in-wrong-state",
            way.study.path,
            read.span,
            f"'{read.reading}' ({reading.quantity}) is read in '{step.name}' {how}{some}.",
            "Hands, tools and a turning engine would meet."
            if engine and other == RUNNING
            else "There is nothing to read then.",
            mend,
            witness=way.to(step, wrong),
        )
    elif (stands.get(ENTRY, 0) | stands.get(GIVEN, 0)) & worlds:
        yield Problem(
            "unknown-state",
            way.study.path,
            read.span,
            f"'{read.reading}' ({reading.quantity}) is read in '{step.name}', and on some path this file has not said "
            + ("whether the engine runs." if engine else f"how `{key}` stands."),
            f"It can only be taken with {'the engine ' + wanted if engine else f'`{key}: {wanted}`'}.",
            mend,
            witness=way.to(step, {ENTRY, GIVEN}),
        )


class _Way:
    """Finds a way through the file by which a key of the state, such as the engine, comes to stand so at a step."""

    def __init__(self, study: Study, edges: Edges, called: Mapping[str, Summary], key: str) -> None:
        self.study, self.edges, self.called, self.key = study, edges, called, key

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
        """How it stands in a step that is entered with `value`."""
        own = step.state.get(self.key)
        return value if own is None else own if isinstance(own, str) else GIVEN

    def _follow(self, carried: tuple[str, str], edge: Edge) -> Iterator[tuple[str, str]]:
        """How it may stand at the end of an edge, with the file within which its symptom was given."""
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
        """How a called file may leave it, by its end; anywhere in it for None."""
        summary = self.called.get(file)
        left = (summary.leaves.get(end) if summary else None) or {}
        return sorted(left.get(self.key, {ENTRY}))
