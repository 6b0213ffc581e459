"""The procedures screen: which files there are, whether each is sound, what is wrong, which way it goes, a dry run;
editing is the editor's.

Files are checked one after another in a thread, again when one changes on disk. The thread touches no widget.
"""

from __future__ import annotations

import subprocess
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import work
from textual.app import ComposeResult, SuspendNotSupported
from textual.binding import Binding
from textual.containers import Container
from textual.worker import get_current_worker

from tui.catalogue import shelf
from tui.control import actions
from tui.control.questions import Option, Pick
from tui.drawing.lines import Line, Lines, beside, clean, cut_line, wrapped
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
        self.show = "all"
        self.dry: list[str] = []
        #: The parts of routines are listed too, and how many are not.
        self.whole = False
        self.hidden = 0
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
        """Enter: all of it."""
        self.turn("all")

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
        here = self.path
        parts = set() if self.whole else shelf.parts(self.files)
        shown = [p for p in self.files if p.stem not in parts]
        self.hidden = len(self.files) - len(shown)
        self.picks.options = tuple(Option(p.stem, p, self._state(p)) for p in shown)
        self.picks.title = f"PROCEDURES, {self.hidden} parts of them not shown (F9)" if self.hidden else "PROCEDURES"
        self.picks.at = shown.index(here) if here in shown else min(self.picks.at, max(0, len(shown) - 1))

    def _state(self, path: Path) -> str:
        checked = self.known.get(path)
        return "not checked yet" if checked is None else _state(checked)

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
        sound: Line = ((_state(checked), "good" if checked.sound else "red"),)
        problems = shelf.problem_lines(checked, cells)
        if self.show == "problems":
            return [*head, *problems]
        # All of it: beside each other where there is room, else what is wrong above the way it goes.
        if cells >= 90:
            half = cells // 2 - 1
            route = [((" ROUTE ", "key"),), *shelf.route_lines(checked, cells - half - 2)]
            wrong = [((" IS IT SOUND ", "key"),), sound, *shelf.problem_lines(checked, half)]
            return [*head, *beside(wrong, route, half, 2)]
        return [*head, sound, *(problems if checked.problems else []), (), *shelf.route_lines(checked, cells)]

    def do_problems(self) -> None:
        """What is wrong in the file."""
        self.turn("problems")

    def do_route(self) -> None:
        """The way through the file."""
        self.turn("route")

    def do_parts(self) -> None:
        """Show the parts of routines too, or hide them again."""
        self.whole = not self.whole
        self._repaint()

    def do_edit(self) -> None:
        """Open the file in the person's editor: the shop's own, or a copy of a shipped one in the shop's folder."""
        if self.path is None:
            return
        if len(self.shop.procedures) < 2 or self.path.parent == self.shop.procedures[0]:
            self.edit(self.path)
            return
        copy = Option("edit a copy of it", True, f"in {self.shop.procedures[0]}; it outranks the shipped one")
        self.lay(
            Pick("IT CAME WITH THE PROGRAM", (copy, Option("leave it", False))),
            lambda yes: self.copied() if yes else self.ask(),
        )

    def copied(self) -> None:
        """Edit a copy of a shipped file."""
        assert self.path is not None
        try:
            own = shelf.own_copy(self.path, self.shop.procedures[0])
        except OSError as fault:
            self.ask(cue=f"No copy could be made in {self.shop.procedures[0]}: {fault.strerror or fault}.")
            return
        self.edit(own)

    def edit(self, path: Path) -> None:
        """Give the terminal to the editor until it is closed; the file is checked again then."""
        command = shelf.editor()
        if not command:
            self.ask(cue=f"No editor is named: set EDITOR. The file is {path}.")
            return
        try:
            with self.app.suspend():
                done = subprocess.run([*command, str(path)], check=False)
            said = "" if done.returncode == 0 else f"The editor ended with {done.returncode}."
        except (OSError, SuspendNotSupported) as fault:
            said = f"The editor '{command[0]}' could not be started: {getattr(fault, 'strerror', None) or fault}."
        self.ask(cue=said or "It is checked again as soon as it was changed.")

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


def _state(checked: Checked) -> str:
    """Whether a file is sound, in a few words."""
    errors = sum(p.severity == "error" for p in checked.problems)
    others = len(checked.problems) - errors
    more = f", {others} to look at" if others else ""
    return f"✓ sound{more}" if checked.sound else f"✗ NOT SOUND, {errors} wrong{more}"
