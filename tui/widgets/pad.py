"""The answering place: the one widget of a screen that takes what is typed, in the order in which it was typed.

Text and Enter are handled in the same place and at once, so that a burst (a gauge that acts as a keyboard, a paste, a
slow line) can't be reordered. Keys that were pressed before a new step was on the screen never answer that step: they
are left out, and it says so. What the pad does not use goes on to the screen's bindings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from textual import events
from textual.message import Message

from tui.control.entry import EntryRefused, Fields, Given, NeedReason, Opened, Row
from tui.control.keys import NO_NUMLOCK, Keys, pasted
from tui.control.questions import Countdown, Press
from tui.drawing import padview
from tui.drawing.lines import Lines
from tui.drawing.padview import Question
from tui.widgets.painted import Drawn

#: A key as the question takes it (name, character), and Textual's own name of it.
Pressed = tuple[str, str | None, str]
TOO_EARLY = "Keys pressed before this was on the screen were left out. Read it, then go on."


class Pad(Drawn, can_focus=True):
    """Asks one question at a time. Says `Answered` with its value, or `ReasonWanted` where a place is not taken."""

    @dataclass
    class Answered(Message):
        """The question in hand was answered."""

        question: Question
        value: Any

    @dataclass
    class ReasonWanted(Message):
        """A place of a row is not taken, and the reason is not known yet."""

        row: Row

    @dataclass
    class Called(Message):
        """A key of the screen was pressed: the actions of the registry that it may stand for."""

        ids: str

    class Began(Message):
        """A figure was typed where something was to be done first: it is done."""

    class Grown(Message):
        """It may want more or fewer lines than before."""

    @dataclass
    class Typed(Message):
        """Something was typed, nothing is answered yet."""

        question: Question

    DEFAULT_CSS = "Pad { height: auto; }"

    def __init__(self, *, id: str | None = None, terms: Mapping[str, str] | None = None) -> None:
        super().__init__(self._paint, id=id)
        self.question: Question = Press("")
        self.terms: dict[str, str] = dict(terms or {})
        self.cue = ""
        #: Whether the cue is a refusal, or only news.
        self.refused = False
        self._keys = Keys()
        #: The screen's own keys: Textual's name -> actions.
        self.calls: Mapping[str, str] = {}
        #: Keys that came while an answer is being written or an action is being done; None while nothing is.
        self._held: list[Pressed] | None = None
        #: Keys older than this were meant for what was on the screen before; None until it is painted.
        self._since: float | None = 0.0

    def _paint(self, cells: int, rows: int) -> Lines:
        return padview.draw(self.question, cells, rows, self.terms, self.cue, self.refused)

    def needs(self, cells: int) -> tuple[int, int]:
        """How many lines it wants at a width: at least, and with large figures."""
        small, large = (
            len(padview.draw(self.question, cells, 40, self.terms, self.cue, self.refused, large=big))
            for big in (False, True)
        )
        return small, max(small, large)

    def said(self, cells: int) -> int:
        """How many lines the refusal or the news takes."""
        return len(padview.told(self.cue, cells, self.refused))

    def redraw(self) -> None:
        """Make the drawing again, and say that it may want another height."""
        super().redraw()
        self.post_message(self.Grown())

    def ask(self, question: Question, *, new: bool = False, cue: str = "") -> None:
        """Ask another question. `new`: it belongs to another step, which no key pressed earlier may answer."""
        self.question = question
        self.cue, self.refused = cue, False
        held, self._held = self._held or [], None
        if new:
            self._since = None
            if held:
                self._leave_out()
            self.call_after_refresh(self._painted)
        self.redraw()
        if not new:
            self._replay(held)

    def release(self) -> None:
        """The action that was called is done: take the keys that came meanwhile, in their order."""
        held, self._held = self._held or [], None
        self._replay(held)

    def _replay(self, held: list[Pressed]) -> None:
        for pressed in held:
            self._take(pressed)

    def say(self, cue: str, bell: bool = True) -> None:
        """Show why something was refused; the question stays as it is, and keys are taken again."""
        self.cue, self.refused = cue, bell
        self._held = None
        if bell:
            self.app.bell()
        self.redraw()

    def _painted(self) -> None:
        from textual._time import get_time  # the clock of key events

        self._since = get_time()

    def _leave_out(self) -> None:
        self.cue, self.refused = TOO_EARLY, True
        self.app.bell()
        self.redraw()

    async def _on_key(self, event: events.Key) -> None:
        pressed = self._keys.press(event.key, event.character)
        if pressed is None:
            event.stop()
            event.prevent_default()
            return
        name, character = pressed
        if (self._since is None or event.time < self._since) and (character is not None or name == "enter"):
            self._leave_out()
            used = True
        else:
            used = self._take((name, character, event.key))
        if used:
            event.stop()
            event.prevent_default()

    def _take(self, pressed: Pressed) -> bool:
        """A key, in its turn: for the question in hand, else for the screen; held while something is being done."""
        name, character, key = pressed
        if self._held is not None:
            self._held.append(pressed)
            return True
        if self.press(name, character):
            return True
        ids = self.calls.get(key) or self.calls.get(name)
        if ids is None:
            return False
        self._held = []
        self.post_message(self.Called(ids))
        return True

    def _on_paste(self, event: events.Paste) -> None:
        event.stop()
        for name, character in pasted(event.text):
            if self._held is not None:
                self._held.append((name, character, name))
            elif not self.press(name, character):
                self.say(f"'{character}' was not taken: it does not belong here.")

    def press(self, name: str, character: str | None) -> bool:
        """One key, at once. False: not a key of this question."""
        if name == NO_NUMLOCK:
            self.say("NumLock is off. Switch it on, then the pad gives digits.")
            return True
        reply = self.question.key(name, character)
        if reply is None:
            return False
        self.cue = ""
        if isinstance(reply, Opened):
            # The same key press goes on in the fields; the screen is told that what comes before them is done.
            self.question = reply.fields
            self.post_message(self.Began())
            reply = reply.reply
        if isinstance(reply, EntryRefused):
            self.say(reply.sentence)
        elif isinstance(reply, Given):
            # Not painted anew: whoever is told asks the next question at once, and one picture is enough.
            self._held = []
            self.post_message(self.Answered(self.question, reply.value))
        elif isinstance(reply, NeedReason):
            self._held = []
            self.post_message(self.ReasonWanted(reply.row))
        else:
            self.post_message(self.Typed(self.question))
            self.redraw()
        return True

    def tick(self) -> None:
        """A second went by: a countdown is painted anew, and answered when it is over."""
        if isinstance(self.question, Countdown):
            self.redraw()
            if self.question.over and self._held is None:
                self._held = []
                self.post_message(self.Answered(self.question, True))

    @property
    def typing(self) -> bool:
        """Text may stand here, so that a letter is no command."""
        return isinstance(self.question, Fields) or hasattr(self.question, "text")
