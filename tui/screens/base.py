"""What every screen does alike: one answering place, keys from the registry, scrolling, the two looks; it shows no
content."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from typing import Any

from textual.app import ComposeResult
from textual.screen import Screen, ScreenResultType

from tui.control import actions
from tui.control.questions import Find, Option, Pick, Press
from tui.drawing.padview import Question
from tui.styles import themes
from tui.widgets.keybar import KeyBar
from tui.widgets.pad import Pad
from tui.widgets.painted import Drawn, Page

Done = Callable[[Any], None]


def page_and_pad(head: Drawn, about: Drawn) -> ComposeResult:
    """A head, a page that scrolls below it, the answering place and the keys."""
    yield head
    with Page(id="page"):
        yield about
    yield Pad(id="pad")
    yield KeyBar(id="keys")


class AnsweringScreen(Screen[ScreenResultType]):
    """A screen with one pad. `NAME` is its name in the registry; `do_<action>` does an action, `allowed` says whether
    it may.

    Questions are laid over the screen's own in the pad, never pushed as screens: so no key can fall between two.
    """

    NAME = ""
    #: The part that PgUp and PgDn scroll.
    SCROLLS = ""
    AUTO_FOCUS = "Pad"

    def __init__(self) -> None:
        super().__init__()
        #: Questions that lie over the screen's own, the newest last, and what each answer is for.
        self.over: list[tuple[Question, Done]] = []
        #: The last that were laid over it: once they are answered or dropped, a key that still comes in for one answers
        #: nothing, least of all the screen's own question.
        self._laid: deque[Question] = deque(maxlen=16)

    # ---- asking

    @property
    def pad(self) -> Pad:
        """The answering place."""
        return self.query_one(Pad)

    def question(self) -> Question:
        """The screen's own question."""
        raise NotImplementedError

    def answered(self, question: Question, value: Any) -> None:
        """The screen's own question was answered."""
        raise NotImplementedError

    def ask(self, *, new: bool = False, cue: str = "") -> None:
        """Put the newest question to the person. `new`: no key pressed before it is painted may answer it."""
        if not self.query(Pad):
            return  # left by a storm of keys before it was put together
        question = self.over[-1][0] if self.over else self.question()
        self.pad.calls = actions.calls(self.NAME)
        self.set_class(isinstance(question, Pick) and len(question.options) > 3, "-picking")
        self.set_class(isinstance(question, Press) and bool(question.word), "-warning")
        self.pad.ask(question, new=new, cue=cue)
        self.offer()

    def searching(self) -> bool:
        """A letter was typed at a list that lies over the screen's own question: its search has taken its place."""
        find = self.pad.question
        if not (self.over and isinstance(self.over[-1][0], Pick) and isinstance(find, Find)):
            return False
        self.over[-1] = (find, self.over[-1][1])
        self._laid.append(find)
        self.offer()
        return True

    def on_pad_began(self) -> None:
        """A key opened another question."""
        self.searching()

    def lay(self, question: Question, done: Done, cue: str = "") -> None:
        """Ask something over the screen's own question; Esc drops it."""
        self.over.append((question, done))
        self._laid.append(question)
        self.ask(cue=cue)

    @property
    def going(self) -> bool:
        """The screen is being taken down, or is not up yet: keys that still come in are for nobody."""
        return not self.is_attached or not self.query(Pad)

    def on_pad_answered(self, message: Pad.Answered) -> None:
        """A question was answered: one that was laid over goes to whoever asked it, else it is the screen's own."""
        if self.going:
            return
        if self.over and message.question is self.over[-1][0]:
            _, done = self.over.pop()
            done(message.value)
        elif self.over or self._was_laid(message.question):
            self.pad.release()
        else:
            self.answered(message.question, message.value)

    def _was_laid(self, question: Question) -> bool:
        return any(each is question for each in self._laid)

    # ---- keys

    def on_pad_called(self, message: Pad.Called) -> None:
        """A key of this screen was pressed where the technician types; what was typed after it comes after it."""
        self.action_do(message.ids)
        if not self.going:
            self.pad.release()

    def allowed(self, id: str) -> bool:
        """Whether an action means anything now."""
        return self.scrolls() if id in ("up", "down") else True

    def has(self, id: str) -> bool:
        """Whether an action may ever mean anything here: the menu lists no other."""
        return True

    def labels(self) -> dict[str, str]:
        """Other labels in the key bar than the registry's."""
        return {"leave": "back"} if self.over else {}

    def offer(self) -> None:
        """Make the key bar anew."""
        if not self.going:
            self.query_one(KeyBar).offer(self.NAME, self.allowed, self.labels())

    def on_page_scrolling(self) -> None:
        """There is more than shows, or no longer: the key for it comes and goes."""
        self.offer()

    def action_do(self, ids: str) -> None:
        """A key of the registry: the first of its actions that is allowed."""
        if self.going:
            return
        for id in ids.split():
            if self.allowed(id):
                getattr(self, f"do_{id.replace('-', '_')}")()
                return
        if self.over:
            self.pad.say("Answer this first, or leave it with Esc.")
        else:
            self.pad.say(actions.NOTHING.get(ids.split()[-1], "That key means nothing here."))

    def do_menu(self) -> None:
        """Everything that can be done here, with digits."""
        options = tuple(
            Option(a.label, a.id, f"{a.cap if a.keys else ''}{'' if self.allowed(a.id) else '  not now'}".strip())
            for a in actions.menu(self.NAME)
            if self.has(a.id)
        )

        def chosen(id: str) -> None:
            self.ask()
            self.action_do(id)

        self.lay(Pick("WHAT CAN BE DONE HERE", options), chosen)

    def do_leave(self) -> None:
        """Back: from a question that was laid over, then from the screen."""
        if self.over:
            self.over.pop()
            self.ask()
        elif self._was_laid(self.pad.question):
            # Its answer was refused, and it still stands there.
            self.ask()
        else:
            self.leave()

    def leave(self) -> None:
        """Back to where this screen was opened."""
        self.dismiss(None)

    def do_look(self) -> None:
        """The other theme, where there are colours."""
        if not self.app.no_color:
            self.app.theme = themes.other(self.app.theme)

    def do_help(self) -> None:
        """The keys of this screen, and how numbers are typed."""
        from tui.screens.help import HelpScreen  # only when asked for: not needed for the first paint

        self.app.push_screen(HelpScreen(self.NAME))

    # ---- scrolling

    def scroller(self) -> Page | None:
        """What PgUp and PgDn scroll."""
        return self.query_one(self.SCROLLS, Page) if self.SCROLLS else None

    def scrolls(self) -> bool:
        """More is there than shows."""
        box = self.scroller()
        return box is not None and box.show_vertical_scrollbar

    def do_up(self) -> None:
        """Scroll up by a page."""
        if (box := self.scroller()) is not None:
            box.scroll_page_up(animate=False)

    def do_down(self) -> None:
        """Scroll down by a page."""
        if (box := self.scroller()) is not None:
            box.scroll_page_down(animate=False)
