"""A small sample of the mutation gate, so that the suite itself says when a number of the trade is guarded by no test.

Larger samples, and all of it, are commands: `python -m tests.mutation --sample 60`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from tests.mutation.__main__ import GUARDS
from tests.mutation.mutants import Mutant, every

ROOT = Path(__file__).resolve().parents[2]
#: A constant of an adviser, of what it believes and of the rules, and numbers of shipped files: each one change.
SAMPLE = (
    "advisers.idle_speed LONGEST 1",
    "estimation.bank SHIFT 1",
    "rules.sizing CORRECTOR_ABOVE_MAIN CORRECTOR_ABOVE_MAIN_RANGE 1",
    "fit-to-tune settings compression_floor value 1",
    "idle-jets settings weak_share value 1",
    "limits settings body_limit value 1",
)


def test_there_is_something_to_change_in_every_room_of_the_trade() -> None:
    found = every()
    rooms = {m.path.parent.name for m in found}
    assert {"rules", "advisers", "estimation", "policy", "procedures", "kits"} <= rooms
    assert len({m.name for m in found}) == len(found) > 400


def test_the_gate_names_no_test_that_is_not_there() -> None:
    assert [g for patterns in GUARDS.values() for g in patterns if not list(ROOT.glob(g))] == []


def test_every_survivor_that_is_excused_is_still_there() -> None:
    excused = YAML(typ="safe").load((ROOT / "tests" / "mutation" / "survivors.yaml").read_text(encoding="utf-8"))
    assert set(excused) - {m.name for m in every()} == set()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the gate needs an operating system that can fork")
def test_a_change_of_a_number_of_the_trade_is_noticed() -> None:
    command = [sys.executable, "-m", "tests.mutation", "--near", "--workers", "2", *SAMPLE]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout
    assert f"{len(SAMPLE)} killed" in done.stdout, done.stdout


def test_a_mutant_changes_one_number_and_no_more(tmp_path: Path) -> None:
    text = "PULL = 2.0\n\n\ndef f() -> float:\n    return PULL\n"
    path = tmp_path / "pull.py"
    path.write_text(text, encoding="utf-8")
    assert Mutant("pull PULL 1", path, 7, 10, "3.0").text() == text.replace("2.0", "3.0")
