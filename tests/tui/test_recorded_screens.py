"""What each canonical state looks like at three sizes, kept as plain text so that a reader sees what changed.

Set EVENDRAW_RECORD=1 to write them anew, and say in the commit why they changed. What holds at every size is checked
beside: no key is cut off, the answering place is whole, nothing is wider than the screen.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled

from tui.control import actions
from tui.widgets.keybar import KeyBar

#: Read when this file is, since no setting of the environment reaches a test.
WRITE = os.environ.get("EVENDRAW_RECORD") == "1"
RECORDED = Path(__file__).parent / "recorded"
Grid = Callable[[Any], list[str]]
SIZES = [(80, 24), (100, 30), (160, 48)]

#: State -> the step, and the keys that lead to what is recorded.
STATES: dict[str, tuple[str, tuple[str, ...]]] = {
    "reading-empty": ("view", ()),
    "reading-echoed": ("view", ("4", "comma", "8", "enter", "5", "enter", "7", "full_stop", "2")),
    "reading-refused": ("view", ("4", "1", "enter")),
    "turn-everywhere": ("zero", ()),
    "danger": ("start", ()),
    "wait": ("warm", ()),
    "fit": ("jets", ()),
    "symptoms": ("view", ("asterisk",)),
    "why": ("view", ("f3",)),
    "record": ("view", ("f10",)),
    "menu": ("view", ("slash",)),
    "eight-barrels": ("eight", ()),
    "many-choices": ("choices", ("3", "enter", "1", "enter", "2")),
    "already-turned": ("undone", ()),
}


@pytest.fixture(autouse=True)
def _day(monkeypatch: pytest.MonkeyPatch) -> None:
    """A day that stays the same: home shows when things were done."""
    monkeypatch.setattr("engine.session.session.wall_clock", lambda: "2031-05-04T10:00:00+00:00")


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
@pytest.mark.parametrize("state", STATES)
async def test_recorded(samples: Any, at_run: Any, grid: Grid, state: str, size: tuple[int, int]) -> None:
    name, keys = STATES[state]
    sitting = samples.FakeSitting(getattr(samples, name)(), layout=samples.LAYOUTS.get(name, (2, 2)))
    async with at_run(sitting, size, now=lambda: 0.0) as (pilot, screen):
        await press(pilot, *keys)
        lines = grid(pilot.app)
        check(screen, lines, size)
        same(f"{state}-{size[0]}x{size[1]}", lines)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_help_recorded(samples: Any, at_run: Any, grid: Grid, size: tuple[int, int]) -> None:
    async with at_run(samples.FakeSitting(samples.view()), size) as (pilot, _):
        await press(pilot, "f1")
        same(f"help-{size[0]}x{size[1]}", grid(pilot.app))
        await press(pilot, "escape")


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_the_other_screens_recorded(shop: Any, taps: Any, grid: Grid, size: tuple[int, int]) -> None:
    from tui.app import Evendraw
    from tui.control.job_form import Family
    from tui.screens.handover import HandoverScreen
    from tui.screens.home import HomeScreen
    from tui.screens.intake import IntakeScreen

    uneven, even = ({"readings": {"flow": [5, far], "sound": "steady"}} for far in (6.5, 5.5))
    for answer in (
        {"done": True},
        {"done": True},
        {"understood": True},
        uneven,
        {"done": True},
        even,
        {"readings": {"drips": "no"}},
        {"done": True},
    ):
        assert taps.answer(**answer) is None
    families = [Family("garden tap", (2, 4), (1, 2), {"carb": "tap"}), Family("pair", (2, 2), (2, 2), {"carb": "body"})]
    app = Evendraw(lambda: HomeScreen(shop))
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        same(f"home-{size[0]}x{size[1]}", grid(app))
        app.push_screen(IntakeScreen(shop, families))
        await settled(pilot)
        await press(pilot, *"drips", "enter", "enter", "enter", "enter", "enter", "enter", "4", "enter", "5")
        same(f"intake-{size[0]}x{size[1]}", grid(app))
        app.pop_screen()
        app.push_screen(HandoverScreen(taps, shop))
        await settled(pilot)
        same(f"handover-{size[0]}x{size[1]}", grid(app))


def same(name: str, lines: list[str]) -> None:
    """The lines are those that are kept under this name."""
    path = RECORDED / f"{name}.txt"
    text = "\n".join(lines) + "\n"
    if WRITE:
        path.parent.mkdir(exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")
    assert text == path.read_text(encoding="utf-8"), f"{name} looks otherwise; EVENDRAW_RECORD=1 keeps it so"


def check(screen: Any, lines: list[str], size: tuple[int, int]) -> None:
    """What holds at every size."""
    width, height = size
    assert len(lines) == height
    assert all(len(line) <= width for line in lines)
    pad = screen.pad
    assert pad.has_focus
    assert screen.region.contains_region(pad.region), "the answering place is cut off"
    assert pad.region.height >= len(pad.lines(pad.content_size.width, pad.most)), "a line of it is cut off"
    for drawn in screen.query("Drawn").results():
        if drawn.display and drawn.region.height:
            for line in drawn.lines(drawn.content_size.width, drawn._rows()):
                assert sum(len(text) for text, _ in line) <= drawn.content_size.width
    bar = screen.query_one(KeyBar)
    offered = actions.shown("run", screen.allowed)
    rows = actions.bar(offered, bar.content_size.width, 2, screen.labels())
    shown = [entry for row in rows for entry in row]
    painted = " ".join(lines[-2:])
    assert shown
    for cap, _ in shown:
        assert f" {cap} " in painted


@pytest.mark.parametrize("size", [(59, 24), (80, 19), (40, 10), (10, 3)], ids=lambda s: f"{s[0]}x{s[1]}")
async def test_below_the_least_size_nothing_takes_a_key_but_the_one_that_closes(
    samples: Any,
    at_run: Any,
    grid: Grid,
    size: tuple[int, int],
) -> None:
    sitting = samples.FakeSitting(samples.zero(), samples.view())
    async with at_run(sitting, (80, 24)) as (pilot, screen):
        await pilot.resize_terminal(*size)
        await settled(pilot)
        assert "window is" in " ".join(grid(pilot.app))
        await press(pilot, "enter", "5", "f4", "asterisk", "escape")
        assert sitting.given == []
        await pilot.resize_terminal(100, 30)
        await settled(pilot)
        assert pilot.app.screen is screen
        await press(pilot, "enter")
        assert sitting.given == [{"done": True}]


async def test_a_window_made_smaller_under_an_open_list_keeps_the_list(samples: Any, at_run: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view()), (160, 48)) as (pilot, screen):
        await press(pilot, "asterisk")
        for size in ((80, 24), (60, 10), (100, 30)):
            await pilot.resize_terminal(*size)
            await settled(pilot)
        assert pilot.app.screen is screen
        assert screen.over


async def test_the_sentence_on_a_small_window_names_the_size_from_which_the_run_shows(
    samples: Any, at_run: Any, grid: Grid
) -> None:
    async with at_run(samples.FakeSitting(samples.view()), (80, 24)) as (pilot, _):
        await pilot.resize_terminal(50, 18)
        await settled(pilot)
        assert "needs 60 x 20" in " ".join(" ".join(grid(pilot.app)).split())
