"""Idle mixture: the next position of every mixture screw, from speed alone or from lambda or CO by barrel.

With a meter the screws go straight to where lambda belongs. With speed alone each screw is turned where the reading
tells most, one screw a reading, until each is known well enough or nothing more can be learned; then all are set.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    AIR_SCREWS,
    CO,
    LAMBDA,
    NOT_BELIEVED,
    SURENESS,
    TARGET,
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
from engine.contract import adviser
from engine.evidence import Evidence, Inputs, Move, Place, ScrewView
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


@adviser(
    1,
    "Finds where each mixture screw belongs, several barrels in one round: from lambda or CO by barrel where bound, "
    "else from speed by a designed pattern of moves whose crest it fits; ends on the lean side of best. With lambda or "
    "CO two to three rows; with speed alone up to 3 readings a barrel and 6 besides: allow 4 x barrels + 8.",
    {
        "screw": screw(
            "the mixture screws, positions known from the seat",
            "mixture",
            "jet",
            "screw",
            "air",
            "bypass",
            each=("barrel", "carb"),
        ),
        "speed": reading("engine speed, gauge off, averaged", "engine speed", optional=True),
        "lambda": LAMBDA,
        "co": CO,
        "lambda_low": number("richest good mixture (left out: 0.86)", "", "0.6", "1.2", optional=True),
        "lambda_high": number("leanest good mixture (left out: 0.96)", "", "0.6", "1.2", optional=True),
        "sweep": number(
            "half the excursion a screw is swept by (left out: by its band)", "turn", "1/16", "2", optional=True
        ),
        "low": number("lower end of the screw's band (left out: by its kind)", "turn", "0", "10", optional=True),
        "high": number("upper end of the band", "turn", "0", "10", optional=True),
        **AIR_SCREWS,
        "target": TARGET,
    },
    {
        "verdict": says(
            "best: every screw stands where it belongs · turn: make the moves, read again · read again: turn nothing "
            "· no answer: a barrel does not answer its screw (finding with the checks in order) and the rest is set · "
            "lost: a position is unknown: count the screws in to their seats and back · at its stop: a screw would "
            "have to leave its range (finding), the rest is set · unsound readings",
            "best",
            "turn",
            "read again",
            "no answer",
            "lost",
            "at its stop",
            "unsound readings",
        ),
        "left": gives("barrels not yet set", "", "0", "48"),
        "speed_gain": gives("speed gained since the search began", "rpm", "-5000", "5000"),
        "sureness": SURENESS,
        "sure": gives("how likely each barrel is near its best as it stands", "", "0", "1", each="barrel"),
        "rounds": gives("readings still expected, about", "", "0", "500"),
        "best": gives("where each screw is believed to belong", "turn", "-30", "60", each="barrel", holes=True),
        "best_low": gives("lower end of where, with 90 of 100", "turn", "-30", "60", each="barrel", holes=True),
        "best_high": gives("upper end of where, with 90 of 100", "turn", "-30", "60", each="barrel", holes=True),
        "barrels": says(
            "each barrel: set, sought, silent (does not answer), stopped (at the end of its screw), unknown",
            "set",
            "sought",
            "silent",
            "stopped",
            "unknown",
            each="barrel",
        ),
    },
    {
        **NOT_BELIEVED,
        "barrel-does-not-answer": change("its screw was turned far both ways and the speed never answered"),
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
        "spit-back": read("barrels that were seen to spit back stand lean"),
        "idle jet size": read("the number read off each jet; it outranks what the job lists"),
        "air leak": read("where a leak showed, the barrel is leaner than its jet makes it"),
        "fuel level": read("the level of each body against the specified one moves its barrels' screws"),
    },
)
def idle_mixture(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
    """Next mixture moves; see the registry. Refuses in words what no sound meter gives, and never raises on it."""
    view = inputs.screws["screw"]
    if any(p is None for p in view.positions):
        return _lost(job, inputs, view, evidence)
    wrong = _problem(inputs, view)
    if wrong:
        return _answer(job, view, "unsound readings", findings=(wrong,), why=wrong)
    window = (value(inputs, "lambda_low", 0.86), value(inputs, "lambda_high", 0.96))
    s = search(job, inputs, evidence, _band(inputs), window)
    if s.mix is None:
        return _answer(job, view, "read again", why="Nothing was read yet that the mixture shows in.")
    rows = policy.choices(s, view, inputs, window)
    judged = (_by_meter if s.mix.metered else _by_speed)(job, inputs, view, s, rows)
    return replace(judged, findings=judged.findings + doubts(inputs, s.spots))


def _band(inputs: Inputs) -> tuple[float, float] | None:
    low, high = inputs.values.get("low"), inputs.values.get("high")
    return None if low is None or high is None else (float(low), float(high))


def _problem(inputs: Inputs, view: ScrewView) -> Found | None:
    speed = inputs.readings.get("speed")
    if speed is not None and speed.row is not None:
        shown = numbers(speed.row)[0] if speed.row else None
        if shown is None or shown < RUNNING:
            return gauge.unsound("not running", shown=shown or 0.0)
    for name, what in (("lambda", "lambda"), ("co", "CO")):
        meter = inputs.readings.get(name)
        if meter is None or meter.row is None:
            continue
        row = numbers(meter.row)
        if len(row) % len(view.positions):
            return gauge.unsound("meter count", meter=what, has=len(row), due=len(view.positions))
        if all(v is None for v in row):
            return gauge.unsound("meter empty", meter=what)
        if name == "lambda" and any(v is not None and not 0.5 <= v <= 2.0 for v in row):
            return gauge.unsound("no lambda")
        if name == "co" and any(v is not None and not 0.0 <= v <= 0.15 for v in row):
            return gauge.unsound("no CO")
    return None


# --- with a meter ---------------------------------------------------------------------------------------------------
def _by_meter(job: Job, inputs: Inputs, view: ScrewView, s: Search, rows: Sequence[Choice]) -> Judgement:
    moves, stopped = policy.settled(job, inputs, view, s, rows)
    if moves:
        verdict = "turn"
    elif stopped:
        verdict = "at its stop"
    elif min(c.right for c in rows) < SURE and s.meter_rows < MOST_ROWS:
        verdict = "read again"
    else:
        verdict = "best"
    return _told(job, inputs, view, s, rows, verdict, moves, stopped)


# --- with speed alone -----------------------------------------------------------------------------------------------
def _by_speed(job: Job, inputs: Inputs, view: ScrewView, s: Search, rows: Sequence[Choice]) -> Judgement:
    assert s.mix is not None
    symptom = s.last_symptom
    if symptom is not None:
        kind, leaned = symptom
        if kind == "stall":
            moves = policy.taken_back(view, s)
        elif kind in ("spit-back", "hunting") and len(leaned) == 1:
            moves = policy.back_out(view, s, rows[s.unit_of(leaned[0])])
        else:
            moves = []
        if moves:
            return _told(job, inputs, view, s, rows, "turn", moves, ())
    air = policy.speed_first(job, inputs, s, rows)
    if air:
        return _told(job, inputs, view, s, rows, "turn", air, ())
    trial = policy.next_trial(job, inputs, s, view, rows)
    back = policy.last_goes_back(s, rows)
    if trial is not None and (back is None or trial.u == back.u):
        return _told(job, inputs, view, s, rows, "turn", policy.to_place(view, s, trial.u, trial.to), (), trial)
    if back is not None and any(policy.unknown(c) for c in rows):
        return _told(job, inputs, view, s, rows, "turn", policy.to_place(view, s, back.u, back.best), ())
    moves, stopped = policy.settled(job, inputs, view, s, rows)
    mute = policy.mute(s, view, inputs, rows)
    verdict = "turn" if moves else "no answer" if mute else "at its stop" if stopped else "best"
    return _told(job, inputs, view, s, rows, verdict, moves, stopped)


# --- telling --------------------------------------------------------------------------------------------------------
def _lost(job: Job, inputs: Inputs, view: ScrewView, evidence: Evidence) -> Judgement:
    spots = screw_places(view, job, inputs)
    where = tuple(p for p, v in zip(spots, view.positions, strict=False) if v is None)
    return _answer(
        job,
        view,
        "lost",
        findings=(Found("position-lost", where),),
        why="A position is unknown, and no move can be given from an unknown place.",
    )


def _answer(
    job: Job, view: ScrewView, verdict: str, *, findings: tuple[Found, ...] = (), why: Found | str = ""
) -> Judgement:
    nowhere = (None,) * job.bank.barrels
    return Judgement(
        saying.outputs(
            verdict=verdict,
            left=len(view.positions),
            speed_gain=0,
            sureness=0,
            sure=(0,) * job.bank.barrels,
            rounds=0,
            best=nowhere,
            best_low=nowhere,
            best_high=nowhere,
            barrels=("unknown",) * job.bank.barrels,
        ),
        findings=findings,
        because=Reasons("The latest answer.", why, "Not at all.", "A sound reading."),
    )


def _told(
    job: Job,
    inputs: Inputs,
    view: ScrewView,
    s: Search,
    rows: Sequence[Choice],
    verdict: str,
    moves: Sequence[Move],
    stopped: Sequence[Choice],
    trial: policy.Trial | None = None,
) -> Judgement:
    mute = policy.mute(s, view, inputs, rows)
    words_of = [
        "silent" if c in mute else "stopped" if c in stopped else "set" if c.near > SET else "sought" for c in rows
    ]
    findings = [Found("mixture-screw-at-its-stop", _where(s, c), {"place": _where(s, c)}) for c in stopped]
    if s.mix is not None and not s.mix.metered and s.noise.step > COARSE:
        findings.append(Found("tachometer-too-coarse", (), {"step": s.noise.step}))
    findings += [Found("barrel-does-not-answer", _where(s, c), {"place": _where(s, c)}, sureness=c.dead) for c in mute]
    to = {
        s.unit_of(s.spots.index(m.place)): float(m.position)
        for m in moves
        if m.screw == view.name and m.position is not None and m.place in s.spots
    }
    speeds = [shot.speed for shot in s.shots if shot.speed]
    gain = (speeds[-1] - speeds[0]) if len(speeds) > 1 else 0.0
    there = policy.expected(s, to)
    expect = {} if there is None else {"engine speed": (saying.exact(saying.clamp(there, 0, 9000), 0),)}
    return Judgement(
        saying.outputs(
            verdict=verdict,
            left=sum(w != "set" for w in words_of),
            speed_gain=saying.clamp(gain, -5000.0, 5000.0),
            sureness=saying.clamp(policy.sureness(rows), 0.0, 1.0),
            sure=_by_barrel(
                job, s, [saying.exact(saying.clamp(c.near, 0.0, 1.0), 3) for c in rows], saying.exact(0, 0)
            ),
            rounds=policy.rounds_left(s, rows) if verdict in ("turn", "read again") else 0,
            **_places(job, inputs, view, s, rows),
            barrels=_by_barrel(job, s, words_of, "unknown"),
        ),
        tuple(moves),
        (),
        tuple(findings),
        expect,
        _because(s, rows, verdict, moves, trial),
    )


def _places(job: Job, inputs: Inputs, view: ScrewView, s: Search, rows: Sequence[Choice]) -> dict[str, Any]:
    """Where each screw is believed to belong, and between where and where, in turns."""
    assert s.mix is not None
    span = policy.reach(view, s, inputs)
    ends = [span_of_best(s.mix, c.u, c.best, c.doubt, span) for c in rows]
    told = {"best": [c.best for c in rows], "best_low": [e[0] for e in ends], "best_high": [e[1] for e in ends]}
    return {name: _by_barrel(job, s, [saying.exact(v) for v in row], None) for name, row in told.items()}


def _where(s: Search, c: Choice) -> tuple[Place, ...]:
    return tuple(s.spots[i] for i in s.units[c.u])


def _by_barrel(job: Job, s: Search, told: Sequence[Any], nothing: Any) -> tuple[Any, ...]:
    out = []
    for c in range(1, job.bank.carbs + 1):
        for b in range(1, job.bank.barrels_per_carb + 1):
            i = next((k for k, p in enumerate(s.spots) if p.carb in (None, c) and p.barrel in (None, b)), None)
            out.append(nothing if i is None else told[s.unit_of(i)])
    return tuple(out)


def _because(
    s: Search, rows: Sequence[Choice], verdict: str, moves: Sequence[Move], trial: policy.Trial | None
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
    if trial is not None:
        concluded = said(
            "{here}. How the speed changes on this turn tells on which side of its crest it stands.",
            here=told[trial.u],
        )
    elif verdict == "turn":
        concluded = said("Set {moves:count screw} where the mixture belongs. Now {now}.", moves=len(moves), now=told)
    elif verdict == "best" and not mix.metered and any(c.doubt > policy.KNOWN for c in rows):
        concluded = said(
            "Fastest here; with a tachometer alone the mixture is known to ±{half:.2f}. {now}.",
            half=max(policy.tolerance(mix, c.u, c.at) for c in rows),
            now=told,
        )
    elif verdict == "best":
        concluded = said("Every screw stands where it belongs. {now}.", now=told)
    else:
        concluded = said("{now}.", now=told)
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
