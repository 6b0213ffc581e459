"""A stop on the screen: one choice, and a reason where it is gone on from knowingly."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hands import press
from shipped import walked

from tui.catalogue.shop import Shop
from tui.control.desk import Desk
from tui.control.rehearsal import rehearse
from tui.control.stages import FOUND_AGAIN

SHIPPED = Path(__file__).parents[2] / "procedures"

SHOP = """\
procedure: lid
title: Lid
revision: 1
for: {family: any, carbs: {from: 1, to: 4}}
readings:
  lid: {ask: How is the lid?, choices: [sound, cracked], healthy: sound}
start: look
steps:
  look:
    do: Look at the lid.
    read: [lid]
    findings: [{code: lid-cracked, severity: stop, say: The lid is cracked., do: Fit another., when: lid == 'cracked'}]
    go: after
  after: {do: Sweep up., go: done}
  done: {end: ok, say: Done.}
"""


@pytest.fixture
def lid(shop: Any, taps: Any) -> Any:
    from tui.control.desk import Desk

    (shop.procedures[0] / "lid.yaml").write_text(SHOP, encoding="utf-8")
    desk = Desk(shop)
    sitting = desk.start(desk.program("lid"), taps.session.plan.job, None)
    yield sitting
    desk.close()


async def test_it_says_what_is_wrong_and_what_to_do_and_asks_one_thing(lid: Any, at_run: Any, grid: Any) -> None:
    async with at_run(lid) as (pilot, _):
        await press(pilot, "2", "enter")
        text = " ".join(" ".join(grid(pilot.app)).split())
        for said in ("The lid is cracked.", "Fit another.", "mended", "ends here", "go on knowingly"):
            assert said in text, said


async def test_what_is_believed_no_more_says_why_and_the_other_digits_stay(lid: Any, at_run: Any, grid: Any) -> None:
    async with at_run(lid) as (pilot, screen):
        for _ in range(8):
            await press(pilot, "2", "enter")
            options = screen.pad.question.options
            assert lid.view.gate is not None
            if options[0].label != "mended":
                break
            await press(pilot, "1", "enter")
        assert [(o.digit, o.label) for o in options] == [("2", "ends here"), ("3", "go on knowingly")]
        assert FOUND_AGAIN in " ".join(" ".join(grid(pilot.app)).split())
        await press(pilot, "1", "enter")
        assert lid.view.end is None, "who presses 1 and Enter from habit ends nothing"
        assert screen.pad.question.title == "WHY GO ON KNOWINGLY"


def test_a_finding_is_gone_once_it_was_acted_on(tmp_path: Path) -> None:
    """A jet unlike its neighbours is found, another is fitted, and nothing says any more that it is unlike."""
    desk = Desk(Shop(tmp_path / "book", (SHIPPED,), tmp_path))
    sitting = rehearse(desk, "twin-choke-sidedraught", seed=7, faults=("wrong jet",))
    acted: set[tuple[str, Any]] = set()
    told = 0
    for view in walked(sitting):
        stands = {(f.code, f.where) for f in view.findings}
        assert not acted & stands, "what was acted on stands no more"
        places = {part.place for part in view.fit}
        acted = {(f.code, f.where) for f in view.findings if set(f.where) & places}
        told += len(acted)
        if told and not acted:
            break
    assert told
    desk.close()


async def test_mended_is_read_again(lid: Any, at_run: Any) -> None:
    async with at_run(lid) as (pilot, _):
        await press(pilot, "2", "enter")
        await press(pilot, "1", "enter")
        assert lid.view.step == "look"
        assert lid.view.findings == ()


async def test_to_go_on_knowingly_asks_for_the_reason_first(lid: Any, at_run: Any, recorded: Any) -> None:
    async with at_run(lid) as (pilot, _):
        await press(pilot, "2", "enter")
        await press(pilot, "3", "enter")
        assert lid.view.gate is not None
        await press(pilot, "o", "l", "d", "enter")
        assert lid.view.step == "after"
        last = recorded(lid)[-1]
        assert (last["kind"], last["gate"], last["text"]) == ("gate", "go on knowingly", "old")


async def test_to_end_here_ends_the_run(lid: Any, at_run: Any) -> None:
    async with at_run(lid) as (pilot, _):
        await press(pilot, "2", "enter")
        await press(pilot, "2", "enter")
        assert lid.view.end.outcome == "stopped"
