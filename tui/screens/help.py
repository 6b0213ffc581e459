"""The help page: the keys of the screen that it was called from, made from the registry; it takes no answer."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.screen import Screen

from tui import actions, themes
from tui.screens.pages import keys
from tui.widgets.drawn import Drawn
from tui.widgets.keybar import KeyBar


class HelpScreen(Screen[None]):
    """Esc, F1 or Enter goes back."""

    BINDINGS: ClassVar = [*(Binding(*b, show=False) for b in actions.bindings("help")),
                          Binding("f1,enter", "do('leave')", show=False)]
    AUTO_FOCUS = None

    def __init__(self, of: str) -> None:
        super().__init__()
        self.of = of

    def compose(self) -> ComposeResult:
        yield Drawn(lambda cells, rows: [((" KEYS ", "key"), ("  Esc goes back.", "soft"))], classes="bar")
        with VerticalScroll(id="page", can_focus=False):
            yield Drawn(lambda cells, rows: keys(self.of, cells))
        yield KeyBar()

    def on_mount(self) -> None:
        self.call_after_refresh(self.offer)

    def on_resize(self) -> None:
        self.call_after_refresh(self.offer)

    def offer(self) -> None:
        """Scrolling is offered where there is something to scroll."""
        box = self.query_one("#page", VerticalScroll)
        self.query_one(KeyBar).offer("help", lambda id: box.max_scroll_y > 0 or id not in ("up", "down"))

    def action_do(self, ids: str) -> None:
        """A key of the registry."""
        box = self.query_one("#page", VerticalScroll)
        if ids == "leave":
            self.dismiss(None)
        elif ids == "look":
            self.app.theme = themes.other(self.app.theme)
        elif ids == "up":
            box.scroll_page_up(animate=False)
        else:
            box.scroll_page_down(animate=False)
