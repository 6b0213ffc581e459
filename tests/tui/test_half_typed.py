"""What is half typed outlives a closed window: it stands beside the run, comes back, and is no answer."""

from __future__ import annotations

from typing import Any

import pytest
from hands import press

from tui.control.desk import Desk
from tui.control.questions import Countdown
from tui.control.sitting import HalfDone


async def to_the_fields(pilot: Any, screen: Any) -> None:
    """Answer what comes before the readings."""
    for name in ("enter", "enter", "!", "enter", "!"):
        if screen.sofar.fields is not None:
            return
        await press(pilot, name)
    assert screen.sofar.fields is not None


async def test_it_comes_back_when_the_run_is_gone_on_with(shop: Any, at_run: Any, taps: Any, recorded: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_the_fields(pilot, screen)
        await press(pilot, "4")
        screen.keep_typed()
        typed, events = list(screen.sofar.fields.texts), recorded(taps)
    assert any(typed)
    taps.session.close()
    desk = Desk(shop)
    again = desk.reopen(taps.session.run)
    async with at_run(again) as (pilot, screen):
        await to_the_fields(pilot, screen)
        assert screen.sofar.fields.texts == typed
        assert recorded(again) == events
    desk.close()


async def test_a_value_that_was_entered_is_kept_at_once_and_not_at_the_next_half_second(
    at_run: Any, taps: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.screens.run.RunScreen._tick", lambda _: None)
    async with at_run(taps) as (pilot, screen):
        await to_the_fields(pilot, screen)
        await press(pilot, "4", ".", "8", "enter")
        assert taps.kept().texts[0] == "4.8"


async def test_it_is_gone_once_the_step_is_answered(at_run: Any, taps: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_the_fields(pilot, screen)
        await press(pilot, "4")
        screen.keep_typed()
        assert taps.kept().texts == list(screen.sofar.fields.texts)
        taps.typed_out()
        assert taps.kept() == HalfDone()


TURNED = """
procedure: one_tap
title: Turn one tap
revision: 1
for: {family: garden tap, carbs: 2, barrels_per_carb: 1}
declares: {families: {garden tap: two taps on one pipe}}
terms: {carb: tap}
screws:
  spindle: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 8]}
readings:
  flow: {ask: Flow, quantity: other, unit: L/min, range: [0, 20]}
symptoms:
  bursts: {kind: leak, ask: It bursts, go: done}
start: open
steps:
  open:
    do: Open the tap as shown, and read.
    moves: [{screw: spindle, only: [{carb: 1}], by: 1 turn, direction: out}]
    wait: {for: 60 s, why: the header fills, cut: allowed}
    read: [flow]
    go: done
  done: {end: ok, say: Open.}
"""


@pytest.fixture
def tap(shop: Any) -> Any:
    """A run on one tap that is to be opened by a turn, waited for and read."""
    from conftest import JOB

    from engine.job.model import Job

    path = shop.procedures[0] / "one_tap.yaml"
    path.write_text(TURNED, encoding="utf-8")
    desk = Desk(shop)
    yield desk.start(desk.program("one_tap"), Job.model_validate(JOB), None)
    desk.close()


def again(shop: Any, sitting: Any) -> Any:
    """The run as another window gets it after this one was killed: nothing was said to the session before."""
    sitting.session.close()
    return Desk(shop).reopen(sitting.session.run)


async def test_a_turn_that_was_made_is_not_ordered_again_after_a_kill(
    shop: Any, at_run: Any, tap: Any, grid: Any
) -> None:
    async with at_run(tap) as (pilot, screen):
        await press(pilot, "enter")
        assert any("TURNED" in line for line in grid(pilot.app))
    late = again(shop, tap)
    async with at_run(late) as (pilot, screen):
        assert any("TURNED" in line for line in grid(pilot.app))
        assert "don't do it again" in screen.pad.cue
        assert isinstance(screen.pad.question, Countdown), "what is due is the wait"
        await press(pilot, "enter", "6", "enter")
        assert late.session.view.end is not None, "the reading was all that was left to give"


async def test_what_was_turned_otherwise_comes_back_with_it(shop: Any, at_run: Any, tap: Any, recorded: Any) -> None:
    async with at_run(tap) as (pilot, _):
        await press(pilot, "f7", *"1/2", "enter", "enter")
    late = again(shop, tap)
    async with at_run(late) as (pilot, _):
        await press(pilot, "enter", "6", "enter")
        assert [m["turns"] for m in recorded(late)[-1]["moved"]] == [{"n": 1, "d": 2}]


async def test_a_turn_that_nobody_said_was_made_is_not_counted_by_a_symptom(
    at_run: Any, taps: Any, recorded: Any
) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter")
        assert taps.view.step == "open" and taps.view.moves
        await press(pilot, "*", "7")
        assert recorded(taps)[-1]["moved"] == []
        assert "not done" in screen.pad.cue
        assert {row.positions[0] for row in taps.view.screws if row.name == "spindle"} == {0}, "seated, as it was left"


async def test_a_turn_that_was_made_is_counted_by_a_symptom(at_run: Any, tap: Any, recorded: Any) -> None:
    async with at_run(tap) as (pilot, _):
        await press(pilot, "enter", "*", "2")
        assert recorded(tap)[-1]["kind"] == "symptom"
        assert recorded(tap)[-1].get("moved") is None, "as asked"
