"""From the home screen to a run and back: taking a job in, opening one, going on, rehearsing, looking at procedures."""

from __future__ import annotations

import os
import time
from contextlib import asynccontextmanager, closing
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled

from engine.book.book import Book
from tui.app import Evendraw
from tui.catalogue.shop import Shop
from tui.control.entry import Refusal, read
from tui.control.job_form import Fact, Family, Form, file_name, rows

TAP = Family(
    "garden tap",
    (2, 2),
    (1, 1),
    {"carb": "tap"},
    (
        Fact("bank.stem", ("coarse", "fine"), default="fine"),
        Fact("instruments.flow_meter", yes_no=True),
        Fact("engine.cylinders"),
    ),
)
PAIR = Family("pair", (2, 4), (2, 2), {"carb": "body"})


@asynccontextmanager
async def home(shop: Any, size: tuple[int, int] = (80, 24), first: Any = None) -> Any:
    from tui.screens.home import HomeScreen

    app = Evendraw(lambda: HomeScreen(shop, first))
    async with app.run_test(size=size) as pilot:
        await settled(pilot)
        yield pilot, app


async def until(pilot: Any, holds: Any, seconds: float = 10) -> None:
    """Until something holds that a thread or a timer brings about."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it never came"
        await pilot.pause(0.02)


# ---- home


async def test_the_home_screen_says_what_can_be_done_and_that_nothing_stands_open(shop: Any, grid: Any) -> None:
    async with home(shop) as (pilot, app):
        said = "\n".join(grid(app))
        for line in ("Go on where it stood", "Take a job in", "Find a job", "Rehearse", "Procedures"):
            assert line in said
        assert "nothing stands open" in said and "no work was begun yet" in said
        assert not shop.book.exists()
        await press(pilot, "1")
        assert "No run stands open" in "\n".join(grid(app))


async def test_a_job_is_taken_in_run_left_and_gone_on_with_where_it_stood(shop: Any, grid: Any) -> None:
    async with home(shop) as (pilot, app):
        await press(pilot, "2")
        await until(pilot, lambda: type(app.screen).__name__ == "IntakeScreen")
        await press(pilot, *"drips", "enter", *"A. Sample", "enter")
        form = app.screen.form
        form.fields.go([row.name for row in form.fields.rows].index("engine.cylinders"))
        await press(pilot, "2", "enter", *"500", "enter")
        await press(pilot, "f10")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen" and app.screen.over)
        assert "Level two taps [mbar]" in "\n".join(grid(app))
        written = next(shop.jobs.glob("*.yaml")).read_text(encoding="utf-8")
        assert "customer: A. Sample" in written and "displacement: 500 cc" in written
        await press(pilot, "1")
        await until(pilot, lambda: type(app.screen).__name__ == "RunScreen")
        await press(pilot, "enter")
        await press(pilot, "escape", "2")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen")
        said = "\n".join(grid(app))
        assert "STANDS OPEN" in said and "A. Sample" in said and " Open " in said and "two taps" not in said
        await press(pilot, "1")
        await until(pilot, lambda: type(app.screen).__name__ == "RunScreen")
        assert app.screen.sitting.view.step == "open"
        await press(pilot, "escape", "4", *"washer, packing", "enter")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen")
        said = "\n".join(grid(app))
        assert "WAITS FOR PARTS" in said and "washer, packing" in said and "STANDS OPEN" not in said
        with closing(Book.open(shop.book, backups=False)) as other:
            other.hold(1)  # another window may have it now
        await press(pilot, "1")
        await until(pilot, lambda: type(app.screen).__name__ == "RunScreen")
        assert app.screen.sitting.view.step == "open" and app.screen.sitting.view.waiting == ()
        app.screen.sitting.close()


async def test_at_the_end_the_hand_over_shows_the_sheet_and_writes_it_to_a_file(
    shop: Any,
    taps: Any,
    grid: Any,
    tmp_path: Path,
) -> None:
    async with home(shop, (100, 30), lambda screen: screen.run_(taps)) as (pilot, app):
        for keys in (
            ("enter",),
            ("enter",),
            ("!",),
            ("5", "enter", "5", "enter", "1", "enter"),
            ("enter",),
            ("minus", "enter", "1"),
            ("enter",),
        ):
            await press(pilot, *keys)
        await until(pilot, lambda: type(app.screen).__name__ == "HandoverScreen")
        said = "\n".join(grid(app))
        assert "DONE" in said and "Even within 0 L/min" in said
        for title in ("AS FOUND AND AS LEFT", "SCREWS IN THEIR BANDS"):
            assert title in said
        await press(pilot, "f5")
        await until(pilot, lambda: type(app.screen).__name__ == "RunScreen")
        assert app.screen.sitting.view.step == "washer"
        await press(pilot, "enter")
        await until(pilot, lambda: type(app.screen).__name__ == "HandoverScreen")
        await press(pilot, "f4")
        app.screen.pad.question.text = str(tmp_path / "sheet.tx")
        await press(pilot, "end", "t", "enter")
        assert "Written to" in "\n".join(grid(app))
        assert "JOB SHEET" in (tmp_path / "sheet.txt").read_text(encoding="utf-8")
        await press(pilot, "enter")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen")
        assert "nothing stands open" in "\n".join(grid(app))


async def test_a_job_file_can_be_opened_instead_of_filling_the_form_in(shop: Any, tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text(
        "title: mine\nengine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}\n"
        "bank: {family: garden tap, carbs: 2}\n",
        encoding="utf-8",
    )
    async with home(shop) as (pilot, app):
        await press(pilot, "2")
        await until(pilot, lambda: type(app.screen).__name__ == "IntakeScreen")
        await press(pilot, "f2", *str(path), "enter")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen" and app.screen.over)
        assert app.screen.pad.question.options[0].label == "Level two taps [mbar]"


async def test_closing_asks_first_and_an_open_question_is_left_before(shop: Any) -> None:
    async with home(shop) as (pilot, app):
        await press(pilot, "escape")
        assert "CLOSE" in app.screen.pad.question.title
        await press(pilot, "escape")
        assert not app.screen.over
        await press(pilot, "escape", "2")
        assert app.return_value == 0


# ---- the form


@pytest.fixture
def shipped_shop(tmp_path: Path) -> Shop:
    """The shipped procedures."""
    return Shop(tmp_path / "jobs.book", (Path(__file__).parents[2] / "procedures",), tmp_path / "jobs")


def fill(form: Form, **texts: str) -> None:
    for name, text in texts.items():
        row = next(r for r in form.fields.rows if r.name == name.replace("__", "."))
        form.fields.put(row, [text])


def test_the_form_asks_what_the_familys_procedures_need_and_no_more() -> None:
    names = [row.name for row in Form((TAP, PAIR)).fields.rows]
    assert names[-2:] == ["bank.stem", "instruments.flow_meter"]
    assert names.count("engine.cylinders") == 1
    assert "bank.stem" not in [row.name for row in Form((PAIR,)).fields.rows]


def test_another_family_changes_the_words_the_counts_and_the_questions() -> None:
    form = Form((TAP, PAIR))
    fill(form, customer="A. Sample", bank__family="2")
    form.follow()
    texts = form.texts()
    assert form.chosen is PAIR
    assert texts["customer"] == "A. Sample"
    assert texts["bank.barrels_per_carb"] == "2"
    assert "bank.stem" not in texts
    assert next(r for r in form.fields.rows if r.name == "bank.carbs").ask == "How many bodies"


def test_cylinders_per_barrel_follow_from_the_counts() -> None:
    form = Form((TAP, PAIR))
    fill(form, engine__cylinders="4")
    form.follow()
    assert form.texts()["bank.cylinders_per_barrel"] == "2"


def test_the_job_is_what_was_filled_in() -> None:
    form = Form((PAIR,))
    fill(
        form,
        engine__cylinders="4",
        engine__displacement="1,6 L",
        bank__choke="32",
        bank__idle_jet="50 50 55 50",
        bank__main_jet="130",
        bank__disturbed="2.1",
        bank__air_bypass_screws="2",
        vehicle__first_used="1971-05-01",
        conditions__temperature="-5",
    )
    job = form.job()
    assert job.engine.displacement == 1600
    assert [float(x) for x in job.row("idle_jet")] == [50, 50, 55, 50]
    assert (job.bank.disturbed[0].carb, job.bank.disturbed[0].barrel) == (2, 1)
    assert job.bank.air_bypass_screws and not job.bank.linkage_balance_screws
    assert job.bank.mixture_screw is None
    assert job.conditions.temperature == -5


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        ({}, "Displacement"),
        ({"engine__displacement": "5"}, "outside"),
        ({"engine__displacement": "abc"}, "number"),
        ({"engine__displacement": "1600", "engine__cylinders": "7"}, "serve"),
        ({"engine__displacement": "1600", "bank__idle_jet": "50 55"}, "idle_jet"),
        ({"engine__displacement": "1600", "vehicle__first_used": "yesterday"}, "First used"),
        ({"engine__displacement": "1600", "vehicle__odometer": "61,400"}, "61,400 km, or 61,400 miles"),
    ],
)
def test_what_does_not_fit_is_a_sentence_and_nothing_is_lost(texts: dict[str, str], says: str) -> None:
    form = Form((PAIR,))
    fill(form, customer="A. Sample", **texts)
    with pytest.raises(Refusal, match=says):
        form.job()
    assert form.texts()["customer"] == "A. Sample"


def test_the_bank_is_drawn_while_it_is_filled_in() -> None:
    from tui.drawing.bank import draw
    from tui.drawing.lines import text_of

    form = Form((PAIR,))
    fill(form, bank__carbs="3", bank__idle_jet="50", bank__mixture_screw="1", bank__disturbed="2.1")
    form.follow()
    drawn = "\n".join(text_of(draw(form.plan(), 100, 20)))
    assert "body 3" in drawn and "idle jet 50" in drawn and "mixture" in drawn and "reading spoilt" in drawn


async def test_the_form_at_80_columns_shows_every_question_and_answer_whole_as_it_was_understood(
    shipped_shop: Shop, grid: Any
) -> None:
    from tui.catalogue.families import families
    from tui.screens.intake import IntakeScreen

    async with home(shipped_shop) as (pilot, app):
        app.push_screen(IntakeScreen(shipped_shop, families(shipped_shop.procedures)))
        await settled(pilot)
        form = app.screen.form
        fill(form, engine__displacement="1,6 l", bank__idle_jet="50", bank__disturbed="1.2")
        shown = set()
        for n in range(0, len(form.fields.rows), 5):
            form.fields.go(n)
            app.screen._redraw()
            await pilot.pause()
            lines = [line.rstrip() for line in grid(app)]
            assert not any("…" in line for line in lines)
            shown |= {row.ask for row in form.fields.rows if any(row.ask in line for line in lines)}
        assert shown == {row.ask for row in form.fields.rows}
        form.fields.go(7)
        app.screen._redraw()
        await pilot.pause()
        assert any("Displacement" in line and "1600 cc" in line for line in grid(app))
        assert "jet nut" not in form.chosen.screws


async def test_after_the_intake_it_says_where_the_job_is_written(shop: Any, grid: Any) -> None:
    async with home(shop) as (pilot, app):
        await press(pilot, "2")
        await until(pilot, lambda: type(app.screen).__name__ == "IntakeScreen")
        fill(app.screen.form, customer="A. Sample", engine__cylinders="2", engine__displacement="500")
        await press(pilot, "f10")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen" and app.screen.over)
        written = next(shop.jobs.glob("*.yaml"))
        assert written.name in " ".join(" ".join(grid(app)).split())


def test_a_job_files_name_says_the_day_and_the_vehicle() -> None:
    assert file_name({"vehicle": {"registration": "Sample 1"}}, "2026-03-02") == "2026-03-02-sample-1"
    assert file_name({"title": "../../etc/passwd"}, "2026-03-02") == "2026-03-02-etc-passwd"
    assert file_name({}, "2026-03-02") == "2026-03-02-job"


async def test_a_jobs_folder_that_can_not_be_written_is_said_and_the_form_stays(shop: Any, grid: Any) -> None:
    from tui.screens.intake import IntakeScreen

    shop.jobs.write_text("a file where the folder belongs", encoding="utf-8")
    async with home(shop) as (pilot, app):
        app.push_screen(IntakeScreen(shop, [TAP]))
        await settled(pilot)
        fill(app.screen.form, customer="A. Sample", engine__cylinders="2", engine__displacement="500")
        await press(pilot, "f10")
        assert "can't be written" in " ".join(" ".join(grid(app)).split())
        assert app.screen.form.texts()["customer"] == "A. Sample"


async def test_leaving_a_half_filled_form_asks_first(shop: Any) -> None:
    from tui.screens.intake import IntakeScreen

    async with home(shop) as (pilot, app):
        app.push_screen(IntakeScreen(shop, [TAP]))
        await settled(pilot)
        await press(pilot, "x", "escape")
        assert "INTAKE" in app.screen.pad.question.title
        await press(pilot, "1")
        assert app.screen.form.texts()["title"] == "x"
        await press(pilot, "escape", "2")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen")


# ---- procedures


async def test_procedures_are_listed_with_their_soundness_and_looked_at_again_when_they_change(
    shop: Any,
    grid: Any,
) -> None:
    bad = shop.procedures[0] / "another.yaml"
    bad.write_text(
        "procedure: another\ntitle: Another\nrevision: 1\nfor: {family: any, carbs: 2}\nstart: a\n"
        "steps:\n  a: {do: Look., go: nowhere}\n  b: {end: ok, say: Done.}\n",
        encoding="utf-8",
    )
    async with home(shop, (100, 30)) as (pilot, app):
        await press(pilot, "5")
        await until(pilot, lambda: len(getattr(app.screen, "known", ())) == 2)
        await settled(pilot)
        said = "\n".join(grid(app))
        assert "another  ✗ NOT SOUND" in said and "two_taps  ✓ sound" in said
        assert "nowhere" in said
        bad.write_text(bad.read_text(encoding="utf-8").replace("nowhere", "b"), encoding="utf-8")
        os.utime(bad, (time.time() + 5, time.time() + 5))
        await until(pilot, lambda: "another  ✓ sound" in "\n".join(grid(app)))
        await press(pilot, "2", "f6")
        assert "● measure  at most 5 visits" in "\n".join(grid(app))
        bad.unlink()
        await until(pilot, lambda: "another" not in "\n".join(grid(app)))


async def test_no_procedures_at_all_is_said(shop: Any, grid: Any) -> None:
    (shop.procedures[0] / "two_taps.yaml").unlink()
    async with home(shop) as (pilot, app):
        await press(pilot, "5")
        await settled(pilot)
        assert "No procedure files" in "\n".join(grid(app))
        await press(pilot, "enter", "f6", "f8")
        assert type(app.screen).__name__ == "ProceduresScreen"


@pytest.mark.parametrize(
    ("name", "typed", "sentence"),
    [
        ("vehicle.first_used", "May 71", "'May 71' is no date. Write it like 1971-05-01, or leave it empty."),
        ("bank.idle_jet", "50,50,50", "'50,50,50' is no jet number. Write 50, or one a barrel with blanks between"),
    ],
)
def test_a_date_or_a_jet_that_is_none_is_refused_where_it_is_typed(name: str, typed: str, sentence: str) -> None:
    cell = next(r for r in rows([Family("any")], Family("any"), {}) if r.name == name).cells[0]
    with pytest.raises(Refusal, match=sentence):
        read(cell, typed)


CALLER = """procedure: caller
title: The whole of it
revision: 1
for: {family: any, carbs: 2}
start: a
steps:
  a: {call: part, ends: {done: b}}
  b: {end: ok, say: Done.}
