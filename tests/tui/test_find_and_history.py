"""Home shows what the shop has on its hands, finds a job while one types, leads to a vehicle's years and back in."""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled
from shipped import walked
from test_home_and_intake import TAP, home, until

from engine.book.book import Book
from engine.job.model import Job
from engine.session import session as sessions
from tui.commandline.listing import standing
from tui.control.board import Board, Told, where
from tui.control.desk import Desk, Shop
from tui.control.rehearsal import rehearse
from tui.drawing.job_lines import board_lines
from tui.drawing.lines import text_of

SHIPPED = Path(__file__).parents[2] / "procedures"
ANSWERS: tuple[dict[str, Any], ...] = (
    {"done": True},
    {"done": True},
    {"understood": True},
    {"readings": {"flow": [5, 6.5], "sound": "steady"}},
    {"done": True},
    {"readings": {"flow": [5, 5.5], "sound": "steady"}},
    {"readings": {"drips": "no"}},
    {"done": True},
)


def visit(desk: Desk, mark: str, who: str, what: str, answers: int = len(ANSWERS), **more: Any) -> Any:
    job = Job.model_validate(
        {
            "title": what,
            "customer": who,
            "vehicle": {"registration": mark, "description": "water cart, invented"},
            "engine": {"cylinders": 2, "displacement": "500 cc", "idle_speed": "900 rpm"},
            "bank": {"family": "garden tap", "carbs": 2, "barrels_per_carb": 1, **more},
        }
    )
    sitting = desk.start(desk.program("two_taps"), job, None)
    for answer in ANSWERS[:answers]:
        assert sitting.answer(**answer) is None
    sitting.suspend()
    return sitting


