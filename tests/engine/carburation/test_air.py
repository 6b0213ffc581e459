"""Air that no opening could pass is refused in a sentence, whatever it is asked for."""

from __future__ import annotations

import pytest

from engine.carburation.rules import air
from engine.carburation.rules.refusal import Refused


@pytest.mark.parametrize("ratio", [-0.05, 1.05])
def test_a_pressure_ratio_that_no_flow_has_is_refused(ratio: float) -> None:
    with pytest.raises(Refused, match="outside 0 to 1"):
        air.flow_function(ratio)


@pytest.mark.parametrize(
    "asked",
    [
        {"area": -1.0},
        {"upstream": 0.0},
        {"downstream": -1.0},
        {"temperature": 0.0},
        {"discharge": 1.05},
    ],
)
def test_an_opening_that_there_is_not_is_refused(asked: dict[str, float]) -> None:
    sound = {"area": 10.0, "upstream": 101.0, "downstream": 60.0, "temperature": 293.0, "discharge": 0.8}
    assert air.orifice_flow(**sound) > 0.0
    with pytest.raises(Refused):
        air.orifice_flow(**(sound | asked))


def test_air_runs_back_where_the_pressure_does() -> None:
    assert air.orifice_flow(10.0, 60.0, 101.0, 293.0) == -air.orifice_flow(10.0, 101.0, 60.0, 293.0)
