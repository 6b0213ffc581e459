"""What a procedure works out of a row of readings, against figures worked by hand and Python's `statistics`."""

from __future__ import annotations

import statistics
from fractions import Fraction
from typing import Any

import pytest

from engine.procedure.language.compile import compile_node
from engine.procedure.language.expr import Type
from engine.procedure.language.parser import parse
from engine.procedure.language.resolve import Scope, resolve
from engine.quantity.units import UNITS, parse_quantity, to_base

FLOWS = ("4.5", "4.2", "4.6", "4.4")
VACUUMS = ("26.0", "24.0", "25.0", "23.5")


def work_out(expression: str, unit: str, row: tuple[str, ...]) -> Any:
    """The worth of an expression over a row called `row`, readings in `unit`."""
    kind = Type("number", UNITS[unit].dimension, unit, Fraction(0), Fraction(1000), each="barrel")
    scope = Scope({"row": kind}.get, lambda: ["row"], {}, {"barrel": 4})
    run = compile_node(resolve(parse(expression), scope), {})
    return run({"row": tuple(to_base(*parse_quantity(v, unit)) for v in row)})


@pytest.mark.library("statistics")
def test_flows_of_four_barrels():
    # Worked by hand: spread 0.4, mean 4.425, 9.04 % of it; the second barrel is the low one and gets its bypass opened.
    assert work_out("spread(row)", "kg/h", FLOWS) == Fraction("0.4")
    assert work_out("mean(row)", "kg/h", FLOWS) == Fraction("4.425") == statistics.mean(map(Fraction, FLOWS))
    assert work_out("9.03 % * mean(row) < spread(row) < 9.05 % * mean(row)", "kg/h", FLOWS) is True
    assert work_out("which(row == min(row))", "kg/h", FLOWS) == (False, True, False, False)


@pytest.mark.table("service manuals, from memory; NIST SP 811")
@pytest.mark.parametrize(("limit", "passes"), [("2.7 kPa", True), ("20.25 mmHg", True), ("1.3 kPa", False)])
def test_vacuums_of_four_cylinders(limit, passes):
    # Worked by hand: spread 2.5 kPa passes a service limit of 2.7 and fails one of 1.3 (from memory: service manuals).
    # 20.25 mmHg is 2.6998 kPa by NIST SP 811.
    assert work_out(f"spread(row) <= {limit}", "kPa", VACUUMS) is passes


@pytest.mark.law("physics, and source S35")
def test_the_highest_vacuum_is_the_most_closed_plate():
    # Source S35, club, and physics: more vacuum, less air. Cylinder 1 here.
    assert work_out("which(row == max(row))", "kPa", VACUUMS) == (True, False, False, False)
