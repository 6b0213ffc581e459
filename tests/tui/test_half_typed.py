"""What is half typed outlives a closed window: it stands beside the run, comes back, and is no answer."""

from __future__ import annotations

from typing import Any

import pytest
from hands import press

from tui.control.desk import Desk


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
        assert taps.kept()[0][0] == "4.8"


async def test_it_is_gone_once_the_step_is_answered(at_run: Any, taps: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        await to_the_fields(pilot, screen)
        await press(pilot, "4")
        screen.keep_typed()
        assert taps.kept()[0] == list(screen.sofar.fields.texts)
        taps.typed_out()
        assert taps.kept() == ([], {})
