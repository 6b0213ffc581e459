"""How numbers, places, moves and the bank are said and drawn: true to the data, and never wider than they may be."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.evidence import Finding, Move, Place
from engine.quantity import wording
from engine.session.view import Latest, ScrewRow
from tui.control import stages
from tui.drawing import bank, big, card, lines, padview, step_lines, turns, where
from tui.drawing.lines import text_of
from tui.screens import pages

TERMS = {"carb": "body"}


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (F(0), "0"),
        (F(1, 8), "1/8"),
        (F(5, 4), "1 1/4"),
        (F(-1, 2), "-1/2"),
        (F(-9, 4), "-2 1/4"),
        (F(3), "3"),
        (F(13, 32), "13/32"),
        (F(1, 3), "1/3"),
        (F(7, 10), "0.7"),
    ],
)
def test_turns_are_said_as_a_mechanic_says_them(value: F, said: str) -> None:
    assert wording.fraction(value) == said


@pytest.mark.parametrize(
    ("value", "step", "said"),
    [
        (F(48, 10), F(1, 10), "4.8"),
        (F(5), F(1, 10), "5.0"),
        (F(5), None, "5"),
        (F(1, 3), None, "0.333"),
        (F(950), F(10), "950"),
        (F(-1, 2), F(1, 2), "-0.5"),
        (F(-1, 10000), None, "0"),
    ],
)
def test_readings_are_said_as_fine_as_they_are_written_down(value: F, step: F | None, said: str) -> None:
    assert wording.decimal(value, step) == said


def test_places_use_the_words_of_the_family() -> None:
    assert wording.place(Place(2, 1), TERMS) == "body 2, barrel 1"
    assert wording.place(Place(2), {}) == "carb 2"
    assert wording.place(Place(1), TERMS, "gap") == "between body 1 and 2"
    assert wording.place(Place(3), TERMS, "cylinder") == "cylinder 3"
    assert wording.place(Place(), TERMS) == "the engine"
    assert wording.places([Place(1), Place(2)], TERMS, all_of=2) == "every body"
    assert [wording.several(w) for w in ("body", "tap", "key")] == ["bodies", "taps", "keys"]


def test_a_move_says_which_screw_how_far_and_which_way(samples: Any) -> None:
    out, aimed = turns.turns(samples.view())
    assert (out.where, out.screw, out.direction, out.far) == ("body 2", "speed screw", "OUT", "1/8 turn")
    assert out.rest == "anticlockwise, less air, then at 3/4 turn"
    assert aimed.far == "until flow is 4.9 kg/h"
    assert aimed.gauge == "gauge on body 1, barrel 1"


def test_a_move_from_a_lost_count_is_told_from_the_seat_and_never_as_a_way_from_here(samples: Any) -> None:
    v = samples.view()
    (row,) = (r for r in v.screws if r.name == "mixture")
    lost = replace(v, screws=tuple(replace(r, positions=(None,) * len(r.positions)) for r in v.screws))
    said = turns.turn(lost, Move("mixture", row.places[0], "out", "richer", None, F(5, 2)))
    assert said.far == "in until it just seats, then out 2 1/2 turns"
    assert (said.large, said.short) == ("OUT TO 2 1/2", "to 2 1/2 turns")


def test_a_zero_that_is_felt_from_both_sides_is_no_way_to_turn_from_an_unknown_place(samples: Any) -> None:
    """To level: in or out, nobody knows; only a seat lies in one direction."""
    v = samples.view()
    (row,) = (r for r in v.screws if r.name == "mixture")
    level = replace(row, zero="level", positions=(None,) * len(row.positions))
    lost = replace(v, screws=(level,), moves=(Move("mixture", row.places[0], "out", "richer", None, F(0)),))
    said = turns.turn(lost, lost.moves[0])
    assert (said.large, said.direction, said.hand, said.far, said.rest) == ("SET", "", "", "to level", "in or out")
    assert set(bank.plan(lost, (2, 2)).lit.values()) == {""}, "no arrow on the bank"
    seat = replace(lost, screws=(replace(level, zero="seated"),))
    assert turns.turn(seat, lost.moves[0]).large == "OUT"


def test_three_bodies_at_80_columns_show_the_front_and_every_cylinder(samples: Any) -> None:
    screws = tuple(
        replace(r, places=tuple(Place(c, b) for c in (1, 2, 3) for b in (1, 2)), positions=(F(1),) * 6)
        for r in samples.view().screws
        if r.each == "barrel"
    )
    v = samples.view(screws=screws, moves=(), latest=())
    six = bank.plan(v, (3, 2), cylinders=bank.cylinders_of(3, 2, 6, True))
    drawn = "\n".join(text_of(bank.close(six, 78)))
    assert "front" in drawn and all(f"cyl {n}" in drawn for n in range(1, 7))


def test_flats_are_said_as_flats(samples: Any) -> None:
    row = ScrewRow(
        "nut", "carb", "mixture", "jet", "flat", "top", samples.CARBS, (F(6), F(7)), None, F(1, 2), (F(0), F(24))
    )
    v = samples.view(screws=(row,), moves=(Move("nut", Place(1), "out", "richer", F(1, 6), F(7, 6)),))
    one = turns.turns(v)[0]
    assert (one.far, one.then) == ("1 flat", "then at 7 flats")


def test_a_screw_with_a_zero_of_its_own_is_not_said_to_seat(samples: Any) -> None:
    row = replace(samples.SCREWS[0], zero="first_contact")
    v = samples.view(screws=(row,), moves=(Move("speed_screw", Place(1), "in", "", None, F(0)),))
    assert turns.turns(v)[0].far == "to first contact"


def test_equal_moves_everywhere_are_one_line_and_others_are_not(samples: Any) -> None:
    assert [t.where for t in turns.turns(samples.zero())] == ["every barrel"]
    moves = samples.zero().moves
    odd = (*moves[:3], replace(moves[3], direction="out"))
    assert len(turns.turns(replace(samples.zero(), moves=odd))) == 4
    assert len(turns.turns(replace(samples.zero(), moves=moves[:3]))) == 3


def test_large_figures_are_three_lines_of_one_width_and_refuse_what_they_have_not() -> None:
    drawn = big.figures("OUT 1 1/4")
    assert drawn is not None
    assert len({len(row) for row in drawn}) == 1
    assert big.figures("until") is None


def test_the_bar_reaches_the_value_and_marks_the_band() -> None:
    drawn = bank.bar(F(5), (F(4), F(6)), (F(0), F(10)), 21)
    assert drawn[8] == "[" and drawn[12] == "]"
    assert drawn.rindex("━") == 10
    assert bank.bar(F(0), None, (F(0), F(10)), 10).count("━") == 1
    assert bank.bar(F(10), None, (F(0), F(10)), 10) == "━" * 10


@pytest.mark.parametrize("kind", ["number", "choice"])
def test_the_field_in_hand_is_always_among_those_that_show(kind: str) -> None:
    from tui.control.entry import Cell, Fields, Row

    choices = ("fully open", "short of full", "not done, no tool") if kind == "choice" else ()
    cells = tuple(Cell(str(n), Place(n, 1), kind, "mm", F(0), F(9), None, choices) for n in range(1, 49))
    fields = Fields((Row("r", "A long row", cells),))
    for n in range(48):
        fields.go(n)
        drawn = padview.draw(fields, 78, 7, TERMS)
        assert len(drawn) <= 7
        assert sum(role == "field-on" for line in drawn for _, role in line) == 1


def test_a_screw_in_and_out_of_its_band_has_another_sign(samples: Any) -> None:
    row = replace(samples.SCREWS[1], positions=(F(1, 2), F(5, 4), F(2), None))
    assert [bank.slot(row, n)[0] for n in range(4)] == ["(/) 1/2 ▾", "(/) 1 1/4", "(/) 2 ▴", "(/) ?"]


def test_the_bank_shows_the_row_that_is_to_be_brought_together(samples: Any) -> None:
    level = Latest("level", "fuel level", "carb", "mm", (F(0), F(1)), None, ())
    v = samples.view(latest=(level, *samples.LATEST))
    assert step_lines.main_row(v).name == "flow"
    assert step_lines.main_row(samples.view(latest=(level,))).name == "level"
    position = Latest("count", "mixture screw position", "barrel", "turn", (F(1),) * 4, None, ())
    assert step_lines.main_row(samples.view(latest=(position,))) is None


@settings(max_examples=40)
@given(cells=st.integers(30, 200), rows=st.integers(2, 60), carbs=st.integers(1, 12), barrels=st.integers(1, 4))
def test_no_drawing_is_wider_or_longer_than_it_may_be(
    samples_module: Any,
    cells: int,
    rows: int,
    carbs: int,
    barrels: int,
) -> None:
    places = tuple(Place(c, b) for c in range(1, carbs + 1) for b in range(1, barrels + 1))
    values = tuple(F(n % 9 + 1) for n in range(len(places)))
    screws = (
        ScrewRow(
            "mixture_screw",
            "barrel",
            "mixture",
            "jet",
            "turn",
            "seated",
            places,
            values,
            (F(1), F(2)),
            F(1, 8),
            (F(0), F(9)),
        ),
    )
    moves = tuple(Move("mixture_screw", p, "in", "leaner", F(1, 8), F(1)) for p in places[1:])
    v = samples_module.view(
        latest=(Latest("flow", "airflow", "barrel", "kg/h", values, F(1), (F(2), F(1))),),
        screws=screws,
        moves=moves,
        read=(replace(samples_module.FLOW, places=places, count=len(places), expect=None),),
    )
    fields = stages.question(v, stages.Sofar(), lambda: 0.0)
    drawings = [
        bank.draw(bank.plan(v, (carbs, barrels)), cells, rows),
        step_lines.findings(v, cells, rows),
        step_lines.trend(v, cells, rows),
        step_lines.trail(v, cells, rows),
        padview.draw(fields, cells, rows, TERMS) if cells >= 40 else [],
    ]
    for drawn in drawings:
        assert len(drawn) <= rows
    drawings += [
        step_lines.head(v, cells),
        card.step(v, cells, rows),
        step_lines.standing(v, cells),
        where.line(v, where.Whose("SAMPLE 1  A. Sample"), cells),
        pages.record(v, cells),
        step_lines.spread_line(v, cells),
        step_lines.why(v, cells),
        step_lines.how(v, cells),
        pages.keys("run", max(cells, 50)),
    ]
    for drawn, most in ((d, max(cells, 50) if d is drawings[-1] else cells) for d in drawings):
        for line in drawn:
            assert lines.width(line) <= most, (cells, lines.text_of([line]))


@pytest.fixture(scope="module")
def samples_module() -> Any:
    import samples

    return samples


@given(st.text(max_size=120), st.integers(1, 60))
def test_foreign_text_wraps_within_its_width_and_holds_no_control_character(text: str, cells: int) -> None:
    from rich.cells import cell_len

    for row in lines.wrap(text, cells):
        assert cell_len(row) <= max(cells, 2)
        assert row == lines.clean(row)


PRINTED = st.characters(blacklist_categories=("Cc", "Cf", "Cs", "Zl", "Zp"))


@given(st.text(alphabet=PRINTED, max_size=200), st.integers(8, 60))
def test_no_word_is_lost_in_wrapping(text: str, cells: int) -> None:
    assert "".join("".join(lines.wrap(text, cells)).split()) == "".join(text.split())


def test_a_screw_backed_off_its_contact_is_said_to_be_clear_of_it(samples: Any) -> None:
    v = samples.view(moves=(Move("speed_screw", Place(1), "out", "less air", None, F(-2)),))
    one = turns.turns(v)[0]
    assert (one.direction, one.far, one.figure) == ("OUT", "2 turns clear of first contact", "2")


def test_a_finding_over_cylinders_names_cylinders_on_the_screen_and_on_the_line(samples: Any) -> None:
    from engine.protocol.messages import Finding as Sent
    from engine.protocol.outgoing import made

    finding = Finding("tight-valve", "stop", (Place(3),), "A valve is tight.", each="cylinder")
    shown = step_lines.findings(replace(samples.view(), findings=(finding,)), 80, 4)
    assert "cylinder 3: A valve is tight." in text_of(shown)[0]
    assert made(Sent, finding)["where"] == [{"cylinder": 3}]


def test_a_place_that_the_sentence_names_itself_is_not_named_twice(samples: Any) -> None:
    finding = Finding("far", "adjust", (Place(2, 1),), "Body 2, barrel 1 alone wants it far out.")
    assert text_of(step_lines.finding_lines(finding, "body 2, barrel 1", 80, full=False)) == [
        "~ ADJUST Body 2, barrel 1 alone wants it far out."
    ]


def test_a_reading_of_a_whole_body_stands_at_the_body_and_at_none_of_its_barrels(samples: Any) -> None:
    level = Latest("level", "fuel level", "carb", "mm", (F(0), F(1, 2)), None, ())
    drawn = text_of(bank.close(bank.plan(samples.view(latest=(level,)), (2, 2)), 80))
    assert "0.5 mm" in drawn[0] and not any("0.5" in line for line in drawn[1:])


def test_a_move_in_large_figures_keeps_every_word_beside_them(samples: Any) -> None:
    move = Move("mixture_screw", Place(1, 1), "out", "richer", turns=F(27, 16), position=F(91, 16))
    for cells in (80, 100):
        drawn = " ".join(" ".join(text_of(card.work(samples.view(moves=(move,)), cells, 12, 12))).split())
        for word in ("richer", "then at 5", "11/16", "anticlockwise", "body 1, barrel 1", "mixture screw"):
            assert word in drawn


def test_the_page_of_why_says_where_the_numbers_of_a_step_come_from_with_author_and_year(samples) -> None:
    asked = replace(samples.view().read[0], source="published: S24, one flat at a time")
    view = replace(samples.view(), read=(asked,), source="common practice: ten seconds")
    said = " ".join(text.strip() for line in step_lines.why(view, 200) for text, _ in line)
    assert "Its numbers: common practice: ten seconds" in said
    assert f"{asked.ask}: published: S24 (classic car mailing list, 1991), one flat at a time" in said


@pytest.mark.parametrize("cells", [58, 78, 118])
@pytest.mark.parametrize("kind", ["press", "danger", "fields", "choice", "pick", "find", "line", "wait"])
def test_no_refusal_is_cut_whatever_is_asked(kind: str, cells: int) -> None:
    from tui.control.entry import Cell, Fields, Row
    from tui.control.questions import Countdown, Find, Line, Option, Pick, Press
    from tui.drawing import padview

    options = tuple(Option(str(n), n) for n in range(3))
    question = {
        "press": Press("All turned, go on"),
        "danger": Press("I have understood this", ("!",), "!", "Exhaust gas kills.", word="danger"),
        "fields": Fields(
            (
                Row("n", "Speed", (Cell("", None, "number", "rpm"),)),
                Row(
                    "m",
                    "Sound",
                    (
                        Cell(
                            "",
                        ),
                    ),
                ),
            )
        ),
        "choice": Fields((Row("n", "Sound", (Cell("", None, "choice", choices=("even", "hunting")),)),)),
        "pick": Pick("WHICH", options),
        "find": Find("WHICH JOB", lambda _: options),
        "line": Line("NOTE"),
        "wait": Countdown("before going on", 10, "", "", False, lambda: 0.0),
    }[kind]
    cue = (
        "What was typed can't be meant here, and this says at some length why that is so, and what is to be done next."
    )
    rows = len(padview.draw(question, cells, 40, {}, cue, large=False))
    said = " ".join(text_of(padview.draw(question, cells, rows, {}, cue, large=False)))
    assert cue in " ".join(said.split())


def test_which_screw_it_is_is_never_cut_from_a_table_of_moves(samples: Any) -> None:
    move = Move("a_screw_with_a_long_name_of_its_own", Place(1, 1), "out", "richer", F(17, 16), F(57, 16))
    v = samples.view(moves=(move,), read=())
    said = " ".join(" ".join(text_of(card.step(v, 50, 8, card.Stage(large=False)))).split())
    assert "a screw with a long name of its own" in said and "1 1/16 turns" in said and "richer" in said
