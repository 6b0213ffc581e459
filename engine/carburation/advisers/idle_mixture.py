"""Idle mixture: the next position of every mixture screw, from speed alone or from lambda or CO by barrel.

With a meter the screws go straight to where lambda belongs. With speed alone each screw is turned where the reading
tells most, one screw a reading, until each is known well enough or nothing more can be learned; then all are set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Annotated, Literal, TypeVar

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    CO,
    NOT_BELIEVED,
    Bypass,
    Coupling,
    Lambda,
    LambdaHigh,
    LambdaLow,
    PlateMoved,
    Sureness,
    Target,
    adjust,
    change,
    gives,
    note,
    number,
    read,
    reading,
    says,
    screw,
    wanted,
)
from engine.carburation.advisers.meter_doubts import doubts
from engine.carburation.estimation import gauge
from engine.carburation.estimation.search import Search, search
from engine.carburation.estimation.seen import numbers, screw_places, value
from engine.carburation.policy import mixture_moves as policy
from engine.carburation.policy.believed_place import span_of_best
from engine.carburation.policy.mixture_moves import Choice
from engine.contract import Asked, Figure, Told, adviser
from engine.evidence import Evidence, Move, Place, ReadingView, ScrewView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import Said, said

#: With a meter: so sure that it is done, and so many rows at most to be so sure [assumed].
SURE, MOST_ROWS = 0.9, 4
#: A barrel is said to be set where it is so likely near its best [assumed].
SET = 0.8
#: With coarser steps of the tachometer, rpm, speed places no mixture closely [derived: a step s adds s^2/12 to each
#: reading, which readings of one steady speed do not average away].
COARSE = 10.0
#: Slower than this nothing idles, rpm [assumed].
RUNNING = 200.0
#: Where an idle mixture belongs [common practice].
GOOD = 0.86, 0.96
#: What no sound meter shows of an idle: lambda outside of these, CO above this share [assumed: none that fires gives
#: more than 12 %].
LAMBDA_SHOWN, CO_MOST = (0.5, 2.0), 0.15
_One = TypeVar("_One")


Verdict = Literal["best", "turn", "read again", "no answer", "lost", "at its stop", "unsound readings"]
Standing = Literal["set", "sought", "silent", "stopped", "unknown"]
_UNKNOWN: Standing = "unknown"


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """The mixture screws, what shows the mixture, and what moved the air."""

    screw: Annotated[
        ScrewView,
        screw(
            "the mixture screws, positions known from the seat",
            "mixture",
            "jet",
            "screw",
            "air",
            "bypass",
            each=("barrel", "carb"),
        ),
    ]
    speed: Annotated[ReadingView | None, reading("engine speed, gauge off, averaged", "engine speed")] = None
    lambda_: Lambda = None
    co: CO = None
    lambda_low: LambdaLow = None
    lambda_high: LambdaHigh = None
    sweep: Annotated[
        Fraction | None,
        number("half the excursion a screw is swept by (left out: by its band)", "turn", "1/16", "2"),
    ] = None
    low: Annotated[
        Fraction | None, number("lower end of the screw's band (left out: by its kind)", "turn", "0", "10")
    ] = None
    high: Annotated[Fraction | None, number("upper end of the band", "turn", "0", "10")] = None
    air: PlateMoved = None
    coupling: Coupling = None
    bypass: Bypass = None
    target: Target = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """How the mixture stands, and where each screw belongs."""

    verdict: Annotated[
        Verdict,
        says(
            "best: every screw stands where it is believed to belong · turn: make the moves, read again · read again: "
            "turn nothing · no answer: a barrel does not answer its screw, or none does (finding: what first), the "
            "rest is set · lost: a position is unknown: count the screws in to their seats and back · at its stop: a "
            "screw would have to leave its range (finding), the rest is set · unsound readings"
        ),
    ]
    left: Annotated[Figure, gives("barrels not yet set", "", "0", "48")]
    speed_gain: Annotated[Figure, gives("speed gained since the search began", "rpm", "-5000", "5000")]
    sureness: Sureness
    sure: Annotated[
        tuple[Figure, ...],
        gives("how likely each barrel is near its best as it stands", "", "0", "1", each="barrel"),
    ]
    rounds: Annotated[Figure, gives("readings still expected, about", "", "0", "500")]
    best: Annotated[
        tuple[Figure | None, ...],
        gives("where each screw is believed to belong", "turn", "-30", "60", each="barrel", holes=True),
    ]
    best_low: Annotated[
        tuple[Figure | None, ...],
        gives("lower end of where, with 90 of 100", "turn", "-30", "60", each="barrel", holes=True),
    ]
    best_high: Annotated[
        tuple[Figure | None, ...],
        gives("upper end of where, with 90 of 100", "turn", "-30", "60", each="barrel", holes=True),
    ]
    barrels: Annotated[
        tuple[Standing, ...],
        says(
            "each barrel: set, sought, silent (does not answer), stopped (at the end of its screw), unknown",
            each="barrel",
        ),
    ]


@adviser(
    1,
    "Finds where each mixture screw belongs, several barrels in one round: from lambda or CO by barrel where bound, "
    "else from speed by a designed pattern of moves whose crest it fits; ends on the lean side of best. With lambda or "
    "CO two to three rows; with speed alone up to 3 readings a barrel and 6 besides: allow 4 x barrels + 8.",
    Asks,
    Tells,
    {
        **NOT_BELIEVED,
        "barrel-does-not-answer": change("its screw was turned far both ways and the speed never answered"),
        "nothing-answers": adjust("several screws were turned far and the speed stood as if nothing were turned"),
        "mixture-roughly-known": adjust(
            "all is tried, and a barrel's mixture is less sure to be near its best than that"
        ),
        "mixture-screw-at-its-stop": adjust("the screw would have to leave its range to reach its mixture"),
        "lambda-lean-by-misfire": note("a meter shows so lean that it may be the oxygen of a misfire"),
        "meters-disagree": note("lambda and CO of one barrel tell of different mixtures"),
        "tachometer-too-coarse": note("by speed with steps of the tachometer coarser than 10 rpm"),
        "position-lost": adjust("where a mixture screw stands is unknown"),
    },
    makes=("moves",),
    idle=True,
    reads={
        "engine speed": wanted("the speed of every answer, told apart by where the screws stood"),
        "lambda": read("every row of it, with the screws' positions then"),
        "CO": read("every row of it, where no lambda was taken with it"),
        "airflow": read("what each barrel drew then: more air leans its mixture"),
        "take-off": read("take-offs that could not be plugged: their barrel's airflow is held to its neighbour's"),
        "screw answers": read("a test by ear of whether each screw does anything, and from when on it does"),
        "spit-back": read("barrels that were seen to spit back stand lean"),
        "idle jet size": read("the number read off each jet; it outranks what the job lists"),
        "air leak": read("where a leak showed, the barrel is leaner than its jet makes it"),
        "fuel level": read("the level of each body against the specified one moves its barrels' screws"),
    },
)
def idle_mixture(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Next mixture moves; see the registry. Refuses in words what no sound meter gives, and never raises on it."""
    view = asked.screw
    if any(p is None for p in view.positions):
        return _lost(job, asked, view, evidence)
    wrong = _problem(asked, view)
    if wrong:
        return _answer(job, view, "unsound readings", findings=(wrong,), why=wrong)
    window = (value(asked.lambda_low, GOOD[0]), value(asked.lambda_high, GOOD[1]))
    s = search(job, asked, evidence, _band(asked), window)
    if s.mix is None:
        return _answer(job, view, "read again", why="Nothing was read yet that the mixture shows in.")
    rows = policy.choices(s, view, asked, window)
    judged = (_by_meter if s.mix.metered else _by_speed)(job, asked, view, s, rows)
    return replace(judged, findings=judged.findings + doubts(asked.lambda_, asked.co, s.spots))


