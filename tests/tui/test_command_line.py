"""The command line: what each command prints, how it ends, and that nothing headless loads the terminal's library."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import tomllib
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from engine import VERSION
from tui.commandline import cli
from tui.commandline.cli import Exit

ROOT = Path(__file__).parents[2]
BLEED = ROOT / "tests" / "engine" / "conformance" / "bleed_line.yaml"

JOB = """\
title: Uneven since spring
customer: A. Sample
vehicle: {description: "water cart, invented", registration: SAMPLE 1}
engine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}
bank: {family: twin valve header, carbs: 2, barrels_per_carb: 1}
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with a job file; book and shop files stay inside it."""
    (tmp_path / "job.yaml").write_text(JOB, encoding="utf-8", newline="\n")
    return tmp_path


@dataclass(frozen=True)
class Done:
    """What a command printed, and how it ended."""

    stdout: str
    stderr: str
    code: int


def evendraw(shop: Path, *arguments: str, said: str = "", code: int = Exit.OK) -> Done:
    """Run a command in a folder, as a shell would, without a terminal; no traceback ever."""
    out, err = io.StringIO(), io.StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        for name, place in (("BOOK", "jobs.book"), ("SHOP", "own"), ("LOG", "log")):
            patch.setenv(f"EVENDRAW_{name}", str(shop / place))
        patch.chdir(shop)
        patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(said.encode())))
        ended = cli.main(arguments)
    done = Done(out.getvalue(), err.getvalue(), ended)
    assert "Traceback" not in done.stderr + done.stdout
    assert done.code == code, done.stderr or done.stdout
    return done


def talked(shop: Path, *arguments: str, answers: list[Any] = [], code: int = 0) -> list[dict[str, Any]]:  # noqa: B006
    said = "".join(json.dumps(a) + "\n" for a in answers)
    done = evendraw(shop, "talk", *arguments, said=said, code=code)
    return [json.loads(line) for line in done.stdout.splitlines()]


def commands() -> list[str]:
    return list(cli._COMMANDS)


class TestHelp:
    def test_version_names_program_version_and_python(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert cli.main(["--version"]) == 0
        assert capsys.readouterr().out == f"evendraw {VERSION} (Python {sys.version.split()[0]})\n"

    def test_the_version_is_that_of_the_package(self) -> None:
        assert tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"] == VERSION

    @pytest.mark.parametrize("command", commands())
    def test_every_command_has_help_with_one_example(self, command: str, capsys: pytest.CaptureFixture[str]) -> None:
        assert cli.main([command, "--help"]) == 0
        assert capsys.readouterr().out.count(f"Example: evendraw {command}") == 1

    @pytest.mark.parametrize("command", commands())
    def test_every_example_can_be_parsed(self, command: str) -> None:
        example = cli._COMMANDS[command][1].split(" > ")[0].split()
        assert cli.parser().parse_args(example[1:]).command == command

    def test_every_exit_code_says_what_it_means(self) -> None:
        assert [int(code) for code in Exit] == [0, 1, 2, 3, 4, 70, 130]

    @pytest.mark.parametrize("arguments", [["nonsense"], ["talk", "--nonsense"], ["run", "x"], ["trials"]])
    def test_wrong_arguments_end_with_usage(self, arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
        assert cli.main(arguments) == Exit.USAGE
        assert "usage: evendraw" in capsys.readouterr().err


class TestTalk:
    def test_a_run_from_start_to_end(self, shop: Path) -> None:
        messages = talked(shop, str(BLEED), "--job", "job.yaml", answers=[{"readings": {"air": "no"}}])
        assert [m["kind"] for m in messages] == ["hello", "step", "recorded", "end"]

    def test_its_exit_is_0_whatever_the_outcome(self, shop: Path) -> None:
        messages = talked(shop, str(BLEED), "--job", "job.yaml", answers=[{"abandon": "rain"}])
        assert messages[-1]["outcome"] == "stopped"

    def test_the_end_of_input_suspends_and_the_run_goes_on_later(self, shop: Path) -> None:
        first = talked(shop, str(BLEED), "--job", "job.yaml", answers=[{"readings": {"air": "yes"}}])
        run = first[0]["run"]
        again = talked(shop, "--run", run, answers=[{"readings": {"air": "no"}}])
        assert [(m.get("step"), m.get("visit")) for m in again if m["kind"] == "step"] == [("bleed", 2)]
        assert again[-1]["outcome"] == "ok"
        assert [m["kind"] for m in talked(shop, "--run", run)] == ["hello", "end"]

    def test_a_bad_job_file_names_each_fault_at_its_place(self, shop: Path) -> None:
        (shop / "job.yaml").write_text(JOB.replace("900 rpm", "soon").replace("carbs: 2, ", ""), encoding="utf-8")
        done = evendraw(shop, "talk", str(BLEED), "--job", "job.yaml", code=Exit.USAGE)
        assert done.stdout == ""
        assert [re.match(r"job.yaml:\d+:\d+: ", line) is not None for line in done.stderr.splitlines()] == [True] * 2

    def test_no_job_file(self, shop: Path) -> None:
        assert "no such file" in evendraw(shop, "talk", str(BLEED), "--job", "none.yaml", code=Exit.USAGE).stderr

    def test_an_unsound_procedure_is_not_run(self, shop: Path) -> None:
        text = BLEED.read_text(encoding="utf-8").replace("    limit: {visits: 3, then: air_remains}\n", "")
        (shop / "endless.yaml").write_text(text.replace("bleed_line", "endless"), encoding="utf-8", newline="\n")
        done = evendraw(shop, "talk", "endless.yaml", "--job", "job.yaml", code=Exit.PROCEDURE)
        assert re.search(r"^endless\.yaml:\d+:\d+: ", done.stderr)
        assert not (shop / "jobs.book").exists()

    def test_a_broken_or_missing_procedure(self, shop: Path) -> None:
        (shop / "broken.yaml").write_text("procedure: [\n", encoding="utf-8")
        assert "broken.yaml:" in evendraw(shop, "talk", "broken.yaml", "--job", "job.yaml", code=Exit.PROCEDURE).stderr
        done = evendraw(shop, "talk", "twin-choke-sidedraugt", "--job", "job.yaml", code=Exit.PROCEDURE)
        assert "Did you mean 'twin-choke-sidedraught'?" in done.stderr

    def test_a_procedure_for_another_bank(self, shop: Path) -> None:
        (shop / "job.yaml").write_text(JOB.replace("twin valve header", "triple valve header"), encoding="utf-8")
        done = evendraw(shop, "talk", str(BLEED), "--job", "job.yaml", code=Exit.USAGE)
        assert "is for twin valve header, but the job's bank is 'triple valve header'" in done.stderr

    def test_a_job_setting_that_no_file_has(self, shop: Path) -> None:
        (shop / "job.yaml").write_text(JOB + "settings: {target: 3}\n", encoding="utf-8")
        assert "sets 'target'" in evendraw(shop, "talk", str(BLEED), "--job", "job.yaml", code=Exit.USAGE).stderr

    def test_a_book_that_is_none(self, shop: Path) -> None:
        (shop / "jobs.book").write_text("A letter to my aunt. " * 200, encoding="utf-8")
        done = evendraw(shop, "talk", str(BLEED), "--job", "job.yaml", code=Exit.BOOK)
        assert "not a job book" in done.stderr

    def test_a_second_window_on_the_same_job(self, shop: Path) -> None:
        from engine.book.book import Book

        run = talked(shop, str(BLEED), "--job", "job.yaml")[0]["run"]
        book = Book.open(shop / "jobs.book")
        book.hold(1)
        assert "another window" in evendraw(shop, "talk", "--run", run, code=Exit.BOOK).stderr
        book.close()

    def test_a_run_that_is_not_there(self, shop: Path) -> None:
        assert "no run 7.1" in evendraw(shop, "talk", "--run", "7.1", code=Exit.BOOK).stderr

    @pytest.mark.parametrize("arguments", [[], [str(BLEED)], ["--job", "job.yaml"], [str(BLEED), "--run", "1.1"]])
    def test_too_little_or_too_much(self, shop: Path, arguments: list[str]) -> None:
        assert "give a procedure and --job FILE" in evendraw(shop, "talk", *arguments, code=Exit.USAGE).stderr

    def test_a_reader_that_goes_away_is_no_trouble(self, shop: Path) -> None:
        env = {**os.environ, "EVENDRAW_BOOK": str(shop / "jobs.book"), "PYTHONPATH": str(ROOT)}
        with subprocess.Popen(
            [sys.executable, "-m", "tui", "talk", str(BLEED), "--job", "job.yaml"],
            cwd=shop,
            env=env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        ) as process:
            assert process.stdin and process.stdout and process.stderr
            process.stdout.readline()
            process.stdout.close()
            process.stdin.write(b'{"readings": {"air": "yes"}}\n' * 3)
            process.stdin.close()
            assert process.stderr.read() == b""
            assert process.wait() == 0

    def test_it_ends_with_the_run_though_the_client_keeps_its_end_open(self, shop: Path) -> None:
        env = {**os.environ, "EVENDRAW_BOOK": str(shop / "jobs.book"), "PYTHONPATH": str(ROOT)}
        with subprocess.Popen(
            [sys.executable, "-m", "tui", "talk", str(BLEED), "--job", "job.yaml"],
            cwd=shop,
            env=env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        ) as process:
            assert process.stdin and process.stdout
            process.stdin.write(b'{"readings": {"air": "no"}}\n')
            process.stdin.flush()
            assert process.wait(timeout=30) == 0
            assert json.loads(process.stdout.read().splitlines()[-1])["kind"] == "end"

    def test_the_shop_outranks_the_shipped_files_and_its_settings_hold(self, shop: Path) -> None:
        own = shop / "own"
        own.mkdir()
        text = BLEED.read_text(encoding="utf-8").replace("bleed_line", "diagnose")
        (own / "diagnose.yaml").write_text(text, encoding="utf-8", newline="\n")
        assert talked(shop, "diagnose", "--job", "job.yaml")[1]["step"] == "bleed"
        (own / "settings.yaml").write_text("gap_ok: [1, 2]\n", encoding="utf-8")
        done = evendraw(shop, "talk", "diagnose", "--job", "job.yaml", code=Exit.USAGE)
        assert "settings.yaml:1:1: " in done.stderr


class TestTheBookFromOutside:
    def test_sheet_and_jobs(self, shop: Path) -> None:
        talked(shop, str(BLEED), "--job", "job.yaml", answers=[{"readings": {"air": "no"}}])
        sheet = evendraw(shop, "sheet", "1").stdout
        assert "A. Sample" in sheet
        assert "Bleed the line (bleed_line, revision 1)" in sheet
        assert max(map(len, sheet.splitlines())) <= 80
        assert evendraw(shop, "sheet", "1.1").stdout == sheet
        assert "1.1      Bleed the line: done" in evendraw(shop, "jobs").stdout

    def test_an_answer_is_struck_and_a_fact_is_put_right(self, shop: Path) -> None:
        talked(shop, str(BLEED), "--job", "job.yaml", answers=[{"note": "Bonnet up."}])
        assert evendraw(shop, "book", "strike", "1.1").stdout == "No answer of run 1.1 stands.\n"
        wrong = evendraw(shop, "book", "correct", "1.1", "bank.carbs=x", "--yes", code=Exit.USAGE).stderr
        assert "bank.carbs: 'x' is no whole number." in wrong
        right = evendraw(shop, "book", "correct", "1.1", "fuel.ethanol=5 %", "--yes").stdout
        assert "go on with run 1.2" in right
        again = evendraw(shop, "book", "correct", "1.1", "fuel.ethanol=10 %", "--yes", code=Exit.BOOK).stderr
        assert "run 1.2 took its place: go on with that" in again
        talked(shop, "--run", "1.2", answers=[{"readings": {"air": "no"}}])
        line = evendraw(shop, "book", "strike", "1.2").stdout
        shown = evendraw(shop, "book", "strike", "1.2", line.split()[0], code=Exit.PROBLEMS).stdout
        assert "Struck would be 1 answer:" in shown and "Nothing was changed." in shown
        assert (
            "Struck. The run stands at 'Bleed'"
            in evendraw(shop, "book", "strike", "1.2", line.split()[0], "--yes").stdout
        )
        assert "STRUCK" in evendraw(shop, "sheet", "1").stdout

    def test_a_customer_has_several_vehicles(self, shop: Path) -> None:
        (shop / "other.yaml").write_text(JOB.replace("SAMPLE 1", "SAMPLE 2"), encoding="utf-8")
        (shop / "none.yaml").write_text(JOB.replace("A. Sample", '""'), encoding="utf-8")
        for job in ("job.yaml", "other.yaml", "none.yaml"):
            talked(shop, str(BLEED), "--job", job, answers=[])
        assert evendraw(shop, "book", "customers").stdout.count("A. Sample") == 2
        evendraw(shop, "book", "join", "2", "1", "--customer")
        said = evendraw(shop, "book", "customers").stdout
        assert said.count("A. Sample") == 1
        assert "SAMPLE 1, water cart, invented: jobs 3, 1" in said and "SAMPLE 2, water cart, invented: job 2" in said
        assert "names no customer" in evendraw(shop, "book", "join", "1", "3", "--customer", code=Exit.BOOK).stderr
        evendraw(shop, "book", "split", "2")
        assert evendraw(shop, "book", "customers").stdout.count("A. Sample") == 2

    def test_persons_can_be_forgotten(self, shop: Path) -> None:
        talked(shop, str(BLEED), "--job", "job.yaml", answers=[{"readings": {"air": "no"}}])
        assert "Sample" not in evendraw(shop, "jobs", "--forget", "1").stdout
        assert "Sample" not in evendraw(shop, "sheet", "1").stdout
        assert b"Sample" not in (shop / "jobs.book").read_bytes()

    @pytest.mark.parametrize("job", ["9", "9.1", "x"])
    def test_a_sheet_of_nothing(self, shop: Path, job: str) -> None:
        talked(shop, str(BLEED), "--job", "job.yaml")
        assert "evendraw jobs" in evendraw(shop, "sheet", job, code=Exit.BOOK).stderr

    def test_no_book_to_read(self, shop: Path) -> None:
        assert "no job book at" in evendraw(shop, "sheet", "1", code=Exit.BOOK).stderr
        assert not (shop / "jobs.book").exists()

    def test_where_prints_every_path_and_makes_none(self, shop: Path) -> None:
        printed = evendraw(shop, "where").stdout
        assert f"{shop / 'jobs.book'}  (not there yet)" in printed
        assert str(ROOT / "procedures") in printed
        assert [p.name for p in shop.iterdir()] == ["job.yaml"]
        assert str(shop / "else.book") in evendraw(shop, "where", "--book", str(shop / "else.book")).stdout

    @pytest.mark.skipif(os.name == "nt", reason="of Unix")
    @pytest.mark.parametrize(
        ("place", "says"),
        [
            ("job.yaml/jobs.book", "can't be: what it should lie in is a file"),
            ("round", "can't be reached: "),
            ("n" * 300, "can't be reached: "),
            ("gone", "a link to what is not there"),
        ],
    )
    def test_where_says_truly_why_a_place_is_not_there(self, shop: Path, place: str, says: str) -> None:
        (shop / "round").symlink_to(shop / "round")
        (shop / "gone").symlink_to(shop / "nowhere")
        printed = evendraw(shop, "where", "--book", str(shop / place)).stdout.splitlines()[0]
        assert f"{shop / place}  ({says}" in printed and "not there yet" not in printed


class TestForAuthors:
    def test_check_ends_with_1_for_a_fault_and_0_for_a_sound_file(self, shop: Path) -> None:
        assert "Sound" in evendraw(shop, "check", str(BLEED)).stdout
        (shop / "broken.yaml").write_text("procedure: broken\n", encoding="utf-8")
        assert "broken.yaml:1" in evendraw(shop, "check", "broken.yaml", code=Exit.PROBLEMS).stdout

    def test_what_new_writes_is_followed_on_its_job_whatever_the_family_is_called(self, shop: Path) -> None:
        """A family that is called almost as a shipped one is a slip only where the procedure does not declare it."""
        evendraw(shop, "new", "mine", "--family", "triple sidedraught", "--carbs", "3", "--barrels", "2")
        assert '"step": "preset"' in evendraw(shop, "talk", "mine.yaml", "--job", "mine-job.yaml").stdout
        refused = evendraw(shop, "talk", "twin-choke-sidedraught", "--job", "mine-job.yaml", code=Exit.USAGE)
        assert "Nobody declares the family 'triple sidedraught'" in refused.stderr

    def test_new_writes_a_sound_file_and_never_over_another(self, shop: Path) -> None:
        evendraw(shop, "new", "my-pair")
        evendraw(shop, "check", "my-pair.yaml")
        assert "already" in evendraw(shop, "new", "my-pair", code=Exit.USAGE).stderr
        assert "can't name" in evendraw(shop, "new", "../mine", code=Exit.USAGE).stderr

    def test_advisers_prints_what_each_takes_gives_and_finds(self, shop: Path) -> None:
        from engine.carburation.registry import ADVISERS

        listed = evendraw(shop, "advisers").stdout
        for name, adviser in ADVISERS.items():
            assert name in listed
            told = evendraw(shop, "advisers", name).stdout if name in ("idle_jets", "sizing") else ""
            for word in (*adviser.inputs, *adviser.reads, *adviser.outputs, *adviser.findings, *adviser.retired):
                assert not told or word in told
        assert "Did you mean" in evendraw(shop, "advisers", "idle_jet", code=Exit.USAGE).stderr

    def test_what_must_be_given_stands_before_what_may_be_left_out(self, shop: Path) -> None:
        taken = evendraw(shop, "advisers", "air_balance").stdout.partition("Takes")[2].partition("must be given")[0]
        names = [line.split()[0] for line in taken.splitlines()[1:] if line[:3].strip()]
        assert names[:4] == ["flow", "screw", "tolerance", "speed"]

    def test_explain_route_and_schema(self, shop: Path) -> None:
        assert "uncovered-reading" in evendraw(shop, "explain").stdout
        assert evendraw(shop, "explain", "uncovered-reeding", code=Exit.USAGE).stderr
        assert "bleed" in evendraw(shop, "route", str(BLEED)).stdout
        assert evendraw(shop, "route", str(BLEED), "--format", "svg").stdout.startswith("<svg")
        for of in ("procedure", "job", "talk"):
            assert "$schema" in json.loads(evendraw(shop, "schema", of).stdout)


@pytest.mark.parametrize("arguments", [[], ["run", str(BLEED), "--job", "job.yaml"], ["rehearse"]])
def test_without_a_terminal_the_screen_is_refused_in_a_sentence(shop: Path, arguments: list[str]) -> None:
    done = evendraw(shop, *arguments, code=Exit.USAGE)
    assert "needs a terminal" in done.stderr
    assert done.stdout == ""


HEADLESS = {
    "--version": [],
    "--help": [],
    "where": [],
    "explain": [],
    "schema": [],
    "advisers": ["idle_jets"],
    "jobs": [],
    "new": ["fresh"],
    "check": [str(BLEED)],
    "route": [str(BLEED)],
    "sheet": ["1"],
    "talk": [str(BLEED), "--job", "job.yaml"],
    "sizing": ["job.yaml"],
}


@pytest.mark.parametrize("command", HEADLESS)
def test_no_headless_command_loads_the_terminal_or_arrays(shop: Path, command: str) -> None:
    code = (
        "import sys; from tui.commandline.cli import main; main(sys.argv[1:]); "
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'textual', 'rich', 'numpy', 'scipy'}), "
        "file=sys.stderr)"
    )
    env = {**os.environ, "EVENDRAW_BOOK": str(shop / "jobs.book"), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", code, command, *HEADLESS[command]],
        input="",
        capture_output=True,
        text=True,
        cwd=shop,
        env=env,
    )
    assert done.stderr.splitlines()[-1] == "[]"


def test_version_and_help_load_none_of_the_engine() -> None:
    code = (
        "import sys; from tui.commandline.cli import main; main(['--version']); main(['--help']); "
        "print(sorted(m for m in sys.modules if m.startswith(('engine.', 'pydantic', 'ruamel', 'platformdirs'))))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_fault_of_the_program_leaves_a_report_and_a_sentence(
    shop: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from tui.commandline import commands

    def broken(_: Any) -> int:
        raise ZeroDivisionError("secret")

    monkeypatch.setenv("EVENDRAW_LOG", str(shop / "log"))
    monkeypatch.setattr(commands, "run", broken)
    assert cli.main(["where"]) == Exit.INTERNAL
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    assert "ZeroDivisionError" in next((shop / "log").iterdir()).read_text(encoding="utf-8")


def test_an_interrupt_ends_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    from tui.commandline import commands

    def interrupted(_: Any) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(commands, "run", interrupted)
    assert cli.main(["where"]) == Exit.INTERRUPTED


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["rehearse", "warm-up", "--fault", "broken wheel"], "No fault is called 'broken wheel'"),
        (["rehearse", "warm-upp"], "evendraw rehearse: There is no procedure `warm-upp`. Did you mean"),
        (["rehearse", "nonsens"], "There is no procedure `nonsens`. There are: beyond-idle, constant-depression, "),
    ],
)
def test_a_wrong_fault_or_procedure_is_a_sentence_before_any_screen(
    arguments: list[str], says: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tui.commandline.commands._terminal", lambda: None)
    assert cli.main(arguments) == 2
    assert says in capsys.readouterr().err
