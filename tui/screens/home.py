"""The home screen: go on, take a job in, open a job, rehearse, procedures; it opens things and shows nothing of them.

It is painted before anything of the engine is loaded; the book is read after that.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding

from tui.control import actions
from tui.control.questions import Line, Option, Pick
from tui.drawing.lines import Lines, cut_line
from tui.screens.base import AnsweringScreen
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn

if TYPE_CHECKING:
    from tui.catalogue.shop import Shop as ShopType
    from tui.control.desk import Desk, Sitting

GO_ON, TAKE_IN, OPEN, REHEARSE, PROCEDURES = "go on", "take in", "open", "rehearse", "procedures"


def banner(cells: int, rows: int) -> Lines:
    """The name and what it is for."""
    return [
        (),
        cut_line((("  Evendraw", "title"),), cells),
        cut_line((("  an even draw of air through every barrel", "soft"),), cells),
        (),
    ]


class HomeScreen(AnsweringScreen[None]):
    """`first` opens something at once, given this screen."""

    NAME = "home"
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("home")]

    def __init__(self, shop: ShopType, first: Callable[[HomeScreen], None] | None = None) -> None:
        super().__init__()
        self.shop = shop
        self.first = first
        self.desk: Desk | None = None
        self.waiting: list[Any] = []
        self.hint = "looking into the job book ..."
        self.menu = self._menu()

    def compose(self) -> ComposeResult:
        yield Drawn(banner, id="banner")
        yield Pad(id="pad")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        self.ask()
        self.call_after_refresh(self._look)

    def _look(self) -> None:
        """After the first paint: what can be gone on with, and whatever was to be opened at once."""
        from tui.control.desk import Desk

        self.desk = Desk(self.shop)
        first, self.first = self.first, None
        if first is None:
            self.back()
        else:
            self.opening(lambda: first(self))

    def back(self, cue: str = "") -> None:
        """Home again: see what can be gone on with."""
        from tui.control.desk import Trouble

        self.over.clear()
        try:
            self.waiting = self.desk.unfinished() if self.desk else []
            newest = self.waiting[0] if self.waiting else None
            self.hint = f"{newest.label}: {newest.hint}" if newest else "nothing stands open"
        except Trouble as trouble:
            self.waiting, self.hint = [], "the job book can't be read"
            cue = cue or str(trouble)
        self.menu = self._menu(self.menu.at)
        self.ask(new=True, cue=cue)

    def _menu(self, at: int = 0) -> Pick:
        more = f" ({len(self.waiting)} stand open)" if len(self.waiting) > 1 else ""
        return Pick(
            "WHAT IS TO BE DONE",
            (
                Option(f"Go on where it stood{more}", GO_ON, self.hint),
                Option("Take a job in", TAKE_IN, "who, which vehicle, which engine, which bank"),
                Option("Open a job", OPEN, "of the book, or a job file"),
                Option("Rehearse on the virtual engine", REHEARSE, "no car, hidden faults"),
                Option("Procedures", PROCEDURES, "are they sound, and which way they go"),
            ),
            at,
        )

    def question(self) -> Pick:
        """The menu."""
        return self.menu

    def leave(self) -> None:
        """Esc at home asks before it closes."""
        self.lay(
            Pick("CLOSE EVENDRAW", (Option("stay", False), Option("close", True, "everything is written"))),
            lambda close: self.app.exit(0) if close else self.ask(),
        )

    # ---- choosing

    def answered(self, question: Any, value: Any) -> None:
        """A line of the menu."""
        {
            GO_ON: self.go_on,
            TAKE_IN: self.take_in,
            OPEN: self.open_job,
            REHEARSE: self.rehearse,
            PROCEDURES: self.procedures,
        }[value]()

    def opening(self, do: Callable[[], object]) -> None:
        """Do something that takes a moment: say so first, and say it in a sentence where it fails."""
        from tui.control.desk import Trouble

        def now() -> None:
            try:
                do()
            except Trouble as trouble:
                self.back(cue=str(trouble))

        self.pad.say("One moment ...", bell=False)
        self.call_after_refresh(now)

    def go_on(self) -> None:
        """The one run that stands open, or a choice of them."""
        if not self.waiting:
            self.ask(cue="No run stands open. Take a job in, or open one.")
        elif len(self.waiting) == 1:
            self.opening(lambda: self.run_(self._desk.reopen(self.waiting[0].key)))
        else:
            options = tuple(Option(e.label, e.key, e.hint) for e in self.waiting)
            self.lay(Pick("GO ON WITH", options), lambda run: self.opening(lambda: self.run_(self._desk.reopen(run))))

    @property
    def _desk(self) -> Desk:
        if self.desk is None:
            raise RuntimeError("the home screen has not looked yet")
        return self.desk

    def open_job(self) -> None:
        """A job of the book, a job file of the shop, or any file."""

        def listed() -> None:
            entries = [*self._desk.files(), *self._desk.jobs()]
            options = tuple(Option(e.label, e.key, e.hint) for e in entries)
            other = Option("another job file", None, "type its path")
            self.lay(Pick("OPEN WHICH JOB", (*options, other)), chosen)

        def chosen(key: Any) -> None:
            if key is None:
                self.lay(Line("PATH OF THE JOB FILE"), lambda text: self.opening(lambda: self._open(Path(text))))
            else:
                self.opening(lambda: self._open(key))

        self.opening(listed)

    def _open(self, key: Path | int) -> None:
        """A job: go on with its open run, else offer the procedures that fit."""
        job, number = self._desk.job(key)
        mine = [e for e in self._desk.unfinished() if number is not None and str(e.key).startswith(f"{number}.")]
        if mine:
            self.run_(self._desk.reopen(mine[0].key))
        else:
            self.choose(job, number)

    def start(self, program: Any, job: Any, number: int | None = None) -> None:
        """Begin a run of a procedure on a job."""
        self.run_(self._desk.start(program, job, number))

    def choose(self, job: Any, number: int | None = None) -> None:
        """Which procedure, of those that fit the job."""
        from tui.catalogue.shelf import fitting

        fit = fitting(self.shop.procedures, job)
        options = tuple(Option(e.label, e.key, e.hint) for e in fit)
        if not options:
            self.back(
                cue=f"No procedure is for {job.bank.carbs} carburettors of family '{job.bank.family}'. Look at "
                "Procedures, or correct the job."
            )
            return
        self.lay(
            Pick("WHICH PROCEDURE", options),
            lambda path: self.opening(lambda: self.start(self._desk.program(path), job, number)),
        )

    def run_(self, sitting: Sitting) -> None:
        """Open the run screen on a sitting; when it ends, the hand-over."""
        from tui.screens.run import RunScreen

        self.over.clear()

        def closed(how: str | None) -> None:
            if how == "ended":
                from tui.screens.handover import HandoverScreen

                self.app.push_screen(
                    HandoverScreen(sitting, self.shop), lambda how: self.run_(sitting) if how else self.back()
                )
            else:
                self.back(cue="" if sitting.rehearses else "Left where it stands: go on with 1.")

        if sitting.view.end is not None:
            closed("ended")
        else:
            self.app.push_screen(RunScreen(sitting), closed)

    def rehearse(self) -> None:
        """Which procedure, then by hand or by itself."""

        def listed() -> None:
            from tui.catalogue.shelf import mains

            entries = [*mains(self.shop.procedures), *self._desk.open_rehearsals()]
            self.lay(Pick("REHEARSE WHICH PROCEDURE", tuple(Option(e.label, e.key, e.hint) for e in entries)), how)

        def how(path: Path | str) -> None:
            if isinstance(path, str):
                self.opening(lambda: self.rehearse_again(path))
                return
            options = (
                Option("I do it", False, "+ takes the readings of the virtual engine"),
                Option("it plays by itself", True, "+ stops it and goes on"),
            )
            self.lay(
                Pick("HOW", options),
                lambda by_itself: self.opening(lambda: self.rehearse_on(path, by_itself=by_itself)),
            )

        self.opening(listed)

    def rehearse_on(self, procedure: str | Path, **how: Any) -> None:
        """Begin a rehearsal."""
        from tui.control.rehearsal import rehearse

        self.run_(rehearse(self._desk, procedure, **how))

    def rehearse_again(self, run: str) -> None:
        """Go on with a rehearsal."""
        from tui.control.rehearsal import go_on

        self.run_(go_on(self._desk, run))

    def take_in(self) -> None:
        """The intake; then the procedures that fit."""
        from tui.catalogue.families import families
        from tui.screens.intake import IntakeScreen

        def filled(path: Path | None) -> None:
            if path is None:
                self.back()
            else:
                self.opening(lambda: self._open(path))

        self.opening(lambda: self.app.push_screen(IntakeScreen(self.shop, families(self.shop.procedures)), filled))

    def procedures(self) -> None:
        """The procedures screen."""
        from tui.screens.procedures import ProceduresScreen

        self.app.push_screen(ProceduresScreen(self.shop), lambda _: self.back())
