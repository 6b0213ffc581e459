"""What the tests of the screen share: a clean environment, sample steps, a run on two garden taps, grids of what is
painted."""

from __future__ import annotations

import os
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))


@pytest.fixture(autouse=True)
def _clean(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No setting of whoever runs the tests reaches the screen, and nothing is written outside a folder of the test."""
    for name in list(os.environ):
        if name in ("NO_COLOR", "COLORTERM") or name.startswith(("TEXTUAL", "EVENDRAW")):
            monkeypatch.delenv(name)
    monkeypatch.setenv("EVENDRAW_LOG", str(tmp_path / "log"))


@pytest.fixture
def samples() -> ModuleType:
    """Hand-made steps, and a sitting made of them."""
    import samples

    return samples


def painted(app: Any) -> list[str]:
    """What is on the screen, a text a line."""
    return ["".join(s.text for s in strip).rstrip() for strip in app.screen._compositor.render_strips()]


@pytest.fixture
def grid() -> Callable[[Any], list[str]]:
    """What is on the screen of an app, a text a line."""
    return painted


@pytest.fixture
def at_run() -> Callable[..., Any]:
    """A run screen on a sitting, at a size: `async with at_run(sitting, (80, 24)) as (pilot, screen)`."""
    from textual.screen import Screen

    from tui.app import Evendraw
    from tui.screens.run import RunScreen

    @asynccontextmanager
    async def opened(sitting: Any, size: tuple[int, int] = (80, 24), **how: Any) -> AsyncIterator[Any]:
        app = Evendraw(Screen)
        async with app.run_test(size=size) as pilot:
            screen = RunScreen(sitting, **how)
            await app.push_screen(screen)
            await pilot.pause()
            yield pilot, screen

    return opened


JOB = {
    "title": "drips since the winter",
    "customer": "A. Sample",
    "vehicle": {"registration": "SAMPLE 1", "description": "water cart, invented"},
    "engine": {"cylinders": 2, "displacement": "500 cc", "idle_speed": "900 rpm"},
    "bank": {"family": "garden tap", "carbs": 2, "barrels_per_carb": 1},
}


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    """A shop with one procedure of its own and an empty book."""
    from tui.control.desk import Shop

    own = tmp_path / "procedures"
    own.mkdir()
    (own / "two_taps.yaml").write_text((HERE / "two_taps.yaml").read_text(encoding="utf-8"), encoding="utf-8")
    return Shop(tmp_path / "jobs.book", (own,), tmp_path / "jobs")


@pytest.fixture
def taps(shop: Any) -> Any:
    """A run on the two garden taps, recorded in a real book."""
    from engine.job.model import Job
    from tui.control.desk import Desk

    desk = Desk(shop)
    sitting = desk.start(desk.program("two_taps"), Job.model_validate(JOB), None)
    yield sitting
    desk.close()


@pytest.fixture
def recorded() -> Callable[[Any], list[Any]]:
    """The events of a sitting as they stand in its book: (kind, readings or text)."""
    from engine.book import codec

    def events(sitting: Any) -> list[Any]:
        return [codec.body_of(e) for e in sitting.session.book.events(sitting.session.run)]

    return events
