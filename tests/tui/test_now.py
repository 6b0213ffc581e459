"""What is to be done now is the largest thing on the screen, its answer stands right under it, what is done recedes."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from hands import press, settled

from engine.evidence import Move, Place
from engine.session.view import Advised, WaitView
from tui.drawing import bank, big, room, turns, where
from tui.drawing.lines import text_of
from tui.widgets.pad import TOO_EARLY

SIZES = [(80, 24), (100, 30), (160, 48)]


def one_move(samples: Any) -> Any:
    """A step of one trial turn, which is read afterwards."""
    moves = (Move("mixture", Place(2, 1), "out", "richer", F(1, 8), F(9, 8)),)
    return samples.view(moves=moves, read=(samples.SPEED,))


def the_line(lines: list[str], text: str) -> int:
    return next(n for n, line in enumerate(lines) if text in line)


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_a_move_is_large_and_says_how_the_hand_turns(samples: Any, at_run: Any, grid: Any, size: Any) -> None:
    async with at_run(samples.FakeSitting(one_move(samples)), size) as (pilot, _):
        lines = grid(pilot.app)
        drawn = [*(big.tall("OUT 1/8", 200) or ()), *(big.tall("OUT 1/8", 40) or ()), *(big.figures("OUT 1/8") or ())]
        assert sum(any(row.strip() and row.rstrip() in line for row in drawn) for line in lines) >= 3
        text = " ".join(" ".join(lines).split())
        for said in ("anticlockwise", "richer", "body 2, barrel 1", "1/8 turn", "then at 1 1/8 turns", "↺"):
            assert said in text


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_after_turned_the_move_is_one_quiet_line_and_no_order(
    samples: Any, at_run: Any, grid: Any, size: Any
) -> None:
    sitting = samples.FakeSitting(one_move(samples))
    async with at_run(sitting, size) as (pilot, _):
        await press(pilot, "enter")
        assert sitting.given == []
        lines = grid(pilot.app)
        assert any(line.strip().startswith("TURNED body 2, barrel 1, mixture out 1/8 turn") for line in lines)
        assert not any("anticlockwise" in line for line in lines)
        await press(pilot, *"920", "enter")
        assert sitting.given == [{"readings": {"speed": F(920)}, "lacking": None}]


async def test_who_types_the_reading_has_turned_and_loses_no_figure(samples: Any, at_run: Any, grid: Any) -> None:
    sitting = samples.FakeSitting(one_move(samples))
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, *"920")
        assert screen.sofar.begun
        assert screen.sofar.fields.texts == ["920"]
        assert any("TURNED" in line for line in grid(pilot.app))
        await press(pilot, "enter")
        assert sitting.given[-1]["readings"] == {"speed": F(920)}


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_the_answer_stands_right_under_the_instruction(samples: Any, at_run: Any, grid: Any, size: Any) -> None:
    short = samples.view(moves=(), findings=(), because=(), hear="", note="", cautions=())
    async with at_run(samples.FakeSitting(short), size) as (pilot, _):
        lines = grid(pilot.app)
        assert the_line(lines, "Airflow at each barrel") - the_line(lines, "Turn as shown with the gauge on") <= 2


async def test_what_is_typed_is_large(samples: Any, at_run: Any, grid: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view(moves=())), (80, 24)) as (pilot, _):
        await press(pilot, *"4.7")
        lines = grid(pilot.app)
        for row in big.figures("4.7") or ():
            assert any(row.rstrip() in line for line in lines)
        assert any("expected 4.9 kg/h" in line for line in lines)


async def test_the_seconds_of_a_wait_are_large(samples: Any, at_run: Any, grid: Any) -> None:
    async with at_run(samples.FakeSitting(samples.warm()), (80, 24), now=lambda: 0.0) as (pilot, _):
        for row in big.figures("1:00") or ():
            assert any(row.rstrip() in line for line in grid(pilot.app))


def test_the_first_line_says_which_job_and_where_in_the_work(samples: Any) -> None:
    v = samples.view(phase="mixture", advice=(Advised("n", "m", 1, {}, None, {"rounds": F(3)}),))
    said = text_of(where.line(v, where.Whose("SAMPLE 1  A. Sample"), 140))[0]
    assert "SAMPLE 1  A. Sample" in said and "air ▸MIXTURE jets" in said and "~3 rounds left" in said
    narrow = text_of(where.line(v, where.Whose("SAMPLE 1  A. Sample"), 80))[0]
    assert "SAMPLE 1  A. Sample" in narrow and "▸MIXTURE" in narrow and "~3 rounds left" in narrow


def test_a_rehearsal_says_so_over_the_full_width(samples: Any) -> None:
    line = where.line(samples.view(), where.Whose("SAMPLE 1", True), 80)[0]
    assert sum(len(text) for text, _ in line) == 80
    assert {role for _, role in line} == {"rehearsal"}
    assert "REHEARSAL" in text_of([line])[0]


async def test_a_caution_is_bright_when_it_is_new_and_quiet_after(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.view(moves=(), read=()), samples.view(moves=(), read=(), step="next"))
    async with at_run(sitting) as (pilot, screen):
        assert any(role == "warning" for line in screen._card(78, 20) for _, role in line)
        await press(pilot, "enter")
        await settled(pilot)
        card = screen._card(78, 20)
        assert not any(role == "warning" for line in card for _, role in line)
        assert "Sleeves and hair clear of belts and fan." in " ".join(text_of(card))


async def test_no_safety_text_is_ever_cut(samples: Any, at_run: Any, grid: Any) -> None:
    long = replace(samples.MOVING, text="Keep clear of it. " * 12 + "To the last word.")
    sitting = samples.FakeSitting(samples.view(moves=(), cautions=(long,)))
    async with at_run(sitting, (80, 24)) as (pilot, _):
        assert "To the last word." in " ".join(" ".join(grid(pilot.app)).split())


@pytest.mark.parametrize("total", range(4, 40))
def test_rows_are_shared_without_one_too_many(total: int) -> None:
    for card in ((3, 3), (6, 9), (30, 36)):
        for pad in ((2, 2), (5, 8), (12, 12)):
            got = room.share(total, card, pad, 5, (2, 6), least=99)
            assert sum(got) <= total
            assert min(got) >= 0 and got.pad >= min(2, total)
            if card[0] + pad[0] + 2 <= total:
                assert got.card >= card[0] and got.pad >= pad[0] and got.findings >= 2


async def test_the_screw_to_turn_is_pointed_at_until_it_is_turned(samples: Any, at_run: Any, grid: Any) -> None:
    async with at_run(samples.FakeSitting(one_move(samples)), (80, 24)) as (pilot, _):
        assert sum("◀" in line for line in grid(pilot.app)) == 1
        assert any("(/)↺ 1◀" in line for line in grid(pilot.app))
        await press(pilot, "enter")
        assert not any("◀" in line for line in grid(pilot.app))


def test_the_first_line_says_how_much_is_left_at_the_least(samples: Any) -> None:
    v = samples.view(phase="mixture", steps_left=16, advice=(Advised("n", "m", 1, {}, None, {"left": F(4)}),))
    for cells in (60, 80, 140):
        said = text_of(where.line(v, where.Whose("SAMPLE 1  A. Sample"), cells))[0]
        assert "4 to set, 16+ steps" in said and "SAMPLE 1" in said and "▸MIXTURE" in said
    more = samples.view(steps_left=16, advice=(Advised("n", "m", 1, {}, None, {"left": F(4), "rounds": F(24)}),))
    assert "4 to set, ~39 steps" in text_of(where.line(more, where.Whose("SAMPLE 1"), 80))[0]


async def test_a_stop_is_the_largest_thing_and_its_finding_is_said_once_above_the_choice(
    samples: Any, at_run: Any, grid: Any
) -> None:
    from engine.session.view import GateView

    stop = GateView("This cylinder leaks.", "Mend it first.", ("mended", "ends here"), (), ())
    v = samples.view(gate=stop, do="This cylinder leaks. Mend it first.", moves=(), read=(), findings=(), wait=None)
    async with at_run(samples.FakeSitting(v), (80, 24)) as (pilot, _):
        lines = grid(pilot.app)
        for row in big.figures("STOP") or ():
            assert any(row.rstrip() in line for line in lines)
        assert " ".join(lines).count("This cylinder leaks.") == 1


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 40)], ids=lambda s: f"{s[0]}x{s[1]}")
async def test_a_stop_names_the_place_and_cuts_no_way_on(samples: Any, at_run: Any, grid: Any, size: Any) -> None:
    from engine.session.view import GateView

    leaks = replace(samples.view().findings[0], where=(Place(2, 1),), say="Air leaks in at this barrel.")
    ways = ("mended", "ends here", "go on knowingly")
    stop = GateView("Air leaks in at this barrel.", "Seal it.", ways, ("go on knowingly",), (leaks,))
    v = samples.view(gate=stop, do="Air leaks in at this barrel. Seal it.", moves=(), read=(), findings=(), wait=None)
    async with at_run(samples.FakeSitting(v), size) as (pilot, _):
        said = " ".join(" ".join(grid(pilot.app)).split())
        assert "Body 2, barrel 1" in said and "…" not in said
        for way, hint in (("mended", "read again"), ("ends here", "on the sheet"), ("go on knowingly", "a reason")):
            assert way in said and hint in said


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 40)], ids=lambda s: f"{s[0]}x{s[1]}")
async def test_a_move_is_large_at_every_size(samples: Any, at_run: Any, grid: Any, size: Any) -> None:
    async with at_run(samples.FakeSitting(one_move(samples)), size) as (pilot, _):
        lines = grid(pilot.app)
        drawn = [*(big.tall("OUT 1/8", 200) or ()), *(big.tall("OUT 1/8", 40) or ()), *(big.figures("OUT 1/8") or ())]
        assert sum(any(row.strip() and row.rstrip() in line for row in drawn) for line in lines) >= 3


async def test_the_target_of_a_reading_is_large_too_where_there_is_room(samples: Any, at_run: Any, grid: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view(moves=())), (100, 30)) as (pilot, _):
        for row in big.figures("4.9") or ():
            assert any(row.rstrip() in line for line in grid(pilot.app))


@pytest.mark.parametrize("size", SIZES, ids=lambda s: f"{s[0]}x{s[1]}")
async def test_a_part_to_fit_is_large_and_names_its_places(samples: Any, at_run: Any, grid: Any, size: Any) -> None:
    async with at_run(samples.FakeSitting(samples.jets()), size) as (pilot, _):
        lines = grid(pilot.app)
        for row in big.figures("FIT 55") or ():
            assert any(row.rstrip() in line for line in lines)
        assert "idle jet 55: body 2, barrel 1; body 2, barrel 2" in " ".join(" ".join(lines).split())


async def test_a_screw_that_was_turned_stands_where_it_was_turned_to_at_once(
    samples: Any, at_run: Any, grid: Any
) -> None:
    async with at_run(samples.FakeSitting(one_move(samples)), (80, 24)) as (pilot, screen):
        before = sum(line.count("(/) 1 1/8") for line in grid(pilot.app))
        await press(pilot, "enter")
        assert sum(line.count("(/) 1 1/8") for line in grid(pilot.app)) == before + 1
        assert all(row.since for row in screen._standing().latest if row.hold != "stopped")


async def test_a_screw_turned_until_a_gauge_shows_it_stands_nobody_knows_where(samples: Any, at_run: Any) -> None:
    v = samples.view(read=(samples.SPEED,))  # two speed screws, one of them until its barrel draws 4.9 kg/h
    async with at_run(samples.FakeSitting(v), (80, 24)) as (pilot, screen):
        await press(pilot, "enter")
        rows = {row.name: row.positions for row in screen._standing().screws}
        assert rows["speed_screw"] == (None, F(3, 4))


def test_what_was_really_turned_is_what_the_drawing_shows(samples: Any) -> None:
    v = one_move(samples)
    (asked,) = v.moves
    (row,) = (row for row in v.screws if row.name == asked.screw)
    n = row.places.index(asked.place)
    for direction, moved, stands in (("out", F(1, 4), F(5, 4)), ("in", F(1, 4), F(3, 4))):
        really = replace(asked, direction=direction, turns=moved, position=None)
        (now,) = (row for row in turns.after(v, (really,)) if row.name == asked.screw)
        assert now.positions[n] == stands
    assert turns.after(v, ()) == v.screws


def test_a_screw_keeps_its_place_in_the_drawing_whichever_is_turned(samples: Any) -> None:
    v = samples.view()
    order = [row.name for row in bank.plan(replace(v, moves=()), (2, 2)).screws]
    for row in v.screws:
        move = Move(row.name, row.places[0], "out", "", F(1, 8), F(1))
        assert [r.name for r in bank.plan(replace(v, moves=(move,)), (2, 2)).screws] == order


async def test_whatever_is_said_the_key_that_goes_on_is_there_too(samples: Any, at_run: Any, grid: Any) -> None:
    v = replace(one_move(samples), findings=(samples.FINDING,) * 4, hear="A slow lump. " * 8, note="Two fingers. " * 8)
    wait = samples.view(moves=(), read=(), wait=WaitView(F(60), "", "oil lags", True), findings=(samples.FINDING,) * 4)
    for step, key_ in ((v, "Turned"), (wait, "Enter")):
        async with at_run(samples.FakeSitting(step), (80, 24)) as (pilot, screen):
            screen.pad.say(TOO_EARLY)
            await settled(pilot)
            pad = screen.query_one("#pad")
            said = " ".join(" ".join(pad.render_line(y).text for y in range(pad.size.height)).split())
            assert TOO_EARLY in said and key_ in said


@pytest.mark.parametrize("cells", [80, 120, 160])
def test_the_strip_calls_a_phase_the_same_at_every_width(samples: Any, cells: int) -> None:
    line = text_of(where.line(samples.view(phase="hand-over"), where.Whose("SAMPLE 1"), cells))[0]
    assert "HAND-OVER" in line and "handover" not in text_of(where.line(samples.view(), where.Whose("S"), cells))[0]


@pytest.mark.parametrize("size", [(60, 20), *SIZES], ids=lambda s: f"{s[0]}x{s[1]}")
async def test_a_step_of_words_alone_has_its_title_large_where_all_its_words_have_room(
    samples: Any, at_run: Any, grid: Any, size: Any
) -> None:
    choice = replace(samples.SOUND, each=None, places=())
    short: dict[str, Any] = {"title": "Lock nuts tight", "do": "Nip each nut tight.", "moves": (), "cautions": ()}
    for read in ((), (choice,)):
        v = samples.view(read=read, wait=None, findings=(), hear="", note="", because=(), **short)
        async with at_run(samples.FakeSitting(v), size) as (pilot, _):
            lines = grid(pilot.app)
            drawn = big.sentence(v.title, 56, 7)
            wide = big.sentence(v.title, 78, 7)
            assert any(all(any(row.rstrip() in line for line in lines) for row in rows) for rows in (drawn, wide))
            assert "Nip each nut tight." in "\n".join(lines)
    figure = samples.view(read=(samples.SPEED,), wait=None, **short)
    async with at_run(samples.FakeSitting(figure), size) as (pilot, screen):
        assert not screen.headline, "there the figure is large"
