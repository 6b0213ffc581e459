"""The idle jets judged from where the mixture screws came to rest, with everything else that is known; it buys nothing.

A jet is named only where the screw says so clearly and a leak, a level and dirt are excluded; what spoils the evidence
withholds the verdict and says what to mend first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    Bypass,
    Coupling,
    PlateMoved,
    Sureness,
    adjust,
    change,
    gives,
    note,
    number,
    read,
    reading,
    says,
    screw,
    truth,
    truths,
)
from engine.carburation.advisers.idle_mixture import idle_mixture
from engine.carburation.estimation.bank import Weighed
from engine.carburation.estimation.search import Search, search
from engine.carburation.estimation.seen import numbers, screw_places, value
from engine.carburation.policy import jet_reset
from engine.carburation.policy.mixture_moves import best_place
from engine.carburation.rules import bands
from engine.contract import Asked, Figure, Told, adviser
from engine.evidence import Evidence, Part, Place, ReadingView, ScrewView, Suggest
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: How sure a barrel's jet must be before it is called wrong, perhaps wrong, or right [assumed: a jet bought in vain
#: costs more than a swap].
WRONG, PERHAPS, RIGHT = 0.85, 0.5, 0.6
#: From here on a jet that is perhaps wrong is worth a swap [assumed].
SUSPECT = 0.55
#: So sure of a jet that it is changed without a swap, once leaks are excluded [assumed: a swap costs a quarter of
#: an hour].
NAMED = 0.97
#: Of so great a part of the barrels, all out the same way, it is said that all are [assumed].
MOST = 0.7
#: A jet that is so likely wrong once leaks are excluded stands on the sheet as perhaps wrong [assumed].
TOLD = 0.6
#: A mixture whose place is less sure than this says nothing of a jet, as a share of fuel [derived: about half of what a
#: size of the jet changes, (55/50)^2 - 1].
UNPLACED = 0.13
#: Air further from even than this share of the mean, and than so many kg/h, or a speed so many rpm from target, spoils
#: the evidence [assumed: a good balance lies within a third of it].
UNEVEN, LEAST_UNEVEN, OFF_SPEED = 0.15, 0.3, 120.0
#: How sure a finding is said to be: a change that did not keep its promise, a leak that a test showed [assumed].
BROKEN, LEAKS = 0.9, 0.95


Verdict = Literal["right", "all too small", "all too large", "some out", "change", "mixed", "withheld"]
#: Why a verdict is withheld, or the jet of one barrel is unknown.
Why = Literal[
    "none",
    "air not even",
    "speed off",
    "hole uncovered",
    "position unknown",
    "mixture not found",
    "leak not excluded",
    "level off",
    "no band",
]
Untold = Literal[Why, "between sizes"]
#: How the jet of one barrel stands.
Stands = Literal["right", "perhaps too small", "perhaps too large", "too small", "too large", "unknown"]
_UNKNOWN: Stands = "unknown"
Promise = Literal["none", "kept", "not kept"]


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """The mixture screws at rest, their band, and what was looked into."""

    screw: Annotated[
        ScrewView,
        screw("the mixture screws at rest", "mixture", "jet", "screw", "air", "bypass", each=("barrel", "carb")),
    ]
    air: PlateMoved = None
    coupling: Coupling = None
    bypass: Bypass = None
    low: Annotated[Fraction, number("lower end of the screw's band", "turn", "0", "10")]
    high: Annotated[Fraction, number("upper end of the band", "turn", "0", "10")]
    flow: Annotated[
        ReadingView | None, reading("the latest row of the gauge", "airflow", "depression", each=("barrel", "carb"))
    ] = None
    speed: Annotated[ReadingView | None, reading("the latest speed", "engine speed")] = None
    air_even: Annotated[bool | None, truth("whether the air was found even (left out: judged from `flow`)")] = None
    on_speed: Annotated[bool | None, truth("whether the speed is at target (left out: judged from `speed`)")] = None
    mixture_set: Annotated[
        bool | None, truth("whether the mixture search ended well (left out: from the evidence)")
    ] = None
    hole_uncovered: Annotated[
        tuple[bool | None, ...] | None, truths("barrels whose first progression hole is uncovered: which(...)")
    ] = None
    leak: Annotated[tuple[bool | None, ...] | None, truths("barrels where the leak test showed a leak: which(...)")] = (
        None
    )
    leaks_excluded: Annotated[bool | None, truth("whether the leak test was made on every suspect (left out: no)")] = (
        None
    )
    level: Annotated[
        ReadingView | None,
        reading("fuel level against the specified one, mm, negative when low", "fuel level", each=("carb",)),
    ] = None
    stock_step: Annotated[Fraction | None, number("step of the stocked sizes (left out: 5)", "", "1", "10")] = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """How the idle jets stand."""

    verdict: Annotated[
        Verdict,
        says(
            "right: every screw rests in its band · all too small · all too large: change all (parts given) · some "
            "out: one or several barrels alone are out, checks first (`barrels`, findings in order) · change: the "
            "checks point to the jet of `barrels` (parts given) · mixed: some one way and some the other, no rule fits "
            "· withheld: the evidence is spoilt, see `reason`"
        ),
    ]
    reason: Annotated[Why, says("why it is withheld")]
    barrels: Annotated[tuple[Stands, ...], says("each barrel's jet", each="barrel")]
    untold: Annotated[tuple[Untold, ...], says("why the jet of a barrel is unknown", each="barrel")]
    suspects: Annotated[Figure, gives("barrels that are out alone", "", "0", "48")]
    sizes: Annotated[Figure, gives("by how many sizes, greatest, negative where too large", "", "-9", "9")]
    promise: Annotated[Promise, says("what the last change of jets did: none made, kept, not kept")]
    sureness: Sureness


#: By whether it is only perhaps so, and which way.
_OUT: dict[tuple[bool, str], Stands] = {
    (False, "small"): "too small",
    (False, "large"): "too large",
    (True, "small"): "perhaps too small",
    (True, "large"): "perhaps too large",
}


@dataclass(frozen=True, slots=True)
class _Case:
    job: Job
    asked: Asks
    evidence: Evidence
    view: ScrewView
    spots: tuple[Place, ...]
    search: Search
    step: float

    @property
    def sizes(self) -> tuple[Fraction | None, ...]:
        """The number on each barrel's idle jet."""
        return self.search.sizes


