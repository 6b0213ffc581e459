"""The other questions that the answering place can ask: press a key, pick from a list, write a line, wait; pure, it
draws nothing."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tui.control.entry import LONGEST, EntryRefused, Fields, Given, Opened, Reply, Took
from tui.drawing.phrases import clock


@dataclass
class Press:
    """One deliberate key, which is not Enter where `keys` says so; `other` is what pressing Enter instead is told."""

    title: str
    keys: tuple[str, ...] = ("enter",)
    cap: str = "Enter"
    detail: str = ""
    role: str = "mark"
    other: str = ""
    #: The signal word of a caution that is to be understood.
    word: str = ""
    #: The fields that a figure opens: who types what was read has done what was to be done before.
    opens: Fields | None = None

    def key(self, name: str, character: str | None) -> Reply | None:
        """One press. None: not a key of this question."""
        if name in self.keys:
            return Given(True)
        if self.other and name == "enter":
            return EntryRefused(self.other)
        if self.opens is not None and character is not None and (character.isdecimal() or character in ".,-"):
            return Opened(self.opens, self.opens.key(name, character) or Took())
        if character is not None and character.isdecimal():
            return EntryRefused(self.other or f"Nothing is to be typed here. {self.cap} goes on.")
        return None


@dataclass(frozen=True, slots=True)
class Option:
    """One line of a list: what it says, what it means, a word more, and its own digit where it has one."""

    label: str
    value: Any
    hint: str = ""
    digit: str = ""
    #: In a list of jobs: registration, customer, what it is about, how it stands, when.
    columns: tuple[str, str, str, str, str] | None = None


@dataclass
class Pick:
    """A list: a digit picks one of the nine that show, arrows and Enter any; `0` shows the next nine."""

    title: str
    options: tuple[Option, ...]
    at: int = 0
    detail: str = ""
    #: Digits only point, and Enter picks: for lists that stay on screen.
    hold: bool = False
    #: Where a letter begins a search: makes the search.
    finds: Callable[[], Find] | None = None

    @property
    def page(self) -> range:
        """The options that show."""
        first = self.at // 9 * 9
        return range(first, min(first + 9, len(self.options)))

    def digit(self, n: int) -> str:
        """The digit of an option: its own, else its place on the page; a blank where neither has one."""
        if any(option.digit for option in self.options):
            return self.options[n].digit or " "
        return str(n - self.page.start + 1)

    def key(self, name: str, character: str | None) -> Reply | None:
        """One press. None: not a key of this question."""
        if name in ("up", "down", "left", "right") and self.options:
            self.at = (self.at + (1 if name in ("down", "right") else -1)) % len(self.options)
            return Took()
        if name == "home" or name == "end":
            self.at = 0 if name == "home" else max(0, len(self.options) - 1)
            return Took()
        if name == "enter":
            return Given(self.options[self.at].value) if self.options else EntryRefused("There is nothing to pick.")
        if character == "0" and len(self.options) > 9:
            self.at = self.page.stop % len(self.options) if self.page.stop < len(self.options) else 0
            return Took()
        if character is not None and character.isdecimal():
            n = next((n for n in self.page if self.digit(n) == character), -1)
            if n < 0:
                return EntryRefused(f"There is no {character} here." if self.options else "There is nothing to pick.")
            self.at = n
            return Took() if self.hold else Given(self.options[n].value)
        if character is not None and character.isalpha():
            return self._letter(character)
        return None

    def _letter(self, character: str) -> Reply | None:
        """A letter begins a search where the list leads to one, or is long; in a list that stays on screen it goes to
        the next line with a word that begins so."""
        if self.hold:
            order = [*range(self.at + 1, len(self.options)), *range(self.at + 1)]
            begins = re.compile(rf"\b{character}", re.IGNORECASE)
            found = next((n for n in order if begins.search(self.options[n].label.replace("-", " "))), None)
            self.at = self.at if found is None else found
            return None if found is None else Took()
        if self.finds is None and len(self.options) < LONG:
            return None
        find = self.finds() if self.finds is not None else Find(self.title, self._holding)
        return Opened(find, find.typed(character))

    def _holding(self, text: str) -> tuple[Option, ...]:
        words = text.casefold().split()
        return tuple(o for o in self.options if all(w in f"{o.label} {o.hint}".casefold() for w in words))


#: A list of so many lines is searched by typing.
LONG = 6


@dataclass
class Find:
    """A list that is searched by typing: every sign typed narrows it, arrows and Enter pick. `look` gives the options
    for what is typed."""

    title: str
    look: Callable[[str], tuple[Option, ...]]
    text: str = ""
    nothing: str = "Nothing holds that. Backspace takes a sign back."
    options: tuple[Option, ...] = ()
    at: int = 0

    def __post_init__(self) -> None:
        self.options = self.look(self.text)

    def key(self, name: str, character: str | None) -> Reply | None:
        """One press. None: not a key of this question."""
        if name in ("up", "down") and self.options:
            self.at = (self.at + (1 if name == "down" else -1)) % len(self.options)
            return Took()
        if name == "enter":
            return Given(self.options[self.at].value) if self.options else EntryRefused(self.nothing)
        if name == "backspace":
            return self._now(self.text[:-1])
        if character is None or not character.isprintable():
            return None
        if len(self.text) >= LONGEST:
            return EntryRefused(f"That is longer than {LONGEST} characters.")
        return self.typed(character)

    def typed(self, character: str) -> Took:
        """A sign more."""
        return self._now(self.text + character)

    def _now(self, text: str) -> Took:
        if text != self.text:
            self.text, self.at = text, 0
            self.options = self.look(text)
        return Took()


@dataclass
class Line:
    """One line of text: a note, a reason, a path. `fresh`: the first sign typed takes the place of what stands."""

    title: str
    text: str = ""
    may_be_empty: bool = False
    empty: str = "Nothing is written yet."
    detail: str = ""
    caret: int = field(default=-1)
    fresh: bool = False

    def __post_init__(self) -> None:
        if self.caret < 0:
            self.caret = len(self.text)

    def key(self, name: str, character: str | None) -> Reply | None:
        """One press. None: not a key of this question."""
        over, self.fresh = self.fresh, False
        if over and character is not None and character.isprintable():
            self.text, self.caret = "", 0
        if name == "enter":
            said = self.text.strip()
            return Given(said) if said or self.may_be_empty else EntryRefused(self.empty)
        if name in ("left", "right", "home", "end"):
            self.caret = {
                "left": max(0, self.caret - 1),
                "right": min(len(self.text), self.caret + 1),
                "home": 0,
                "end": len(self.text),
            }[name]
            return Took()
        if name == "backspace":
            self.text = self.text[: max(0, self.caret - 1)] + self.text[self.caret :]
            self.caret = max(0, self.caret - 1)
            return Took()
        if name == "delete":
            self.text = self.text[: self.caret] + self.text[self.caret + 1 :]
            return Took()
        if character is None or not character.isprintable():
            return None
        if len(self.text) >= 2 * LONGEST:
            return EntryRefused(f"That is longer than {2 * LONGEST} characters.")
        self.text = self.text[: self.caret] + character + self.text[self.caret :]
        self.caret += 1
        return Took()


@dataclass
class Countdown:
    """A pause before reading.

    `now` gives seconds from any start; Enter ends it where it may be cut, or where it waits for an event.
    """

    title: str
    seconds: float
    until: str
    why: str
    cut: bool
    now: Callable[[], float]
    started: float = -1.0

    def __post_init__(self) -> None:
        if self.started < 0:
            self.started = self.now()

    @property
    def left(self) -> float:
        """Seconds still to wait."""
        return max(0.0, self.seconds - (self.now() - self.started))

    @property
    def over(self) -> bool:
        """Nothing is left to wait."""
        return self.left <= 0

    def key(self, name: str, character: str | None) -> Reply | None:
        """One press. None: not a key of this question."""
        if name == "enter":
            if self.cut or self.until or self.over:
                return Given(True)
            why = f": {self.why}." if self.why else "."
            return EntryRefused(f"{clock(self.left)} to go, and this wait is not to be cut short{why}")
        if character is not None and (character.isdecimal() or character in ".,"):
            return EntryRefused(f"Not yet: {clock(self.left)} to go before anything is read.")
        return None
