"""Typing the values of a step: fields in rows, what was typed, and what it means; pure, it draws nothing and records
nothing.

A character is never dropped silently: what can't belong to a number is refused with a sentence, and what was parsed
is echoed with its unit before it is given. `,` and `.` are both the decimal mark; `1 1/4` and, on a number pad,
`1+1/4` are mixed numbers.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal

from engine.quantity.measure import Measure
from engine.quantity.units import NotAQuantity
from engine.quantity.values import OVER_RANGE
from engine.quantity.wording import with_unit

if TYPE_CHECKING:
    from engine.evidence import Place

#: What a text for a number may hold, besides letters of a unit.
_NUMERIC = set('0123456789.,/+- %°²³µ½¼¾⅛⅜⅝⅞⅓⅔"')
#: The most characters of a text, and of a number.
LONGEST, LONGEST_NUMBER = 200, 40


class Refusal(ValueError):
    """What was typed can't be taken; the message is a sentence for the screen."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One field: a number in `unit` within `low` to `high`, a choice, or a text.

    `label` is its short name in the row.
    """

    label: str
    place: Place | None = None
    kind: Literal["number", "choice", "text"] = "number"
    unit: str | None = None
    low: Fraction | None = None
    high: Fraction | None = None
    step: Fraction | None = None
    choices: tuple[str, ...] = ()
    optional: bool = False
    #: The needle may stand beyond the scale: `over`, or a figure with a `+` behind it.
    over: bool = False
    #: A value finer than the step is rounded to it; else it is kept as typed.
    rounds: bool = False
    #: Of a text: what is wrong with it, in a sentence; empty where nothing is.
    fault: Callable[[str], str] | None = None
    #: The place in words, where it is spoken of alone: `body 1, barrel 2`.
    called: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One reading or one field of a form: its cells, what to ask, and what to show beside the echo."""

    name: str
    ask: str
    cells: tuple[Cell, ...]
    how: str = ""
    hint: str = ""
    may_lack: bool = False
    healthy: str | tuple[Fraction | None, Fraction | None] | None = None
    expect: tuple[Fraction | None, ...] | None = None
    #: What was read here last.
    last: tuple[Any, ...] | None = None
    #: A place that is left out needs a reason.
    reasoned: bool = True
    #: Its quantity, and whether the engine runs meanwhile.
    quantity: str = ""
    running: bool = False
    #: What the fields hold to begin with.
    start: tuple[str, ...] | None = None


def read(cell: Cell, text: str) -> Any:
    """What a text means in this cell: a Fraction in its unit, a choice, or a text; None where
    it may be empty.

    Raises `Refusal` with a sentence.
    """
    text = text.strip()
    if not text:
        if cell.optional:
            return None
        raise Refusal("Nothing is typed yet.")
    if cell.kind == "text":
        wrong = cell.fault(text) if cell.fault else ""
        if wrong:
            raise Refusal(wrong)
        return text
    if cell.kind == "choice":
        if text.isdecimal() and 1 <= int(text) <= len(cell.choices):
            return cell.choices[int(text) - 1]
        for choice in cell.choices:
            if choice.casefold() == text.casefold():
                return choice
        raise Refusal(f"'{text[:20]}' is none of them. Type a digit from 1 to {len(cell.choices)}.")
    if cell.over and _OVER.fullmatch(text.casefold()):
        return OVER_RANGE
    return _number(cell, text)


#: The needle stands beyond the scale, as it is typed.
_OVER = re.compile(r"over( range)?|>.*|[\d.,/ ]+\+")


def _number(cell: Cell, text: str) -> Fraction:
    try:
        return Measure(cell.unit or "", cell.low, cell.high, cell.step, cell.rounds).typed(text)
    except NotAQuantity as fault:
        way = " Where the needle stands beyond the scale, type over." if cell.over else ""
        raise Refusal(f"{fault}{way}") from None


@dataclass(frozen=True, slots=True)
class Took:
    """The key was used; nothing is answered yet."""


@dataclass(frozen=True, slots=True)
class EntryRefused:
    """The key was refused, and why."""

    sentence: str


@dataclass(frozen=True, slots=True)
class Given:
    """The question is answered."""

    value: Any


@dataclass(frozen=True, slots=True)
class NeedReason:
    """A place of this row is not taken, and nobody has said why yet."""

    row: Row


#: What fields make of a press.
Typed = Took | EntryRefused | Given | NeedReason


@dataclass(frozen=True, slots=True)
class Opened:
    """The key opened another question and went into it: fields, where what was to be done before is done; a search."""

    fields: Any
    reply: Typed


Reply = Typed | Opened


