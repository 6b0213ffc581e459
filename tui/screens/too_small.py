"""What shows while the window is too small: it takes no key but the one that closes the program, so nothing is typed
unseen."""

from __future__ import annotations

from textual import events
from textual.app import ComposeResult
from textual.screen import Screen

from tui.drawing.lines import Lines, wrapped
from tui.widgets.painted import Drawn

LEAST = (80, 24)


def lines(cells: int, size: tuple[int, int], least: tuple[int, int] = LEAST) -> Lines:
    """What is wrong and what to do; `least` is what the screen behind it needs."""
    return wrapped(
        f"This window is {size[0]} x {size[1]}. This screen needs {least[0]} x {least[1]}: make it larger, or "
        "the letters smaller. Nothing is lost. Ctrl+Q closes.",
        max(1, cells),
        "strong",
    )


class TooSmall(Screen[None]):
    """Stands in front of whatever was open."""

    AUTO_FOCUS = None

    def __init__(self, least: tuple[int, int] = LEAST) -> None:
        super().__init__()
        self.least = least

    def compose(self) -> ComposeResult:
        yield Drawn(lambda cells, rows: lines(cells, (self.app.size.width, self.app.size.height), self.least))

    def on_resize(self) -> None:
        self.query_one(Drawn).redraw()

    def on_key(self, event: events.Key) -> None:
        event.stop()
        event.prevent_default()
