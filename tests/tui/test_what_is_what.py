"""An apprentice finds out which screw is which, which jets are in, and loses nothing on the way."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from hands import press, settled

from engine.evidence import Part, Place
from engine.job.model import Job
from tui.control.sitting import sizes
from tui.drawing import bank, glossary, step_lines
from tui.drawing.lines import text_of

PARTS = {("idle_jet", Place(1, 1)): F(60), ("idle_jet", Place(1, 2)): F(50)}


async def test_a_key_draws_the_bank_large_names_its_parts_and_leads_back(samples: Any, at_run: Any, grid: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view()), (80, 24)) as (pilot, screen):
        await press(pilot, "?")
        box, card = screen.query_one("#card-box"), screen.query_one("#card")
        page = [card.render_line(y).text for y in range(card.size.height)]
        said = " ".join(" ".join(page).split())
        for part in glossary.PARTS:
            assert part.name in said and part.drawn[1].strip() in "\n".join(page)
        assert "front" in said and "mixture" in said and "clockwise" in said
        assert box.max_scroll_y > 0 and "PgDn" in " ".join(grid(pilot.app))
        await press(pilot, "?")
        assert screen.page == "step"


def test_the_bank_names_its_screws_in_their_order_where_they_have_no_room_for_names(samples: Any) -> None:
    plan = bank.plan(samples.view(), (2, 2))
    said = text_of(bank.legend(plan, 78))
    assert len(said) == 1 and said[0].startswith("(/) barrel: mixture")
    close = len(bank.close(plan, 78))
    assert text_of(bank.draw(plan, 78, close + 1))[-1] == said[0]
    assert len(bank.draw(plan, 78, close)) == close, "the bank itself comes first"


async def test_the_bank_shows_what_is_read_at_this_step_and_not_what_was_read_last(samples: Any) -> None:
    v = samples.view()
    flow = next(row for row in v.latest if row.quantity == "airflow")
    level = replace(flow, name="level", quantity="other", unit="mm", tolerance=F(1), spreads=(F(1, 5),))
    shown = step_lines.main_row(replace(v, latest=(level, flow)))
    assert shown is not None and shown.quantity == "airflow"


def test_the_card_that_asks_for_jets_names_those_that_are_fitted(samples: Any) -> None:
    asks = replace(samples.SPEED, name="jets", quantity="idle jet size", unit=None)
    v = samples.view(parts=PARTS, moves=(), read=(asks,))
    assert step_lines.jets(v, {"main jet": "130"}) == "idle jet 60, 50 along the bank; main jet 130"
    fits = samples.view(parts=PARTS, fit=(Part("idle_jet", Place(1, 1), F(50)),), read=())
    assert "idle jet 60, 50" in step_lines.jets(fits, {})
    flow = next(row for row in fits.latest if row.quantity == "airflow")
    read = replace(flow, name="found", quantity="idle jet size", row=(F(65), F(50)), since="")
    assert "idle jet 65, 50" in step_lines.jets(replace(fits, latest=(read,)), {}), "what was read outranks the card"
    changed = replace(read, since="a part was changed")
    assert "idle jet 60, 50" in step_lines.jets(replace(fits, latest=(changed,)), {})
    assert step_lines.jets(samples.view(parts=PARTS, phase="air"), {"main jet": "130"}) == ""


async def test_they_stand_on_the_screen(samples: Any, at_run: Any, grid: Any) -> None:
    asks = replace(samples.SPEED, name="jets", quantity="idle jet size", unit=None)
    sitting = samples.FakeSitting(samples.view(parts=PARTS, moves=(), read=(asks,), cautions=()))
    sitting.card = {"choke": "32 mm"}
    async with at_run(sitting) as (pilot, _):
        assert "On record: idle jet 60, 50 along the bank; choke 32 mm" in " ".join(" ".join(grid(pilot.app)).split())


def test_the_sizes_of_a_job_are_said_once_where_all_are_alike() -> None:
    job = Job.model_validate(
        {
            "engine": {"cylinders": 2, "displacement": "500 cc", "idle_speed": "900 rpm"},
            "bank": {
                "family": "pair", "carbs": 2, "barrels_per_carb": 1,
                "main_jet": 130, "idle_jet": [50, 55], "choke": "32 mm",
            },
        }
    )  # fmt: skip
    assert sizes(job) == {"choke": "32 mm", "main jet": "130", "idle jet": "50, 55 along the bank"}


@pytest.mark.parametrize("sizes_", [((60, 20), (160, 48)), ((40, 12), (80, 24)), ((300, 90), (80, 24))])
async def test_typed_text_survives_a_window_of_another_size(samples: Any, at_run: Any, sizes_: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view(moves=()))) as (pilot, screen):
        await press(pilot, *"4.8", "enter", "5")
        typed = list(screen.sofar.fields.texts)
        assert typed[:2] == ["4.8", "5"]
        for size in sizes_:
            await pilot.resize_terminal(*size)
            await settled(pilot)
        assert pilot.app.screen is screen
        await press(pilot, ".", "1")
        assert screen.sofar.fields.texts[:2] == ["4.8", "5.1"]


async def test_closing_asks_in_a_rehearsal_too(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.warm())
    sitting.rehearses = True
    async with at_run(sitting) as (pilot, screen):
        await pilot.app.action_quit()
        await settled(pilot)
        assert screen.pad.question.title == "CLOSE THE PROGRAM"
        assert pilot.app._exit is False
        await press(pilot, "1")
        assert not screen.over
