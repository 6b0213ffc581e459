"""The run screen: one step at a time, its contents swapped in place; it decides nothing, the session does.

An answer is given to the sitting, which returns only after it is on the disk; only then is the next step painted.
Everything is asked in one place (the pad), so there is nothing to push, and no key can reach a step that was not on
the screen.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any, ClassVar

from textual.binding import Binding
from textual.timer import Timer

from engine.session.view import GateView
from tui.control import actions, stages
from tui.control.entry import Fields
from tui.control.questions import Countdown, Line, Pick, Press
from tui.control.sitting import HalfDone, Sitting, Trouble
from tui.drawing.padview import Question
from tui.screens.run_parts import RunParts
from tui.widgets.pad import Pad
from tui.widgets.painted import Page


class RunScreen(RunParts):
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
        #: What was half done here is brought back; empty once the person was told.
        self.came_back = ""
        self._here: set[str] = set()
        #: What plays a rehearsal by itself.
        self._beat: Timer | None = None

    def on_mount(self) -> None:
        self.enter(new=False, back=True)
        self.set_interval(0.5, self._tick)
        self.beat()

    def beat(self) -> None:
        """Play by itself at the pace in force, where it plays at all."""
        if self._beat is not None:
            self._beat.stop()
        self._beat = self.set_interval(self.sitting.pace, self._play) if self.sitting.playing is not None else None

    def _tick(self) -> None:
        """Half a second went by: only a countdown cares."""
        if not self.going and isinstance(self.pad.question, Countdown):
            if self.pad.question.over and self.pad.question.seconds > 0:
                self.ring()
            self.pad.tick()
        self.keep_typed()

    def ring(self) -> None:
        """The bell, for who stands at the car: a wait is over, or a stop stands."""
        self.app.bell()

    def keep_typed(self) -> None:
        """What is half typed outlives a closed window and a pulled plug."""
        fields = self.sofar.fields
        if fields is not None and self.kept is not None and fields.texts != self.kept:
            self.kept = list(fields.texts)
            self.keep()

    def keep(self) -> None:
        """What was done at the step before its answer is kept: a turn that was made is never ordered again."""
        fields, sofar = self.sofar.fields, self.sofar
        texts, reasons = (list(fields.texts), dict(fields.reasons)) if fields is not None else ([], {})
        self.sitting.keep(HalfDone(texts, reasons, sofar.begun, sofar.moved_as, sofar.fitted_as))

    def begin(self) -> None:
        """The moves and parts of the step are done."""
        if not self.sofar.begun:
            self.sofar.begun = True
            self.keep()

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

    def enter(self, new: bool = True, cue: str = "", back: bool = False) -> None:
        """Show the step in force from its start; `back`: with what was half done there when the run was left."""
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
        if back:
            self._bring_back(self.sitting.kept())
        self.question()
        if self.sitting.view.gate is not None:
            self.ring()
        self.paint()
        self.ask(new=new, cue=cue)

    def on_pad_grown(self) -> None:
        """The answering place may want another height."""
        self.fit()

    def on_resize(self) -> None:
        """The window has another size."""
        self.call_after_refresh(self.fit)

    def on_pad_typed(self, message: Pad.Typed) -> None:
        """A value of the row was entered: it is kept at once, half typed as the row is."""
        if message.question is self.sofar.fields and self.sofar.fields is not None and self.sofar.fields.fresh:
            self.keep_typed()

    def on_pad_began(self) -> None:
        """A reading was typed where a screw was to be turned first: it is turned; or a letter at a list: a search."""
        if self.searching():
            return
        self.begin()
        self.paint()
        self.offer()

    # ---- answering

    def question(self) -> Question:
        """What the step asks next; its fields with what was half typed there before."""
        asked = stages.question(self.sitting.view, self.sofar, self.now)
        fields = asked.opens if isinstance(asked, Press) else asked
        if isinstance(fields, Fields):
            fields.plus_takes = self.sitting.rehearses
        if isinstance(fields, Fields) and self.kept is None and self._take_up(fields):
            self.sofar.begun, self.came_back = True, "What you had typed here is back. It is no answer before Enter."
            return fields
        return asked

    def _bring_back(self, half: HalfDone) -> None:
        """What was turned or fitted before the run was left stays done. Who has typed a reading of this step had done
        what comes before it."""
        view, sofar = self.sitting.view, self.sofar
        typed = any(half.texts)
        if not (half.begun or typed):
            return
        sofar.begun, sofar.waited = True, typed
        if half.moved is not None:
            sofar.moved, sofar.moved_as = stages.really(view, stages.amounts(half.moved)), half.moved
        if half.fitted is not None:
            sofar.fitted, sofar.fitted_as = stages.really_fitted(view, stages.amounts(half.fitted)), half.fitted
        if stages.made(view, sofar):
            self.came_back = "That was said to be done before it closed: don't do it again. F7: turned otherwise."

    def _take_up(self, fields: Fields) -> bool:
        half = self.sitting.kept()
        texts, reasons = half.texts, half.reasons
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
            told, self.came_back = self.came_back, ""
            self.pad.say(f"{cue} {told}".strip(), bell=False)

    def answered(self, question: Question, value: Any) -> None:
        """The step's own question was answered: a danger, a wait, the readings, done."""
        v = self.sitting.view
        if self.page != "far":
            # A page was looked at meanwhile; what comes next is to be seen.
            self.page = "step"
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
            self.begin()
            self.sofar.waited = not isinstance(question, Press)
            self.paint()
            self.ask()
        elif isinstance(question, Press) and question.opens is not None:
            self.begin()
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
