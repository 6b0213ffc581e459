"""The types that the code writes down are true: mypy, strict, finds nothing in engine and tui."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_mypy_strict_finds_nothing():
    # Settings in pyproject.toml. About 25 s on one core without its cache (.mypy_cache), 2 s with it.
    found = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-error-summary", "--no-pretty"], cwd=ROOT, capture_output=True, text=True
    )
    assert found.returncode == 0, found.stdout + found.stderr


def test_both_packages_say_that_they_are_typed():
    assert all((ROOT / package / "py.typed").is_file() for package in ("engine", "tui"))


def test_a_misspelt_input_of_an_adviser_or_word_of_its_verdict_is_seen(tmp_path):
    slips = tmp_path / "slips.py"
    slips.write_text(
        "from engine.carburation.advisers.idle_speed import Asks, Tells\n"
        "def off(asked: Asks) -> float:\n"
        "    return float(asked.targget or 0)\n"
        'good = Tells(verdict="at speed", speed_off=0.0, sureness=1)\n',
        encoding="utf-8",
    )
    ran = subprocess.run(
        [sys.executable, "-m", "mypy", "--no-error-summary", "--no-pretty", str(slips)],
        cwd=ROOT,
        capture_output=True,
        text=True,
    )
    assert '"Asks" has no attribute "targget"' in ran.stdout and "\"Literal['at speed']\"" in ran.stdout