#: What the jets of a bank are judged by beside the inputs: of `jet_swap` as well.
JET_READS = {
    **idle_mixture.reads,
    "engine speed": read("the speed of every answer, told apart by where the screws stood"),
}


@adviser(
    2,
    "Judges the idle jets from where the mixture screws came to rest and from everything else that is known, and "
    "names the next stocked size. After a change it says whether the change did what it promised. Asked once a round "
    "of mixture.",
    Asks,
    Tells,
    {
        "idle-jet-too-small": change("the screw rests too far out, and leak, level and dirt are excluded"),
        "idle-jet-too-large": change("the screw rests too far in, and leak, level and dirt are excluded"),
        "idle-jet-perhaps-too-small": adjust("the screw rests somewhat too far out, and nothing else explains it"),
        "idle-jet-perhaps-too-large": adjust("the screw rests somewhat too far in, and nothing else explains it"),
        "barrel-out-alone": adjust("one barrel's screw rests far from the others': a jet, dirt, a leak or the level"),
        "jets-mixed": adjust("some screws rest far out and some far in, so no one change fits"),
        "jet-verdict-withheld": note("positions, air, speed or mixture spoil what the screws would tell"),
        "jet-change-not-kept": adjust("the barrel is out still, although its jet was changed"),
        "level-off": adjust("the level was measured off the specified one"),
        "air-leak": change("the leak test showed a leak at the barrel"),
    },
    makes=("moves", "parts"),
    reads=JET_READS,
    retired={
        "doubt_low": "where a jet becomes doubtful follows from the size of a jet, no longer from a limit in turns",
        "doubt_high": "where a jet becomes doubtful follows from the size of a jet, no longer from a limit in turns",
        "progression": "the creep test is judged by the step that makes it",
        "lambda": "lambda is taken from every row of the run",
        "co": "CO is taken from every row of the run",
    },
)
def idle_jets(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Verdict on the idle jets; see the registry. Withholds in words where positions, air, speed or mixture spoil
    it."""
    return judged(job, asked, evidence)


def judged(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """The verdict as `idle_jets` gives it."""
    view = asked.screw
    spots = screw_places(view, job, asked)
    case = _Case(
        job,
        asked,
        evidence,
        view,
        spots,
        searched(job, asked, evidence),
        value(asked.stock_step, 5.0),
    )
    reason = _spoilt(case)
    if reason:
        return _withheld(case, reason)
    assert case.search.mix is not None
    return _judged(case, case.search.mix.weighed)


def searched(job: Job, asked: Asks, evidence: Evidence) -> Search:
    """The search as it is judged by, with what was checked."""
    step = value(asked.stock_step, 5.0)
    return search(job, asked, evidence, (float(asked.low), float(asked.high)), step=step, checked=asked)


def _spoilt(c: _Case) -> Why | None:
    """Why no verdict can be given, in a word of the registry's, or None."""
    band = bands.band_of(c.job)
    if band is None:
        return "no band"
    if any(p is None for p in c.view.positions):
        return "position unknown"
    if any(c.asked.hole_uncovered or ()) and not c.asked.leaks_excluded:
        return "hole uncovered"
    if c.asked.air_even is False or (c.asked.air_even is None and _uneven(c)):
        return "air not even"
    if c.asked.on_speed is False or (c.asked.on_speed is None and _off_speed(c)):
        return "speed off"
    s = c.search
    if s.mix is None or len(s.units) != len(c.spots) or c.asked.mixture_set is False:
        return "mixture not found"
    return "mixture not found" if sum(_unplaced(c)) > len(c.spots) / 2 else None


def _unplaced(c: _Case) -> list[bool]:
    """Barrels whose mixture was not found closely enough to say something of their jets."""
    s = c.search
    assert s.mix is not None
    return [s.mix.doubt(i, best_place(s, c.view, i)) > UNPLACED for i in range(len(c.spots))]


def _row(c: _Case) -> list[float]:
    view = c.asked.flow
    row = view.row if view is not None and view.row else c.evidence.latest("airflow")
    return [v for v in numbers(row or ()) if v is not None]


def _uneven(c: _Case) -> bool:
    """Whether bodies draw apart. What barrels of one body draw apart no screw evens: it is doubt about those alone."""
    row, per = _row(c), c.job.bank.barrels_per_carb
    if len(row) == c.job.bank.barrels:
        row = [sum(row[k : k + per]) / per for k in range(0, len(row), per)]
    mean = sum(row) / len(row) if row else 1.0
    return bool(row) and max(abs(v - mean) for v in row) > max(UNEVEN * mean, LEAST_UNEVEN)


def _off_speed(c: _Case) -> bool:
    view = c.asked.speed
    row = view.row if view is not None and view.row else None
    if row is None:
        return False
    speed = numbers(row)[0]
    return speed is not None and abs(speed - float(c.job.engine.idle_speed)) > OFF_SPEED


def _judged(c: _Case, v: Weighed) -> Judgement[Tells]:
    n = len(c.spots)
    masked, unplaced = c.search.masks, _unplaced(c)
    checked = bool(c.asked.leaks_excluded)
    told: list[Stands] = []
    by = []
    for i in range(n):
        s, p = v.likeliest(i)
        way = "small" if s > 0 else "large"
        if (masked[i].hole and s <= 0) or masked[i].level_off:  # fed past its screw, or by its level
            told.append("unknown")
            s = 0
        elif s and p >= WRONG:
            told.append(_OUT[masked[i].hides(s), way])
        elif s and p >= PERHAPS:
            told.append(_OUT[True, way])
        else:
            told.append("right" if v.sizes[i][0] >= RIGHT and not masked[i].leak else "unknown")
        by.append(s)
    why: tuple[Untold, ...] = tuple(
        m.reason(un) if t == "unknown" else "none" for t, m, un in zip(told, masked, unplaced, strict=True)
    )
    out = [i for i in range(n) if told[i] in ("too small", "too large")]
    maybe = [
        i
        for i in range(n)
        if told[i].startswith("perhaps") and v.likeliest(i)[1] >= SUSPECT and not masked[i].hides(by[i])
    ]
    every = next((a for a in (-1, 1) if v.all_by[a] > WRONG and _all_one_way(c, a, by, out)), 0)
    if not every and checked:  # leaks excluded, and most lean the same way: one by one they are less sure than together
        same = [sum(by[i] * a > 0 for i in out + maybe) for a in (-1, 1)]
        every = next((a for a, n_ in zip((-1, 1), same, strict=True) if n_ > MOST * n and sum(same) == n_), 0)
        every = every if n > 1 and _all_one_way(c, every, by, out) else 0
    odd = _odd(c, out, by)
    change: list[int] = []
    verdict: Verdict
    if every:
        verdict, change = ("all too small" if every > 0 else "all too large"), list(range(n))
        by = [b if b * every > 0 else every for b in by] if n > 1 else by
    elif len(out + maybe) > n / 2 and len({by[i] > 0 for i in out + maybe}) == 2:
        verdict = "mixed"
    elif out or maybe:
        proven = c.search.swapped | {i for i in out if v.likeliest(i)[1] >= NAMED}
        change = [i for i in out if i in odd or i in proven] if checked or all(i in odd for i in out) else []
        verdict = "change" if change and set(change) >= set(out) else "some out"
    else:
        verdict = "right"
    sure = v.all_by[every] if every else min((v.likeliest(i)[1] for i in (out or maybe or range(n))), default=0.0)
    parts = _parts(c, change, by) if verdict in ("all too small", "all too large", "change") else ()
    promise, broken = _promise(c, by, v)
    findings = _findings(c, verdict, change, out + maybe, by, v) + broken
    return Judgement(
        Tells(
            verdict=verdict,
            reason="none",
            barrels=tuple(told),
            untold=why,
            suspects=len(out + maybe) if not every else 0,
            sizes=float(max(by, key=abs, default=0)),
            promise=promise,
            sureness=saying.clamp(sure, 0.0, 1.0),
        ),
        tuple(jet_reset.for_new_jets(c.view, c.search, parts, c.sizes)),
        tuple(parts),
        tuple(findings),
        because=_because(c, verdict, told, sure),
    )


def _all_one_way(c: _Case, way: int, by: Sequence[int], out: Sequence[int]) -> bool:
    """Whether one change of all jets fits: most are out that way, none surely the other, and all bear one number."""
    alike = len({s for s in c.sizes if s is not None}) < 2
    return alike and sum(b * way > 0 for b in by) > MOST * len(by) and not any(by[i] * way < 0 for i in out)


def _odd(c: _Case, out: Sequence[int], by: Sequence[int]) -> set[int]:
    """Barrels whose jet bears another number than most, and the screw agrees with it: the number itself tells."""
    known = [s for s in c.sizes if s is not None]
    if not known:
        return set()
    usual = max(set(known), key=known.count)
    if known.count(usual) <= len(known) / 2:
        return set()
    return {i for i in out if (s := c.sizes[i]) is not None and s != usual and (usual - s) * by[i] > 0}


def _parts(c: _Case, change: Sequence[int], by: Sequence[int]) -> list[Part]:
    return [
        Part("idle jet", c.spots[i], new)
        for i in change
        if (new := _to_fit(c, i, by)) is not None and (new != c.sizes[i] or _false(c, i))
    ]


def _new_size(c: _Case, i: int, by: Sequence[int]) -> Fraction | None:
    """The size to fit at barrel i. A jet that bears the number of the others and is wrong alone is not what its number
    says: a sound one of that number takes its place."""
    size = c.sizes[i]
    if size is None:
        return None
    if _false(c, i) and not all(by):
        return size
    return _stocked(float(size) + by[i] * c.step, c.step)


def _to_fit(c: _Case, i: int, by: Sequence[int]) -> Fraction | None:
    """The size that is fitted at barrel i now: the right one, or, where the shop lists its shelf and has none of it,
    the nearest there, the larger of two; None where that is no nearer than the one in hand."""
    right, shelf, size = _new_size(c, i, by), c.job.shelf.idle_jets, c.sizes[i]
    if right is None or not shelf or right in shelf:
        return right
    nearest = min(shelf, key=lambda s: (abs(s - right), -s))
    return nearest if size is None or abs(nearest - right) < abs(size - right) else None


def _false(c: _Case, i: int) -> bool:
    """Whether barrel i's jet bears the number that most bear."""
    known: list[Fraction | None] = [s for s in c.sizes if s is not None]
    return known.count(c.sizes[i]) > len(known) / 2


def _stocked(size: float, step: float) -> Fraction:
    return max(Fraction(20), round(size / step) * Fraction(step).limit_denominator(10))


def _promise(c: _Case, by: Sequence[int], v: Weighed) -> tuple[Promise, list[Found]]:
    last = next((a for a in reversed(c.evidence.answers) if any(p.part == "idle jet" for p in a.parts)), None)
    if last is None:
        return "none", []
    places_ = [c.spots.index(p.place) for p in last.parts if p.place in c.spots]
    wrong = [i for i in places_ if (by[i] and v.likeliest(i)[1] >= WRONG) or v.own[i] >= PERHAPS]
    if not wrong or c.search.swapped & set(wrong):
        return "kept", []
    where = tuple(c.spots[i] for i in wrong)
    return "not kept", [Found("jet-change-not-kept", where, {"places": where}, sureness=BROKEN)]


def _findings(
    c: _Case,
    verdict: Verdict,
    change: Sequence[int],
    out: Sequence[int],
    by: Sequence[int],
    v: Weighed,
) -> list[Found]:
    found = []
    masked = c.search.masks
    if verdict in ("all too small", "all too large", "change"):
        for i in change:
            size, new, fit = c.sizes[i], _new_size(c, i, by), _to_fit(c, i, by)
            way = "small" if by[i] > 0 else "large"
            shelf = "at hand" if fit == new else "nearest" if fit is not None else "none nearer"
            found.append(
                Found(
                    f"idle-jet-too-{way}",
                    (c.spots[i],),
                    {"part": "idle jet", "place": c.spots[i], "sizes": abs(by[i]), "right": new, "nearest": fit},
                    shelf,
                    suggest=None if new is None else Suggest("idle jet", size, new),
                    sureness=v.likeliest(i)[1],
                )
            )
    elif verdict == "mixed":
        found.append(Found("jets-mixed", tuple(c.spots[i] for i in sorted(out))))
    checked = bool(c.asked.leaks_excluded)
    alone = [i for i in out if i not in change]
    for i in alone if verdict == "some out" else ():
        sure, place = v.likeliest(i)[1], {"place": c.spots[i]}
        if checked and sure >= TOLD:  # the checks left its jet
            way = "small" if by[i] > 0 else "large"
            found.append(Found(f"idle-jet-perhaps-too-{way}", (c.spots[i],), place, sureness=sure))
        else:
            found.append(Found("barrel-out-alone", (c.spots[i],), place, "out" if by[i] > 0 else "in", sureness=sure))
    for spot, mask in zip(c.spots, masked, strict=True):
        if mask.leak:
            found.append(Found("air-leak", (spot,), {"place": spot}, "known", sureness=LEAKS))
    bodies = sorted({p.carb for p, m in zip(c.spots, masked, strict=True) if m.level_off and p.carb})
    return found + [Found("level-off", (Place(b, None),), {"body": Place(b, None)}) for b in bodies]


def _withheld(c: _Case, reason: Why) -> Judgement[Tells]:
    finding = Found("jet-verdict-withheld", way=reason)
    return Judgement(
        Tells(
            verdict="withheld",
            reason=reason,
            barrels=tuple(_UNKNOWN for _ in range(c.job.bank.barrels)),
            untold=(reason,) * c.job.bank.barrels,
            suspects=0,
            sizes=0,
            promise="none",
            sureness=0,
        ),
        findings=(finding,),
        because=Reasons(
            "Positions, air, speed and mixture as they stand.",
            finding,
            "No verdict is better than a wrong one.",
            "That mended.",
        ),
    )


_TOLD = {
    "right": "Every screw rests where the right jet puts it.",
    "all too small": "All idle jets are too small.",
    "all too large": "All idle jets are too large.",
    "some out": "Some rest far from the others: what else can do that is looked for first.",
    "change": "The checks point to the jet.",
    "mixed": "Some rest too far in and some too far out, and no rule fits that.",
}


def _because(c: _Case, verdict: Verdict, told: Sequence[str], sure: float) -> Reasons:
    s = c.search
    assert s.mix is not None
    used = said(
        "Where each screw belongs: {at:,}; band {low:turns} to {high:turns}; a turn is about {slope:.0f} % of the "
        "fuel.",
        at=[said("{place} {at:turns}", place=p, at=best_place(s, c.view, i)) for i, p in enumerate(c.spots)],
        low=float(c.asked.low),
        high=float(c.asked.high),
        slope=100 * s.mix.slope,
    )
    short = [said("{place}: {told}", place=p, told=t) for p, t in zip(c.spots, told, strict=True)]
    return Reasons(
        used,
        said("{told} {short:,}.", told=_TOLD[verdict], short=short),
        said("{sure:sure}; provisional until progression agrees.", sure=sure),
        said("A leak, a level or dirt found at a {barrel} that is out, or a fault that stays when jets change places."),
    )