def _band(asked: Asks) -> tuple[float, float] | None:
    return None if asked.low is None or asked.high is None else (float(asked.low), float(asked.high))


def _problem(asked: Asks, view: ScrewView) -> Found | None:
    speed = asked.speed
    if speed is not None and speed.row is not None:
        shown = numbers(speed.row)[0] if speed.row else None
        if shown is None or shown < RUNNING:
            return gauge.unsound("not running", shown=shown or 0.0)
    for what, meter in (("lambda", asked.lambda_), ("CO", asked.co)):
        if meter is None or meter.row is None:
            continue
        row = numbers(meter.row)
        if len(row) % len(view.positions):
            return gauge.unsound("meter count", meter=what, has=len(row), due=len(view.positions))
        if all(v is None for v in row):
            return gauge.unsound("meter empty", meter=what)
        if what == "lambda" and any(v is not None and not LAMBDA_SHOWN[0] <= v <= LAMBDA_SHOWN[1] for v in row):
            return gauge.unsound("no lambda")
        if what == "CO" and any(v is not None and not 0.0 <= v <= CO_MOST for v in row):
            return gauge.unsound("no CO")
    return None


# --- with a meter ---------------------------------------------------------------------------------------------------
def _by_meter(job: Job, asked: Asks, view: ScrewView, s: Search, rows: Sequence[Choice]) -> Judgement[Tells]:
    moves, stopped = policy.settled(job, asked, view, s, rows)
    verdict: Verdict
    if moves:
        verdict = "turn"
    elif stopped:
        verdict = "at its stop"
    elif min(c.right for c in rows) < SURE and s.meter_rows < MOST_ROWS:
        verdict = "read again"
    else:
        verdict = "best"
    return _told(job, asked, view, s, rows, verdict, moves, stopped)


