"""A procedure ready to run and to prove: frozen steps with their guards compiled; it holds no state and opens no file.

Every number is an exact `Fraction` in the base unit of its dimension (`engine.quantity.units`). Everything that came
from a file
has the `Span` it came from. `each` says what a row runs over; rows run carb 1 barrel 1, carb 1 barrel 2, carb 2
barrel 1 ...
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Literal, TypeAlias

from engine.evidence import Severity
from engine.procedure.language.expr import Each, Node, Type
from engine.procedure.language.names import Names
from engine.procedure.source.spans import NOWHERE, Source, Span
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

SignalWord = Literal["danger", "warning", "caution", "notice"]
OfScrew = Literal["carb", "barrel", "gap", "bank"]
Direction = Literal["in", "out"]
Order = Literal["bank", "worst"]
Outcome = Literal["ok", "failed", "stopped"]
Recorded = Literal["as found", "as left"]
Here = Literal["carb", "barrel"]

#: Steps that may pass by themselves after one answer: the run refuses more, and the checks prove that it need not.
MOST_SILENT = 5000


@dataclass(frozen=True, slots=True)
class Guard:
    """One expression of a file, parsed, typed and compiled. `run(names)` evaluates it."""

    text: str
    span: Span
    node: Node
    type: Type
    run: Callable[[Names], Any] = field(compare=False, repr=False)
    #: Names it reads, dotted ones whole, `position(x)` as "position:x"; for definite assignment.
    uses: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Template:
    """A text with `{name}` or `{name:unit}` places: literal parts and (guard, unit) pairs in turn."""

    text: str
    span: Span
    parts: tuple[str | tuple[Guard, str | None], ...]


@dataclass(frozen=True, slots=True)
class Layout:
    """Which bank a file is for: families (empty: any), and the allowed counts as closed ranges."""

    families: tuple[str, ...]
    carbs: tuple[int, int]
    barrels_per_carb: tuple[int, int]
    span: Span = NOWHERE


@dataclass(frozen=True, slots=True)
class Fact:
    """A constant of the job: `path` into the job file; `default` (str, bool, Fraction) where the job is silent."""

    name: str
    path: str
    type: Type
    default: Any
    span: Span


@dataclass(frozen=True, slots=True)
class Setting:
    """A number that a shop may change: single `value`, or `table` by the choices of fact `by`. In base units."""

    name: str
    type: Type
    value: Fraction | None
    by: str | None
    table: Mapping[str, Fraction]
    source: str
    span: Span


@dataclass(frozen=True, slots=True)
class Parameter:
    """What a caller hands over in `with`: `default` (str, bool, Fraction) where it says nothing; None: it must."""

    name: str
    type: Type
    default: Any
    span: Span


@dataclass(frozen=True, slots=True)
class Screw:
    """What can be turned. `acts` is what it changes ("water"), `at` where it works ("plate"), `inward` the effect of
    turning it in ("less water"), `unit` turn or flat, `zero` the name of its zero, `step` the finest move that a hand
    can count, `range` from where to where it turns."""

    name: str
    each: OfScrew
    acts: str
    at: str
    inward: str
    outward: str
    unit: str
    zero: str
    step: Fraction
    range: tuple[Fraction, Fraction]
    when: Guard | None
    span: Span
    #: Guards over facts and settings giving the low and high end of its band, if the file says so.
    band: tuple[Guard, Guard] | None = None
    #: Where its numbers come from.
    source: str = ""


#: A healthy range: each end a number in base units, a guard over facts and settings, or open.
Healthy: TypeAlias = tuple["Fraction | Guard | None", "Fraction | Guard | None"]


@dataclass(frozen=True, slots=True)
class Reading:
    """What is read: `quantity` is what it is to a machine; exactly one of unit+range or choices. `of` a fixed place."""

    name: str
    ask: str
    how: str
    quantity: str
    type: Type
    step: Fraction | None
    of: tuple[int, int | None] | None
    average: Fraction | None
    take: int | None
    healthy: str | Healthy | None
    span: Span
    #: A place of the row, or the single one, may be not taken, with the reason.
    may_lack: bool = False
    #: The screw whose positions the answer tells.
    position_of: str | None = None
    #: Somebody may be hurt by a wrong answer: no key for a whole list answers it.
    safety: bool = False
    #: "over range" is an answer: the needle stands beyond the scale, and counts as the top of the range.
    over_range: bool = False
    #: A place that is not taken must say why.
    lack_needs_reason: bool = False
    #: A value finer than the step is rounded to it; else it is kept as typed.
    rounds: bool = False
    #: The reasons that are offered for it.
    reasons: tuple[str, ...] = ()
    #: Where its numbers come from.
    source: str = ""


@dataclass(frozen=True, slots=True)
class Symptom:
    """What may be seen or heard at any moment; `way` is where it leads (a step, a call), or None in this file."""

    name: str
    kind: str
    ask: str
    way: str | Call | None
    span: Span


@dataclass(frozen=True, slots=True)
class Value:
    """A named expression over the rest, evaluated when asked for."""

    name: str
    guard: Guard
    unit: str | None
    span: Span


@dataclass(frozen=True, slots=True)
class Caution:
    """A signal word with its text. danger must be understood; the others are shown."""

    name: str
    word: SignalWord
    text: str
    #: States ("engine: running", "fuel: open"), hazards and tools that demand it.
    demanded_by: tuple[str, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class MoveSpec:
    """A move written in the file: `to` a position or `by` an amount (inward positive for by: in; see `direction`)."""

    screw: str
    only: tuple[tuple[int, int | None], ...]
    to: Guard | None
    by: Guard | None
    direction: Direction | None
    when: Guard | None
    span: Span


@dataclass(frozen=True, slots=True)
class FitSpec:
    """A part to fit at each place of `each`, or `only` some."""

    part: str
    each: Each
    only: tuple[tuple[int, int | None], ...]
    size: Guard
    when: Guard | None
    span: Span


@dataclass(frozen=True, slots=True)
class ReadSpec:
    """A reading taken by a step, where `when` holds; `may_lack`: a place may be not taken, with the reason. `listed`:
    it stands in the step's checklist, where one key gives the usual answer to all."""

    reading: str
    when: Guard | None
    may_lack: bool
    span: Span
    listed: bool = False


