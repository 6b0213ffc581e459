"""A rehearsal is the same run as a real one; only the readings come from the virtual engine, and it shows what was
wrong."""

from __future__ import annotations

import time
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest
from hands import burst, key, press, settled

from engine.bench.technicians.all_knowing import all_knowing
from tui.app import Evendraw
from tui.control.desk import Desk, Shop
from tui.control.entry import Cell, Took, read
from tui.control.questions import Option, Pick
from tui.control.rehearsal import Rehearsal, go_on, how_it_stands, really_wrong, rehearse
from tui.control.stages import texts

SHIPPED = Path(__file__).parents[2] / "procedures"


@pytest.fixture
def shipped(tmp_path: Path) -> Shop:
    return Shop(tmp_path / "jobs.book", (SHIPPED,), tmp_path / "jobs")


def rehearsal(shop: Shop, procedure: str = "warm-up", **how: Any) -> Rehearsal:
    return rehearse(Desk(shop), procedure, **{"seed": 3, **how})


async def test_the_key_takes_the_engines_readings_into_the_fields_and_enter_records_them(
    shipped: Shop,
    at_run: Any,
    recorded: Any,
) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", seed=6)  # one that idles well enough to be checked
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "!")  # the danger is understood
        await press(pilot, "plus")
        assert all(screen.sofar.fields.texts)
        assert {e["kind"] for e in recorded(sitting)} <= {"started", "understood"}
        await press(pilot, "enter")
        assert recorded(sitting)[-1]["kind"] == "readings"
        assert not (shipped.book.exists() or shipped.jobs.exists()), "a rehearsal is no job"


def test_a_reading_is_put_in_as_fine_as_its_scale_and_is_taken(samples: Any) -> None:
    ask = replace(samples.SPEED, step=F(1))
    (text,) = texts(ask, 682.626)
    assert text == "683" and read(Cell("", None, "number", "rpm", F(0), F(5000), F(1)), text) == 683


async def test_the_key_takes_the_reading_whatever_is_typed_there_already(shipped: Shop, at_run: Any) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", seed=6)
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "!", "4", "plus", "plus")
        assert all(screen.sofar.fields.texts) and not any("+" in text for text in screen.sofar.fields.texts)


async def test_the_technician_may_type_another_value_than_the_engine_gives(shipped: Shop, at_run: Any) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", seed=6)  # one that idles well enough to be checked
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "!", "plus", "home", "2", "enter")
        assert screen.sofar.fields.texts[0] == "2"


async def test_it_plays_by_itself_to_the_end_and_shows_what_was_really_wrong(shipped: Shop, grid: Any) -> None:
    from tui.screens.home import HomeScreen

    how = {"seed": 3, "faults": ("low fuel level",), "by_itself": True, "pace": 0.01}
    app = Evendraw(lambda: HomeScreen(shipped, lambda home: home.rehearse_on("warm-up", **how)))
    async with app.run_test(size=(80, 24)) as pilot:
        end = time.monotonic() + 30
        while type(app.screen).__name__ != "HandoverScreen":
            assert time.monotonic() < end
            await pilot.pause(0.02)
        await settled(pilot)
        said = "\n".join(grid(app))
        assert "WHAT WAS REALLY WRONG" in said
        assert "fuel stands too low" in said
        assert "F4" not in said.splitlines()[-1], "a rehearsal has no sheet to write"


async def test_playing_stops_and_goes_on_with_a_key(shipped: Shop, at_run: Any) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", by_itself=True, pace=3600)
    async with at_run(sitting) as (pilot, screen):
        for _ in range(2):
            screen._play()
            await settled(pilot)
        reached = sitting.view.seq
        assert reached >= 1
        await press(pilot, "plus")
        assert sitting.playing is False
        screen._play()
        await settled(pilot)
        assert sitting.view.seq == reached
        await press(pilot, "plus")
        assert sitting.playing is True
        await press(pilot, "escape")
        screen._play()
        await settled(pilot)
        assert screen.over, "nothing is answered while a question lies over the step"