# --- with speed alone -----------------------------------------------------------------------------------------------
def _by_speed(job: Job, asked: Asks, view: ScrewView, s: Search, rows: Sequence[Choice]) -> Judgement[Tells]:
    assert s.mix is not None
    symptom = s.last_symptom or (("stall", ()) if s.shut else None)
    if symptom is not None:
        kind, leaned = symptom
        if kind == "stall":
            moves = policy.taken_back(view, s)
        elif kind in ("spit-back", "hunting") and len(leaned) == 1:
            moves = policy.back_out(view, s, rows[s.unit_of(leaned[0])])
        else:
            moves = []
        if moves:
            return _told(job, asked, view, s, rows, "turn", moves, ())
    still = policy.nothing_answers(s, view, asked, rows)
    if still:
        moves, _ = policy.set_where_best(view, s, still)
        nothing: Verdict = "unsound readings" if all(policy.heard_to_answer(s, c) for c in still) else "no answer"
        return _told(job, asked, view, s, rows, "turn" if moves else nothing, moves, (), still=still)
    back = policy.last_goes_back(s, rows)
    air = policy.speed_first(job, asked, s, rows) if back is None else []
    if air:
        return _told(job, asked, view, s, rows, "turn", air, ())
    trial = policy.next_trial(job, asked, s, view, rows)
    if trial is not None and (back is None or trial.u == back.u):
        return _told(job, asked, view, s, rows, "turn", policy.to_place(view, s, trial.u, trial.to), (), trial)
    if back is not None and any(policy.unknown(c) for c in rows):
        return _told(job, asked, view, s, rows, "turn", policy.to_place(view, s, back.u, back.best), ())
    moves, stopped = policy.settled(job, asked, view, s, rows)
    mute = policy.mute(s, view, asked, rows)
    verdict: Verdict = "turn" if moves else "no answer" if mute else "at its stop" if stopped else "best"
    return _told(job, asked, view, s, rows, verdict, moves, stopped)


# --- telling --------------------------------------------------------------------------------------------------------
def _lost(job: Job, asked: Asks, view: ScrewView, evidence: Evidence) -> Judgement[Tells]:
    spots = screw_places(view, job, asked)
    where = tuple(p for p, v in zip(spots, view.positions, strict=False) if v is None)
    return _answer(
        job,
        view,
        "lost",
        findings=(Found("position-lost", where),),
        why="A position is unknown, and no move can be given from an unknown place.",
    )


def _answer(
    job: Job, view: ScrewView, verdict: Verdict, *, findings: tuple[Found, ...] = (), why: Found | str = ""
) -> Judgement[Tells]:
    nowhere = (None,) * job.bank.barrels
    return Judgement(
        Tells(
            verdict=verdict,
            left=len(view.positions),
            speed_gain=0,
            sureness=0,
            sure=(0,) * job.bank.barrels,
            rounds=0,
            best=nowhere,
            best_low=nowhere,
            best_high=nowhere,
            barrels=tuple(_UNKNOWN for _ in range(job.bank.barrels)),
        ),
        findings=findings,
        because=Reasons("The latest answer.", why, "Not at all.", "A sound reading."),
    )


def _told(
    job: Job,
    asked: Asks,
    view: ScrewView,
    s: Search,
    rows: Sequence[Choice],
    verdict: Verdict,
    moves: Sequence[Move],
    stopped: Sequence[Choice],
    trial: policy.Trial | None = None,
    still: Sequence[Choice] = (),
) -> Judgement[Tells]:
    assert s.mix is not None
    mute = [] if still else policy.mute(s, view, asked, rows)
    words_of: list[Standing] = [
        "silent" if c in mute else "stopped" if c in stopped else "set" if c.near > SET else "sought" for c in rows
    ]
    findings = [Found("mixture-screw-at-its-stop", _where(s, c), {"place": _where(s, c)}) for c in stopped]
    if not s.mix.metered and s.noise.step > COARSE:
        findings.append(Found("tachometer-too-coarse", (), {"step": s.noise.step}))
    findings += [Found("barrel-does-not-answer", _where(s, c), {"place": _where(s, c)}, sureness=c.dead) for c in mute]
    rough = [c for c in rows if c.near < SET and c not in mute] if verdict == "best" and not s.mix.metered else []
    if rough:
        places = tuple(p for c in rough for p in _where(s, c))
        least = min(c.near for c in rough)
        findings.append(Found("mixture-roughly-known", places, {"places": places}, sureness=1.0 - least))
    if still and not moves:
        way = "but heard" if verdict == "unsound readings" else "tried"
        findings.append(Found("nothing-answers", tuple(p for c in still for p in _where(s, c)), way=way))
    to = {
        s.unit_of(s.spots.index(m.place)): float(m.position)
        for m in moves
        if m.screw == view.name and m.position is not None and m.place in s.spots
    }
    speeds = [shot.speed for shot in s.shots if shot.speed]
    gain = (speeds[-1] - speeds[0]) if len(speeds) > 1 else 0.0
    there = policy.expected(s, to)
    ends = _ends(asked, view, s, rows)
    expect = {} if there is None else {"engine speed": (saying.exact(saying.clamp(there, 0, 9000), 0),)}
    return Judgement(
        Tells(
            verdict=verdict,
            left=sum(w != "set" for w in words_of),
            speed_gain=saying.clamp(gain, -5000.0, 5000.0),
            sureness=saying.clamp(policy.sureness(rows), 0.0, 1.0),
            sure=_by_barrel(
                job, s, [saying.exact(saying.clamp(c.near, 0.0, 1.0), 3) for c in rows], saying.exact(0, 0)
            ),
            rounds=policy.rounds_left(s, rows) if verdict in ("turn", "read again") else 0,
            best=_by_barrel(job, s, [_turns(c.best) for c in rows], None),
            best_low=_by_barrel(job, s, [_turns(low) for low, _ in ends], None),
            best_high=_by_barrel(job, s, [_turns(high) for _, high in ends], None),
            barrels=_by_barrel(job, s, words_of, "unknown"),
        ),
        tuple(moves),
        (),
        tuple(findings),
        expect,
        _because(s, rows, verdict, moves, trial),
    )


