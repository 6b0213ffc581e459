"""What goes wrong outside the technician's hands is a sentence on the screen; nothing typed or acknowledged is lost."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from hands import press, settled
from textual.screen import Screen

from tui.app import INTERNAL, Evendraw
from tui.commandline import crash
from tui.control.desk import Desk
from tui.control.sitting import Trouble

ROOT = Path(__file__).parents[2]


async def test_a_full_disk_stops_the_step_and_keeps_what_was_typed(
    taps: Any,
    at_run: Any,
    recorded: Any,
    grid: Any,
) -> None:
    async with at_run(taps) as (pilot, screen):
        await press(pilot, "enter", "enter", "!", "5", "enter", "6", "enter", "1")
        before = recorded(taps)
        book = taps.session.book
        full = book.append

        def append(*_: Any) -> None:
            from engine.book.trouble import BookTrouble

            raise BookTrouble("The disk is full: this was not recorded, everything before it was.")

        book.append = append
        await press(pilot, "enter")
        said = " ".join(grid(pilot.app))
        assert "The disk is full" in said and "Nothing you typed is lost" in " ".join(said.split())
        assert screen.sofar.fields.texts == ["5", "6", "1"]
        assert recorded(taps) == before
        book.append = full
        await press(pilot, "enter")
        assert recorded(taps)[-1]["kind"] == "readings"
        assert taps.view.step == "settle"


async def test_another_window_on_the_same_job_is_refused_in_a_sentence(taps: Any, shop: Any) -> None:
    other = Desk(shop)
    with pytest.raises(Trouble, match="open in another window"):
        other.reopen(taps.session.run)
    other.close()
    taps.suspend()
    assert Desk(shop).reopen(taps.session.run).view.step == "shut"


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda p: p.write_text("not a book at all, only some text\n" * 40, encoding="utf-8"), "not a job book"),
        (lambda p: p.mkdir(), "can't be"),
        (
            lambda p: sqlite3.connect(p).executescript("create table other(x); pragma user_version=7;").close(),
            "job book",
        ),
    ],
)
async def test_a_book_that_can_not_be_read_is_said_at_home(shop: Any, make: Any, says: str, grid: Any) -> None:
    from tui.screens.home import HomeScreen

    make(shop.book)
    app = Evendraw(lambda: HomeScreen(shop))
    async with app.run_test(size=(80, 24)) as pilot:
        await settled(pilot)
        assert says in " ".join(" ".join(grid(app)).split())
        await press(pilot, "1")
        assert says in " ".join(" ".join(grid(app)).split()), "and again whenever it is asked"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (None, "There is no such file"),
        ("engine: [", "job.yaml"),
        ("{}", "engine"),
        ("\x00\x01", "job.yaml"),
        ("engine: {cylinders: two}\nbank: {family: x, carbs: 1}", "cylinders"),
    ],
)
async def test_a_job_file_that_can_not_be_used_is_said_with_its_place(
    shop: Any,
    tmp_path: Path,
    grid: Any,
    text: str | None,
    says: str,
) -> None:
    from tui.screens.home import HomeScreen

    path = tmp_path / "job.yaml"
    if text is not None:
        path.write_text(text, encoding="utf-8")
    app = Evendraw(lambda: HomeScreen(shop))
    async with app.run_test(size=(160, 48)) as pilot:
        await settled(pilot)
        await press(pilot, "3", "enter")
        await press(pilot, *str(path), "enter")
        assert says in " ".join(" ".join(grid(app)).split())


async def test_a_broken_procedure_is_said_and_the_home_screen_stays(shop: Any, grid: Any) -> None:
    from tui.screens.home import HomeScreen

    (shop.procedures[0] / "broken.yaml").write_text("procedure: broken\nsteps: {a: {go: nowhere}}\n", encoding="utf-8")
    app = Evendraw(lambda: HomeScreen(shop, first=lambda home: home.rehearse_on("broken", seed=1)))
    async with app.run_test(size=(160, 48)) as pilot:
        await settled(pilot)
        assert "broken.yaml" in " ".join(grid(app))
        assert type(app.screen).__name__ == "HomeScreen"


async def test_a_fault_that_nobody_knows_is_said_with_the_nearest(shop: Any, grid: Any) -> None:
    from tui.screens.home import HomeScreen

    faults = ("low fule level",)
    app = Evendraw(lambda: HomeScreen(shop, first=lambda home: home.rehearse_on("two_taps", seed=1, faults=faults)))
    async with app.run_test(size=(160, 48)) as pilot:
        await settled(pilot)
        said = " ".join(grid(app))
        assert "low fuel level" in said or "two_taps" in said or "garden tap" in said


# ---- the program itself fails


class Failing(Screen[None]):
    """Breaks as soon as it is on the screen."""

    def on_mount(self) -> None:
        raise ZeroDivisionError("something in the program")


async def test_no_traceback_is_painted_when_the_program_fails(capsys: pytest.CaptureFixture[str]) -> None:
    app = Evendraw(Failing)
    with pytest.raises(ZeroDivisionError):
        async with app.run_test():
            pass
    assert isinstance(app.broke, ZeroDivisionError)
    assert app.return_code == INTERNAL
    out = capsys.readouterr()
    assert "Traceback" not in out.out + out.err


def test_a_crash_report_says_where_it_broke_and_the_sentence_names_the_file(tmp_path: Path) -> None:
    try:
        raise ValueError("inside [b]")
    except ValueError as fault:
        path = crash.report(fault)
    assert path is not None and path.parent == tmp_path / "log"
    text = path.read_text(encoding="utf-8")
    assert "test_trouble.py:" in text and "ValueError" in text and "inside [b]" not in text
    assert str(path) in crash.sentence(path)
    assert "job book" in crash.sentence(path)
    assert "No report" in crash.sentence(None)
    assert "job book" not in crash.sentence(path, booked=False)


def test_a_crash_of_a_command_that_gives_no_answers_does_not_speak_of_answers(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from tui.commandline import cli, commands

    monkeypatch.setattr(commands, "run", lambda arguments: 1 / 0)
    assert cli.main(["check", "x.yaml"]) == cli.Exit.INTERNAL
    told = capsys.readouterr().err
    assert "something went wrong" in told and "job book" not in told


def test_a_report_that_can_not_be_written_where_it_belongs_goes_elsewhere_and_never_raises(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("EVENDRAW_LOG", str(tmp_path / "file" / "log"))
    path = crash.report(ValueError("x"))
    assert path is not None
    path.unlink()


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_program_that_fails_on_a_terminal_ends_with_a_sentence_and_its_code(tmp_path: Path) -> None:
    import pty

    code = (
        "import sys; from textual.screen import Screen; from tui import app\n"
        "class Failing(Screen):\n    def on_mount(self): raise ZeroDivisionError('in the program')\n"
        "sys.exit(app.show(Failing))"
    )
    master, slave = pty.openpty()
    child = subprocess.Popen(
        [sys.executable, "-c", code],
        cwd=ROOT,
        stdin=slave,
        stdout=slave,
        stderr=slave,
        env={**os.environ, "TERM": "xterm", "EVENDRAW_LOG": str(tmp_path)},
        start_new_session=True,
    )
    os.close(slave)
    seen = b""
    try:
        while chunk := os.read(master, 65536):
            seen += chunk
    except OSError:
        pass
    child.wait(timeout=10)
    os.close(master)
    assert child.returncode == INTERNAL
    assert b"Traceback" not in seen
    assert b"had to stop" in seen
    assert len(list(tmp_path.glob("evendraw-crash-*.txt"))) == 1


def test_without_a_terminal_it_says_so_and_ends(capsys: pytest.CaptureFixture[str]) -> None:
    from tui import app

    assert app.show(Screen) == app.USAGE
    assert "no terminal" in capsys.readouterr().err
