"""The home screen: what the shop has on its hands, and the ways from there; it opens things and shows nothing of them.

It is painted before anything of the engine is loaded; the book is read after that. A letter typed here begins a search.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import work
from textual.app import ComposeResult
from textual.binding import Binding
from textual.worker import get_current_worker

from tui.control import actions
from tui.control.questions import Find, Line, Option, Pick
from tui.drawing import job_lines
from tui.screens.base import AnsweringScreen
from tui.screens.rehearsing import Rehearsing
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn

if TYPE_CHECKING:
    from tui.catalogue.shop import Shop as ShopType
    from tui.control.board import Board, Told
    from tui.control.desk import Desk
    from tui.control.sitting import Sitting

GO_ON, TAKE_IN, OPEN, REHEARSE, PROCEDURES, WHO = "go on", "take in", "open", "rehearse", "procedures", "who"


class HomeScreen(Rehearsing, AnsweringScreen[None]):
    """`first` opens something at once, given this screen."""

    NAME = "home"
    #: A rehearsal or a run on a tablet's terminal ends here.
    LEAST = (60, 20)
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("home")]

    def __init__(self, shop: ShopType, first: Callable[[HomeScreen], None] | None = None) -> None:
        super().__init__()
        #: Something is being opened: a key pressed once more opens nothing else.
        self._pending = False
        self.shop = shop
        self.first = first
        self.desk: Desk | None = None
        self.board: Board | None = None
        #: Who answers from now on, where somebody said so here.
        self.by: str | None = None
        self.menu = self._menu()

    def compose(self) -> ComposeResult:
        yield Drawn(job_lines.banner, id="banner")
        yield Drawn(lambda cells, rows: job_lines.board_lines(self.board, cells, rows), id="board")
        yield Pad(id="pad")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        self.ask()
        self.call_after_refresh(self._look)

    def _look(self) -> None:
        """After the first paint: what can be gone on with, and whatever was to be opened at once."""
        first, self.first = self.first, None
        if first is None:
            self.back()
            self.read_ahead()
        else:
            self.opening(lambda: first(self))

    @work(thread=True, exclusive=True, group="ahead", exit_on_error=False)
    def read_ahead(self) -> None:
        """Read the procedures while nobody waits for them: taking a job in asks which families they are for."""
        from tui.catalogue import shelf

        worker = get_current_worker()
        for path in shelf.paths(self.shop.procedures):
            if worker.is_cancelled:
                return
            shelf.loaded(path, self.shop.procedures)

    def back(self, cue: str = "") -> None:
        """Home again: see what can be gone on with."""
        from tui.control.sitting import Trouble

        self.over.clear()
        try:
            self.board = self._desk.home()
        except Trouble as trouble:
            from tui.control.board import Board

            self.board = Board(unread=True)
            cue = cue or str(trouble)
        notices = self._desk.notices()
        self.menu = self._menu(self.menu.at)
        self.query_one("#board", Drawn).redraw()
        self.ask(new=True, cue=cue or " ".join(notices))

    def _menu(self, at: int = 0) -> Pick:
        b = self.board
        if b is None:
            hint = "looking into the job book ..."
        elif b.unread:
            hint = "the job book can't be read"
        else:
            newest = next(iter((*b.open, *b.waiting)), None)
            many = b.many_open + b.many_waiting
            more = f", and {many - 1} more" if many > 1 else ""
            hint = f"{newest.mark or newest.customer or newest.what}{more}" if newest else "nothing stands open"
        return Pick(
            "WHAT IS TO BE DONE",
            (
                Option("Go on where it stood", GO_ON, hint),
                Option("Take a job in", TAKE_IN, "who, which vehicle, which engine, which bank"),
                Option("Find a job", OPEN, "or just type: registration, customer, engine, day, finding"),
                Option("Rehearse on the virtual engine", REHEARSE, "no car, hidden faults"),
                Option("Procedures", PROCEDURES, "are they sound, and which way they go"),
                Option("Who works here", WHO, self.who() or "nobody is named: the sheet will not say who worked"),
            ),
            at,
            finds=self._find,
        )

    def who(self) -> str:
        """Who answers: who was chosen here, or the only one there is."""
        return self.by if self.by is not None else self.board.by if self.board else ""

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
            WHO: self.choose_who,
        }[value]()

    def opening(self, do: Callable[[], object]) -> None:
        """Do something that takes a moment: say so first, and say it in a sentence where it fails."""
        from tui.control.sitting import Trouble

        def now() -> None:
            self._pending = False
            try:
                do()
            except Trouble as trouble:
                self.back(cue=str(trouble))

        self.pad.say("One moment ...", bell=False)
        if self._pending:
            return
        self._pending = True
        # A moment later, so that this is really painted before the work begins.
        self.set_timer(0.03, now)

    def go_on(self) -> None:
        """The one run that stands open, or a choice of them."""

        def listed() -> None:
            waiting = self._desk.unfinished()
            if not waiting:
                self.ask(cue="No run stands open. Take a job in, or find one.")
            elif len(waiting) == 1:
                self._reopen(waiting[0].key)
            else:
                self.lay(Pick("GO ON WITH", tuple(map(_option, waiting))), chosen)

        def chosen(run: str) -> None:
            self.opening(lambda: self._reopen(run))

        self.opening(listed)

    def _reopen(self, run: str) -> None:
        """Go on with a run; where another window works on it, look at it instead if that is wanted."""
        from tui.control.sitting import Busy

        try:
            self.run_(self._desk.reopen(run))
        except Busy as busy:
            look = Option("look at it", True, "it follows the other window; nothing can be answered here")
            self.over.clear()
            self.lay(
                Pick("OPEN IN ANOTHER WINDOW", (look, Option("leave it", False)), detail=str(busy)),
                lambda wanted: self.opening(lambda: self.look_at(run)) if wanted else self.back(),
            )

    def look_at(self, run: str) -> None:
        """Look at a run that another window works on."""
        from tui.screens.watch import WatchScreen

        self.app.push_screen(WatchScreen(self._desk, run), lambda _: self.back())

    @property
    def _desk(self) -> Desk:
        """Opened when it is first needed: a key may come before the screen has looked."""
        if self.desk is None:
            from tui.control.desk import Desk

            self.desk = Desk(self.shop)
        return self.desk

    # ---- finding

    def _find(self) -> Find:
        """The search over jobs and job files; every sign typed narrows it."""
        from tui.control.sitting import Trouble

        files = self._desk.files()

        def look(text: str) -> tuple[Option, ...]:
            words = text.casefold().split()
            try:
                jobs = [_option(t) for t in self._desk.find(text)]
            except Trouble as trouble:
                return (Option(str(trouble), None),)
            mine = [f for f in files if all(w in f.label.casefold() for w in words)]
            more = [Option(f"job file: {f.label}", f.key, f.hint) for f in mine[:10]]
            return (*jobs, *more, Option("another job file", None, "type its path"))

        return Find("FIND", look)

    def open_job(self) -> None:
        """A job of the book, a job file of the shop, or any file: searched as one types."""
        self.opening(lambda: self.lay(self._find(), self._found))

    def on_pad_began(self) -> None:
        """A letter was typed at the menu, or at a list: it began a search."""
        if self.searching():
            return
        self.over.append((self.pad.question, self._found))
        self._laid.append(self.pad.question)
        self.set_class(True, "-picking")
        self.offer()

    def _found(self, key: Any) -> None:
        if key is None:
            self.lay(Line("PATH OF THE JOB FILE"), lambda text: self.opening(lambda: self._open(Path(text))))
        elif isinstance(key, int):
            self.opening(lambda: self._about(key))
        else:
            self.opening(lambda: self._open(key))

    def _about(self, job: int) -> None:
        """What can be done with a job that was found."""
        told = next((t for t in self._desk.visits(job) if t.job == job), None)
        open_ = [t for t in self._desk.unfinished() if t.job == job]
        title = " · ".join(b for b in (told.mark, told.customer, told.what, told.when, told.how) if b) if told else ""
        options = (
            *(Option("Go on where it stood", "go on", t.how) for t in open_[:1]),
            Option("Its vehicle through the years", "history", "jets, screws, spread, idle: visit beside visit"),
            Option("Take this vehicle in again", "again", "from what it left with"),
            *(() if open_ else (Option("Work on this job again", "work", "another run on it"),)),
            Option("Its job sheet", "sheet", "to look at, and to a file"),
        )

        def chosen(what: str) -> None:
            does: dict[str, Callable[[], object]] = {
                "go on": lambda: self._reopen(open_[0].key),
                "history": lambda: self.history(job),
                "again": lambda: self.take_in(job),
                "work": lambda: self._open(job),
                "sheet": lambda: self._sheet(job),
            }
            self.opening(does[what])

        self.lay(Pick(f"JOB {job}", options, detail=title), chosen)

    def history(self, job: int) -> None:
        """The visits of a job's vehicle, side by side."""
        from tui.screens.history import HistoryScreen

        whose = next((t for t in self._desk.visits(job) if t.job == job), None)
        self.app.push_screen(HistoryScreen(self._desk.history(job), whose), lambda _: self.again_about(job))

    def _sheet(self, job: int) -> None:
        from tui.screens.handover import HandoverScreen

        sitting = self._desk.look(self._desk.newest_run(job))
        self.app.push_screen(HandoverScreen(sitting, self.shop), lambda _: self.again_about(job))

    def again_about(self, job: int) -> None:
        """Back to what can be done with a job that was looked at."""
        self.back()
        self.opening(lambda: self._about(job))

    # ---- who works

    def choose_who(self) -> None:
        """Who answers from now on; somebody new is written down."""
        staff = self.board.staff if self.board else ()
        options = (
            *(Option(name, name) for name in staff),
            Option("somebody else", None, "a name, written down for the next time"),
        )

        def chosen(name: str | None) -> None:
            if name is not None:
                self.by = name
                self.back(cue=f"{name} answers from now on.")
            else:
                self.lay(Line("NAME"), named)

        def named(name: str) -> None:
            def write() -> None:
                if name not in staff:
                    self._desk.add_staff(name)
                chosen(name)

            self.opening(write)

        self.lay(Pick("WHO WORKS HERE", options), chosen)

    def _open(self, key: Path | int, cue: str = "") -> None:
        """A job: go on with its open run, else offer the procedures that fit."""
        job, number = self._desk.job(key)
        mine = [t for t in self._desk.unfinished() if number is not None and t.job == number]
        if mine:
            self._reopen(mine[0].key)
        else:
            self.choose(job, number, cue=cue)

    def start(self, program: Any, job: Any, number: int | None = None) -> None:
        """Begin a run of a procedure on a job."""
        self.run_(self._desk.start(program, job, number))

    def choose(self, job: Any, number: int | None = None, parts: bool = False, cue: str = "") -> None:
        """Which procedure, of those that fit the job; what others call stands a key further (`parts`)."""
        from tui.catalogue.shelf import PART, fitting

        fit = fitting(self.shop.procedures, job)
        mains = [e for e in fit if e.hint != PART]
        shown = mains if mains and not parts else fit
        options = tuple(Option(e.label, e.key, e.hint) for e in shown)
        if len(shown) < len(fit):
            options = (*options, Option("only a part of a routine", None, f"{len(fit) - len(shown)} parts"))
        if not options:
            self.back(
                cue=f"No procedure is for {job.bank.carbs} carburettors of family '{job.bank.family}'. Look at "
                "Procedures, or correct the job."
            )
            return
        self.lay(
            Pick("WHICH PROCEDURE", options),
            lambda path: self.opening(
                lambda: (
                    self.start(self._desk.program(path), job, number)
                    if path is not None
                    else self.choose(job, number, parts=True)
                )
            ),
            cue=cue,
        )

    def run_(self, sitting: Sitting) -> None:
        """Open the run screen on a sitting; when it ends, the hand-over."""
        from tui.screens.run import RunScreen

        self.over.clear()
        sitting.session.by = self.who()
        sitting.each_start = self.shop.header.get("dangers") == "each start"
        if sitting.rehearses:
            # It never ends with the cursor on a customer's job.
            self.menu.at = next(n for n, o in enumerate(self.menu.options) if o.value == REHEARSE)

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

    def take_in(self, again: int | None = None) -> None:
        """The intake; then the procedures that fit. `again`: a job whose vehicle comes back."""
        from tui.catalogue.families import families
        from tui.screens.intake import IntakeScreen

        def filled(path: Path | None) -> None:
            if path is None:
                self.back()
            else:
                said = f"The job is written down as {path.name}; its work begins with a procedure."
                self.opening(lambda: self._open(path, said))

        def shown() -> None:
            form = IntakeScreen(self.shop, families(self.shop.procedures), self._desk, again)
            self.app.push_screen(form, filled)

        self.opening(shown)

    def procedures(self) -> None:
        """The procedures screen."""
        from tui.screens.procedures import ProceduresScreen

        self.app.push_screen(ProceduresScreen(self.shop), lambda _: self.back())


def _option(told: Told) -> Option:
    return Option(told.mark or told.customer or told.what, told.key, told.how, columns=job_lines.columns(told))
