"""The hand-over screen: how the run ended, as found and as left, what to tell the customer; it changes nothing in the
run."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding

from tui.control import actions
from tui.control.questions import Line, Press
from tui.drawing import handover_lines
from tui.drawing.lines import Lines
from tui.screens.base import AnsweringScreen
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn, Page

if TYPE_CHECKING:
    from tui.catalogue.shop import Shop
    from tui.control.sitting import Sitting


class HandoverScreen(AnsweringScreen[str | None]):
    """Shown once a run has ended; Enter goes home. Dismissed with `undone` where the last answer was taken back."""

    NAME = "handover"
    SCROLLS = "#page"
    LEAST = (60, 20)
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("handover")]

    def __init__(self, sitting: Sitting, shop: Shop) -> None:
        super().__init__()
        self.sitting = sitting
        self.shop = shop
        self.sheet = sitting.sheet(shop.header)
        self.truth = sitting.truth()

    def compose(self) -> ComposeResult:
        yield Drawn(lambda cells, rows: handover_lines.head(self.sheet, cells), classes="bar")
        with Page(id="page"):
            yield Drawn(self._page)
        yield Pad(id="pad")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        self.ask()

    def _page(self, cells: int, rows: int) -> Lines:
        return handover_lines.page(self.sheet, cells, self.truth)

    def question(self) -> Press:
        """Nothing but to go home."""
        return Press("Read, go home" if not self.sitting.rehearses else "Read: that was the engine. Go home")

    def answered(self, question: Any, value: Any) -> None:
        """Home."""
        self.leave()

    def leave(self) -> None:
        """The job is let go."""
        self.sitting.close()
        self.dismiss(None)

    def allowed(self, id: str) -> bool:
        """A rehearsal has no sheet: nothing of it is kept."""
        if id == "undo":
            return self.sitting.view.can_undo and not self.sitting.looks
        return super().allowed(id) and (id != "sheet" or not self.sitting.rehearses)

    def do_undo(self) -> None:
        """Back into the run: the answer that ended it is taken back."""
        from tui.control.sitting import Trouble

        try:
            problem = self.sitting.answer(undo=True)
        except Trouble as trouble:
            problem = str(trouble)
        if problem:
            self.pad.say(problem)
        else:
            self.dismiss("undone")

    def do_sheet(self) -> None:
        """The job sheet into a file of the person's choice; its ending says in which form."""
        usual = self.shop.jobs.parent / f"job-{self.sitting.view.run.replace('.', '-')}.html"

        def write(named: str) -> None:
            from engine.book.opening import write_private
            from engine.sheet.printers import ENDINGS, printed

            path = Path(named).expanduser()
            form = next((f for f, ending in ENDINGS.items() if path.suffix.lower() == ending), None)
            if form is None:
                self.ask(cue=f"Which form? End the name in one of {', '.join(ENDINGS.values())}.")
                return
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
                write_private(path, printed(self.sheet, form, self.shop.header.get("paper", "A4")))
            except (OSError, ValueError) as fault:
                why = getattr(fault, "strerror", None) or str(fault)
                self.ask(cue=f"Not written: {path}: {why}. Choose another place.")
                return
            self.ask(cue=f"Written to {path}.")

        self.lay(Line("WRITE THE JOB SHEET TO (.html .txt .csv .json)", str(usual)), write)