@pytest.fixture
def busy(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """A shop with a vehicle that came twice, another that stands open, and one that is due to be checked again."""
    days = iter(f"2031-05-{1 + n // 12:02}T10:{n % 60:02}:00+00:00" for n in range(300))
    monkeypatch.setattr(sessions, "wall_clock", lambda: next(days))
    desk = Desk(shop)
    visit(desk, "SAMPLE 1", "A. Sample", "drips", idle_jet=50)
    visit(desk, "SAMPLE 2", "B. Muster", "hums", idle_jet=45)
    visit(desk, "sample-1", "A. Sample", "stalls", idle_jet=[50, 55])
    visit(desk, "SAMPLE 4", "C. Beispiel", "spits", 4)
    desk.book.add_staff("D. Sample")
    desk.book.set_recheck(2, "2031-09-01", why="after 500 km")
    desk.close()
    yield shop


@pytest.fixture
def shipped_desk(tmp_path: Path) -> Iterator[Desk]:
    """The shipped procedures."""
    desk = Desk(Shop(tmp_path / "jobs.book", (SHIPPED,), tmp_path / "jobs"))
    yield desk
    desk.close()


async def test_home_shows_what_stands_open_what_is_due_the_last_sheets_and_who_works_here(
    busy: Shop, grid: Any
) -> None:
    async with home(busy) as (_, app):
        said = "\n".join(grid(app))
        open_, due, lately = (said.index(t) for t in ("STANDS OPEN", "DUE TO BE CHECKED AGAIN", "LATELY"))
        assert "SAMPLE 4" in said[open_:due] and "Turn" in said[open_:due] and "two taps" not in said[open_:due]
        assert "SAMPLE 2" in said[due:lately] and "2031-09-01" in said[due:lately]
        assert "stalls" in said[lately:] and "DONE" in said[lately:]
        assert "Who works here  D. Sample" in said


def test_where_a_run_stands_is_said_as_its_own_screen_says_it(shipped_desk: Desk) -> None:
    """Not `as_found.found_row` but the phase and title of the step: at home, in the lists, on the command line."""
    desk = shipped_desk
    sitting = rehearse(desk, "twin-choke-sidedraught", seed=7)
    with_phase = set()
    for view in walked(sitting, 60):
        (run,) = desk.rehearsals.runs()
        said = where(desk.rehearsals, run)
        assert view.gate is not None or said in (view.title, f"{view.phase}: {view.title}")
        assert said.startswith("a stop, ") == (view.gate is not None)
        assert standing(desk.rehearsals, run).startswith(f"open at '{said}'")
        # A file for any phase, as those of symptoms are, has none of its own.
        with_phase |= {view.step} if said.startswith(f"{view.phase}: ") else set()
    assert len(with_phase) > 8
    (entry,) = desk.open_rehearsals()
    assert entry.hint.startswith(where(desk.rehearsals, desk.rehearsals.runs()[0]))


def test_where_there_is_room_nothing_of_a_job_that_stands_open_is_cut() -> None:
    told = Told("1.1", "SAMPLE 1", "A. Sample", "Idles rough since a rebuild", "as found: Read it as found", "10:20", 1)
    for many, whole in ((2, True), (9, False)):
        board = Board(open=(told,) * many, many_open=many)
        lines = text_of(board_lines(board, 80, 12))
        assert len(lines) <= 12
        said = "\n".join(lines)
        assert ("Idles rough since a rebuild" in said and "as found: Read it as found" in said) is whole


async def test_a_letter_typed_at_home_begins_a_search_that_narrows_with_every_sign(busy: Shop, grid: Any) -> None:
    async with home(busy, (100, 30)) as (pilot, app):
        await press(pilot, *"sa")
        assert len([o for o in app.screen.pad.question.options if isinstance(o.value, int)]) == 4
        await press(pilot, *"mple 4")
        said = "\n".join(grid(app))
        assert "[sample 4▏]" in said
        assert [o.value for o in app.screen.pad.question.options if isinstance(o.value, int)] == [4]
        await press(pilot, *(["backspace"] * 8), *"drips")
        assert [o.value for o in app.screen.pad.question.options if isinstance(o.value, int)] == [1]
        await press(pilot, "escape")
        assert "WHAT IS TO BE DONE" in "\n".join(grid(app))


@pytest.mark.parametrize("words", ["A. Sample", "sample1", "garden", "500cc", "2031-05"])
def test_a_job_is_found_by_customer_registration_engine_and_day(busy: Shop, words: str) -> None:
    desk = Desk(busy)
    assert 1 in [t.job for t in desk.find(words)]
    desk.close()


def test_two_visits_are_told_apart_by_complaint_day_and_ending(busy: Shop) -> None:
    desk = Desk(busy)
    one, two = (t for t in desk.find("sample1"))
    assert (one.what, one.when, one.how) != (two.what, two.when, two.how)
    assert one.how == "DONE" and one.customer == two.customer == "A. Sample"
    desk.close()


async def test_a_found_job_leads_to_its_vehicle_through_the_years_and_back(busy: Shop, grid: Any) -> None:
    async with home(busy, (100, 30)) as (pilot, app):
        await press(pilot, *"stalls", "enter")
        await until(pilot, lambda: "JOB 3" in "\n".join(grid(app)))
        await press(pilot, "1")
        await until(pilot, lambda: type(app.screen).__name__ == "HistoryScreen")
        await settled(pilot)
        said = "\n".join(grid(app))
        assert "2 visits" in said and "as left, each place by its number" in said
        titles = [o.label for o in app.screen.picks.options]
        assert {"Flow at the tap [/]", "spindle", "idle jet"} <= set(titles)
        await press(pilot, str(titles.index("idle jet") + 1))
        said = "\n".join(grid(app))
        assert "50 > 50" in said and "55 > 55" in said
        await press(pilot, "escape")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen" and app.screen.over)
        assert app.screen.over[-1][0].title.startswith("JOB "), "back where one came from"


async def test_a_vehicle_that_comes_back_begins_with_what_it_left_with(busy: Shop, grid: Any) -> None:
    async with home(busy, (100, 30)) as (pilot, app):
        await press(pilot, *"stalls", "enter")
        await until(pilot, lambda: "JOB 3" in "\n".join(grid(app)))
        await press(pilot, "2")
        await until(pilot, lambda: type(app.screen).__name__ == "IntakeScreen")
        await settled(pilot)
        form = app.screen.form
        texts = form.texts()
        assert texts["bank.idle_jet"] == "50 55" and texts["engine.displacement"] == "500"
        assert texts["customer"] == "A. Sample" and texts["title"] == ""
        assert "It comes back. Job 3" in "\n".join(grid(app))
        job = form.job()
        assert job.last_visit.job == 3 and [int(s) for s in job.row("idle_jet")] == [50, 55]


async def test_a_registration_that_was_here_before_is_noticed_while_it_is_typed(busy: Shop, grid: Any) -> None:
    from tui.screens.intake import IntakeScreen

    async with home(busy, (100, 30)) as (pilot, app):
        desk = Desk(busy)
        app.push_screen(IntakeScreen(busy, [TAP], desk))
        await settled(pilot)
        await press(pilot, *"leaks", "enter", "enter", "enter", *"SAMPLE1", "enter")
        assert "It was here before (job 3). F3 fills in" in " ".join(" ".join(grid(app)).split())
        await press(pilot, "f3")
        texts = app.screen.form.texts()
        assert texts["bank.idle_jet"] == "50 55" and texts["title"] == "leaks"
        desk.close()


async def test_who_works_here_is_chosen_at_home_and_stands_in_the_record(busy: Shop, grid: Any) -> None:
    async with home(busy) as (pilot, app):
        await press(pilot, "6", "2", *"E. Sample", "enter")
        await until(pilot, lambda: "E. Sample answers from now on" in "\n".join(grid(app)))
        await press(pilot, "1")
        await until(pilot, lambda: type(app.screen).__name__ == "RunScreen")
        assert app.screen.sitting.session.by == "E. Sample"
        assert "SAMPLE 4  C. Beispiel" in grid(app)[0], "a run that is gone on with is somebody's"
        app.screen.sitting.close()
    with_book = Book.open(busy.book)
    assert [s.name for s in with_book.staff()] == ["D. Sample", "E. Sample"]
    with_book.close()


def test_the_day_of_a_test_is_no_wall_clock(busy: Shop) -> None:
    desk = Desk(busy)
    assert all(t.when < datetime.date(2032, 1, 1).isoformat() for t in desk.find(""))
    desk.close()


def test_nothing_is_made_of_a_book_that_is_not_there(shop: Shop) -> None:
    desk = Desk(shop)
    assert desk.find("x") == desk.unfinished() == [] and desk.newest_of("S 1") is None
    assert desk.home().open == () and not Path(shop.book).exists()


async def test_a_second_window_on_a_job_is_told_and_can_look_while_the_first_goes_on(busy: Shop, grid: Any) -> None:
    first = Desk(busy)
    sitting = first.reopen(first.unfinished()[0].key)
    async with home(busy) as (pilot, app):
        await press(pilot, "1")
        await until(pilot, lambda: "OPEN IN ANOTHER WINDOW" in "\n".join(grid(app)))
        assert "Job 4 is open in another window" in " ".join(" ".join(grid(app)).split())
        await press(pilot, "1")
        await until(pilot, lambda: type(app.screen).__name__ == "WatchScreen")
        await settled(pilot)
        said = "\n".join(grid(app))
        assert "LOOKING ONLY" in said and "Turn tap 2" in said and "SAMPLE 4" in said
        assert sitting.answer(done=True) is None
        app.screen.follow()
        await settled(pilot)
        assert "Read both taps" in "\n".join(grid(app))
        await press(pilot, "1", "plus", "asterisk")
        assert sitting.answer(readings={"flow": [5, 5.5], "sound": "steady"}) is None, "nothing was answered meanwhile"
        await press(pilot, "escape")
        await until(pilot, lambda: type(app.screen).__name__ == "HomeScreen")
    sitting.close()
    first.close()


async def test_how_often_a_danger_is_asked_is_what_the_shop_says(busy: Shop) -> None:
    from dataclasses import replace

    for header, each in (({}, False), ({"dangers": "once"}, False), ({"dangers": "each start"}, True)):
        async with home(replace(busy, header=header)) as (pilot, app):
            await press(pilot, "1")
            await until(pilot, lambda app=app: type(app.screen).__name__ == "RunScreen")
            assert app.screen.sitting.each_start is each
            app.screen.sitting.close()
