"""Whatever the world around the program is like, a command ends with a sentence: never with a trace, never with a
report of a failure of its own, and nothing foreign reaches the terminal as anything but text.
"""

from __future__ import annotations

import io
import json
import os
import stat
import subprocess
import sys
import unicodedata
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

import pytest

from engine.foreign import json_line, plain, plain_lines, storable
from tests.modes import BOUND
from tui.commandline import cli, crash
from tui.commandline.cli import Exit

ROOT = Path(__file__).parents[2]
BLEED = ROOT / "tests" / "engine" / "conformance" / "bleed_line.yaml"
UNIX = pytest.mark.skipif(os.name == "nt", reason="of Unix")
LONG = "n" * 300
JOB = """\
title: {title}
customer: A. Sample
vehicle: {{description: "water cart, invented", registration: SAMPLE 1}}
engine: {{cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}}
bank: {{family: twin valve header, carbs: 2, barrels_per_carb: 1}}
"""
#: What a terminal would obey: colours, title, bell, NUL, direction marks, line ends of every kind, C1.
HOSTILE = "\x1b[31mred\x1b]0;title\x07 \x9b2J \u202eover\u2066 \u2028line\x85 \x00nul"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a job file; book and shop files stay inside it."""
    (tmp_path / "job.yaml").write_text(JOB.format(title="Uneven"), encoding="utf-8", newline="\n")
    for name, place in (("BOOK", "jobs.book"), ("SHOP", "own"), ("LOG", "log"), ("JOBS", "jobs")):
        monkeypatch.setenv(f"EVENDRAW_{name}", str(tmp_path / place))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def said(*arguments: str, given: bytes = b"") -> tuple[int, str, str]:
    """What a command in this process says, and how it ends."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(given)))
        code = cli.main(arguments)
    return code, out.getvalue(), err.getvalue()


def outside(shop: Path, shell: str) -> subprocess.CompletedProcess[bytes]:
    """A command line in a shell of its own; `evendraw` is this program."""
    script = f'evendraw() {{ "{sys.executable}" -m tui.commandline.cli "$@"; }}\n{shell}'
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(["bash", "-c", script], cwd=shop, env=environment, capture_output=True, timeout=60)


def worked(shop: Path, note: str = "") -> None:
    lines = [json.dumps({"note": note}).encode()] if note else []
    code, _, err = said("talk", str(BLEED), "--job", "job.yaml", given=b"\n".join(lines) + b"\n")
    assert code == 0, err