"""
PART = """procedure: part
title: A part
revision: 1
for: {family: any, carbs: 2}
start: a
steps:
  a: {do: Look., go: done}
  done: {end: ok, say: Seen.}
"""


async def test_parts_of_routines_are_hidden_and_soundness_route_and_problems_stand_together(
    shop: Any, grid: Any
) -> None:
    for name, text in (("caller", CALLER), ("part", PART)):
        (shop.procedures[0] / f"{name}.yaml").write_text(text, encoding="utf-8")
    async with home(shop, (160, 48)) as (pilot, app):
        await press(pilot, "5")
        await until(pilot, lambda: len(getattr(app.screen, "known", ())) == 3)
        await settled(pilot)
        labels = [o.label for o in app.screen.picks.options]
        assert labels == ["caller", "two_taps"]
        said = grid(app)
        assert any("IS IT SOUND" in line and "ROUTE" in line for line in said), "side by side"
        assert "1 parts of them not shown" in "\n".join(said)
        await press(pilot, "f9")
        assert [o.label for o in app.screen.picks.options] == ["caller", "part", "two_taps"]


async def test_the_editor_is_opened_on_the_file_and_without_one_a_sentence_says_so(
    shop: Any, grid: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    from contextlib import nullcontext

    from tui.catalogue import shelf

    async with home(shop, (100, 30)) as (pilot, app):
        await press(pilot, "5")
        await until(pilot, lambda: len(getattr(app.screen, "known", ())) == 1)
        monkeypatch.setattr(shelf, "editor", list)
        await press(pilot, "f4")
        assert "No editor is named: set EDITOR" in " ".join(" ".join(grid(app)).split())
        ran: list[Any] = []
        monkeypatch.setattr(shelf, "editor", lambda: ["scribe", "-w"])
        monkeypatch.setattr(app, "suspend", nullcontext)
        monkeypatch.setattr(
            "tui.screens.procedures.subprocess.run", lambda c, **_: ran.append(c) or type("Done", (), {"returncode": 0})
        )
        await press(pilot, "f4")
        assert ran == [["scribe", "-w", str(shop.procedures[0] / "two_taps.yaml")]]


def test_a_shipped_file_is_edited_as_a_copy_that_outranks_it(tmp_path: Path) -> None:
    from tui.catalogue.shelf import own_copy

    (tmp_path / "shipped").mkdir()
    (tmp_path / "shipped" / "a.yaml").write_text("one", encoding="utf-8")
    own = own_copy(tmp_path / "shipped" / "a.yaml", tmp_path / "own")
    assert own == tmp_path / "own" / "a.yaml" and own.read_text(encoding="utf-8") == "one"
    own.write_text("mine", encoding="utf-8")
    assert own_copy(tmp_path / "shipped" / "a.yaml", tmp_path / "own").read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize("cells", [58, 78])
def test_soundness_and_route_of_a_procedure_are_whole_at_any_width(shipped_shop: Shop, cells: int) -> None:
    from tui.catalogue import shelf
    from tui.drawing.lines import text_of

    checked = shelf.checked(shipped_shop.procedures[0] / "motorcycle-bank.yaml", shipped_shop.procedures)
    lines = text_of([*shelf.problem_lines(checked, cells), *shelf.route_lines(checked, cells)])
    # The route itself shortens a long guard; nothing else is.
    assert not any("…" in line.replace("…:", "") or len(line) > cells for line in lines)
    assert "no answer is left without a way on." in " ".join(lines)