@dataclass
class Fields:
    """Rows of fields, walked place by place. `texts` is what stands in each; `-` alone means not taken."""

    rows: tuple[Row, ...]
    title: str = ""
    at: int = 0
    texts: list[str] = field(default_factory=list)
    reasons: dict[str, str] = field(default_factory=dict)
    #: The next character replaces what stands here.
    fresh: bool = True
    #: What stands here was refused or asked about: Backspace takes a sign back, anything else replaces it.
    refused: bool = False
    #: `+` is the screen's key, whatever stands here: in a rehearsal it takes the reading.
    plus_takes: bool = False
    #: The rows are listed elsewhere on the screen.
    listed: bool = False
    #: Doubtful values that were asked about, as (field, text): once each, never refused for ever.
    asked: set[tuple[int, str]] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.flat: list[tuple[Row, Cell]] = [(row, cell) for row in self.rows for cell in row.cells]
        if not self.texts:
            self.texts = [t for row in self.rows for t in (row.start or ("",) * len(row.cells))]

    @property
    def row(self) -> Row:
        """The row in hand."""
        return self.flat[self.at][0]

    @property
    def cell(self) -> Cell:
        """The field in hand."""
        return self.flat[self.at][1]

    @property
    def index(self) -> int:
        """The place in hand within its row."""
        return self.at - self.start_of(self.row)

    def start_of(self, row: Row) -> int:
        """Where a row's fields begin."""
        return next(n for n, (each, _) in enumerate(self.flat) if each is row)

    def typed(self, row: Row) -> list[str]:
        """What stands in a row's fields."""
        first = self.start_of(row)
        return self.texts[first : first + len(row.cells)]

    def value(self, n: int) -> Any:
        """What field `n` means; None where it is not taken. Raises `Refusal`."""
        row, cell = self.flat[n]
        if row.may_lack and not self.texts[n].strip():
            return None
        if self.texts[n].strip() in ("-", "–"):
            if row.may_lack:
                return None
            if cell.optional:
                return None
            raise Refusal(f"{row.ask}: this one must be taken.")
        return read(cell, self.texts[n])

    def values(self) -> dict[str, Any]:
        """Every row's value: a single one alone, a row as a list. Raises `Refusal`."""
        found: dict[str, Any] = {}
        for row in self.rows:
            first = self.start_of(row)
            these = [self.value(first + n) for n in range(len(row.cells))]
            found[row.name] = these[0] if len(these) == 1 and row.cells[0].place is None else these
        return found

    def put(self, row: Row, texts: list[str]) -> None:
        """Write texts into a row's fields, as if they had been typed."""
        first = self.start_of(row)
        self.texts[first : first + len(row.cells)] = texts
        self.fresh = True

    def same(self) -> bool:
        """Write the answer in hand, else the one before it, into every empty place of the row from here on; False where
        there is none."""
        first = self.start_of(self.row)
        last = first + len(self.row.cells) - 1
        before = self.texts[self.at - 1] if self.at > first else ""
        text = self.texts[self.at].strip() or before.strip()
        if not text:
            return False
        for n in range(self.at, last + 1):
            self.texts[n] = self.texts[n].strip() or text
        self.go(last)
        return True

    def rebuild(self, rows: tuple[Row, ...], begin: Mapping[str, str]) -> None:
        """Ask other rows from now on, and stay at the one in hand; what stands in a row stays, unless `begin` says."""
        kept = {row.name: self.typed(row) for row in self.rows}
        at, fresh = self.row.name, self.fresh
        self.rows = rows
        self.flat = [(row, cell) for row in rows for cell in row.cells]
        self.texts = [t for row in rows for t in (row.start or ("",) * len(row.cells))]
        for row in rows:
            if row.name in begin:
                self.put(row, [begin[row.name]])
            elif row.name in kept:
                self.put(row, kept[row.name])
        self.go(next((n for n, (row, _) in enumerate(self.flat) if row.name == at), 0))
        self.fresh = fresh

    def go(self, n: int) -> None:
        """Go to a field; what is typed next replaces what stands there."""
        self.at = max(0, min(len(self.flat) - 1, n))
        self.fresh, self.refused = True, False

    def key(self, name: str, character: str | None) -> Typed | None:
        """One press. None: not a key of this question."""
        if name == "enter":
            return self._enter()
        if name in ("up", "left") or name in ("down", "right"):
            self.go(self.at + (1 if name in ("down", "right") else -1))
            return Took()
        if name in ("home", "end"):
            self.go(0 if name == "home" else len(self.flat) - 1)
            return Took()
        if name in ("backspace", "delete"):
            whole = name == "delete" or (self.fresh and not self.refused)
            self.texts[self.at] = "" if whole else self.texts[self.at][:-1]
            self.fresh = self.refused = False
            return Took()
        return self._type(character) if character is not None else None

    @property
    def _plus_is_a_key(self) -> bool:
        return self.plus_takes or self.cell.kind == "choice"

    def _type(self, character: str) -> Typed | None:
        here = "" if self.fresh else self.texts[self.at]
        if self.cell.kind != "text":
            if character in "*=?!" or (character in "/+" and not here) or (character == "+" and self._plus_is_a_key):
                return None
            if not (
                character in _NUMERIC
                or (self.cell.over and character == ">")
                or character.isalpha()
                or self.cell.kind == "choice"
            ):
                return EntryRefused(f"'{character}' does not belong in a number. Write it like 1.25, 1,25 or 1 1/4.")
        longest = LONGEST_NUMBER if self.cell.kind == "number" else LONGEST
        if len(here) >= longest:
            return EntryRefused(f"That is longer than {longest} characters.")
        if self.cell.kind == "choice" and character.isdecimal() and here.isdecimal():
            # A second digit replaces the first, unless both together are one of many choices.
            here = here if int(here + character) <= len(self.cell.choices) else ""
        self.texts[self.at] = here + character
        self.fresh = self.refused = False
        return Took()

    def _enter(self) -> Typed:
        try:
            value = self.value(self.at)
        except Refusal as fault:
            self.fresh = self.refused = True
            return EntryRefused(str(fault))
        typed = self.texts[self.at].strip()
        if value is None and self.row.may_lack:
            self.texts[self.at] = "-"
            if (typed or self.row.reasoned) and self.row.name not in self.reasons:
                return NeedReason(self.row)
        doubt = doubtful(self, self.at, value)
        if doubt and (self.at, typed) not in self.asked:
            self.asked.add((self.at, typed))
            self.fresh = self.refused = True
            return EntryRefused(f"{doubt} Enter again if it is so.")
        if self.at + 1 < len(self.flat):
            self.go(self.at + 1)
            return Took()
        for n in range(len(self.flat)):
            try:
                self.value(n)
            except Refusal as fault:
                self.go(n)
                row, cell = self.flat[n]
                return EntryRefused(f"{cell.called or cell.label or row.ask}: {fault}")
        return Given(self.values())


