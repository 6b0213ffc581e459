"""The help page: the keys of the screen that it was called from, made from the registry; it takes no answer."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import Screen

from tui.control import actions
from tui.screens.pages import keys
from tui.styles import themes
from tui.widgets.keybar import KeyBar
from tui.widgets.painted import Drawn, Page


class HelpScreen(Screen[None]):
    """Esc, F1 or Enter goes back."""

    BINDINGS: ClassVar = [
        *(Binding(*b, show=False) for b in actions.bindings("help")),
        Binding("f1,enter", "do('leave')", show=False),
    ]
    AUTO_FOCUS = None

    def __init__(self, of: str) -> None:
        super().__init__()
        self.of = of

    def compose(self) -> ComposeResult:
        yield Drawn(lambda cells, rows: [((" KEYS ", "key"), ("  Esc goes back.", "soft"))], classes="bar")
        with Page(id="page"):
            yield Drawn(lambda cells, rows: keys(self.of, cells))
        yield KeyBar()

    def on_mount(self) -> None:
        self.offer()

    def on_page_scrolling(self) -> None:
        """There is more than shows, or no longer."""
        self.offer()

    def offer(self) -> None:
        """Scrolling is offered where there is something to scroll."""
        box = self.query_one("#page", Page)
        self.query_one(KeyBar).offer("help", lambda id: box.show_vertical_scrollbar or id not in ("up", "down"))

    def action_do(self, ids: str) -> None:
        """A key of the registry."""
        box = self.query_one("#page", Page)
        if ids == "leave":
            self.dismiss(None)
        elif ids == "look":
            if not self.app.no_color:
                self.app.theme = themes.other(self.app.theme)
        elif ids == "up":
            box.scroll_page_up(animate=False)
        else:
            box.scroll_page_down(animate=False)
