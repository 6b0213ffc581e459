"""How a run stands: frozen tuples that a fold of events builds; nothing here changes or decides.

A state holds the state before the last answer, so that an undo is a step back along it, and the evidence is the
walk along it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

from engine.evidence import Advice, Finding, Move, Part, Place
from engine.procedure.program import Call, End
from engine.run.events import Event

if TYPE_CHECKING:
    from engine.run.layout import StepPlan
    from engine.run.scope import Names

Positions = Mapping[tuple[str, Place], Fraction | None]


class World(NamedTuple):
    """What hands have done and how things must stand: it outlives an undo where it is of metal.

    `conditions` is how things must stand now, `changed` which of them no step has shown yet. `understood` are the
    dangers understood in this run, or since its last pause. `epoch` counts changed parts and linkage. `rested`: the
    work was taken up again after a pause, and no answer since was given with the engine running, so nobody knows
    whether it is hot.
    """

    positions: Positions
    parts: Mapping[tuple[str, Place], Fraction]
    epoch: int
    conditions: Mapping[str, Any]
    changed: tuple[str, ...]
    understood: frozenset[str]
    rested: bool = False


class Made(NamedTuple):
    """Moves and parts made at a step since the answer before it, and the positions before them."""

    moves: tuple[Move, ...]
    parts: tuple[Part, ...]
    before: Positions


class CallSite(NamedTuple):
    """Why a frame is there: the call, its places in turn (one None for a plain call), which of them is being
    worked at, and the results so far.

    `symptom`: a symptom made the call, and `made` says whether the moves of the step that it broke into were made.
    """

    spec: Call
    places: tuple[Place | None, ...]
    turn: int
    results: Mapping[str, Mapping[Place | None, Any]]
    symptom: bool
    made: bool


class Given(NamedTuple):
    """An advice in force in a frame, under the name that the step gave it; `made`: its moves and parts were made."""

    name: str
    advice: Advice
    made: bool


class Frame(NamedTuple):
    """One file being followed. `names` is what its guards read beside the positions of screws: facts, settings,
    readings, kept values, results of calls, what advice put out. `advice` is what was advised, the newest first.
    `visits` counts steps, symptoms with a limit and gates. `caller` is the frame that waits for its end.

    The names are changed only while a step is being worked out; afterwards they are shared and left alone.
    """

    at: StepPlan
    names: Names
    advice: tuple[Given, ...]
    visits: Mapping[str, int]
    here: Place | None
    caller: Frame | None
    site: CallSite | None


class Recorded(NamedTuple):
    """One line of `as found` or `as left`: a reading or screw by place, in base units; `unit` is for showing."""

    quantity: str
    unit: str | None
    each: str | None
    by_place: Mapping[Place, Any]


class Ending(NamedTuple):
    """How the run ended, and the words of its end."""

    outcome: str
    say: str
    abandoned: bool = False


#: What a finding is told by: its code and its places.
Identity = tuple[str, tuple[Place, ...]]


class Raiser(NamedTuple):
    """Who raised a finding: a file under a code at places, or an adviser at the place that its file works at."""

    by: Literal["file", "adviser"]
    name: str
    where: tuple[Place, ...] | Place | None


class Standing(NamedTuple):
    """What one raiser has found. `order` counts up over the run: the newest has the greatest."""

    order: int
    findings: tuple[Finding, ...]


class Gate(NamedTuple):
    """A stop on the spot: the findings that opened it, what it says, what to do about it. `way` is where the run goes
    on knowingly, `again` the state whose step is read again once it is mended; None where nothing would be read, or
    where it was said to be mended as often as is believed.
    """

    findings: tuple[Identity, ...]
    say: str
    do: str
    way: StepPlan | Call | End
    again: State | None


class Waiting(NamedTuple):
    """What a run waits for: parts in words, and a note."""

    parts: tuple[str, ...]
    note: str


class State(NamedTuple):
    """A run after `seq` events. `findings` by who raised them; `made` is None until the moves of this visit are
    made. `waiting`: it waits for parts. `visited` counts the visits of steps, by `file.step`, in calls that are over.
    `gate`: a stop is to be answered first. `accepted` are the reasons for which stops were gone on from knowingly.
    """

    seq: int
    frame: Frame
    made: Made | None
    world: World
    findings: Mapping[Raiser, Standing]
    record: Mapping[str, Mapping[str, Recorded]]
    past: Past | None
    redo: State | None
    notes: tuple[tuple[int, str], ...]
    because: tuple[str, ...]
    end: Ending | None
    waiting: Waiting | None = None
    visited: Mapping[str, int] = MappingProxyType({})
    gate: Gate | None = None
    accepted: Mapping[Identity, str] = MappingProxyType({})


class Past(NamedTuple):
    """The last answer: the state it found, the event, and what hands had made by then.

    `lost` are the positions after a lost count and `kept` those before it, so that an undo can tell whether the count
    may be believed again. `memo` holds what was worked out once for whoever shows or advises; it is no part of what
    stands.
    """

    state: State
    event: Event
    made: Made | None
    seq: int
    epoch: int
    kept: Positions | None
    lost: Positions | None
    memo: dict[str, Any]


def walk(past: Past | None) -> Iterator[Past]:
    """The answers that stand, newest first."""
    while past is not None:
        yield past
        past = past.state.past


def visit_of_run(state: State) -> int:
    """Which visit of the step in force this is, counted through the whole run, calls that are over included."""
    at, frame = state.frame.at, state.frame
    count, here = state.visited.get(at.key, 0), frame
    while here is not None:
        if here.at.file is at.file:
            count += here.visits.get(at.name, 0)
        here = here.caller  # type: ignore[assignment]
    return count


def spoken_name(state: State) -> str:
    """The step in force as it is called outside: its name, in a called file after the file's name."""
    at = state.frame.at
    return at.name if at.file is at.file.plan.main else at.key


def by_order(group: Standing) -> int:
    """What the groups of findings are sorted by: the oldest first."""
    return group.order


def standing(state: State) -> tuple[Finding, ...]:
    """The findings that stand, one a code and place, in the order in which they were raised; the severest wins."""
    rank = {"note": 0, "adjust": 1, "change part": 2, "stop": 3}
    found: dict[Identity, Finding] = {}
    for group in sorted(state.findings.values(), key=by_order):
        for finding in group.findings:
            key = (finding.code, finding.where)
            old = found.get(key)
            if old is None or rank[finding.severity] > rank[old.severity]:
                found[key] = finding
    known = state.accepted
    return tuple(replace(f, accepted=known[k]) if k in known and f.severity == "stop" else f for k, f in found.items())