def test_the_same_seed_hides_the_same_faults(shipped: Shop) -> None:
    one, two = rehearsal(shipped, seed=9), rehearsal(shipped, seed=9)
    assert one.specimen.faults == two.specimen.faults
    assert really_wrong(one) == really_wrong(two)


def test_a_named_fault_is_the_one_that_is_shown_at_the_end(shipped: Shop) -> None:
    said = really_wrong(rehearsal(shipped, faults=("weak cylinder", "manifold leak")))
    assert len(said) == 2
    assert "less than its torque" in said[0] and "% of torque" in said[0]
    assert said[1].startswith("Carb ") and "manifold joint" in said[1]


@pytest.mark.parametrize("procedure", ["twin-choke-sidedraught", "progressive-downdraught"])
def test_the_end_tells_air_mixture_and_jets_of_the_barrels_that_feed_at_idle(procedure: str, shipped: Shop) -> None:
    """The mixture was not told, and a second barrel that is shut was told as one of two that draw alike."""
    sitting = rehearsal(shipped, procedure=procedure)
    all_knowing(sitting.engine)
    barrels = sum(sitting.engine.body.feeds)
    told = {line.split(" as left")[0]: line for line in how_it_stands(sitting)}
    assert set(told) == {"Air", "Speed", "Mixture", "Idle jets"}
    shown = {what: told[what].split(": ")[1].split(";")[0].split(" kg/h")[0] for what in ("Air", "Idle jets")}
    assert all(len(row.split(", ")) == barrels for row in shown.values())
    assert len(told["Mixture"].split(", near its best")[0].split(", ")) == barrels
    assert ("even" in told["Air"].lower()) == (barrels > 1)


def test_what_was_said_to_be_turned_otherwise_is_what_the_engine_gets(shipped: Shop) -> None:
    from dataclasses import replace

    sitting = rehearsal(shipped, "zero-and-preset")
    while not sitting.view.moves or sitting.view.moves[0].turns is None:
        step = sitting.view
        assert step.end is None
        if any(c.understand for c in step.cautions):
            assert sitting.answer(understood=True) is None
        symptom = sitting.ahead()
        answer = (
            {"symptom": symptom}
            if symptom
            else ({"readings": sitting.work()["readings"]} if step.read else {"done": True})
        )
        assert sitting.answer(**answer) is None
    moves = sitting.view.moves
    assert sitting.answer(done=True, moved=tuple(replace(m, turns=m.turns * 2, position=None) for m in moves)) is None
    row = next(r for r in sitting.view.screws if r.name == moves[0].screw)
    assert row.positions[row.places.index(moves[0].place)] is not None


def test_it_is_gone_on_with_on_the_same_engine_as_if_it_had_never_stopped(shipped: Shop) -> None:
    straight = rehearsal(shipped, "twin-choke-sidedraught", seed=7)
    stopped = rehearsal(shipped, "twin-choke-sidedraught", seed=7)

    def answers(sitting: Rehearsal, count: int) -> None:
        for _ in range(count):
            if sitting.view.gate is not None:
                sitting.answer(**sitting.at_stop())
                continue
            done = sitting.work()
            given = {k: v for k, v in done.items() if k in ("done", "readings", "symptom", "lacking")}
            assert sitting.answer(**given, understood=True) is None

    answers(straight, 30)
    answers(stopped, 18)
    run = stopped.session.run
    stopped.suspend()
    desk = Desk(shipped)
    assert run in [e.key for e in desk.open_rehearsals()]
    again = go_on(desk, run)
    answers(again, 12)
    assert [m.said for m in again.view.trail] == [m.said for m in straight.view.trail]
    assert again.engine.truth().gauge == straight.engine.truth().gauge
    assert desk.find("") == desk.unfinished() == []


