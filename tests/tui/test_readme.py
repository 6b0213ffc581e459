"""Every example of the README does what it says there."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tui.commandline import cli
from tui.commandline.cli import Exit

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block(mark: str) -> str:
    """The fenced text after a mark in the README."""
    found = re.search(rf"<!-- {re.escape(mark)} -->\n```\w*\n(.*?)```", README, re.S)
    assert found, f"no block after <!-- {mark} -->"
    return found[1]


@pytest.fixture
def evendraw(tmp_path: Path):
    """Runs a command line of the README in a folder of its own; returns what it printed."""
    (tmp_path / "job.yaml").write_text(block("job.yaml"), encoding="utf-8", newline="\n")
    (tmp_path / "shop").mkdir()
    (tmp_path / "shop" / "settings.yaml").write_text(block("settings.yaml"), encoding="utf-8", newline="\n")
    env = os.environ | {
        "EVENDRAW_BOOK": str(tmp_path / "jobs.book"),
        "EVENDRAW_SHOP": str(tmp_path / "shop"),
        "EVENDRAW_LOG": str(tmp_path / "log"),
        "PYTHONPATH": str(ROOT),
        "PYTHONUTF8": "1",
    }

    def run(line: str, said: str = "", code: int = Exit.OK) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "tui", *line.split()[1:]]
            if '"' not in line
            else [sys.executable, "-m", "tui", *_words(line)[1:]],
            input=said,
            capture_output=True,
            text=True,
            encoding="utf-8",
            cwd=tmp_path,
            env=env,
        )
        assert done.returncode == code, done.stderr
        return done.stdout

    return run


def _words(line: str) -> list[str]:
    import shlex

    return shlex.split(line)


def test_the_test_command_is_the_one_that_is_run_before_a_change_lands() -> None:
    command = block("test command").strip()
    assert command.count("\n") == 0 and command.endswith("python -m pytest")
    runner = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "<!-- test command -->" in runner and "README.md" in runner


def test_the_picture_is_the_recorded_screen() -> None:
    recorded = (ROOT / "tests/tui/recorded/shipped/mixture-found-so-far-80x24.txt").read_text(encoding="utf-8")
    assert block("picture") == recorded


def test_the_commands_that_start_a_file_check_it_and_draw_it(evendraw) -> None:
    lines = re.findall(r"^evendraw (?:new|check|route) .*$", README, re.M)
    assert len(lines) == 3
    printed = [evendraw(line) for line in lines]
    assert "■ done (ok)" in printed[-1]


def test_the_job_runs_over_the_protocol_as_shown(evendraw) -> None:
    said = block("talk in")
    heard = [
        json.loads(line) for line in evendraw("evendraw talk twin-choke-sidedraught --job job.yaml", said).splitlines()
    ]
    shown = [json.loads(line) for line in block("talk out").splitlines()]
    assert [{k: h[k] for k in s} for h, s in zip(heard, shown, strict=True)] == shown


def test_the_shops_settings_are_in_force(evendraw) -> None:
    heard = evendraw("evendraw talk twin-choke-sidedraught --job job.yaml", '{"abandon": "only a look"}\n')
    assert '"kind": "end"' in heard


def test_sheet_jobs_sizing_and_where_print(evendraw) -> None:
    evendraw("evendraw talk twin-choke-sidedraught --job job.yaml")
    assert "JOB SHEET 1" in evendraw("evendraw sheet 1")
    assert "invented" in evendraw("evendraw jobs")
    assert "idle jet" in evendraw("evendraw sizing job.yaml")
    assert "shop folder" in evendraw("evendraw where")


def test_the_book_is_looked_after_as_shown(evendraw) -> None:
    evendraw("evendraw talk twin-choke-sidedraught --job job.yaml")
    said = [evendraw(line) for line in block("book").splitlines()]
    for part, printed in zip(("Whole", "Copied to", "is that of", "Taken out of 1 visits"), said, strict=True):
        assert part in printed


def test_every_command_of_the_table_exists_and_every_command_is_in_it() -> None:
    named = set(re.findall(r"`evendraw (\w+)", README))
    assert named == set(cli._COMMANDS)


def test_the_exit_codes_are_those_of_the_program() -> None:
    said = re.search(r"Exit codes: (.*?)\n\n", README, re.S)
    assert said and {int(n) for n in re.findall(r"\b(\d+) ", said[1])} == set(Exit)


def test_every_shipped_main_file_is_listed() -> None:
    listed = set(re.findall(r"`([a-z-]+)`", README))
    mains = {
        "twin-choke-sidedraught",
        "constant-depression",
        "motorcycle-bank",
        "progressive-downdraught",
        "single-carburettor",
        "fit-to-tune",
        "sizing-review",
        "beyond-idle",
        "diagnose",
    }
    assert mains <= listed
    assert all((ROOT / "procedures" / f"{name}.yaml").exists() for name in mains)
