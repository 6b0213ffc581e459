"""The page of why speaks as a technician speaks: in sentences, without a name of a field, and what is believed is told
apart from what was measured."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from shipped import walked
from test_whole_words import FILES, views

from tui.catalogue.shop import Shop
from tui.control.desk import Desk
from tui.control.rehearsal import rehearse
from tui.drawing import step_lines
from tui.drawing.lines import text_of

SHIPPED = Path(__file__).parents[2] / "procedures"
#: What only the files and the program speak of.
INTERNAL = re.compile(r"\w_\w|(?<!not a )[Vv]erdict|sureness|speed gain|\bnan\b|\bNone\b|[{}]|sought, |\bepoch\b")


@pytest.mark.parametrize(
    ("procedure", "seed"),
    [("twin-choke-sidedraught", 11), ("constant-depression", 3), ("motorcycle-bank", 3), ("single-carburettor", 3)],
)
def test_every_why_of_a_routine_is_sentences_without_internals(procedure: str, seed: int, tmp_path: Path) -> None:
    sitting = rehearse(Desk(Shop(tmp_path / "book", (SHIPPED,), tmp_path)), procedure, seed=seed)
    advised = 0
    for view in walked(sitting):
        page = "\n".join(text_of(step_lines.why(view, 78)))
        assert not INTERNAL.search(page), page
        for one in view.advice:
            if one.because is None:
                continue
            advised += 1
            for said in (one.because.used, one.because.concluded, one.because.sure, one.because.would_change):
                assert (said[0].isupper() or said[0].isdigit()) and said.endswith("."), said
            if one.adviser == "idle_mixture" and "lambda" in one.because.concluded:
                assert "believed" in one.because.concluded
                assert "not measured" in one.because.concluded or "meter" in one.because.used
    assert advised > 5


@pytest.mark.parametrize("name", FILES)
def test_no_why_and_no_way_to_read_of_any_shipped_step_speaks_of_internals(samples: Any, name: str) -> None:
    for view in views(samples, name):
        for page in (step_lines.why(view, 78), step_lines.how(view, 78)):
            # Where a value is told, it stands there while a run is followed.
            said = re.sub(r"\{[^{}]*\}", "1", " ".join(text_of(page)))
            assert not INTERNAL.search(said), (view.step, said)
            assert "gives no reason" not in said
        for text in (view.why, *(ask.how for ask in view.read)):
            assert not text or (not text[0].islower() and text.rstrip()[-1] in ".!?}"), (view.step, text)


async def test_the_key_of_why_is_only_offered_where_something_is_written(samples: Any, at_run: Any) -> None:
    bare = samples.view(why="", because=(), advice=(), source="", read=())
    for view, offered in ((bare, False), (samples.view(why="It warms evenly."), True)):
        async with at_run(samples.FakeSitting(view)) as (_, screen):
            assert screen.allowed("why") is offered