async def test_while_it_plays_the_line_at_the_top_says_so_and_keys_make_it_quicker_or_stop_it(
    shipped: Shop, at_run: Any, grid: Any
) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", by_itself=True, pace=4)
    async with at_run(sitting) as (pilot, screen):
        screen._play()
        screen._play()
        await settled(pilot)
        assert "▶ by itself, 4.0 s a step" in grid(pilot.app)[0]
        await press(pilot, "pageup")
        assert sitting.pace < 4 and "▶ by itself, 2.7 s" in grid(pilot.app)[0]
        await press(pilot, "pagedown", "pagedown")
        assert sitting.pace > 4
        await press(pilot, "plus")
        assert "‖ stopped, + goes on" in grid(pilot.app)[0]


async def test_while_it_plays_a_line_says_what_happens_now(shipped: Shop, at_run: Any, grid: Any) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", seed=6, by_itself=True, pace=3600)
    said = []
    async with at_run(sitting) as (pilot, screen):
        for _ in range(40):
            if sitting.view.end is not None or screen.over:
                break
            said.append(grid(pilot.app)[1].strip())
            screen._play()
            await settled(pilot)
        assert "now: It reads the danger and says that it is understood." in said
        assert any(line.startswith("now: It takes the reading: ") for line in said)
        assert "now: It looks at what it read, then writes it down with Enter." in said
        assert all(line.startswith("now: ") for line in said)
        await press(pilot, "plus")
        assert not grid(pilot.app)[1].strip().startswith("now: ")


async def test_while_it_plays_a_key_has_one_meaning_and_the_way_out_is_shown(
    shipped: Shop, at_run: Any, grid: Any
) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", seed=6, by_itself=True, pace=3600)
    async with at_run(sitting) as (pilot, screen):
        for _ in range(8):
            bar = "\n".join(grid(pilot.app)[-2:])
            assert "PgDn  slower" in bar and "more below" not in bar
            assert "Esc" in bar and "+" in bar
            screen._play()
            await settled(pilot)


async def test_the_fault_that_is_hidden_is_chosen_from_a_list_that_is_searched_by_typing(
    shipped: Shop, grid: Any
) -> None:
    from tui.screens.home import HomeScreen

    app = Evendraw(lambda: HomeScreen(shipped))
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(pilot)
        app.screen._rehearse_what(SHIPPED / "warm-up.yaml")
        await settled(pilot)
        await press(pilot, "3", *"low fuel")
        assert [o.label for o in app.screen.pad.question.options] == ["low fuel level"]
        await press(pilot, "enter", "1")
        end = time.monotonic() + 30
        while type(app.screen).__name__ != "RunScreen":
            assert time.monotonic() < end
            await pilot.pause(0.02)
        assert [f.kind for f in app.screen.sitting.specimen.faults] == ["low fuel level"]


async def test_a_long_list_is_searched_by_typing_too(shipped: Shop) -> None:
    from tui.screens.home import HomeScreen

    app = Evendraw(lambda: HomeScreen(shipped))
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        await press(pilot, "4")
        end = time.monotonic() + 60
        while not app.screen.over:
            assert time.monotonic() < end
            await pilot.pause(0.02)
        await press(pilot, *"motor")
        (only,) = app.screen.pad.question.options
        assert "motorcycle" in only.label
        await press(pilot, "enter")
        assert app.screen.pad.question.title == "HOW"


def test_a_letter_goes_to_the_next_line_of_a_list_that_stays_on_the_screen() -> None:
    names = ("beyond-idle", "constant-depression", "motorcycle-bank", "twin-choke-sidedraught")
    pick = Pick("PROCEDURES", tuple(Option(n, n) for n in names), hold=True)
    for letter, at in (("t", 3), ("c", 1), ("c", 3), ("m", 2)):
        assert pick.key(letter, letter) == Took()
        assert pick.at == at, letter
    assert pick.key("z", "z") is None


