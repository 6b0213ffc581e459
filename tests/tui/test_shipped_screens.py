"""What the shipped procedures look like at the smallest full size, kept as text; all sizes and the pictures by
`python -m tests.tui.shipped --check`, and anew without it: the commit says why they changed.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.tui import shipped

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def now(tmp_path_factory: pytest.TempPathFactory) -> Any:
    from engine.session import session

    clock = session.wall_clock
    try:
        yield shipped.texts(tmp_path_factory.mktemp("walk"), (shipped.SIZES[0],))
    finally:
        session.wall_clock = clock


def test_every_state_looks_as_it_is_recorded(now: dict[Path, str]) -> None:
    other = [p.name for p, text in now.items() if not p.exists() or p.read_text(encoding="utf-8") != text]
    assert not other, f"look otherwise: {', '.join(other)}; python -m tests.tui.shipped keeps them so"


def test_twenty_states_stand_there_at_three_sizes_and_eight_as_pictures_in_both_looks() -> None:
    for size in shipped.SIZES:
        assert len(list(shipped.RECORDED.glob(f"*-{size[0]}x{size[1]}.txt"))) >= 20
    for theme in ("dim", "glare"):
        assert len(list(shipped.RECORDED.glob(f"*-{theme}.svg"))) == 8


def test_the_readmes_pictures_are_those_of_a_shipped_procedure(now: dict[Path, str]) -> None:
    """Each sentence of the picture stands in a shipped file or is the program's: it was painted from a run of one."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert now[shipped.RECORDED / f"{shipped.README_TEXT}.txt"] in readme
    for name in (shipped.README_PICTURE, "session"):
        path = shipped.RECORDED / f"{name}.svg"
        assert path.exists() and path.relative_to(ROOT).as_posix() in readme