#: How many times larger or smaller than what stands beside it a reading is asked about: a slipped decimal mark is ten
#: times, a sick barrel hardly three (assumed).
FAR = 4
#: Of these no share can be told: twice as hot means nothing, and a reading is taken again to see it rise.
NO_SHARE = ("degC", "degF")
#: No engine runs slower than this many revolutions a minute by itself (assumed).
SLOWEST = 100


def doubtful(fields: Fields, at: int, value: Any) -> str:
    """Why the value of a field is asked about once, in a sentence; empty where nothing speaks against it."""
    row, cell = fields.flat[at]
    if not isinstance(value, Fraction) or cell.kind != "number" or row.quantity.endswith("position"):
        return ""
    if cell.unit in NO_SHARE:
        return ""
    if value == 0:
        if not row.running or row.quantity not in ("airflow", "engine speed"):
            return ""
        died = " If it died, say so with *." if row.quantity == "engine speed" else ""
        return f"{cell.called or row.ask}: nothing at all, on a running engine?{died}"
    if row.quantity == "engine speed" and row.running and value < SLOWEST:
        return f"{_said(value, cell)}, on a running engine?"
    first = fields.start_of(row)
    beside = []
    for n in range(first, first + len(row.cells)):
        try:
            other = fields.value(n) if n != at and fields.texts[n].strip() else None
        except Refusal:
            other = None
        if isinstance(other, Fraction) and other > 0:
            beside.append(other)
    before = row.last[at - first] if row.last is not None and at - first < len(row.last) else None
    if isinstance(before, Fraction) and before > 0 and _far(value, before):
        where = f"{cell.called}: " if cell.called else ""
        return f"{where}{_said(value, cell)} now, {_said(before, cell)} last time?"
    aim = row.expect[at - first] if row.expect is not None and at - first < len(row.expect) else None
    if aim is not None and aim > 0 and _far(value, aim):
        return f"{_said(value, cell)}, where {_said(aim, cell)} is expected?"
    if beside and all(_far(value, other) for other in beside):
        where = f"{cell.called}: " if cell.called else ""
        return f"{where}{_said(value, cell)} here, {_said(sorted(beside)[len(beside) // 2], cell)} beside it?"
    return ""


def _far(value: Fraction, other: Fraction) -> bool:
    return value > FAR * other or value * FAR < other


def _said(value: Fraction, cell: Cell) -> str:
    return with_unit(value, cell.unit, cell.step)


def draft(fields: Fields) -> Mapping[str, list[str]]:
    """What is half typed, by row name: kept when something else is asked in between."""
    return {row.name: fields.typed(row) for row in fields.rows}