class TestWordsOnTheCommandLine:
    @pytest.mark.parametrize(
        "arguments",
        [
            ["sheet", "99999999999999999999999"],
            ["sheet", "²"],
            ["sheet", "1.²"],
            ["sheet", LONG],
            ["jobs", "\udcff\udcfe"],
            ["jobs", "--json", "\udcff"],
            ["jobs", "--no\x1b[31m\x07"],
            ["jobs", "x", "--book", "\udcff"],
            ["history", "\udcff\x1b[31m"],
            ["words", "\x1b[31m\udcff"],
            ["advisers", "\x1b]0;title\x07"],
            ["settings", "\x1b[31m"],
            ["talk", str(BLEED), "--job", "job.yaml", "\x1b[32m\u202e"],
            ["book", "people", "--add", "\udcff"],
            ["book", "recheck", "1", "--on", "2031-05-01", "--why", "\udcff"],
            ["book", "recheck", "1", "--on", "\x1b[3m"],
            ["book", "correct", "1.1", "\x1b[3m=\udcff"],
            ["sizing", "²"],
            ["sizing", "99999999999999999999999"],
            ["sizing", LONG],
            ["jobs", "--book", LONG],
            ["jobs", "--book", "~nosuchuser/jobs.book"],
            ["jobs", "--book", "job.yaml"],
            ["jobs", "--book", "."],
            ["jobs", "--book", "a\0b"],
            ["jobs", "--forget", "99999999999999999999999"],
            ["check", LONG],
            ["check", "~nosuchuser/x.yaml"],
            ["check", "a\0b"],
            ["check", "\udcff"],
            ["route", "\udcff"],
            ["new", LONG],
            ["new", "a\0b"],
            ["explain", "\udcff\x1b[31m"],
            ["talk", str(BLEED), "--job", LONG],
            ["talk", str(BLEED), "--job", "."],
            ["talk", str(BLEED), "--job", "a\0b"],
            ["talk", "--run", "9.9"],
            ["talk", "--run", "\udcff"],
            ["talk", LONG, "--job", "job.yaml"],
            ["trials", LONG, "--engines", "1"],
            ["book", "verify"],
            ["book", "verify", "job.yaml"],
            ["book", "restore", LONG],
            ["book", "restore", "."],
            ["book", "backup", LONG],
            ["book", "split", "²"],
            ["book", "split", "9"],
            ["book", "recheck", "1", "--on", "soon"],
        ],
        ids=lambda a: " ".join(a)[:40].encode("ascii", "backslashreplace").decode().replace("\0", "0"),
    )
    def test_what_can_not_be_is_answered_with_a_sentence(self, shop: Path, arguments: list[str]) -> None:
        if "--forget" in arguments or "\udcff" in "".join(arguments) or arguments[1] in ("recheck", "correct"):
            worked(shop)
        code, out, err = said(*arguments)
        assert code in (Exit.PROBLEMS, Exit.USAGE, Exit.PROCEDURE, Exit.BOOK)
        assert (out + err).strip()
        assert "Traceback" not in out + err and "codec" not in out + err
        assert not [c for c in out + err if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs")]

    @pytest.mark.parametrize("variable", ["EVENDRAW_BOOK", "EVENDRAW_SHOP", "EVENDRAW_JOBS", "EVENDRAW_LOG"])
    @pytest.mark.parametrize("value", ["~nosuchuser/x", LONG])
    def test_places_that_can_not_be(
        self, shop: Path, variable: str, value: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv(variable, value)
        for command in (["where"], ["jobs"]):
            code, out, err = said(*command)
            assert code in (Exit.OK, Exit.USAGE, Exit.BOOK), err
            assert "Traceback" not in out + err


class TestJobFiles:
    @UNIX
    def test_a_pipe_is_refused_and_not_waited_for(self, shop: Path) -> None:
        os.mkfifo(shop / "pipe.yaml")
        code, _, err = said("talk", str(BLEED), "--job", "pipe.yaml")
        assert code == Exit.USAGE
        assert "pipe" in err

    def test_thirty_megabytes_are_refused_at_once(self, shop: Path) -> None:
        with (shop / "big.yaml").open("wb") as file:
            file.truncate(30_000_000)
        code, _, err = said("talk", str(BLEED), "--job", "big.yaml")
        assert code == Exit.USAGE
        assert "has 29296 kB" in err


class TestSettings:
    def settings(self, shop: Path, text: str) -> tuple[int, str, str]:
        (shop / "own").mkdir()
        (shop / "own" / "settings.yaml").write_text(text, encoding="utf-8")
        return said("talk", str(BLEED), "--job", "job.yaml")

    def test_a_name_that_no_procedure_has(self, shop: Path) -> None:
        code, _, err = self.settings(shop, "rough_tolerence: 10 %\n")
        assert code == Exit.USAGE
        assert "rough_tolerence" in err and "rough_tolerance" in err

    def test_a_name_of_another_procedure_is_none_of_this_one(self, shop: Path) -> None:
        assert self.settings(shop, "rough_tolerance: 10 %\n")[0] == Exit.OK

    def test_only_comments(self, shop: Path) -> None:
        code, _, err = self.settings(shop, "# rough_tolerance: 10 %\n")
        assert code == Exit.OK
        assert "holds no settings" in err

    @UNIX
    def test_a_link_that_leads_round_in_a_circle(self, shop: Path) -> None:
        (shop / "own").mkdir()
        (shop / "own" / "settings.yaml").symlink_to("settings.yaml")
        code, _, err = said("talk", str(BLEED), "--job", "job.yaml")
        assert code == Exit.USAGE
        assert "settings.yaml" in err


class TestWhatPeopleWrote:
    def test_nothing_that_a_terminal_would_obey_comes_out_of_a_command(self, shop: Path) -> None:
        job = JOB.format(title=json.dumps(f"{HOSTILE}\n    9  2031-01-01  forged"))
        (shop / "job.yaml").write_text(job.replace("A. Sample", json.dumps(HOSTILE)), encoding="utf-8", newline="\n")
        worked(shop, HOSTILE + "\ud800")
        for command in (["jobs"], ["sheet", "1"], ["book", "verify"], ["book", "forget", "red"]):
            code, out, err = said(*command)
            assert code in (0, 1), err
            assert not [c for c in out + err if c != "\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")]
        assert "red" in said("sheet", "1")[1]

    def test_a_line_break_in_a_title_forges_no_line_of_the_list(self, shop: Path) -> None:
        title = json.dumps("Uneven\n    9  2031-01-01  forged")
        (shop / "job.yaml").write_text(JOB.format(title=title), encoding="utf-8", newline="\n")
        worked(shop)
        lines = said("jobs")[1].splitlines()
        assert len(lines) == 2
        assert "forged" in lines[0]

    def test_a_job_of_the_book_is_opened_again_by_its_number(self, shop: Path) -> None:
        worked(shop)
        code, _, err = said("talk", str(BLEED), "--job", "1", given=b"")
        assert code == 0, err
        listed = said("jobs")[1].splitlines()
        assert len(listed) == 3 and "1.2" in listed[1]

    def test_the_list_counts_answers_and_not_notes(self, shop: Path) -> None:
        given = b'{"note": "a"}\n{"note": "b"}\n{"readings": {"air": "yes"}}\n'
        said("talk", str(BLEED), "--job", "job.yaml", given=given)
        assert "1 answer" in said("jobs")[1]
        assert "answers" not in said("jobs")[1]

    @pytest.mark.parametrize("text", [HOSTILE, "\ud800 half", "a\tb", "ä ← 日本 مرحبا"])
    def test_the_one_helper_keeps_letters_and_leaves_nothing_to_obey(self, text: str) -> None:
        assert plain(text).isprintable()
        assert len(plain(text)) == len(text)
        assert [c for c in plain(text) if c != " "] == [c for c in text if c.isprintable() and c != " "]
        assert plain_lines(f"{text}\n{text}").count("\n") == 1
        assert json.loads(json_line(text)) == text
        assert json_line(text).isprintable()
        storable(text).encode()


class TestLinesThatOnceBrokeTheProgramOrWereTakenTwice:
    def heard(self, *lines: object) -> list[dict[str, Any]]:
        given = b"".join(json.dumps(line).encode() + b"\n" for line in lines)
        code, out, err = said("talk", str(BLEED), "--job", "job.yaml", given=given)
        assert code == Exit.OK, err
        return [json.loads(line) for line in out.splitlines()]

    @pytest.mark.parametrize(
        "line", [{"moved": [{"screw": {}}]}, {"lost": [{}]}, {"note": "\ud800"}, {"waited": 1e999}]
    )
    def test_are_refused_in_a_sentence(self, shop: Path, line: object) -> None:
        assert [m["kind"] for m in self.heard(line)] == ["hello", "step", "refused"]

    def test_a_long_note_is_kept_to_its_last_word(self, shop: Path) -> None:
        self.heard({"note": "x" * 9_990 + " last word"})
        assert "last word" in said("sheet", "1")[1]

    def test_the_same_line_three_times_is_one_answer_where_it_says_which_step_it_answers(self, shop: Path) -> None:
        line = {"readings": {"air": "yes"}, "for": 0}
        kinds = [m["kind"] for m in self.heard(line, line, line)]
        assert kinds.count("recorded") == 1 and kinds.count("refused") == 2


class TestStreams:
    @UNIX
    @pytest.mark.parametrize(
        "command", ["jobs", "where", "sheet 1", "check bleed_line.yaml", "schema", "schema talk", "explain", "--help"]
    )
    def test_a_full_device_and_closed_streams(self, shop: Path, command: str) -> None:
        worked(shop)
        (shop / "bleed_line.yaml").write_bytes(BLEED.read_bytes())
        done = outside(shop, f"evendraw {command} > /dev/full; echo $?; evendraw {command} >&-; echo $?")
        first, second = done.stdout.split()
        assert (int(first), int(second)) == (Exit.USAGE, Exit.OK), done.stderr
        assert b"Traceback" not in done.stderr and b"Exception ignored" not in done.stderr
        assert b"can't be written" in done.stderr

    @UNIX
    def test_trials_where_nothing_can_be_said_of_how_far_they_are(self, shop: Path) -> None:
        outside(shop, "evendraw new pair")
        done = outside(shop, "evendraw trials pair.yaml --engines 1 --no-references --workers 1 2>&- ; echo $?")
        assert done.stdout.split()[-1] in (b"0", b"1")
        assert b"1 virtual engine" in done.stdout

    @UNIX
    def test_talk_without_input_or_output(self, shop: Path) -> None:
        done = outside(
            shop,
            f"evendraw talk {BLEED} --job job.yaml <&- ; echo $?; evendraw talk {BLEED} --job job.yaml >&- </dev/null; "
            f"echo $?; evendraw talk {BLEED} --job job.yaml >/dev/full </dev/null; echo $?; evendraw <&- >&-",
        )
        codes = [int(x) for x in done.stdout.split() if x.isdigit()]
        assert codes == [Exit.USAGE, Exit.USAGE, Exit.USAGE], done.stderr
        assert b"Traceback" not in done.stderr and b"Exception ignored" not in done.stderr
        assert b"something went wrong" not in done.stderr


class TestPrivate:
    @UNIX
    def test_book_log_lock_copies_and_folders_are_the_users_alone(self, shop: Path) -> None:
        from engine.book.book import Book

        old = os.umask(0)
        try:
            place = shop / "deep" / "down" / "jobs.book"
            with pytest.MonkeyPatch.context() as patch:
                patch.setenv("EVENDRAW_BOOK", str(place))
                worked(shop)
                book = Book.open(place)
                book.hold(1)
                for path in (place.parent, place.parent.parent, *place.parent.rglob("*")):
                    assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path
                book.close()
                assert said("book", "backup", "copy.book")[0] == 0
            assert stat.S_IMODE((shop / "copy.book").stat().st_mode) == 0o600
        finally:
            os.umask(old)

    @UNIX
    def test_a_book_that_others_could_read_is_made_private(self, shop: Path) -> None:
        worked(shop)
        (shop / "jobs.book").chmod(0o644)
        worked(shop)
        assert stat.S_IMODE((shop / "jobs.book").stat().st_mode) == 0o600

    @UNIX
    def test_a_link_to_the_book_is_the_book(self, shop: Path) -> None:
        from engine.book.book import Book
        from engine.book.trouble import BookTrouble

        worked(shop)
        (shop / "other.book").symlink_to(shop / "jobs.book")
        first, second = Book.open(shop / "jobs.book"), Book.open(shop / "other.book")
        first.hold(1)
        with pytest.raises(BookTrouble, match="open in another window"):
            second.hold(1)
        first.close()
        second.close()
        assert not [p.name for p in shop.iterdir() if p.name.startswith("other.book-")]

    @UNIX
    def test_a_second_name_of_the_book_is_refused(self, shop: Path) -> None:
        worked(shop)
        os.link(shop / "jobs.book", shop / "other.book")
        code, _, err = said("talk", "--run", "1.1", "--book", "other.book")
        assert code == Exit.BOOK
        assert "second name" in err
        for looks in (["jobs"], ["sheet", "1"]):
            code, out, err = said(*looks, "--book", "other.book")
            assert code == Exit.OK and out and "may be missing here" in err, "the newest may be in the other's log"
        assert said("book", "verify")[0] == Exit.PROBLEMS


class TestWhereThisUserMayNot:
    """Skipped for who may do everything: run them as another user."""

    @pytest.fixture
    def shut(self, shop: Path) -> Iterator[Callable[[Path, int], None]]:
        """Takes rights away for as long as a test runs."""
        changed: list[tuple[Path, int]] = []

        def take(path: Path, mode: int) -> None:
            changed.append((path, stat.S_IMODE(path.stat().st_mode)))
            path.chmod(mode)

        yield take
        for path, mode in reversed(changed):
            path.chmod(mode)

    @BOUND
    @pytest.mark.parametrize(
        "command",
        [
            "jobs",
            "sheet 1",
            "history 1",
            "sizing 1",
            "talk --run 1.1",
            "book verify",
            "book people --add C",
            "book backup copy",
            "book recheck 1 --on 2031-05-01",
            "book forget Sample",
            "book split 1",
        ],
    )
    def test_a_folder_or_a_file_of_the_book_is_told_and_not_called_damaged(
        self, shop: Path, shut: Any, command: str, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (shop / "b").mkdir()
        monkeypatch.setenv("EVENDRAW_BOOK", str(shop / "b" / "jobs.book"))
        worked(shop)
        for path in (shop / "b" / "jobs.book", shop / "b"):
            shut(path, 0)
            code, out, err = said(*command.split())
            assert code == Exit.BOOK, err
            assert "right" in err and "damaged" not in err and "WHOLE" not in out

    @BOUND
    def test_a_read_only_place_shows_and_does_not_record(self, shop: Path, shut: Any) -> None:
        worked(shop)
        shut(shop / "jobs.book", 0o400)
        shut(shop, 0o500)
        assert said("jobs")[0] == said("sheet", "1")[0] == said("book", "verify")[0] == Exit.OK
        code, _, err = said("talk", "--run", "1.1")
        assert code == Exit.BOOK and "read-only" in err

    @BOUND
    @pytest.mark.parametrize("mode", [0, 0o400])
    def test_copies_that_can_not_be_kept_keep_nobody_from_working(self, shop: Path, shut: Any, mode: int) -> None:
        worked(shop)
        copies = shop / "jobs.book.backups"
        copies.mkdir(exist_ok=True)
        shut(copies, mode)
        code, _, err = said("talk", "--run", "1.1")
        assert code == Exit.OK
        assert "copy of the job book could not be kept" in err

    @BOUND
    @pytest.mark.parametrize("shut_off", ["settings.yaml", ""])
    def test_settings_that_can_not_be_read_are_not_out_of_force_in_silence(
        self, shop: Path, shut: Any, shut_off: str
    ) -> None:
        (shop / "own").mkdir()
        (shop / "own" / "settings.yaml").write_text("rough_tolerance: 10 %\n", encoding="utf-8")
        shut(shop / "own" / shut_off, 0)
        code, _, err = said("talk", str(BLEED), "--job", "job.yaml")
        assert code == Exit.USAGE
        assert "settings.yaml" in err and "Permission denied" in err

    @BOUND
    def test_a_home_that_can_not_be_read(self, shop: Path, shut: Any, monkeypatch: pytest.MonkeyPatch) -> None:
        for variable in ("BOOK", "SHOP", "LOG", "JOBS"):
            monkeypatch.delenv(f"EVENDRAW_{variable}")
        for variable in ("XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
            monkeypatch.delenv(variable, raising=False)
        (shop / "home").mkdir()
        monkeypatch.setenv("HOME", str(shop / "home"))
        shut(shop / "home", 0)
        for command in ("jobs", "sheet 1", "where", "book verify", "book forget x", f"talk {BLEED} --job job.yaml"):
            code, out, err = said(*command.split())
            assert code in (Exit.OK, Exit.USAGE, Exit.BOOK), err
            assert (out + err).strip() and "went wrong" not in err

    @BOUND
    def test_a_place_that_can_not_be_looked_into_is_not_called_missing(self, shop: Path, shut: Any) -> None:
        (shop / "own").mkdir()
        shut(shop / "own", 0)
        out = said("where")[1]
        assert f"{shop / 'own' / 'settings.yaml'}  (can't be reached: this user may not look there)" in out
        assert f"{shop / 'jobs.book'}  (not there yet)" in out

    @BOUND
    def test_the_home_screen_says_that_the_book_can_not_be_reached(self, shop: Path, shut: Any) -> None:
        from tui.catalogue.shop import Shop
        from tui.control.desk import Desk
        from tui.control.sitting import Trouble

        (shop / "b").mkdir()
        shut(shop / "b", 0)
        desk = Desk(Shop(shop / "b" / "jobs.book", (), shop / "b", {}))
        for ask in (desk.home, desk.unfinished, lambda: desk.find("x")):
            with pytest.raises(Trouble, match="can't be reached"):
                ask()
        assert desk.files() == desk.open_rehearsals() == []


class TestTheCrashReporter:
    def test_a_report_says_where_and_nothing_of_a_person(self, tmp_path: Path) -> None:
        try:
            try:
                raise KeyError("A. Sample")
            except KeyError as fault:
                raise ValueError("SAMPLE 1 does not fit A. Sample") from fault
        except ValueError as fault:
            path = crash.report(fault, tmp_path / "log")
        assert path is not None
        text = path.read_text(encoding="utf-8")
        assert "Sample" not in text and "SAMPLE" not in text
        assert str(Path.home()) not in text
        assert "KeyError" in text and "ValueError" in text and "test_hostile_world.py:" in text
        if os.name != "nt":
            assert stat.S_IMODE(path.stat().st_mode) == 0o600
            assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700

    def test_it_never_fails(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        class Awful(Exception):
            def __str__(self) -> str:
                raise RuntimeError("no words")

        (tmp_path / "log").write_text("in the way", encoding="utf-8")
        monkeypatch.setenv("EVENDRAW_LOG", str(tmp_path / "log" / "deeper"))
        monkeypatch.setattr(crash.tempfile, "tempdir", str(tmp_path / "nowhere"))
        assert crash.report(Awful()) is None
        assert crash.report(Awful(), tmp_path / LONG) is None

    def test_no_name_in_a_shared_folder_can_be_guessed(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "log").write_text("in the way", encoding="utf-8")
        monkeypatch.setenv("EVENDRAW_LOG", str(tmp_path / "log"))
        monkeypatch.setattr(crash.tempfile, "tempdir", str(tmp_path))
        one, other = crash.report(ValueError()), crash.report(ValueError())
        assert one is not None and other is not None and one != other
        assert one.read_text(encoding="utf-8") != ""