@dataclass(frozen=True, slots=True)
class Wait:
    """A pause: `seconds`, or `until` (words) at most so long; `cut` says whether the technician may cut it short."""

    seconds: Fraction
    until: str
    why: str
    cut: bool
    span: Span


@dataclass(frozen=True, slots=True)
class Binding:
    """One input of an adviser: a guard, or the bare name of a reading or a screw (kind says which)."""

    name: str
    kind: Literal["reading", "screw", "value"]
    target: str
    guard: Guard | None
    span: Span


@dataclass(frozen=True, slots=True)
class Advise:
    """A call of an adviser: its outputs become `name.output`."""

    name: str
    adviser: str
    bindings: Mapping[str, Binding]
    when: Guard | None
    span: Span


@dataclass(frozen=True, slots=True)
class FindingSpec:
    """A finding that a step or a branch raises; `where` gives places (a row of truths), or `place` is one; with neither
    it concerns the place that the file works at (`here`), or all of it."""

    code: str
    severity: Severity
    where: Guard | None
    say: Template
    do: Template | None
    when: Guard | None
    span: Span
    place: tuple[int, int | None] | None = None


@dataclass(frozen=True, slots=True)
class Branch:
    """One way on: `when` None is `otherwise`."""

    when: Guard | None
    go: str
    why: str
    findings: tuple[FindingSpec, ...]
    span: Span


@dataclass(frozen=True, slots=True)
class Call:
    """A call of another file: `ends` maps each of its ends to a step of this file, to `back` (a symptom's call: enter
    the interrupted step again) or to `next` (with `each`: the next place; after the last, `go`)."""

    file: str
    bindings: Mapping[str, Guard]
    ends: Mapping[str, str]
    name: str | None
    each: Each | None
    order: Order
    worst_by: Guard | None
    go: str | None
    span: Span
    ends_span: Mapping[str, Span] = field(default_factory=dict)
    #: Of a symptom's call (`symptoms: {hammer: {call: ..., limit: {visits: 3, then: worn}}}`): given for the visits+1st
    #: time in one frame, the symptom leads to `then` instead. A call with an end mapped to `back` closes a loop that
    #: only this, or a limit of the interrupted step, ends.
    limit: Limit | None = None


@dataclass(frozen=True, slots=True)
class End:
    """The end of this file: `outcome` counts for the run only where no caller maps it elsewhere."""

    outcome: Outcome
    say: Template
    span: Span


@dataclass(frozen=True, slots=True)
class Limit:
    """Visit `visits`+1 of the step goes to `then`."""

    visits: int
    then: str
    span: Span


@dataclass(frozen=True, slots=True)
class OnStop:
    """How a file words the gate of a stop finding: what it says, what to do about it; None: as the finding does."""

    say: Template | None
    do: Template | None
    span: Span


