"""Few keys, and no slip goes in quietly: one key for a checklist, the same for a row, doubts asked once."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled
from shipped import walked

from engine.session.view import SymptomView
from tui.catalogue.shop import Shop
from tui.control import stages
from tui.control.desk import Desk
from tui.control.entry import Cell, EntryRefused, Fields, Given, Row
from tui.control.rehearsal import rehearse
from tui.drawing.padview import draw


def checklist(samples: Any) -> Any:
    """A checklist of four questions, one of which may hurt somebody."""
    names = ("chokes", "lamp", "hoses", "leaks")
    asks = tuple(
        replace(samples.SOUND, name=n, ask=n, choices=("right", "wrong"), healthy="right", listed=True) for n in names
    )
    asks = (*asks[:3], replace(asks[3], safety=True))
    return samples.view(moves=(), read=asks)


async def test_one_key_puts_a_checklist_in_but_never_what_can_hurt(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(checklist(samples))
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "2", "enter", "plus")
        assert screen.sofar.fields.texts == ["2", "1", "1", ""]
        assert screen.sofar.fields.row.name == "leaks"
        assert screen.pad.cue == "Put in as it should be: 2, from 'lamp' on. Still asked: leaks"
        assert sitting.given == []
        await press(pilot, "1", "enter")
        said = {"chokes": "wrong", "lamp": "right", "hoses": "right", "leaks": "right"}
        assert sitting.given[0]["readings"] == said


async def test_in_a_rehearsal_the_plus_takes_readings_and_is_offered_for_nothing_else(
    samples: Any, at_run: Any
) -> None:
    sitting = samples.FakeSitting(checklist(samples))
    for rehearses in (False, True):
        sitting.rehearses = rehearses
        async with at_run(sitting) as (_, screen):
            assert (screen.allowed("take"), screen.allowed("usual")) == (rehearses, not rehearses)


async def test_the_same_answer_goes_to_the_rest_of_a_row(samples: Any, at_run: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view(moves=()))) as (pilot, screen):
        await press(pilot, "5", "enter", "equals_sign")
        assert screen.sofar.fields.texts[:4] == ["5", "5", "5", "5"]
        assert screen.sofar.fields.texts[4] == ""


def test_a_second_digit_replaces_the_first_answer() -> None:
    fields = Fields((Row("a", "A", (Cell("", None, "choice", choices=("one", "two", "three")),)),))
    for digit in "13":
        fields.key(digit, digit)
    assert fields.texts == ["3"]


def test_symptoms_stand_in_one_order_with_fire_first(samples: Any) -> None:
    v = samples.view(symptoms=(*samples.SYMPTOMS, SymptomView("fire", "fire", "Fire in an intake")))
    pick = stages.symptoms(v)
    assert [(pick.digit(n), o.value) for n, o in enumerate(pick.options)] == [
        ("1", "fire"),
        ("5", "stall"),
        ("6", "spits"),
        ("7", "hunting"),
    ]


def test_a_symptom_has_the_same_digit_at_every_step_and_another_kind_none_of_theirs(samples: Any) -> None:
    one = stages.symptoms(samples.view(symptoms=samples.SYMPTOMS[:1]))
    assert one.key("1", "1") == EntryRefused("There is no 1 here.")
    assert one.key("5", "5") == Given("stall")
    own = SymptomView("drips", "drip", "It drips")
    both = stages.symptoms(samples.view(symptoms=(own, *samples.SYMPTOMS)))
    assert both.key("0", "0") == Given("drips")


async def test_the_first_aid_of_a_symptom_is_large_at_once(samples: Any, at_run: Any, grid: Any) -> None:
    from tui.drawing import big

    aid = samples.view(step="aid", do="Stop it now.", moves=(), read=(), because=(), hear="", note="", findings=())
    async with at_run(samples.FakeSitting(samples.view(), aid)) as (pilot, _):
        await press(pilot, "asterisk", "5")
        lines = grid(pilot.app)
        for row in big.figures("STOP IT NOW") or ():
            assert any(row.rstrip() in line for line in lines)
        assert any("Stop it now." in line for line in lines)


def row(*texts: str, **how: Any) -> Fields:
    cells = tuple(Cell(str(n), None, "number", "kg/h", F(0), F(100), F(1, 10)) for n in range(1, len(texts) + 1))
    fields = Fields((Row("flow", "Airflow", cells, quantity="airflow", running=True, **how),), texts=list(texts))
    fields.go(len(texts) - 1)
    return fields


def test_a_value_far_from_its_neighbours_is_asked_about_once_and_then_taken() -> None:
    fields = row("4.8", "5", "48")
    asked = fields.key("enter", None)
    assert isinstance(asked, EntryRefused) and "beside it" in asked.sentence
    assert isinstance(fields.key("enter", None), Given)


def test_a_value_far_from_the_last_round_is_asked_about_once() -> None:
    fields = row("0.5", last=(F(5),))
    asked = fields.key("enter", None)
    assert isinstance(asked, EntryRefused) and "last time" in asked.sentence
    assert isinstance(fields.key("enter", None), Given)


def test_a_temperature_that_is_read_again_to_see_it_rise_is_not_asked_about() -> None:
    cell = Cell("", None, "number", "degC", F(-30), F(130), F(1))
    coolant = Row("coolant", "Coolant", (cell,), quantity="temperature", running=True, last=(F(8),))
    fields = Fields((coolant,), texts=["91"])
    assert isinstance(fields.key("enter", None), Given)


def test_no_flow_on_a_running_engine_is_asked_about_once() -> None:
    fields = row("0")
    assert isinstance(fields.key("enter", None), EntryRefused)
    assert isinstance(fields.key("enter", None), Given)
    speed = Cell("", None, "number", "rpm", F(0), F(9000), F(10))
    died = Fields((Row("n", "Speed", (speed,), quantity="engine speed", running=True),), texts=["0"])
    asked = died.key("enter", None)
    assert isinstance(asked, EntryRefused) and "If it died, say so with *." in asked.sentence
    near = row("4.8", "9")
    assert isinstance(near.key("enter", None), Given)


def test_a_speed_at_which_no_engine_runs_and_one_far_from_what_is_expected_are_asked_about_once() -> None:
    cell = Cell("", None, "number", "rpm", F(0), F(9000), F(10))
    for text, expect, says in (("9.5", None, "on a running engine"), ("195", (F(900),), "900 rpm is expected")):
        fields = Fields((Row("n", "Speed", (cell,), quantity="engine speed", running=True, expect=expect),))
        fields.texts[0] = text
        asked = fields.key("enter", None)
        assert isinstance(asked, EntryRefused) and says in asked.sentence
        assert isinstance(fields.key("enter", None), Given)


def test_empty_where_a_value_may_be_left_out_means_left_out() -> None:
    fields = row("", may_lack=True, reasoned=False)
    given = fields.key("enter", None)
    assert isinstance(given, Given) and given.value == {"flow": None}


def test_a_thousand_with_a_mark_is_asked_about() -> None:
    fields = Fields((Row("n", "Speed", (Cell("", None, "number", "rpm", F(0), F(4000)),)),), texts=["1,050"])
    asked = fields.key("enter", None)
    assert isinstance(asked, EntryRefused) and "1050" in asked.sentence


def test_who_types_another_unit_sees_his_own_large_and_the_files_below() -> None:
    cell = Cell("", None, "number", "degC", F(-30), F(130), F(1), rounds=True)
    fields = Fields((Row("coolant", "Coolant", (cell,), quantity="temperature"),), texts=["195 F"])
    lines = ["".join(text for text, _ in line) for line in draw(fields, 78, 12, {})]
    large = next(n for n, line in enumerate(lines) if "█" in line or "▄" in line)
    assert not any("degC" in line for line in lines[large : large + 3])
    assert any("= 91 degC" in line for line in lines)


async def test_closing_asks_in_a_half_typed_row_and_closes_at_the_second_time(samples: Any, at_run: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view(moves=()))) as (pilot, screen):
        await press(pilot, "4")
        await pilot.app.action_quit()
        await settled(pilot)
        assert screen.over and pilot.app.return_code is None
        await press(pilot, "1")
        assert not screen.over and screen.sofar.fields.texts[0] == "4"


async def test_the_far_view_shows_the_one_thing_and_leads_back(samples: Any, at_run: Any, grid: Any) -> None:
    from tui.drawing import big

    async with at_run(samples.FakeSitting(samples.view()), (80, 24)) as (pilot, screen):
        await press(pilot, "f11")
        lines = grid(pilot.app)
        for drawn in big.tall("OUT 1/8", 78) or ():
            assert any(drawn.rstrip() in line for line in lines)
        assert not any("╴body" in line or "UNEVEN" in line for line in lines)
        await press(pilot, "f11")
        assert screen.page == "step"


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 36)])
async def test_the_far_view_has_something_large_at_every_step_and_a_danger_for_itself(
    samples: Any, at_run: Any, grid: Any, size: Any
) -> None:
    from tui.drawing import big

    words = samples.view(title="Close it up", do="Torch down every mouth, then look for drips.", moves=(), read=())
    danger = samples.view(do="Start it.", moves=(), read=(), cautions=(samples.FUMES,))
    for v, said in ((words, "CLOSE IT UP"), (danger, "DANGER")):
        async with at_run(samples.FakeSitting(v), size) as (pilot, _):
            await press(pilot, "f11")
            lines = grid(pilot.app)
            forms = [big.tall(said, 200) or ()]
            forms += [tuple(big.sentence(t, size[0] - 2, 30, high=True)) for t in (said, v.do.rstrip("."))]
            assert any(rows and all(any(r.strip() in line for line in lines) for r in rows) for rows in forms), said
            assert not any("START IT" in line for line in lines)


async def test_sixty_by_twenty_shows_the_step_and_nothing_else(samples: Any, at_run: Any, grid: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view()), (60, 20)) as (pilot, _):
        text = " ".join(" ".join(grid(pilot.app)).split())
        assert "Turn as shown with the gauge on" in text and "Turned: then read" in text
        assert "╴body" not in text and "CHANGE PART" not in text


async def test_the_bell_rings_at_the_end_of_a_wait_and_for_a_refused_key_unless_it_is_turned_off(
    samples: Any, at_run: Any, monkeypatch: Any
) -> None:
    from textual.app import App

    rung: list[int] = []
    monkeypatch.setattr(App, "bell", lambda _: rung.append(1))
    for rings in (True, False):
        clock = [0.0]
        async with at_run(samples.FakeSitting(samples.warm()), now=lambda clock=clock: clock[0]) as (pilot, screen):
            pilot.app.rings = rings
            rung.clear()
            await press(pilot, "5")
            assert len(rung) == rings
            clock[0] = 61.0
            screen._tick()
            await settled(pilot)
            assert len(rung) == 2 * rings


@pytest.mark.parametrize(
    ("header", "told", "rings"),
    [({}, "", True), ({"bell": "off"}, "", False), ({"bell": "on"}, "off", False), ({}, "on", True)],
)
def test_the_shop_and_a_variable_turn_the_bell_off(
    header: dict[str, str], told: str, rings: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    from tui import app

    if told:
        monkeypatch.setenv("EVENDRAW_BELL", told)
    assert app.rings(Shop(Path("book"), header=header)) is rings


@pytest.mark.parametrize("each_start", [False, True])
def test_a_danger_is_asked_once_a_run_or_at_each_start_where_the_shop_wants_it(
    each_start: bool, tmp_path: Path
) -> None:
    shipped = Path(__file__).parents[2] / "procedures"
    sitting = rehearse(Desk(Shop(tmp_path / "book", (shipped,), tmp_path)), "single-carburettor", seed=3)
    sitting.each_start = each_start
    asked: list[tuple[str, str]] = []
    starts = 0
    for view in walked(sitting):
        starts += "engine" in view.changes and view.state.get("engine") == "running"
        asked += [(caution.name, f"{view.step} {view.visit}") for caution in view.cautions if caution.understand]
    fumes = [at for name, at in asked if name == "fumes"]
    assert starts > 2, "it is stopped and started again on its way"
    assert len(set(fumes)) == len(fumes) == (starts if each_start else 1)


def test_why_speaks_in_sentences_and_shows_no_names_of_fields(samples: Any) -> None:
    from tui.drawing import step_lines
    from tui.drawing.lines import text_of

    said = "\n".join(text_of(step_lines.why(samples.view(), 80)))
    assert "So: body 2 draws 1.0 kg/h more than body 1" in said
    assert "verdict" not in said and "'next'" not in said
    bare = "\n".join(text_of(step_lines.why(samples.view(why="", because=(), advice=()), 80)))
    assert "The file gives no reason" not in bare


async def test_the_plus_of_a_rehearsal_answers_nothing_even_where_the_engine_shows_a_symptom(
    samples: Any, at_run: Any
) -> None:
    sitting = samples.FakeSitting(samples.view(moves=()), samples.zero())
    sitting.rehearses = True
    sitting.ahead = lambda: "stall"
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "plus")
        assert sitting.given == []
        assert "It stalls" in screen.pad.cue and "*" in screen.pad.cue
        await press(pilot, "asterisk", "5")
        assert sitting.given == [{"symptom": "stall"}]


async def test_first_aid_is_large_before_its_danger_is_understood(samples: Any, at_run: Any, grid: Any) -> None:
    from tui.drawing import big

    aid = samples.view(
        step="aid",
        do="Pump off. Switch off.",
        caution="Not out in three seconds: the extinguisher.",
        moves=(),
        read=(),
        cautions=(samples.FUMES,),
        findings=(),
        latest=(),
    )
    async with at_run(samples.FakeSitting(samples.view(), aid), (80, 24)) as (pilot, _):
        await press(pilot, "asterisk", "5")
        lines = grid(pilot.app)
        for row in big.figures("PUMP OFF") or ():
            assert any(row.rstrip() in line for line in lines)
        assert any("Pump off. Switch off." in line for line in lines)
        assert any("I have understood this" in line for line in lines)
        assert any("Not out in three seconds: the extinguisher." in line for line in lines), "its own caution first"


def test_the_same_words_have_the_same_digits_in_every_shipped_file() -> None:
    """Wherever two answers are offered by the same words, each has the digit that it has elsewhere."""
    from engine.carburation.registry import shipped
    from engine.procedure.build.load import load
    from tui.drawing import phrases

    folder = Path(__file__).parents[2] / "procedures"
    digits: dict[frozenset[str], set[tuple[str, ...]]] = {}
    for path in sorted(folder.glob("*.yaml")):
        program = load(path, [folder], shipped()).program
        assert program is not None
        for reading in program.files[program.main].readings.values():
            if reading.type.choices:
                digits.setdefault(frozenset(reading.type.choices), set()).add(phrases.offered(reading.type.choices))
    assert len(digits) > 20
    assert digits[frozenset({"yes", "no"})] == {("no", "yes")}
    assert {words: orders for words, orders in digits.items() if len(orders) > 1} == {}
