"""What a technician is shown at a step, as frozen data with final texts and exact numbers; it computes and paints
nothing.

The screen, the line protocol and a rehearsal all read this. Numbers are `Fraction`s in the unit that stands beside
them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal

from engine.evidence import Because, Finding, Move, Part, Place


@dataclass(frozen=True, slots=True)
class CautionView:
    """A caution with its signal word; `understand` is true where the answer must say that it was understood."""

    name: str
    word: Literal["danger", "warning", "caution", "notice"]
    text: str
    understand: bool


@dataclass(frozen=True, slots=True)
class Ask:
    """One reading to take. `count` is the length of its row (1 for a single value, then `each` is None)."""

    name: str
    ask: str
    how: str
    quantity: str
    each: str | None
    of: Place | None
    count: int
    places: tuple[Place, ...]
    unit: str | None
    range: tuple[Fraction, Fraction] | None
    choices: tuple[str, ...]
    healthy: str | tuple[Fraction | None, Fraction | None] | None
    average: Fraction | None
    take: int | None
    step: Fraction | None
    may_lack: bool
    #: It stands in the step's checklist.
    listed: bool = False
    #: A wrong answer may hurt somebody: no key for a whole list answers it.
    safety: bool = False
    #: "over range" is an answer; a place that is not taken must say why.
    over_range: bool = False
    lack_needs_reason: bool = False
    #: The reasons that are offered; any other may be given.
    reasons: tuple[str, ...] = ()
    #: The newest row of this quantity and what the advice expected now, if any (declared unit).
    last: tuple[Any, ...] | None = None
    expect: tuple[Fraction | None, ...] | None = None
    #: A value finer than the step is rounded to it.
    rounds: bool = False
    #: Where its numbers come from.
    source: str = ""


@dataclass(frozen=True, slots=True)
class SymptomView:
    """A symptom that may be given at this step."""

    name: str
    kind: str
    ask: str


@dataclass(frozen=True, slots=True)
class ScrewRow:
    """Where each screw of one kind stands: positions in its unit from its zero (None: unknown), and its band if
    known.
    """

    name: str
    each: str
    acts: str
    at: str
    unit: str
    zero: str
    places: tuple[Place, ...]
    positions: tuple[Fraction | None, ...]
    band: tuple[Fraction, Fraction] | None
    step: Fraction
    range: tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Latest:
    """The newest row of a reading, with its history of spread (max less min) by visit, in `unit`."""

    name: str
    quantity: str
    each: str | None
    unit: str | None
    row: tuple[Any, ...]
    #: Closed range or tolerance that the file declares for it: `tolerance` is the allowed spread, if any setting
    #: says so.
    tolerance: Fraction | None
    spreads: tuple[Fraction, ...]
    #: How the engine ran: `idle`, a held speed as `1500 rpm`, or `stopped`; rows are compared within one of them.
    hold: str = "idle"
    #: It was read as the engine came in.
    found: bool = False
    #: What was done since, so that it says no more how things stand: "a screw was turned"; empty where nothing was.
    since: str = ""
    #: When, by the clock of the answer.
    at: str = ""
    #: The finest figure that is written down, in `unit`; None where it was not declared.
    step: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Spot:
    """One reading of a search: where the screw stood, what was read, and whether all other screws stood as now."""

    position: Fraction
    value: Fraction
    alone: bool
    seq: int


@dataclass(frozen=True, slots=True)
class Sweep:
    """The search for one mixture screw's crest: readings of `quantity` (in `value_unit`) by position (in `unit`), the
    oldest first. `to` is where it is to be turned and `expect` what is expected there; `best`, between `low` and
    `high`, is where the adviser believes that it belongs. None where nobody says.
    """

    screw: str
    place: Place
    unit: str
    quantity: str
    value_unit: str
    spots: tuple[Spot, ...]
    to: Fraction | None = None
    expect: Fraction | None = None
    best: Fraction | None = None
    low: Fraction | None = None
    high: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Hours:
    """Minutes that the engine ran since the work began, and minutes since it was read as hot (None: it was not)."""

    running: int
    hot: int | None


@dataclass(frozen=True, slots=True)
class TrailMark:
    """One step that was answered: `file`, `step`, `title`, `visit`, what was answered in words, and the clock's
    text.
    """

    seq: int
    file: str
    step: str
    title: str
    visit: int
    said: str
    at: str


@dataclass(frozen=True, slots=True)
class WaitView:
    """A pause before reading; the screen counts, nothing headless sleeps."""

    seconds: Fraction
    until: str
    why: str
    cut: bool


@dataclass(frozen=True, slots=True)
class Advised:
    """The last advice in force: what it said, for "why this advice"."""

    name: str
    adviser: str
    version: int
    outputs: Mapping[str, str]
    because: Because | None
    #: The same outputs as they are: numbers in the unit that the adviser declares, choices as words.
    values: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Line:
    """One reading, or the positions of one screw, as found or as left: a row over its places, in `unit` (None: not
    taken).

    `each` is None where it is a single value, then the row has one place.
    """

    quantity: str
    unit: str | None
    each: str | None
    places: tuple[Place, ...]
    row: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class EndView:
    """How the run ended: words, and as found and as left side by side, by the name of a reading or a screw."""

    outcome: str
    say: str
    as_found: Mapping[str, Line]
    as_left: Mapping[str, Line]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class GateView:
    """A stop on the spot: what was found, in words, what to do about it, and the ways on (`mended` may be left out).
    `reason_for` are the ways that need a reason.
    """

    say: str
    do: str
    choices: tuple[str, ...]
    reason_for: tuple[str, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class View:
    """The step in force, or the end. `state` says how things must stand; `changes` what of it is new at this step."""

    run: str
    seq: int
    procedure: str
    file: str
    step: str
    visit: int
    limit: int | None
    title: str
    do: str
    why: str
    hear: str
    note: str
    caution: str
    here: Place | None
    cautions: tuple[CautionView, ...]
    #: Dangers understood earlier in this engine run: they stay as a line.
    standing: tuple[CautionView, ...]
    state: Mapping[str, Any]
    changes: tuple[str, ...]
    moves: tuple[Move, ...]
    moves_made: bool
    fit: tuple[Part, ...]
    wait: WaitView | None
    read: tuple[Ask, ...]
    symptoms: tuple[SymptomView, ...]
    findings: tuple[Finding, ...]
    terms: Mapping[str, str]
    screws: tuple[ScrewRow, ...]
    latest: tuple[Latest, ...]
    parts: Mapping[tuple[str, Place], Fraction]
    advice: tuple[Advised, ...]
    trail: tuple[TrailMark, ...]
    can_undo: bool
    can_redo: bool
    end: EndView | None = None
    #: Words on what happened on the way here: branch reasons ("why"), passed limits.
    because: tuple[str, ...] = field(default=())
    #: A stop stands: it is answered before anything else.
    gate: GateView | None = None
    #: The run waits for these parts.
    waiting: tuple[str, ...] = ()
    #: What to do again first after a pause ("warm up first"); "" where there was none, or it does not matter here.
    again: str = ""
    #: Which visit of this step it is through the whole run, calls that are over included; `visit` is that of this call.
    visit_of_run: int = 1
    #: Where in the work the step belongs: "as found", "checks", ...; "" where no file says.
    phase: str = ""
    #: Where the numbers of the step come from; "" where its file does not say.
    source: str = ""
    #: The searches for the mixture screws in hand, in the order in which they are turned; empty where none is searched.
    sweeps: tuple[Sweep, ...] = ()
    #: How long the engine has run; None where nobody counts.
    hours: Hours | None = None
    #: The fewest steps that are still to be answered, a search counted as one round; None where nobody counts.
    steps_left: int | None = None

    @property
    def sweep(self) -> Sweep | None:
        """The search for the first mixture screw in hand; None where nothing is searched for."""
        return self.sweeps[0] if self.sweeps else None

    @property
    def usual(self) -> Mapping[str, Any]:
        """What the one key of a checklist answers: each listed reading as it should be, but those of safety."""
        listed = [a for a in self.read if a.listed and not a.safety]
        return {a.name: a.healthy if a.each is None else (a.healthy,) * a.count for a in listed}
