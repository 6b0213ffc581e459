"""The procedures screen: which files there are, whether each is sound, what is wrong, which way it goes, a dry run;
it edits none.

Files are checked one after another in a thread, again when one changes on disk. The thread touches no widget.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Container
from textual.worker import get_current_worker

from tui.catalogue import shelf
from tui.control import actions
from tui.control.questions import Option, Pick
from tui.drawing.lines import Lines, clean, cut_line, wrapped
from tui.screens.base import AnsweringScreen
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn, Page

if TYPE_CHECKING:
    from engine.procedure.report.checking import Checked
    from tui.catalogue.shop import Shop

#: Engines of a dry run.
ENGINES = 12


class ProceduresScreen(AnsweringScreen[None]):
    """A list of files on the pad, and a page on the one in hand."""

    NAME = "procedures"
    SCROLLS = "#page"
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("procedures")]

    def __init__(self, shop: Shop) -> None:
        super().__init__()
        self.shop = shop
        self.files = shelf.paths(shop.procedures)
        self.known: dict[Path, Checked] = {}
        self.picks = Pick("PROCEDURES", (), hold=True)
        self.show = "problems"
        self.dry: list[str] = []
        self._list()

    def compose(self) -> ComposeResult:
        with Container(id="both"):
            with Page(id="page"):
                yield Drawn(self._page, id="about")
            yield Pad(id="pad")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        self.ask()
        self.call_after_refresh(self.check_all)
        self.set_interval(1.0, self._watch)

    def question(self) -> Pick:
        """The list."""
        return self.picks

    def answered(self, question: Any, value: Any) -> None:
        """Enter: what is wrong in it."""
        self.turn("problems")

    def on_pad_typed(self, message: Pad.Typed) -> None:
        """Another file is in hand."""
        if message.question is self.picks:
            self.dry = []
            self._repaint()

    @property
    def path(self) -> Path | None:
        """The file in hand."""
        return self.picks.options[self.picks.at].value if self.picks.options else None

    def _list(self) -> None:
        options = tuple(Option(p.stem, p, self._state(p)) for p in self.files)
        self.picks.options = options
        self.picks.at = min(self.picks.at, max(0, len(options) - 1))

    def _state(self, path: Path) -> str:
        checked = self.known.get(path)
        if checked is None:
            return "not checked yet"
        errors = sum(p.severity == "error" for p in checked.problems)
        others = len(checked.problems) - errors
        more = f", {others} to look at" if others else ""
        return f"✓ sound{more}" if checked.sound else f"✗ NOT SOUND, {errors} wrong{more}"

    def _repaint(self) -> None:
        self._list()
        self.pad.redraw()
        self.query_one("#about", Drawn).redraw()
        self.offer()

    def turn(self, show: str) -> None:
        """Show another page on the file in hand."""
        self.show = show
        self.query_one("#page", Page).scroll_home(animate=False)
        self._repaint()
        self.ask()

    # ---- checking

    @work(thread=True, exclusive=True, group="check", exit_on_error=False)
    def check_all(self) -> None:
        """Check every file that is not known, or that changed since; each is shown as soon as it is known."""
        worker = get_current_worker()
        for path in list(self.files):
            if worker.is_cancelled:
                return
            if path in self.known:
                continue
            try:
                checked = shelf.checked(path, self.shop.procedures)
            except Exception as fault:  # a file that breaks the checker must not hide the others
                self.app.call_from_thread(self._unchecked, path, fault)
                return
            self.app.call_from_thread(self._checked, path, checked)

    def _unchecked(self, path: Path, fault: Exception) -> None:
        from tui.commandline import crash

        where = crash.report(fault)
        self.pad.say(f"{path.name} could not be checked: the program failed on it. A report is in {where}.")

    def _checked(self, path: Path, checked: Checked) -> None:
        self.known[path] = checked
        if self.is_attached:
            self._repaint()

    def _watch(self) -> None:
        """Once a second: files that came, went or changed on disk are looked at again."""
        files = shelf.paths(self.shop.procedures)
        stale = [p for p in self.known if p not in files or shelf.stale(p)]
        for path in stale:
            self.known.pop(path, None)
        if files != self.files or stale:
            self.files = files
            self._repaint()
            self.check_all()

    # ---- pages

    def _page(self, cells: int, rows: int) -> Lines:
        path = self.path
        if path is None:
            folders = ", ".join(map(str, self.shop.procedures))
            return wrapped(f"No procedure files in {folders}.", cells, "amber")
        head: Lines = [cut_line(((clean(str(path)), "soft"),), cells)]
        checked = self.known.get(path)
        if checked is None:
            return [*head, (("Being checked ...", "soft"),)]
        if self.show == "route":
            return [*head, *shelf.route_lines(checked, cells)]
        if self.show == "dry-run":
            lines = self.dry or ["On the virtual engine ..."]
            return [*head, *(line for s in lines for line in wrapped(s, cells))]
        return [*head, *shelf.problem_lines(checked, cells)]

    def do_problems(self) -> None:
        """What is wrong in the file."""
        self.turn("problems")

    def do_route(self) -> None:
        """The way through the file."""
        self.turn("route")

    def do_recheck(self) -> None:
        """Check the file again now."""
        if self.path is not None:
            self.known.pop(self.path, None)
            shelf.forget(self.path)
            self._repaint()
            self.check_all()

    def do_dry_run(self) -> None:
        """Run the file on virtual engines."""
        self.dry = []
        self.turn("dry-run")
        if self.path is not None:
            self.dry_run(self.path)

    @work(thread=True, exclusive=True, group="dry", exit_on_error=False)
    def dry_run(self, path: Path) -> None:
        """Try engine after engine; each is shown as soon as it has ended."""
        worker = get_current_worker()
        for sentence in shelf.dry_run(path, self.shop.procedures, ENGINES):
            if worker.is_cancelled or self.path != path:
                return
            self.app.call_from_thread(self._tried, sentence)

    def _tried(self, sentence: str) -> None:
        self.dry.append(sentence)
        if self.is_attached:
            self._repaint()
