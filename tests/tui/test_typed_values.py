"""What a technician types means what he meant, or is refused with a sentence; nothing is dropped silently."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.evidence import Place
from tui.control import stages
from tui.control.entry import LONGEST_NUMBER, Cell, EntryRefused, Fields, Given, NeedReason, Refusal, Row, Took, read
from tui.control.keys import NO_NUMLOCK, Keys, pasted
from tui.control.questions import Countdown, Line, Option, Pick, Press
from tui.drawing import padview

FLOW = Cell("", None, "number", "kg/h", F(0), F(20), F(1, 10))
TURNS = Cell("", None, "number", "turn", F(0), F(8))
LEVEL = Cell("", None, "number", "mm", F(-20), F(20), F(1, 2))
ROUNDED = Cell("", None, "number", "mm", F(-20), F(20), F(1, 2), rounds=True)
SPEED = Cell("", None, "number", "rpm", F(0), F(9000), F(10))
HEAT = Cell("", None, "number", "degC", F(-30), F(130), F(1))
SIZE = Cell("", None, "number", "cc", F(20), F(12000))
SOUND = Cell("", None, "choice", choices=("even", "hunting", "not done, no tool"))


@pytest.mark.parametrize(
    ("cell", "text", "value"),
    [
        (FLOW, "4.8", F(48, 10)),
        (FLOW, "4,8", F(48, 10)),
        (FLOW, " 5 ", F(5)),
        (FLOW, ",5", F(1, 2)),
        (FLOW, "5.", F(5)),
        (FLOW, "4.83", F(483, 100)),
        (FLOW, "4.85", F(485, 100)),
        (ROUNDED, "-0.75", F(-1)),
        (ROUNDED, "0,75", F(1)),
        (ROUNDED, "-0.7", F(-1, 2)),
        (FLOW, "4.8 kg/h", F(48, 10)),
        (FLOW, "1 g/s", F(36, 10)),
        (TURNS, "1 1/4", F(5, 4)),
        (TURNS, "1+1/4", F(5, 4)),
        (TURNS, "1,25", F(5, 4)),
        (TURNS, "3/8", F(3, 8)),
        (TURNS, "1¼", F(5, 4)),
        (TURNS, "6 flat", F(1)),
        (LEVEL, "-1.5", F(-3, 2)),
        (LEVEL, "+2", F(2)),
        (TURNS, "1 1/4 turns", F(5, 4)),
        (TURNS, "1 1/4 turns out", F(5, 4)),
        (TURNS, "1 1/4 out", F(5, 4)),
        (TURNS, "90°", F(1, 4)),
        (SIZE, "1,6 l", F(1600)),
        (SIZE, "1.6 litre", F(1600)),
        (SIZE, "1598 ccm", F(1598)),
        (HEAT, "90 C", F(90)),
        (HEAT, "90 °C", F(90)),
        (HEAT, "90 Celsius", F(90)),
        (HEAT, "194 F", F(90)),
        (HEAT, "194 Fahrenheit", F(90)),
        (SPEED, "950 U/min", F(950)),
        (SPEED, "950 1/min", F(950)),
        (SOUND, "1", "even"),
        (SOUND, "3", "not done, no tool"),
        (SOUND, "Hunting", "hunting"),
    ],
)
def test_numbers_as_a_mechanic_writes_them(cell: Cell, text: str, value: object) -> None:
    assert read(cell, text) == value


@pytest.mark.parametrize(
    ("cell", "text", "says"),
    [
        (FLOW, "", "Nothing is typed"),
        (FLOW, "abc", "does not start with a number"),
        (FLOW, "1e5", "not a known unit"),
        (FLOW, "20.2", "outside 0 to 20 kg/h"),
        (FLOW, "-1", "outside"),
        (FLOW, "4.8 mbar", "does not belong here"),
        (FLOW, "1/0", "divides by zero"),
        (FLOW, "1.2.3", "more than one decimal mark"),
        (FLOW, "4,,8", "more than one decimal mark"),
        (FLOW, "12o", "the letter o. Type the digit 0"),
        (FLOW, "1O.5", "the letter O. Type the digit 0"),
        (SPEED, "1 050", "can't stand behind the number"),
        (SPEED, "1,050", "can be 1050 or 1.05"),
        (SPEED, "1.050", "can be 1050 or 1.05"),
        (TURNS, "1-1/4", "'-1/4' can't stand behind the number"),
        (HEAT, "90 deg", "does not belong here"),
        (FLOW, "1_000", "can't stand behind the number"),
        (SOUND, "4", "1 to 3"),
        (SOUND, "0", "1 to 3"),
        (SOUND, "loud", "1 to 3"),
    ],
)
def test_what_can_not_be_meant_is_refused_with_a_sentence(cell: Cell, text: str, says: str) -> None:
    with pytest.raises(Refusal, match=says):
        read(cell, text)


@pytest.mark.parametrize("text", ["over", "Over range", ">20", "20+"])
def test_a_needle_beyond_the_scale_is_said_where_the_reading_allows_it(text: str) -> None:
    assert read(replace(FLOW, over=True), text) == "over range"
    with pytest.raises(Refusal):
        read(FLOW, text)


def test_a_figure_past_a_scale_that_may_be_passed_is_told_how_to_say_so() -> None:
    with pytest.raises(Refusal, match="beyond the scale, type over"):
        read(replace(FLOW, over=True), "24")


def test_a_needle_beyond_the_scale_is_typed_echoed_and_given(samples: Any) -> None:
    ask = replace(samples.SPEED, name="flow", unit="kg/h", range=(F(0), F(20)), over_range=True, healthy=None)
    fields = Fields((stages.row_of(ask, samples.view()),))
    typed(fields, "20+")
    said = " ".join("".join(t for t, _ in line) for line in padview.draw(fields, 80, 12, {}))
    assert "or over" in said and "beyond the scale; it counts as 20 kg/h" in said
    assert fields.key("enter", None) == Given({"flow": "over range"})
    assert stages.texts(ask, "over range") == ["over"], "a rehearsal fills it in as it would be typed"


def test_a_value_just_past_the_range_is_not_rounded_into_it() -> None:
    with pytest.raises(Refusal):
        read(FLOW, "20.04")


@given(st.fractions(min_value=0, max_value=20, max_denominator=64))
def test_a_fraction_said_by_the_screen_reads_back_as_itself(value: F) -> None:
    from engine.quantity.wording import fraction

    cell = Cell("", None, "number", "turn", F(0), F(20))
    if value.denominator in (1, 2, 3, 4, 6, 8, 16, 32):
        assert read(cell, fraction(value)) == value


@given(st.text(max_size=30))
def test_no_text_breaks_the_reading(text: str) -> None:
    for cell in (FLOW, TURNS, SOUND):
        try:
            value = read(cell, text)
        except Refusal as fault:
            assert str(fault)
        else:
            assert value in SOUND.choices or cell.low <= value <= cell.high


def typed(question: object, text: str) -> list[object]:
    return [question.key("enter", None) if c == "\n" else question.key(c, c) for c in text]  # type: ignore[attr-defined]


def row_of(n: int, **more: object) -> Row:
    cells = tuple(Cell(str(k + 1), Place(1, k + 1), "number", "kg/h", F(0), F(20)) for k in range(n))
    return Row("flow", "Airflow", cells, **more)


def test_enter_walks_the_row_and_the_last_one_gives_it() -> None:
    fields = Fields((row_of(3),))
    replies = typed(fields, "4.8\n5,1\n5\n")
    assert replies[-1] == Given({"flow": [F(48, 10), F(51, 10), F(5)]})
    assert all(isinstance(r, Took) for r in replies[:-1])


def test_arrows_go_back_and_what_is_typed_there_replaces_the_value() -> None:
    fields = Fields((row_of(2),))
    typed(fields, "48\n")
    assert isinstance(typed(fields, "\n")[0], EntryRefused)
    fields.key("left", None)
    typed(fields, "4.8\n5\n")
    assert fields.texts == ["4.8", "5"]
    fields = Fields((row_of(2),))
    typed(fields, "4.8\n")
    fields.key("up", None)
    assert fields.key("backspace", None) == Took()
    assert fields.texts[0] == ""


def test_a_place_left_empty_is_asked_for_before_the_row_is_given() -> None:
    fields = Fields((row_of(3),))
    fields.go(2)
    reply = typed(fields, "5\n")[-1]
    assert isinstance(reply, EntryRefused)
    assert fields.at == 0


def test_what_is_typed_after_a_refusal_or_a_question_replaces_it_and_backspace_mends_it() -> None:
    speed = Row("n", "Speed", (Cell("", None, "number", "rpm", F(0), F(4000)),))
    fields = Fields((speed,))
    assert isinstance(typed(fields, "1,050\n")[-1], EntryRefused)
    assert typed(fields, "1050\n")[-1] == Given({"n": F(1050)})
    fields = Fields((speed,))
    assert isinstance(typed(fields, "8o0\n")[-1], EntryRefused)
    fields.key("backspace", None)
    assert fields.texts == ["8o"]
    fields.key("delete", None)
    assert fields.texts == [""]
    asked = Fields((row_of(1, quantity="airflow", running=True),))
    assert isinstance(typed(asked, "0\n")[-1], EntryRefused)
    assert typed(asked, "5\n")[-1] == Given({"flow": [F(5)]})


def test_a_place_not_taken_needs_its_reason_once_and_only_where_it_may_lack() -> None:
    fields = Fields((row_of(2, may_lack=True),))
    assert isinstance(typed(fields, "-\n")[-1], NeedReason)
    fields.reasons["flow"] = "no tool"
    typed(fields, "\n")
    assert typed(fields, "-\n")[-1] == Given({"flow": [None, None]})
    assert "must be taken" in typed(Fields((row_of(1),)), "-\n")[-1].sentence  # type: ignore[attr-defined]


def test_a_character_that_no_number_has_is_refused_and_named() -> None:
    fields = Fields((row_of(1),))
    typed(fields, "4")
    reply = fields.key("#", "#")
    assert isinstance(reply, EntryRefused)
    assert "'#'" in reply.sentence
    assert fields.texts == ["4"]


def test_a_key_held_down_ends_in_a_sentence_and_what_stood_there_stays() -> None:
    fields = Fields((row_of(1),))
    replies = typed(fields, "4" * 300)
    assert "longer than" in replies[-1].sentence  # type: ignore[union-attr]
    assert len(fields.texts[0]) == LONGEST_NUMBER
    assert "outside" in fields.key("enter", None).sentence  # type: ignore[union-attr]


def test_the_keys_of_the_screen_pass_through_an_empty_field() -> None:
    fields = Fields((row_of(1),))
    assert fields.key("*", "*") is None
    assert fields.key("/", "/") is None
    assert fields.key("+", "+") is None
    typed(fields, "1+1/4")
    assert fields.texts == ["1+1/4"]


@pytest.mark.parametrize(
    ("presses", "means"),
    [
        ([("decimal", None)], "."),
        ([("separator", None)], ","),
        ([("add", None)], "+"),
        ([("subtract", None)], "-"),
        ([("multiply", None)], "*"),
        ([("divide", None)], "/"),
        ([("full_stop", ".")], "."),
        ([("comma", ",")], ","),
        ([("5", "5")], "5"),
        ([("alt+shift+o", "O"), ("l", "l")], ","),
        ([("ctrl+j", "\n")], "enter"),
        ([("enter", "\r")], "enter"),
        ([("kp_begin", None)], NO_NUMLOCK),
        ([("alt+shift+o", "O"), ("E", "E")], NO_NUMLOCK),
    ],
)
def test_every_number_pad_types_the_same(presses: list[tuple[str, str | None]], means: str) -> None:
    keys = Keys()
    got = [pressed for key, char in presses if (pressed := keys.press(key, char)) is not None]
    assert [name for name, _ in got] == [means]


def test_a_pasted_column_is_typed_with_enter_after_each_line() -> None:
    fields = Fields((row_of(3),))
    replies = [fields.key(*press) for press in pasted("4,8\r\n5.1\n5\n")]
    assert replies[-1] == Given({"flow": [F(48, 10), F(51, 10), F(5)]})


def test_a_list_is_picked_by_digit_or_by_arrow_and_says_what_it_has_not() -> None:
    pick = Pick("which", tuple(Option(str(n), n) for n in range(12)))
    assert pick.key("3", "3") == Given(2)
    assert pick.key("0", "0") == Took()
    assert pick.key("1", "1") == Given(9)
    assert isinstance(pick.key("9", "9"), EntryRefused)
    pick.key("down", None)
    assert pick.key("enter", None) == Given(10)
    assert isinstance(Pick("none", ()).key("enter", None), EntryRefused)


def test_a_danger_is_not_understood_by_enter() -> None:
    press = Press("understood", ("+",), "+", other="Enter does not do it.")
    assert press.key("enter", None) == EntryRefused("Enter does not do it.")
    assert press.key("+", "+") == Given(True)


def test_a_wait_is_cut_only_where_it_may_be() -> None:
    clock = [0.0]
    wait = Countdown("", 60, "", "oil lags", False, lambda: clock[0])
    assert isinstance(wait.key("enter", None), EntryRefused)
    assert "1:00" in wait.key("enter", None).sentence  # type: ignore[union-attr]
    clock[0] = 61
    assert wait.over
    assert wait.key("enter", None) == Given(True)
    assert Countdown("", 60, "", "", True, lambda: 0.0).key("enter", None) == Given(True)


def test_a_line_of_text_is_edited_where_the_caret_stands() -> None:
    line = Line("note")
    for c in "vale":
        line.key(c, c)
    line.key("left", None)
    line.key("v", "v")
    assert line.text == "valve"
    line.key("home", None)
    line.key("delete", None)
    assert line.key("enter", None) == Given("alve")
    assert isinstance(Line("note").key("enter", None), EntryRefused)
