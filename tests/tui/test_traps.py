"""The seven traps of a terminal program that takes readings, each with what keeps us out of it."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
from fractions import Fraction as F
from pathlib import Path
from typing import Any

import pytest
from hands import burst, key, press, settled
from textual import events

ROOT = Path(__file__).parents[2]
#: Four readings, a speed, and keys that were meant for whatever comes after them.
ROW = "4,8\n5.1\n5\n5.0\n"


# ---- 1: a comma must never turn 1,5 into 15


async def test_1_a_comma_is_a_decimal_mark_and_the_value_is_echoed_before_it_counts(
    samples: Any,
    at_run: Any,
    grid: Any,
) -> None:
    sitting = samples.FakeSitting(samples.view(moves=()), samples.zero())
    async with at_run(sitting) as (pilot, _):
        await press(pilot, "1", "comma", "5")
        assert any("= 1.5 kg/h" in line for line in grid(pilot.app))
        await press(pilot, "enter")
        burst(pilot.app, "5\n5\n5\n950\n")
        await settled(pilot)
    assert sitting.given[0]["readings"]["flow"][0] == F(3, 2)


# ---- 2 and 3: a burst must stay in order, tested without waiting between the keys


async def test_2_a_burst_stays_in_order_over_all_places_and_readings_of_a_step(samples: Any, at_run: Any) -> None:
    for _ in range(5):
        sitting = samples.FakeSitting(samples.view(moves=()), samples.zero())
        async with at_run(sitting) as (pilot, _):
            burst(pilot.app, ROW + "950\n")
            await settled(pilot)
        assert sitting.given == [
            {"readings": {"flow": [F(48, 10), F(51, 10), F(5), F(5)], "speed": F(950)}, "lacking": None}
        ]


async def test_2_keys_typed_before_a_step_was_on_the_screen_never_answer_it_and_it_says_so(
    samples: Any,
    at_run: Any,
) -> None:
    sitting = samples.FakeSitting(samples.view(moves=(), read=samples.view().read[1:]), samples.zero(), samples.jets())
    async with at_run(sitting) as (pilot, screen):
        burst(pilot.app, "950\n\n\n7\n")
        await settled(pilot)
        assert len(sitting.given) == 1
        assert "left out" in screen.pad.cue
        await press(pilot, "enter")
        assert len(sitting.given) == 2


async def test_2_no_burst_understands_a_danger_that_was_not_read(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.zero(), samples.start())
    async with at_run(sitting) as (pilot, _):
        burst(pilot.app, "\n!\n!\n")
        await settled(pilot)
        assert sitting.given == [{"done": True}]
        await press(pilot, "!")
        assert sitting.given[-1] == {"understood": True}


async def test_2_a_paste_is_typed_in_order(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.view(moves=()), samples.zero())
    async with at_run(sitting) as (pilot, _):
        pilot.app.post_message(events.Paste("4,8\n5.1\r\n5\n5.0\n950\n"))
        await settled(pilot)
    assert sitting.given[0]["readings"]["flow"] == [F(48, 10), F(51, 10), F(5), F(5)]


async def test_2_a_star_and_its_digit_in_one_burst_give_the_symptom(samples: Any, at_run: Any) -> None:
    for _ in range(5):
        sitting = samples.FakeSitting(samples.view(moves=()), samples.zero())
        async with at_run(sitting) as (pilot, screen):
            burst(pilot.app, "4.8\n*7")
            await settled(pilot)
            assert sitting.given == [{"symptom": "hunting"}]
            assert screen.sofar.fields is None


# ---- 4: a closed window or a kill runs no clean-up, and loses nothing that was acknowledged


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("how", ["SIGHUP", "SIGKILL", "SIGTERM", "window closed"])
def test_4_whatever_ends_the_program_every_acknowledged_answer_is_in_the_book(
    shop: Any,
    tmp_path: Path,
    how: str,
) -> None:
    import pty

    from engine.book import codec
    from engine.book.book import Book

    job = tmp_path / "job.yaml"
    job.write_text(
        "engine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}\n"
        "bank: {family: garden tap, carbs: 2, barrels_per_carb: 1}\n",
        encoding="utf-8",
    )
    master, slave = pty.openpty()
    _size(slave, 24, 80)
    env = {
        **os.environ,
        "TERM": "xterm-256color",
        "EVENDRAW_BOOK": str(shop.book),
        "EVENDRAW_SHOP": str(shop.procedures[0]),
    }
    child = subprocess.Popen(
        [sys.executable, "-m", "tui", "run", "two_taps", "--job", str(job)],
        cwd=ROOT,
        env=env,
        stdin=slave,
        stdout=slave,
        stderr=slave,
        start_new_session=True,
    )
    os.close(slave)
    try:
        for wait_for, send in (
            ("Close both spindles", b"\r"),
            ("Open the spindles", b"\r"),
            ("hot", b"!"),
            ("Flow at the tap", b"5\r5\r1\r"),
            ("Let it settle", b""),
        ):
            _until(master, wait_for)
            os.write(master, send)
        if how == "window closed":
            os.close(master)
            master = -1
        else:
            child.send_signal(getattr(signal, how))
        child.wait(timeout=10)
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        if master >= 0:
            os.close(master)
    book = Book.open(shop.book)
    kinds = [codec.load(e.body)["kind"] for e in book.events(book.runs()[0].run)]
    book.close()
    assert kinds[:5] == ["started", "done", "done", "understood", "readings"]


def _size(fd: int, rows: int, columns: int) -> None:
    import fcntl
    import struct
    import termios

    fcntl.ioctl(fd, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))


def _until(master: int, words: str, seconds: float = 60) -> None:
    """Read what the program paints until these words are in it."""
    import select

    seen, end = "", time.monotonic() + seconds
    while time.monotonic() < end:
        if select.select([master], [], [], 0.1)[0]:
            seen += os.read(master, 65536).decode("utf-8", "replace")
            plain = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", seen)
            if words in plain:
                time.sleep(0.1)
                return
    raise AssertionError(f"'{words}' never came on the screen: {seen[-300:]!r}")


# ---- 5: square brackets of a file, a person or a unit are text


@pytest.mark.parametrize(
    "foreign",
    [
        "set to 1.2 [mbar] at [3/10]",
        "[/]",
        "[b]",
        "[red]x[/red]",
        "[@click=app.quit]x[/]",
    ],
)
async def test_5_square_brackets_never_vanish(samples: Any, at_run: Any, grid: Any, foreign: str) -> None:
    from dataclasses import replace

    v = samples.view()
    v = replace(
        v,
        title=foreign,
        do=foreign,
        note=foreign,
        because=(foreign,),
        moves=(),
        findings=(replace(v.findings[0], say=foreign),),
        read=(replace(samples.FLOW, ask=foreign, unit="kg/h"),),
        cautions=(replace(samples.MOVING, text=foreign),),
        standing=(replace(samples.FUMES, text=foreign),),
    )
    async with at_run(samples.FakeSitting(v), (100, 30)) as (pilot, screen):
        assert sum(foreign in line for line in grid(pilot.app)) >= 7
        await press(pilot, "f10")
        assert sum(foreign in line for line in grid(pilot.app)) >= 3
        screen.pad.say(foreign)
        await settled(pilot)
        assert foreign in "\n".join(grid(pilot.app))


def test_5_no_text_is_handed_to_a_widget_that_parses_markup() -> None:
    for path in (ROOT / "tui").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\b(Static|Label|RichLog|Markdown|Content\.from_markup)\(", text), path
        assert "notify(" not in text, path


# ---- 6: going from screen to screen never waits for itself


def test_6_nothing_awaits_a_change_of_screen() -> None:
    for path in (ROOT / "tui").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"await [\w.]*(push_screen|pop_screen|switch_screen|dismiss)\(", text), path


async def test_6_a_whole_run_is_one_screen(taps: Any, at_run: Any) -> None:
    async with at_run(taps) as (pilot, screen):
        for name in ("enter", "enter", "!", "5", "enter", "5", "enter", "1", "enter"):
            await press(pilot, name)
            assert pilot.app.screen is screen


# ---- 7: the keys of the number pad under all their names


@pytest.mark.parametrize(
    "names",
    [
        ("4", "decimal", "8"),
        ("4", "separator", "8"),
        ("4", "full_stop", "8"),
        ("4", "comma", "8"),
    ],
)
async def test_7_the_point_of_every_number_pad(samples: Any, at_run: Any, names: tuple[str, ...]) -> None:
    sitting = samples.FakeSitting(samples.view(moves=()))
    async with at_run(sitting) as (pilot, screen):
        for name in names:
            pilot.app.post_message(key(name))
        await settled(pilot)
        assert screen.sofar.fields.value(0) == F(48, 10)


async def test_7_the_comma_that_arrives_in_two_halves(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.view(moves=()))
    async with at_run(sitting) as (pilot, screen):
        for name, character in (("4", "4"), ("alt+shift+o", "O"), ("l", "l"), ("8", "8")):
            pilot.app.post_message(events.Key(name, character))
        await settled(pilot)
        assert screen.sofar.fields.value(0) == F(48, 10)


async def test_7_the_pads_operators_do_what_their_plain_keys_do(samples: Any, at_run: Any) -> None:
    sitting = samples.FakeSitting(samples.start(), samples.view())
    async with at_run(sitting) as (pilot, screen):
        await press(pilot, "add")
        assert sitting.given == [], "the plus of the pad understands nothing"
        await press(pilot, "!")
        assert sitting.given == [{"understood": True}]
        await press(pilot, "divide")
        assert screen.over
        await press(pilot, "escape")
        await press(pilot, "multiply")
        assert "SEE OR HEAR" in screen.pad.question.title


async def test_7_without_numlock_it_says_so(samples: Any, at_run: Any) -> None:
    async with at_run(samples.FakeSitting(samples.view(moves=()))) as (pilot, screen):
        await press(pilot, "kp_begin")
        assert "NumLock" in screen.pad.cue


@pytest.mark.parametrize("size", [(60, 20), (80, 24), (120, 36)])
async def test_2_that_keys_were_left_out_is_said_whole_at_every_size(
    samples: Any, at_run: Any, grid: Any, size: Any
) -> None:
    from tui.widgets.pad import TOO_EARLY

    steps = (samples.view(moves=(), read=(samples.SPEED,), wait=None), samples.view(read=()), samples.view(read=()))
    async with at_run(samples.FakeSitting(*steps), size) as (pilot, screen):
        burst(pilot.app, "950\n\n\n")
        await settled(pilot)
        pad = screen.query_one("#pad")
        said = " ".join(" ".join(pad.render_line(y).text for y in range(pad.size.height)).split())
        assert TOO_EARLY in said, pad.cue
