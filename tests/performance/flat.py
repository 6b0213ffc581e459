"""The flat workload of the speed comparison: 20 steps, 3 guarded exits each in document order, one reading each."""

from __future__ import annotations

import random
from fractions import Fraction

from engine.job.model import Job
from engine.procedure.language.compile import compile_node
from engine.procedure.language.expr import Compare, Name, Node, Number, Type
from engine.procedure.program import Branch, Guard, Layout, Procedure, Program, Reading, ReadSpec, Step, Template
from engine.procedure.source.spans import NOWHERE, Source

STEPS = 20
READINGS = 400

_SPEED = Type("number", "speed", "rpm", Fraction(0), Fraction(2000))

JOB = Job.model_validate(
    {
        "engine": {"cylinders": 4, "displacement": "1600 cc", "idle_speed": "900 rpm"},
        "bank": {"family": "flat", "carbs": 2, "barrels_per_carb": 2},
    }
)


def readings(seed: int = 1) -> list[int]:
    """The same readings for every machine."""
    source = random.Random(seed)
    return [source.randrange(0, 2000) for _ in range(READINGS)]


def exits(index: int) -> tuple[tuple[int, int, int], ...]:
    """The three guarded exits of a step: low <= reading < high leads to a step; they cover every reading."""
    return (
        (0, 600 + 10 * index, (index + 1) % STEPS),
        (600 + 10 * index, 1300, (index * 7 + 3) % STEPS),
        (1300, 2001, (index * 3 + 5) % STEPS),
    )


def _guard(name: str, low: int, high: int) -> Guard:
    def number(value: int) -> Node:
        return Number(0, 0, Fraction(value), type=_SPEED)

    reading = Name(0, 0, name, type=_SPEED)
    node = Compare(0, 0, ("<=", "<"), (number(low), reading, number(high)), type=Type("bool"))
    return Guard(f"{low} <= {name} < {high}", NOWHERE, node, Type("bool"), compile_node(node, {}))


def program() -> Program:
    """The workload as a program, its guards compiled as those of any file."""
    said = Template("Read the speed.", NOWHERE, ("Read the speed.",))
    names = [f"r{i}" for i in range(STEPS)]
    declared = {
        n: Reading(n, n, "", "engine speed", _SPEED, Fraction(1), None, None, None, None, NOWHERE) for n in names
    }
    steps = {}
    for i, name in enumerate(names):
        way = tuple(Branch(_guard(name, low, high), f"s{to}", "", (), NOWHERE) for low, high, to in exits(i))
        steps[f"s{i}"] = Step(f"s{i}", f"s{i}", NOWHERE, way, do=said, read=(ReadSpec(name, None, False, NOWHERE),))
    file = Procedure(
        Source("flat", "flat.yaml", ""),
        "flat",
        "Flat",
        1,
        Layout(("flat",), (1, 12), (1, 4)),
        (),
        {},
        {},
        {},
        {},
        {},
        declared,
        {},
        {},
        {},
        "s0",
        steps,
    )
    return Program("flat", {"flat": file}, "")
