"""What advisers look up among all readings of a run, and no file of the program ever reads."""

from __future__ import annotations

from collections.abc import Iterator

from engine.contract import Registry
from engine.procedure.program import Program
from engine.procedure.source.problems import Problem


def problems(program: Program, advisers: Registry) -> Iterator[Problem]:
    """A warning for each quantity that an adviser wants and the whole program has no reading of."""
    taken = {r.quantity for file in program.files.values() for r in file.readings.values()}
    for file in program.files.values():
        said: set[tuple[str, str]] = set()
        for advise in (a for step in file.steps.values() for a in step.advise):
            adviser = advisers.get(advise.adviser)
            for quantity, read in adviser.reads.items() if adviser is not None else ():
                if not read.wanted or quantity in taken or (advise.adviser, quantity) in said:
                    continue
                said.add((advise.adviser, quantity))
                yield Problem(
                    "reading-never-taken",
                    file.source.path,
                    advise.span,
                    f"`{advise.adviser}` looks for a reading of {quantity}, and nothing here reads one.",
                    f"It wants {read.about}.",
                    f"Declare a reading with `quantity: {quantity}`, and read it before this step.",
                    "warning",
                )
