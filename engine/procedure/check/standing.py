"""That a reading is taken with the engine as it must be: running or stopped, known on every path; it reads no guard's value."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.procedure.check.flow import ENTRY, GIVEN, Here, standing
from engine.procedure.check.study import Study
from engine.procedure.problems import Problem
from engine.procedure.program import Reading, ReadSpec, Step
from engine.procedure.quantities import ENGINE, NEED_RUNNING, NEED_STOPPED, RUNNING, STOPPED


def problems(study: Study, found: Mapping[str, Here]) -> Iterator[Problem]:
    """Readings that some path takes with the engine wrongly running, wrongly stopped, or in a state that nobody knows."""
    for name, step in study.procedure.steps.items():
        here = found[name]
        if not here.reach:
            continue
        engine = standing(here, step).get(ENGINE) or {ENTRY: here.reach}
        for read in step.read:
            reading = study.procedure.readings.get(read.reading)
            if reading is not None:
                yield from _read(study, step, read, reading, engine, here.reach & study.holds_in(read.when))


def _read(
    study: Study, step: Step, read: ReadSpec, reading: Reading, engine: Mapping[str, int], worlds: int,
) -> Iterator[Problem]:
    running = reading.quantity in NEED_RUNNING
    if not running and reading.quantity not in NEED_STOPPED:
        return
    wanted, other = (RUNNING, STOPPED) if running else (STOPPED, RUNNING)
    if engine.get(other, 0) & worlds:
        some = "" if not engine.get(wanted, 0) & worlds else " on some path"
        yield Problem(
            f"read-while-{other}", study.path, read.span,
            f"'{read.reading}' ({reading.quantity}) is read in '{step.name}' while the engine is {other}{some}.",
            "There is nothing to read then." if running else "Hands, tools and a turning engine would meet.",
            f"Add `state: {{engine: {wanted}}}` to this step or to one before it.")
    elif (engine.get(ENTRY, 0) | engine.get(GIVEN, 0)) & worlds:
        yield Problem(
            "unknown-state", study.path, read.span,
            f"'{read.reading}' ({reading.quantity}) is read in '{step.name}', and on some path this file has not said "
            "whether the engine runs.",
            f"It can only be taken with the engine {wanted}.",
            f"Add `state: {{engine: {wanted}}}` to this step or to one before it.")
