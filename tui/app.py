"""The program on the terminal: themes, sizes, what happens when it fails, and the three ways in; it holds no run and
no job.

The command line calls `run_home`, `run_job` and `run_rehearsal`. Each returns an exit code (0, 2 where there is no
terminal, 70 where the program failed) and prints nothing but one sentence on standard error where it could not go on.
Nothing of the engine is loaded before the first paint.
"""

from __future__ import annotations

import errno
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from textual import events
from textual.app import App
from textual.binding import Binding
from textual.css.query import NoMatches
from textual.screen import Screen

from tui.catalogue.shop import Shop
from tui.commandline.out import complain
from tui.screens.too_small import LEAST, TooSmall
from tui.styles import themes
from tui.terminal import forgive_input, leave_on_signals, remember_modes

if TYPE_CHECKING:
    from textual.filter import LineFilter

    from engine.job.model import Job
    from engine.procedure.program import Program

OK, USAGE, INTERNAL = 0, 2, 70


class Evendraw(App[int]):
    """The application. `opening` makes the first screen."""

    TITLE = "Evendraw"
    ENABLE_COMMAND_PALETTE = False
    CSS_PATH: ClassVar = ["styles/app.tcss", "styles/run.tcss"]
    # The library declares these two as of the instance, by a slip (`ClassVar[...] | None`).
    HORIZONTAL_BREAKPOINTS: ClassVar = [(0, "-narrow"), (100, "-middle"), (150, "-wide")]  # type: ignore[misc]
    VERTICAL_BREAKPOINTS: ClassVar = [(0, "-low"), (30, "-mid"), (44, "-tall")]  # type: ignore[misc]
    BINDINGS: ClassVar = [Binding("ctrl+q,ctrl+c", "quit", show=False, priority=True, system=True)]

    def __init__(self, opening: Callable[[], Screen[Any]], theme: str = themes.DARK, rings: bool = True) -> None:
        super().__init__()
        #: The bell rings at all: for a key that is refused, too.
        self.rings = rings
        self.animation_level = "none"
        for each in (*themes.THEMES.values(), themes.PLAIN):
            self.register_theme(each)
        self.theme = themes.PLAIN.name if self.no_color else theme if theme in themes.THEMES else themes.DARK
        self._opening = opening
        #: What went wrong in the program itself, if anything did.
        self.broke: BaseException | None = None

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our own colours, so that a stylesheet may name them in any theme."""
        return dict(themes.DEFAULTS)

    def get_line_filters(self) -> Sequence[LineFilter]:
        """None without colour: a filter would turn the terminal's own ground into black, and there is none to take
        away."""
        return [] if self.no_color else super().get_line_filters()

    def get_default_screen(self) -> Screen[Any]:
        """The first screen."""
        return self._opening()

    def bell(self) -> None:
        """The bell, unless the shop turned it off."""
        if self.rings:
            super().bell()

    def on_mount(self) -> None:
        """Close where the terminal has gone without a word, so that the job is free for another window."""
        if not self.is_headless:
            leave_on_signals(lambda: self.exit(OK))
            self.set_interval(2.0, self._still_there)

    def _still_there(self) -> None:
        if sys.__stdin__ is None or not sys.__stdin__.isatty():
            self.exit(OK)

    def on_resize(self, event: events.Resize) -> None:
        """Below the least size nothing is shown that could take a key."""
        front = isinstance(self.screen, TooSmall)
        under = self.screen_stack[-2] if front and len(self.screen_stack) > 1 else self.screen
        least = getattr(under, "LEAST", LEAST)
        small = event.size.width < least[0] or event.size.height < least[1]
        if small and not front:
            self.push_screen(TooSmall(least))
        elif front and not small:
            self.pop_screen()

    async def action_quit(self) -> None:
        """Close. Whatever was answered is on the disk already; a screen may want to ask first."""
        ask = getattr(self.screen, "asks_before_quit", None)
        if ask is None or not ask():
            self.exit(OK)

    def _fatal_error(self) -> None:
        """The program failed: no traceback on the terminal; a report in a file, and a sentence, once it is closed."""
        broke = sys.exc_info()[1] or self._exception
        if self._exit and isinstance(broke, NoMatches):
            # Told to close while a screen was being shown: that one has lost its parts, and nobody will see it.
            self._return_code = OK
        else:
            self.broke, self._return_code = broke, INTERNAL
            self.bell()
        self._close_messages_no_wait()

    def panic(self, *renderables: Any) -> None:
        """As above, for errors that bring their own rendering (a stylesheet's)."""
        self._fatal_error()


def show(opening: Callable[[], Screen[Any]], theme: str = themes.DARK, rings: bool = True) -> int:
    """Run the program from a first screen until it is closed; its exit code. `rings`: with its bell."""
    if not all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout)):
        return _refuse("There is no terminal here. Run it in a terminal window, or use 'evendraw talk' from a script.")
    if os.environ.get("TERM", "").lower() == "dumb":
        return _refuse("This terminal can't place text (TERM is 'dumb'). Use another terminal window.")
    forgive_input()
    remember_modes()
    app = Evendraw(opening, theme, rings)
    broke: BaseException | None = None
    try:
        app.run(mouse=False)
    except KeyboardInterrupt:
        return OK
    except Exception as fault:
        if isinstance(fault, OSError) and fault.errno == errno.EIO:
            return OK  # the terminal has gone
        broke = fault
    broke = app.broke or broke
    if broke is not None:
        from tui.commandline import crash

        complain(crash.sentence(crash.report(broke)))
        return INTERNAL
    return app.return_code or OK


def rings(shop: Shop) -> bool:
    """Whether the bell rings: neither the shop's settings nor `EVENDRAW_BELL` turned it off."""
    told = os.environ.get("EVENDRAW_BELL", "on").strip().lower()
    return shop.header.get("bell") != "off" and told not in ("off", "no", "0")


def _refuse(sentence: str) -> int:
    complain(f"evendraw: {sentence}")
    return USAGE


def run_home(shop: Shop, *, theme: str = themes.DARK) -> int:
    """The home screen: go on, take a job in, open a job, rehearse, procedures."""
    from tui.screens.home import HomeScreen

    return show(lambda: HomeScreen(shop), theme, rings(shop))


def run_job(shop: Shop, program: Program, job: Job, *, number: int | None = None, theme: str = themes.DARK) -> int:
    """Start a run of a loaded procedure on a job that was read; it is taken into the book unless it has a number
    there.
    """
    from tui.screens.home import HomeScreen

    return show(lambda: HomeScreen(shop, first=lambda home: home.start(program, job, number)), theme, rings(shop))


def run_rehearsal(
    shop: Shop,
    procedure: str | Path,
    *,
    seed: int | None = None,
    faults: Sequence[str] = (),
    by_itself: bool = False,
    job: Job | None = None,
    pace: float = 2.5,
    theme: str = themes.DARK,
) -> int:
    """A rehearsal on the virtual engine, of a job's engine or an invented one.

    `seed`: the same number gives the same engine (None: any). `faults` are hidden in it (none: drawn by their usual
    rates). `by_itself` plays it, a step every `pace` seconds.
    """
    from tui.screens.home import HomeScreen

    how = {"job": job, "seed": seed, "faults": tuple(faults), "by_itself": by_itself, "pace": pace}
    return show(lambda: HomeScreen(shop, first=lambda home: home.rehearse_on(procedure, **how)), theme, rings(shop))
