"""A screw that nobody has counted is sent the right way: back to its zero and beyond it, or away from it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import pytest

from engine.evidence import Place
from engine.procedure.program import Screw
from engine.procedure.source.spans import NOWHERE
from engine.run.moves import to_position

SEATED = Screw(
    "mixture", "carb", "mixture", "jet", "leaner", "richer", "turn", "seated", F(1, 8), (F(0), F(6)), None, NOWHERE
)
CONTACT = replace(
    SEATED, name="speed", at="plate", inward="more air", outward="less air", zero="first contact", range=(F(-3), F(4))
)


@pytest.mark.parametrize(
    ("screw", "target", "direction"),
    [
        (SEATED, F(0), "in"),
        (SEATED, F(1), "out"),
        (CONTACT, F(0), "out"),
        (CONTACT, F(-2), "out"),
        (CONTACT, F(1, 4), "in"),
    ],
)
def test_which_way_to_a_position_from_nobody_knows_where(screw: Screw, target: F, direction: str) -> None:
    move = to_position(screw, Place(1), None, target)
    assert move is not None
    assert (move.direction, move.turns, move.position) == (direction, None, target)
