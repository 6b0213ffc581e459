"""The search of the mixture can be seen: what was read over where the screw stood, what is believed, what a turn is
for."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest

from engine.evidence import Move, Place
from engine.session.view import Advised, Hours, Spot, Sweep
from tui.catalogue.shop import Shop
from tui.control.desk import Desk
from tui.control.rehearsal import rehearse
from tui.drawing import bank, card, plot, step_lines
from tui.drawing.lines import text_of, width
from tui.screens import pages

SHIPPED = Path(__file__).parents[2] / "procedures"

SPOTS = (
    Spot(F(1), F(880), False, 1),
    Spot(F(3, 2), F(900), True, 2),
    Spot(F(2), F(910), True, 3),
)
SWEEP = Sweep("mixture_screw", Place(2, 1), "turn", "engine speed", "rpm", SPOTS, F(5, 2), F(895))
BELIEVED = replace(SWEEP, best=F(15, 8), low=F(13, 8), high=F(17, 8))


def drawn(samples: Any, sweep: Sweep, cells: int = 90, rows: int = 16) -> list[str]:
    return text_of(plot.plot(samples.view(sweeps=(sweep,)), cells, rows))


def at(lines: list[str], sign: str) -> tuple[int, int]:
    """Row and column of the only such sign of the figures."""
    found = [(n, line.index(sign)) for n, line in enumerate(lines) if "│" in line or "┤" in line if sign in line]
    assert len(found) == 1, (sign, lines)
    return found[0]


def test_what_is_faster_stands_higher_and_what_is_further_out_stands_further_right(samples: Any) -> None:
    lines = drawn(samples, replace(SWEEP, expect=None, to=None, spots=SPOTS[1:]))
    rows = [(n, line.index("●")) for n, line in enumerate(lines) if "●" in line and "read" not in line]
    (high, right), (low, left) = rows
    assert high < low and right > left


def test_a_reading_with_other_screws_elsewhere_and_an_expected_one_have_signs_of_their_own(samples: Any) -> None:
    lines = drawn(samples, SWEEP)
    assert at(lines, "·")[1] < at(lines, "○")[1]
    said = " ".join(lines)
    assert "other screws elsewhere" in said and "○ expected" in said and "▲ to turn to" in said


def test_the_crest_is_shown_with_its_doubt_where_somebody_believes_one(samples: Any) -> None:
    lines = drawn(samples, BELIEVED)
    axis = next(line for line in lines if "└" in line)
    assert axis.index("═") < axis.index("◆") < axis.rindex("═") + 1
    assert "Believed to belong near 1 7/8, between 1 5/8 and 2 1/8." in lines
    assert not any("◆" in line or "Believed" in line for line in drawn(samples, SWEEP))


def test_how_sure_it_is_stands_below_where_an_adviser_says_so_of_each_barrel(samples: Any) -> None:
    values = {"sure": (F(9, 10), F(1, 2), F(8, 100), F(1, 3))}
    v = samples.view(sweeps=(replace(SWEEP, screw="mixture"),), advice=(Advised("n", "m", 1, {}, None, values),))
    assert "That it stands near its best, as it stands: 8 in 100." in text_of(plot.plot(v, 90, 16))


def test_the_title_names_barrel_screw_quantity_and_unit(samples: Any) -> None:
    assert drawn(samples, SWEEP)[0] == "body 2, barrel 1, mixture screw: engine speed, rpm, over turns out"


def test_several_screws_that_are_searched_at_a_time_stand_beside_each_other_on_the_same_figures(samples: Any) -> None:
    quicker = replace(BELIEVED, place=Place(2, 2), spots=tuple(replace(s, value=s.value + 40) for s in SPOTS))
    v = samples.view(sweeps=(BELIEVED, quicker))
    lines = text_of(plot.plot(v, 90, 20))
    (names,) = (line for line in lines if "barrel 1" in line and "body" in line)
    assert "body 2, barrel 2" in names
    tops = [line for line in lines if "┤" in line]
    assert all(len(set(re.findall(r"(\d+) ┤", line))) == 1 and line.count("┤") == 2 for line in tops)
    assert sum(line.count("◆") for line in lines if "└" in line) == 2
    assert sum(line.count("1 7/8") for line in lines) == 2, "each says what is believed of it"


def test_where_not_all_have_room_the_first_is_drawn_and_the_others_are_counted(samples: Any) -> None:
    v = samples.view(sweeps=(BELIEVED, replace(BELIEVED, place=Place(1)), replace(BELIEVED, place=Place(2, 2))))
    lines = text_of(plot.plot(v, 60, 14))
    assert len(lines) <= 14 and "2 more screws searched with it: ? draws them." in lines


def test_a_figure_of_a_stall_does_not_press_the_others_flat(samples: Any) -> None:
    stalled = Spot(F(1), F(300), False, 9)
    lines = drawn(samples, replace(SWEEP, spots=(*SPOTS[1:], stalled)))
    (high, _), (low, _) = [(n, 0) for n, line in enumerate(lines) if "●" in line and "read" not in line]
    assert low - high > 2, "two readings ten revolutions apart are still apart"
    assert any("▾" in line for line in lines if "│" in line or "┤" in line)
    assert "off the figures" in " ".join(lines)


@pytest.mark.parametrize("many", [1, 2, 4, 6, 12])
@pytest.mark.parametrize(("cells", "rows"), [(40, 8), (58, 14), (78, 16), (78, 40), (120, 12), (200, 60)])
def test_however_many_are_searched_they_keep_to_their_room(samples: Any, many: int, cells: int, rows: int) -> None:
    v = samples.view(sweeps=tuple(replace(BELIEVED, place=Place(n + 1)) for n in range(many)))
    lines = plot.plot(v, cells, rows)
    assert len(lines) <= rows and all(width(line) <= cells for line in lines)
    assert bool(lines) is (rows >= plot.least(v, cells))


@pytest.mark.parametrize("cells", [40, 58, 80, 160])
@pytest.mark.parametrize("rows", [8, 12, 30])
def test_it_keeps_to_its_room(samples: Any, cells: int, rows: int) -> None:
    for sweep in (SWEEP, BELIEVED, replace(SWEEP, spots=SPOTS[:1], expect=None, to=None)):
        lines = plot.plot(samples.view(sweeps=(sweep,)), cells, rows)
        assert len(lines) <= rows
        assert all(width(line) <= cells for line in lines)
    assert plot.plot(samples.view(), cells, rows) == []


def searching(samples: Any, *barrels: str, moves: int = 1, **more: Any) -> Any:
    values = {**more, "verdict": "turn", "left": F(barrels.count("sought")), "barrels": barrels}
    made = tuple(Move("mixture", p, "out", "richer", F(1, 2), F(3, 2)) for p in samples.BARRELS[:moves])
    return samples.view(moves=made, advice=(Advised("next", "idle_mixture", 1, {}, None, values),))


def test_a_trial_turn_says_what_it_is_for_and_how_many_are_still_sought(samples: Any) -> None:
    said = " ".join(text_of(card.trial(searching(samples, "sought", "set", "sought", "sought"), 78)))
    assert said == "One screw, then a reading: it tells where its best lies. Still sought: 3 of 4."
    all_ = " ".join(text_of(card.trial(searching(samples, "set", "set", "set", "set", moves=4), 78)))
    assert all_ == "Each goes where it is believed to belong, then it is read again."
    counted = " ".join(text_of(card.trial(searching(samples, "sought", "set", "set", "set", rounds=F(3)), 78)))
    assert counted.endswith("Still sought: 1 of 4, about 3 more readings.")
    assert card.trial(samples.view(), 78) == []


def test_the_bank_says_what_it_shows_and_old_figures_stand_in_brackets(samples: Any) -> None:
    old = replace(samples.LATEST[0], since="a screw was turned", hold="1500 rpm", found=True)
    v = samples.view(latest=(old,))
    head = " ".join(text_of(step_lines.spread_line(v, 80)))
    assert "airflow, 1500 rpm" in head and "OLD (as found): a screw was turned since" in head
    lines = bank.close(bank.plan(v, (2, 2)), 80)
    assert "(4.8)" in text_of(lines)[1] and "━" not in text_of(lines)[1]
    assert not {role for line in lines[1:2] for text, role in line if "4.8" in text} & {"amber", "good", "strong"}


def test_the_front_and_the_cylinders_are_marked(samples: Any) -> None:
    plan = bank.plan(samples.view(), (2, 2), None, bank.cylinders_of(2, 2, 4, True))
    text = text_of(bank.close(plan, 80))
    assert text[0].startswith("front╴body 1") and "1 cyl 1" in text[1] and "cyl 4" in text[2]
    assert "front, body 1" in text_of(bank.opened(plan, 80))[0]
    assert bank.cylinders_of(2, 1, 6, True) == {Place(1, 1): "1-3", Place(2, 1): "4-6"}
    assert bank.cylinders_of(2, 2, 4, False) == bank.cylinders_of(2, 2, 6, True) == {}


@pytest.mark.parametrize("carbs", [2, 3, 4, 6])
def test_no_position_is_cut_off_however_many_bodies(samples: Any, carbs: int) -> None:
    places = tuple(Place(c, b) for c in range(1, carbs + 1) for b in (1, 2))
    stand = tuple(F(n, 16) + 1 for n in range(1, len(places) + 1))
    mixture = replace(samples.SCREWS[1], places=places, positions=stand)
    air = replace(samples.SCREWS[1], name="bypass", acts="air", places=places, positions=stand, band=None)
    v = samples.view(screws=(mixture, air), moves=())
    text = "\n".join(text_of(bank.close(bank.plan(v, (carbs, 2)), 78)))
    assert "…" not in text
    from engine.quantity import wording

    for position in stand:
        assert text.count(f"(/) {wording.fraction(position)}") >= 2, position


def test_the_time_of_the_engine_stands_beside_its_state(samples: Any) -> None:
    head = " ".join(text_of(step_lines.head(samples.view(hours=Hours(23, 14)), 120)))
    assert "engine RUNNING 23 min, hot 14" in head


def test_four_bodies_that_have_no_room_in_a_row_stand_two_by_two(tmp_path: Path) -> None:
    desk = Desk(Shop(tmp_path / "book", (SHIPPED,), tmp_path))
    sitting = rehearse(desk, "motorcycle-bank", seed=3)
    drawn = text_of(bank.close(bank.plan(sitting.view, sitting.layout, {}, sitting.cylinders), 78))
    heads = [line for line in drawn if "╴" in line]
    assert sitting.layout[0] == 4 and [line.count("╴") for line in heads] in ([4], [2, 2])
    desk.close()


def test_a_bank_across_the_frame_is_counted_from_the_left_and_says_so(tmp_path: Path) -> None:
    desk = Desk(Shop(tmp_path / "book", (SHIPPED,), tmp_path))
    sitting = rehearse(desk, "motorcycle-bank", seed=3)
    plan = bank.plan(sitting.view, sitting.layout, {}, sitting.cylinders)
    for drawn in (bank.close(plan, 78), bank.opened(plan, 100)):
        said = "\n".join(text_of(drawn))
        assert "left" in said and "front" not in said
    assert "carb 1 is at the left as one sits" in text_of(pages.drawing(sitting.view, plan, 78))[0]
    desk.close()


def test_every_sign_of_the_plot_is_explained_and_none_is_an_order_once_it_is_turned(samples: Any) -> None:
    v = samples.view(sweeps=(BELIEVED,))
    for shown, said in ((v, "▲ to turn to"), (replace(v, moves=()), "▲ where it stands now")):
        drawn = " ".join(text_of(plot.plot(shown, 78, 16)))
        assert said in drawn and "◆ believed best" in drawn
