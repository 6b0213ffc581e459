"""A vehicle through the years: what was measured plotted from visit to visit, side by side; it changes nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding

from tui.control import actions
from tui.control.questions import Option, Pick
from tui.drawing import history_lines
from tui.drawing.lines import Line, Lines, clean, cut_line
from tui.screens.base import AnsweringScreen, page_and_pad
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn, Page

if TYPE_CHECKING:
    from engine.sheet.history import Visit
    from tui.control.board import Told


class HistoryScreen(AnsweringScreen[None]):
    """A list of what was measured on the pad, and a page on the one in hand."""

    NAME = "history"
    SCROLLS = "#page"
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("history")]

    def __init__(self, visits: list[Visit], whose: Told | None = None) -> None:
        super().__init__()
        self.visits = visits
        self.whose = whose
        options = tuple(Option(title, title) for title in history_lines.titles(visits))
        self.picks = Pick("SHOW", options, hold=True)

    def compose(self) -> ComposeResult:
        yield from page_and_pad(Drawn(self._head, classes="bar"), Drawn(self._page, id="about"))

    def on_mount(self) -> None:
        self.ask()

    def question(self) -> Pick:
        """Which figure."""
        return self.picks

    def answered(self, question: Any, value: Any) -> None:
        """Enter: the next figure."""
        self.picks.at = (self.picks.at + 1) % len(self.picks.options)
        self._repaint()
        self.ask()

    def on_pad_typed(self, message: Pad.Typed) -> None:
        """Another figure is in hand."""
        if message.question is self.picks:
            self._repaint()

    def _repaint(self) -> None:
        self.query_one("#page", Page).scroll_home(animate=False)
        self.query_one("#about", Drawn).redraw()

    def _head(self, cells: int, rows: int) -> Lines:
        w = self.whose
        who = "  ".join(b for b in (w.mark, w.customer) if b) if w is not None else ""
        visits = f"{len(self.visits)} visit{'' if len(self.visits) == 1 else 's'}"
        line: Line = ((" THROUGH THE YEARS ", "key"), (f"  {clean(who)}", "strong"), (f"   {visits}", "soft"))
        return [cut_line(line, cells)]

    def _page(self, cells: int, rows: int) -> Lines:
        options = self.picks.options
        return history_lines.page(self.visits, options[self.picks.at].value if options else "", cells)
