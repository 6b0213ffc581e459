"""A run that another window works on, looked at: it follows that window by itself, and nothing can be answered here."""

from __future__ import annotations

from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding

from tui.control import actions
from tui.control.desk import Desk
from tui.control.questions import Press
from tui.control.sitting import Sitting, Trouble
from tui.drawing import bank, card, step_lines, where
from tui.drawing.lines import Line, Lines, cut_line
from tui.screens.base import AnsweringScreen, page_and_pad
from tui.screens.pages import record
from tui.widgets.painted import Drawn

#: How often it looks whether the other window has gone on, in seconds.
EVERY = 2.0
TITLE: Line = ((" LOOKING ONLY ", "key"), ("  Another window works on this job; what it answers shows here.", "soft"))


class WatchScreen(AnsweringScreen[None]):
    """Follows a run."""

    NAME = "watch"
    SCROLLS = "#page"
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("watch")]

    def __init__(self, desk: Desk, run: str) -> None:
        super().__init__()
        self.desk, self.run_id = desk, run
        self.sitting: Sitting = desk.look(run)
        self.trouble = ""

    def compose(self) -> ComposeResult:
        yield from page_and_pad(Drawn(self._head, id="where"), Drawn(self._page, id="about"))

    def on_mount(self) -> None:
        self.ask()
        self.set_interval(EVERY, self.follow)

    def question(self) -> Press:
        """Nothing but to go home."""
        return Press("Back; the other window goes on")

    def answered(self, question: Any, value: Any) -> None:
        """Home."""
        self.leave()

    def follow(self) -> None:
        """Look again where the other window has gone on."""
        if self.going:
            return
        try:
            if self.desk.answered_since(self.sitting):
                self.sitting = self.desk.look(self.run_id)
            self.trouble = ""
        except Trouble as trouble:
            self.trouble = str(trouble)
        for id in ("#where", "#about"):
            self.query_one(id, Drawn).redraw()

    def _head(self, cells: int, rows: int) -> Lines:
        v = self.sitting.view
        return [*where.line(v, self.sitting.whose, cells), cut_line(TITLE, cells)]

    def _page(self, cells: int, rows: int) -> Lines:
        v = self.sitting.view
        if self.trouble:
            return [((f" {self.trouble}", "amber"),)]
        if v.end is not None:
            return [((f" It has ended: {v.end.say}", "strong"),), (), *record(v, cells)]
        plan = bank.plan(v, self.sitting.layout, self.sitting.marks, self.sitting.cylinders)
        step = [*step_lines.head(v, cells), (), *card.step(v, cells, 30, card.Stage(large=False))]
        return [*step, (), *bank.draw(plan, cells, bank.tallest(plan, cells)), (), *record(v, cells)]