@dataclass(frozen=True, slots=True)
class Step:
    """One state of a procedure; see the fields of the file. `way` is branches, a step's name, a call or an end."""

    name: str
    title: str
    span: Span
    way: tuple[Branch, ...] | str | Call | End
    limit: Limit | None = None
    state: Mapping[str, str | Guard] = field(default_factory=dict)
    hazards: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    caution: Template | None = None
    do: Template | None = None
    why: Template | None = None
    hear: Template | None = None
    note: Template | None = None
    moves: tuple[MoveSpec, ...] = ()
    make: str | None = None
    fit: tuple[FitSpec, ...] = ()
    wait: Wait | None = None
    read: tuple[ReadSpec, ...] = ()
    keep: tuple[tuple[str, Guard], ...] = ()
    advise: tuple[Advise, ...] = ()
    record: Recorded | None = None
    findings: tuple[FindingSpec, ...] = ()
    clear: tuple[str, ...] = ()
    symptoms: Mapping[str, str | Call] = field(default_factory=dict)
    exclusive: bool = False
    #: Where in the work it belongs; "": where the file, or the step that calls it, does.
    phase: str = ""
    #: How it words the gate of a stop that is found here; None: as its file does.
    on_stop: OnStop | None = None
    #: Where its numbers come from.
    source: str = ""
    #: Spans of the step's keys, for messages: "do", "state.engine", "make", ...
    spans: Mapping[str, Span] = field(default_factory=dict)

    @property
    def waits(self) -> Literal["always", "perhaps", "never"]:
        """Whether the step waits for an answer: always, where it has something to say or to read; perhaps, where its
        moves, parts or readings depend on how things stand; never, and then the run passes it by itself.
        """
        return self.waits_for(self.read)

    def waits_for(self, read: Collection[ReadSpec]) -> Literal["always", "perhaps", "never"]:
        """The same where only these of its readings have a place on the bank."""
        if self.do or self.wait or self.caution or any(r.when is None for r in read):
            return "always"
        return "perhaps" if self.moves or self.make or self.fit or read else "never"

    @property
    def silent(self) -> bool:
        """Nothing to say, make or read: the run passes it by itself."""
        return self.waits == "never"


@dataclass(frozen=True, slots=True)
class Procedure:
    """One file, resolved."""

    source: Source
    name: str
    title: str
    revision: int
    layout: Layout
    needs: tuple[str, ...]
    cautions: Mapping[str, Caution]
    terms: Mapping[str, str]
    facts: Mapping[str, Fact]
    settings: Mapping[str, Setting]
    screws: Mapping[str, Screw]
    readings: Mapping[str, Reading]
    symptoms: Mapping[str, Symptom]
    values: Mapping[str, Value]
    #: Results handed to a caller at an end: name -> expression.
    gives: Mapping[str, Guard]
    start: str
    steps: Mapping[str, Step]
    #: The file works at one place: it is called with this `each`, its readings are single, its screws the ones here.
    here: Here | None = None
    #: Codes of all findings that it, its advisers and the files that it calls may raise.
    raises: frozenset[str] = frozenset()
    #: What a caller hands over in `with`.
    parameters: Mapping[str, Parameter] = field(default_factory=dict)
    #: Where in the work its steps belong; "": where the calling step does.
    phase: str = ""
    #: Texts by name, for other texts; those of the main file hold for all files of a run.
    words: Mapping[str, str] = field(default_factory=dict)
    #: The kits that it uses, by name, each with the names that it takes from it.
    uses: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    #: The vocabulary that it is written in: the trade's, the shop's, and its own words.
    vocabulary: Vocabulary = SHIPPED
    #: How its steps word the gate of a stop, where they don't themselves.
    on_stop: OnStop | None = None

    @property
    def ends(self) -> dict[str, End]:
        """Its ends by step name."""
        return {s.name: s.way for s in self.steps.values() if isinstance(s.way, End)}


@dataclass(frozen=True, slots=True)
class Kit:
    """A kit as it was read: what files took from it stands in them."""

    source: Source
    name: str
    title: str
    revision: int


@dataclass(frozen=True, slots=True)
class Program:
    """A main file, the closure of its calls, and the kits that they use."""

    main: str
    files: Mapping[str, Procedure]
    sha256: str
    kits: Mapping[str, Kit] = field(default_factory=dict)

    def step(self, file: str, step: str) -> Step:
        """A step by file and name."""
        return self.files[file].steps[step]
