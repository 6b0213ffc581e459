"""The run screen: one step at a time, its contents swapped in place; it decides nothing, the session does.

An answer is given to the sitting, which returns only after it is on the disk; only then is the next step painted.
Everything is asked in one place (the pad), so there is nothing to push, and no key can reach a step that was not on
the screen.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical

from engine.session.view import GateView
from tui.control import actions, stages
from tui.control.desk import Sitting, Trouble
from tui.control.entry import Fields
from tui.control.questions import Countdown, Line, Pick, Press
from tui.drawing import bank, card, padview, room, step_lines, where
from tui.drawing.lines import Lines
from tui.drawing.padview import Question
from tui.screens.pages import record
from tui.screens.run_keys import RunKeys
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn, Page


class RunScreen(RunKeys):
    """Walks the technician through one run. Dismissed with `ended` or `left`."""

    #: Below it nothing is shown; from here on at least the present step.
    LEAST = (60, 20)
    BINDINGS: ClassVar = [Binding(*b, show=False) for b in actions.bindings("run")]

    def __init__(self, sitting: Sitting, now: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self.sitting = sitting
        self.sofar = stages.Sofar()
        #: The texts of the fields as they were last kept; None before the fields are asked.
        self.kept: list[str] | None = None
        #: What the card shows: the step, or a page that was asked for.
        self.page = "step"
        self.now = now
        #: Cautions that stood on a step before this one: they are still said in full, but quietly.
        self.told: set[str] = set()
        #: The step in hand is the first aid of a symptom.
        self.loud = False
        #: A half typed row was brought back, and nobody was told yet.
        self.came_back = False
        self._here: set[str] = set()

    def compose(self) -> ComposeResult:
        yield Drawn(id="where")
        yield Drawn(id="head")
        with Vertical(id="columns"):
            with Vertical(id="left"):
                with Page(id="card-box"):
                    yield Drawn(id="card")
                yield Pad(id="pad")
            with Vertical(id="right"):
                yield Drawn(id="bank")
                yield Drawn(id="spread")
                yield Drawn(id="trend")
                yield Drawn(id="findings")
                yield Drawn(id="trail")
        yield Drawn(id="standing")
        yield KeyBar(id="keys")

    def on_mount(self) -> None:
        self.enter(new=False)
        self.set_interval(0.5, self._tick)
        if self.sitting.playing is not None:
            self.set_interval(self.sitting.pace, self._play)

    def _tick(self) -> None:
        """Half a second went by: only a countdown cares."""
        if not self.going and isinstance(self.pad.question, Countdown):
            if self.pad.question.over and self.pad.question.seconds > 0:
                self.ring()
            self.pad.tick()
        self.keep_typed()

    def ring(self) -> None:
        """The bell, for who stands at the car: a wait is over, or a stop stands. A setting turns it off."""
        if os.environ.get("EVENDRAW_BELL", "on").strip().lower() not in ("off", "no", "0"):
            self.app.bell()

    def keep_typed(self) -> None:
        """What is half typed outlives a closed window and a pulled plug."""
        fields = self.sofar.fields
        if fields is not None and self.kept is not None and fields.texts != self.kept:
            self.kept = list(fields.texts)
            self.sitting.keep(self.kept, fields.reasons)

    def _play(self) -> None:
        """A rehearsal that plays by itself does the next thing that a technician would do."""
        if self.going or not self.sitting.playing or self.over or self.app.screen is not self:
            return
        question = self.pad.question
        if isinstance(question, Press):
            self.pad.press(question.keys[0], None)
        elif isinstance(question, Countdown):
            self.answered(question, True)
        elif self.sitting.view.gate is not None and isinstance(question, Pick):
            self.give(**self.sitting.at_stop())
        elif isinstance(question, Fields) and (all(question.texts) or not self.take()):
            self.pad.press("enter", None)

    # ---- painting

    def enter(self, new: bool = True, cue: str = "") -> None:
        """Show the step in force from its start."""
        self.told |= self._here
        self._here = {c.name for c in self.sitting.view.cautions if not c.understand}
        self.sofar = stages.Sofar()
        self.kept = None
        self.over.clear()
        self.page = "far" if self.page == "far" else "step"
        if self.sitting.view.end is not None:
            self.dismiss("ended")
            return
        self.query_one("#card-box", Page).scroll_home(animate=False)
        self.question()
        if self.sitting.view.gate is not None:
            self.ring()
        self.paint()
        self.ask(new=new, cue=cue)

    def paint(self) -> None:
        """Paint everything but the pad anew."""
        v = self.sitting.view
        with self.app.batch_update():
            self.pad.terms = dict(v.terms)
            self._show("where", lambda cells, rows: where.line(v, self.sitting.whose, cells))
            self._show("head", lambda cells, rows: step_lines.head(v, cells))
            self._show("standing", lambda cells, rows: step_lines.standing(v, cells, self.sofar.understood))
            self._show("card", self._card)
            self._show("bank", lambda cells, rows: bank.draw(self._plan(), cells, rows))
            self._show("spread", lambda cells, rows: step_lines.spread_line(v, cells))
            self._show("trend", lambda cells, rows: step_lines.trend(v, cells, rows))
            self._show("findings", lambda cells, rows: step_lines.findings(v, cells, rows))
            self._show("trail", lambda cells, rows: step_lines.trail(v, cells, rows))
            self.set_class(self.page == "record", "-record")
            self.set_class(self.page == "far", "-far")
        self.fit()

    def _plan(self) -> bank.BankPlan:
        """The bank as it stands; a screw that was turned is no longer pointed at."""
        v = self.sitting.view
        open_ = not stages.made(v, self.sofar) and not stages.dangers(v, self.sofar.understood)
        return bank.plan(v if open_ else replace(v, moves=()), self.sitting.layout, self.sitting.marks)

    def fit(self) -> None:
        """Share the rows of the screen: what is to be done and its answer first, the bank what is left."""
        if self.going or not self.size.width:
            return
        v, width = self.sitting.view, self.size.width
        beside = self.has_class("-wide")
        cells = width - (82 if beside else 2)
        if width < 20:
            return
        fixed = 1 + len(step_lines.head(v, width - 2)) + len(step_lines.standing(v, width - 2, self.sofar.understood))
        total = self.size.height - fixed - self._bar_rows(width - 2)
        if self.page == "far" or self.size.height < 24 or width < 80:
            small, large = self.pad.needs(cells)
            head = 0 if self.page == "far" else fixed - 1
            left = self.size.height - 1 - head - self._bar_rows(width - 2)
            told = left if self.page == "far" else len(self._card(cells, 60, large=False))
            answer = large if told + large <= left else min(small, max(2, left - 4))
            self._rows("pad", answer)
            wish = len(self._card(cells, left - answer))
            self._rows("card-box", max(2, left - answer if self.page == "far" else min(wish, left - answer)))
            for id in ("spread", "bank", "findings"):
                self._rows(id, 0)
            if self.page == "far":
                self.query_one("#card", Drawn).redraw()
            return
        card_ = (len(self._card(cells, 60, large=False)), len(self._card(cells, 60)))
        whole = len(step_lines.findings(v, cells, 60))
        worst = step_lines.worst_rows(v, cells)
        spread = 0 if beside else len(step_lines.spread_line(v, cells))
        tall = 0 if beside or self.page == "record" else bank.tallest(self._plan(), cells)
        seen = (0, 0) if beside or self.page == "record" else (worst, whole)
        least = 4 if self.over else 99 if self.page == "step" else 6
        rooms = room.share(total, card_, self.pad.needs(cells), tall + (spread if tall else 0), seen, least)
        shown = rooms.bank > 2
        self._rows("card-box", rooms.card)
        self._rows("pad", rooms.pad)
        if not beside:
            self._rows("spread", spread if shown else 0)
            self._rows("bank", rooms.bank - (spread if shown else 0))
            self._rows("findings", rooms.findings)
        else:
            for id in ("spread", "bank", "findings"):
                self.query_one(f"#{id}").styles.height = "auto"

    def _rows(self, id: str, rows: int) -> None:
        self.query_one(f"#{id}").styles.height = rows

    def _bar_rows(self, cells: int) -> int:
        return len(actions.bar(actions.shown(self.NAME, self.allowed), cells, 2, self.labels()))

    def on_pad_grown(self) -> None:
        """The answering place may want another height."""
        self.fit()

    def on_resize(self) -> None:
        """The window has another size."""
        self.call_after_refresh(self.fit)

    def on_pad_began(self) -> None:
        """A reading was typed where a screw was to be turned first: it is turned."""
        self.sofar.begun = True
        self.paint()
        self.offer()

    def _show(self, id: str, draw: Callable[[int, int], Lines]) -> None:
        self.query_one(f"#{id}", Drawn).show(draw)

    def _card(self, cells: int, rows: int, large: bool = True) -> Lines:
        v = self.sitting.view
        if self.page == "how":
            return step_lines.how(v, cells)
        if self.page == "why":
            return step_lines.why(v, cells)
        if self.page == "record":
            return record(v, cells)
        moved, fitted = self.sofar.moved, self.sofar.fitted
        stage = card.Stage(
            made=stages.made(v, self.sofar),
            danger=bool(stages.dangers(v, self.sofar.understood)),
            otherwise=moved is not None or fitted is not None,
            seen=frozenset(self.told),
            large=large,
            loud=self.loud,
        )
        if self.page == "far":
            return card.far(v, cells, rows, stage, *padview.at_a_glance(self.pad.question))
        really = replace(v, moves=v.moves if moved is None else moved, fit=v.fit if fitted is None else fitted)
        return card.step(really, cells, rows, stage)

    # ---- answering

    def question(self) -> Question:
        """What the step asks next; its fields with what was half typed there before."""
        asked = stages.question(self.sitting.view, self.sofar, self.now)
        fields = asked.opens if isinstance(asked, Press) else asked
        if isinstance(fields, Fields) and self.kept is None and self._take_up(fields):
            # Who has typed a reading of this step had done what comes before it.
            self.sofar.begun = self.came_back = True
            return fields
        return asked

    def _take_up(self, fields: Fields) -> bool:
        texts, reasons = self.sitting.kept()
        self.kept = list(fields.texts)
        if len(texts) != len(fields.texts) or not any(texts):
            return False
        fields.texts, self.kept = list(texts), list(texts)
        fields.reasons.update(reasons)
        fields.go(next((n for n, text in enumerate(texts) if not text), len(texts) - 1))
        return True

    def ask(self, *, new: bool = False, cue: str = "") -> None:
        """Put the newest question to the person, and say where a half typed row came back."""
        super().ask(new=new, cue=cue)
        if self.came_back and not self.over:
            self.came_back = False
            self.pad.say(f"{cue} What you had typed here is back. It is no answer before Enter.".strip(), bell=False)

    def answered(self, question: Question, value: Any) -> None:
        """The step's own question was answered: a danger, a wait, the readings, done."""
        v = self.sitting.view
        open_dangers = stages.dangers(v, self.sofar.understood)
        if open_dangers:
            self.sofar.understood.add(open_dangers[0].name)
            if len(open_dangers) > 1:
                self.ask(new=True)
            else:
                self.give(understood=True, stays=True)
        elif v.gate is not None:
            self._pass(v.gate, value)
        elif v.wait is not None and not self.sofar.waited:
            self.sofar.begun = True
            self.sofar.waited = not isinstance(question, Press)
            self.paint()
            self.ask()
        elif isinstance(question, Press) and question.opens is not None:
            self.sofar.begun = True
            self.paint()
            self.ask()
        elif isinstance(question, Fields):
            self.give(readings=value, lacking=dict(question.reasons) or None)
        else:
            self.give(done=True)

    def _pass(self, stop: GateView, way: str) -> None:
        """Go on from a stop; where that needs a reason, it is asked for first."""
        if way in stop.reason_for:
            self.lay(Line("WHY GO ON KNOWINGLY", detail=stop.say), lambda text: self.give(gate=way, reason=text))
        else:
            self.give(gate=way)

    def give(self, stays: bool = False, cue: str = "", **answer: Any) -> None:
        """Give an answer to the session; paint what follows only once it is written. `stays`: the step goes on."""
        for name in ("moved", "fitted"):
            if not stays and name not in answer and getattr(self.sofar, name) is not None:
                answer[name] = getattr(self.sofar, name)
        before = self.sitting.view
        if answer.keys() & {"done", "readings"} and (ahead := self.sitting.ahead()) is not None:
            shown = next((s.ask for s in before.symptoms if s.name == ahead), ahead)
            answer = {"symptom": ahead}
            cue = f"The virtual engine shows it: {shown}. That was given as the answer."
        try:
            problem = self.sitting.answer(**answer)
        except Trouble as trouble:
            self.pad.say(f"{trouble} Nothing you typed is lost: answer again when it is put right.")
            return
        if problem:
            self.pad.say(problem)
            return
        after = self.sitting.view
        if stays and after.end is None and (after.step, after.visit) == (before.step, before.visit):
            self.paint()
            self.ask(cue=cue)
        else:
            self.sitting.typed_out()
            self.loud = "symptom" in answer
            self.enter(cue=cue)

    def on_pad_reason_wanted(self, message: Pad.ReasonWanted) -> None:
        """A place is not taken: ask why, once a reading."""
        fields = self.sofar.fields
        row = message.row

        def keep(reason: str | None) -> None:
            if fields is None:
                return
            if reason is None:
                self.lay(Line("WHY NOT TAKEN", detail=row.ask), keep)
                return
            fields.reasons[row.name] = reason
            self.ask()
            self.pad.press("enter", None)

        self.lay(stages.reasons(row), keep)
