"""A file that the program starts for an author is sound as it stands, for every bank and gauge."""

from __future__ import annotations

import pytest

from engine.carburation.registry import shipped
from engine.procedure.authoring import GAUGES, NotAStart, starting_file
from engine.procedure.build.load import load_texts
from engine.procedure.check import check


@pytest.mark.parametrize("gauge", GAUGES)
@pytest.mark.parametrize("barrels", [1, 2])
@pytest.mark.parametrize("carbs", [1, 2, 4])
def test_it_passes_the_checker(carbs: int, barrels: int, gauge: str) -> None:
    text = starting_file("my-bank", "my own family", carbs, barrels, gauge)
    loaded = load_texts({"my-bank": text}, "my-bank", shipped())
    assert loaded.program is not None, loaded.problems
    assert [*loaded.problems, *check(loaded.program, shipped())] == []


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"name": "../up"}, "can't name a procedure"),
        ({"name": "x", "carbs": 0}, "is no bank"),
        ({"name": "x", "barrels": 9}, "is no bank"),
        ({"name": "x", "family": "a: {b"}, "can't name a family"),
        ({"name": "x", "gauge": "ruler"}, "There is no gauge"),
    ],
)
def test_what_can_not_be_started_is_refused_in_a_sentence(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(NotAStart, match=says):
        starting_file(**wrong)
