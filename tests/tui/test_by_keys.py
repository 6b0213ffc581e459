"""A whole routine by real keys through a pseudo-terminal, from its first step to what was really wrong; those of all
families by `python -m tests.tui.by_keys`."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.tui.by_keys import drive


@pytest.mark.skipif(os.name == "nt", reason="needs a pseudo-terminal")
def test_a_routine_is_followed_to_its_end_by_keys_alone(tmp_path: Path) -> None:
    one = drive("single-carburettor", 3, tmp_path)
    assert one.outcome == "ok" and one.events > 40 and one.handed_over