async def test_a_key_pressed_again_while_something_is_opened_answers_no_list_twice_and_opens_nothing_else(
    shipped: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tui.screens.home import HomeScreen

    kept: list[Any] = []
    monkeypatch.setattr(HomeScreen, "set_timer", lambda _, __, do: kept.append(do))
    app = Evendraw(lambda: HomeScreen(shipped))
    async with app.run_test(size=(100, 30)) as pilot:
        await settled(pilot)
        lists = 0
        pilot.app.post_message(key("4"))
        for _ in range(30):
            await pilot.pause()
            if kept:
                # What is being opened takes its time: Enter comes once more, and again.
                for _ in range(2):
                    app.post_message(key("enter"))
                    await pilot.pause()
                assert len(kept) == 1 and app._exception is None
                kept.pop()()
                lists += 1
            elif type(app.screen).__name__ == "RunScreen":
                break
            else:
                app.post_message(key("enter"))
        assert lists >= 2 and type(app.screen).__name__ == "RunScreen"


async def test_a_letter_typed_before_home_has_looked_begins_a_search_and_ends_nothing(shipped: Shop) -> None:
    from tui.screens.home import HomeScreen

    app = Evendraw(lambda: HomeScreen(shipped))
    async with app.run_test(size=(80, 24)) as pilot:
        burst(app, "s\n\n1")
        await settled(pilot)
        app.screen._find()
        assert app._exception is None


async def test_a_rehearsal_never_ends_with_the_cursor_on_a_customers_job(shipped: Shop) -> None:
    from tui.screens.home import REHEARSE, HomeScreen

    app = Evendraw(lambda: HomeScreen(shipped, lambda home: home.rehearse_on("warm-up", seed=3)))
    async with app.run_test(size=(80, 24)) as pilot:
        end = time.monotonic() + 30
        while type(app.screen).__name__ != "RunScreen":
            assert time.monotonic() < end
            await pilot.pause(0.02)
        await settled(pilot)
        await press(pilot, "escape", "2")
        await settled(pilot)
        home = app.screen
        assert type(home).__name__ == "HomeScreen"
        assert home.menu.options[home.menu.at].value == REHEARSE


def test_what_is_said_to_be_mended_at_a_stop_is_mended_on_the_engine_and_stays_so(shipped: Shop) -> None:
    sitting = rehearsal(shipped, "fit-to-tune", seed=6, faults=("manifold leak",))
    for _ in range(40):
        if sitting.view.gate is not None or sitting.view.end is not None:
            break
        if any(c.understand for c in sitting.view.cautions):
            assert sitting.answer(understood=True) is None
        done = sitting.work()
        given = {k: v for k, v in done.items() if k in ("done", "readings", "symptom", "lacking")}
        assert sitting.answer(**given) is None
    assert sitting.view.gate is not None, "a leak stops the work"
    assert sitting.answer(gate="mended") is None
    assert [f.kind for f in sitting.engine.mended] == ["manifold leak"]
    sitting.suspend()
    again = go_on(Desk(shipped), sitting.session.run)
    assert [f.kind for f in again.engine.mended] == ["manifold leak"]


DECIDES = """
procedure: decides
title: Which way
revision: 1
for: {family: any, carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 2}}
readings:
  way: {ask: Which way do you go?, quantity: decision, choices: [from zero, from where it stands], healthy: from zero}
start: look
steps:
  look: {title: Which way?, do: Say which way you go., read: [way], go: end}
  end: {end: ok, say: Seen.}
"""


async def test_the_key_that_takes_readings_decides_nothing(
    shipped: Shop, tmp_path: Path, at_run: Any, grid: Any
) -> None:
    """It chose the full routine, against the way that the program proposed."""
    path = tmp_path / "decides.yaml"
    path.write_text(DECIDES, encoding="utf-8")
    sitting = rehearsal(shipped, str(path))
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "plus")
        assert not any(screen.sofar.fields.texts)
        assert "yours to decide" in "\n".join(grid(screen.app))
        await press(pilot, "2", "enter")
        assert sitting.session.over