def _ends(asked: Asks, view: ScrewView, s: Search, rows: Sequence[Choice]) -> list[tuple[float, float]]:
    """Between where and where each screw is believed to belong, in turns."""
    assert s.mix is not None
    span = policy.reach(view, s, asked)
    return [span_of_best(s.mix, c.u, c.best, c.doubt, span) for c in rows]


def _turns(at: float) -> Figure | None:
    return saying.exact(at)


def _where(s: Search, c: Choice) -> tuple[Place, ...]:
    return tuple(s.spots[i] for i in s.units[c.u])


def _by_barrel(job: Job, s: Search, told: Sequence[_One], nothing: _One) -> tuple[_One, ...]:
    out: list[_One] = []
    for c in range(1, job.bank.carbs + 1):
        for b in range(1, job.bank.barrels_per_carb + 1):
            i = next((k for k, p in enumerate(s.spots) if p.carb in (None, c) and p.barrel in (None, b)), None)
            out.append(nothing if i is None else told[s.unit_of(i)])
    return tuple(out)


def _because(
    s: Search, rows: Sequence[Choice], verdict: Verdict, moves: Sequence[Move], trial: policy.Trial | None
) -> Reasons:
    mix = s.mix
    assert mix is not None
    used = (
        said("{rows:count row} of the meter with the screws' positions.", rows=s.meter_rows)
        if mix.metered
        else said(
            "{shots:count reading} of speed with the screws' positions, each good to about {good:.0f} rpm.",
            shots=len(s.shots),
            good=s.noise.scatter * mix.noise,
        )
    )
    told = [_lambda(s, c) for c in rows]
    how = "As it is believed to stand" if mix.metered else "As it is believed to stand, not measured"
    if trial is not None:
        concluded = said(
            "{how}: {here}. How the speed changes on this turn tells on which side of its crest it stands.",
            how=how,
            here=told[trial.u],
        )
    elif verdict == "turn":
        concluded = said(
            "Set {moves:count screw} where the mixture belongs. {how}: {now}.", moves=len(moves), how=how, now=told
        )
    elif verdict == "best" and not mix.metered and any(c.doubt > policy.KNOWN for c in rows):
        concluded = said(
            "Fastest here; with a tachometer alone the mixture is known to ±{half:.2f}. {how}: {now}.",
            half=max(policy.tolerance(mix, c.u, c.at) for c in rows),
            how=how,
            now=told,
        )
    elif verdict == "best":
        concluded = said("Every screw stands where it belongs. {how}: {now}.", how=how, now=told)
    else:
        concluded = said("{how}: {now}.", how=how, now=told)
    worst = min(rows, key=lambda c: c.near)
    return Reasons(
        used,
        concluded,
        said("Least sure is {place}: {near:sure} that it is near its best.", place=_where(s, worst), near=worst.near),
        said("A speed that does not follow as expected, or air that is moved: more air leans its {barrel}."),
    )


def _lambda(s: Search, c: Choice) -> Said:
    mix = s.mix
    assert mix is not None
    lam, half = mix.lam(c.u, c.at)[0], policy.tolerance(mix, c.u, c.at)
    return said(
        "{place}: about lambda {lam:.2f}, between {low:.2f} and {high:.2f}",
        place=_where(s, c),
        lam=lam,
        low=lam - half,
        high=lam + half,
    )
