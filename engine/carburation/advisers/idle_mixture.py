"""Idle mixture: the next position of every mixture screw, from speed alone or from lambda or CO by barrel.

With a meter the screws go straight to where lambda belongs. With speed alone each screw is swept across the expected
crest, one screw a reading, so that every reading serves the fit of all; then all are set at once, on the lean side of
best, and only those that this leaves in doubt are swept again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from engine.carburation.advisers import saying
from engine.carburation.advisers.contract_words import (
    AIR_SCREWS,
    CO,
    LAMBDA,
    NOT_BELIEVED,
    SURENESS,
    TARGET,
    adjust,
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
from engine.carburation.estimation.picture import Idle
from engine.carburation.estimation.search import Search, search
from engine.carburation.estimation.seen import numbers, screw_places, value
from engine.carburation.policy.mixture_moves import (
    Barrel,
    back_out,
    barrel_of,
    further,
    is_mute,
    set_where_best,
    settled,
    swept,
    to_best_seen,
)
from engine.contract import adviser
from engine.evidence import Evidence, Inputs, Move, ScrewView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: A barrel's mixture is placed well enough, as a standard deviation of phi: about 0.035 of lambda.
PLACED = 0.045
#: A screw is turned at most so often to learn from it.
MOST_SWEEPS = 5
#: Further from where it belongs than this, phi, a screw still unsure is set alone, so that its effect is seen.
AWAY = 0.10
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
        "barrel-does-not-answer": adjust("its screw was turned far both ways and the speed never answered"),
        "mixture-screw-at-its-stop": adjust("the screw would have to leave its range to reach its mixture"),
        "lambda-lean-by-misfire": note("a meter shows so lean that it may be the oxygen of a misfire"),
        "meters-disagree": note("lambda and CO of one barrel tell of different mixtures"),
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
    s = search(job, inputs, evidence, *_band(inputs))
    if s.idle is None:
        return _answer(job, view, "read again", why="Nothing was read yet that the mixture shows in.")
    low, high = value(inputs, "lambda_low", 0.86), value(inputs, "lambda_high", 0.96)
    target = 2.0 / (low + high)
    barrels = [barrel_of(s, s.idle, i, low, high, target) for i in range(len(s.spots))]
    metered = s.meter_rows > 0 and ("lambda" in inputs.readings or "co" in inputs.readings)
    by = _by_meter if metered else _by_speed
    judged = by(job, inputs, view, s, barrels, target)
    return replace(judged, findings=judged.findings + doubts(inputs, s.spots))


def _band(inputs: Inputs) -> tuple[float | None, float | None]:
    low, high = inputs.values.get("low"), inputs.values.get("high")
    return (None, None) if low is None or high is None else (float(low), float(high))


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
def _by_meter(
    job: Job, inputs: Inputs, view: ScrewView, s: Search, barrels: Sequence[Barrel], target: float
) -> Judgement:
    moves, stopped = settled(job, inputs, view, s, barrels, target)
    if moves:
        verdict = "turn"
    elif stopped:
        verdict = "at its stop"
    elif min(b.right for b in barrels) < 0.9 and s.meter_rows < 4:
        verdict = "read again"
    else:
        verdict = "best"
    return _told(job, view, s, barrels, verdict, moves, stopped, target)


# --- with speed alone -----------------------------------------------------------------------------------------------
def _by_speed(
    job: Job, inputs: Inputs, view: ScrewView, s: Search, barrels: Sequence[Barrel], target: float
) -> Judgement:
    assert s.idle is not None
    last = s.last_symptom
    if last is not None and last[0] in ("stall", "spit-back", "hunting"):
        back = to_best_seen(view, s) if len(last[1]) > 1 else [back_out(view, s, barrels[i]) for i in last[1]]
        moves = [m for m in back if m is not None]
        if moves:
            return _told(job, view, s, barrels, "turn", moves, [], target)
    half = value(inputs, "sweep", 0.0)
    new = next((b for b in barrels if not b.ever), None)
    if new is not None:  # first each once, outward
        move = swept(view, s, s.idle, new, half)
        if move is not None:
            return _told(job, view, s, barrels, "turn", [move], [], target, sweeping=new)
    unsure = [b for b in barrels if s.idle.phi_sd(b.i, b.best) > PLACED and b.swept < MOST_SWEEPS]
    away = [b for b in unsure if abs(b.phi - target) > AWAY]
    if away:  # then each alone to where it seems best: it tells again
        b = max(away, key=lambda b: abs(b.phi - target))
        moves, stopped = set_where_best(view, s, [b], target)
        if moves:
            return _told(job, view, s, barrels, "turn", moves, [], target, sweeping=b)
    again = [b for b in unsure if b.swept < MOST_SWEEPS - 1]
    if again:
        b = min(again, key=lambda b: (b.swept, b.i))
        move = swept(view, s, s.idle, b, half)
        if move is not None:
            return _told(job, view, s, barrels, "turn", [move], [], target, sweeping=b)
    moves, stopped = settled(job, inputs, view, s, barrels, target)
    if not moves:
        for b in barrels:
            move = further(view, s, s.idle, b)
            if move is not None:
                return _told(job, view, s, barrels, "turn", [move], [], target, sweeping=b)
    mute = [b for b in barrels if is_mute(s, s.idle, b)]
    verdict = "turn" if moves else "no answer" if mute else "at its stop" if stopped else "best"
    return _told(job, view, s, barrels, verdict, moves, stopped, target, mute=mute)


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
    return Judgement(
        saying.outputs(
            verdict=verdict, left=len(view.positions), speed_gain=0, sureness=0, barrels=("unknown",) * job.bank.barrels
        ),
        findings=findings,
        because=Reasons("The latest answer.", why, "Not at all.", "A sound reading."),
    )


def _told(
    job: Job,
    view: ScrewView,
    s: Search,
    barrels: Sequence[Barrel],
    verdict: str,
    moves: Sequence[Move],
    stopped: Sequence[Barrel],
    target: float,
    sweeping: Barrel | None = None,
    mute: Sequence[Barrel] = (),
) -> Judgement:
    idle = s.idle
    assert idle is not None
    words_of = [
        "silent" if b in mute else "stopped" if b in stopped else "set" if b.right > 0.75 else "sought" for b in barrels
    ]
    findings = [Found("mixture-screw-at-its-stop", (s.spots[b.i],), {"place": s.spots[b.i]}) for b in stopped] + [
        Found("barrel-does-not-answer", (s.spots[b.i],), {"place": s.spots[b.i]}, sureness=0.9) for b in mute
    ]
    after = [
        float(m.position)
        if (m := next((m for m in moves if m.place == s.spots[b.i]), None)) and m.position is not None
        else b.at
        for b in barrels
    ]
    speeds = [shot.speed for shot in s.shots if shot.speed]
    gain = (speeds[-1] - speeds[0]) if len(speeds) > 1 else 0.0
    sure = min((b.right for b in barrels), default=0.0)
    expect = (
        {}
        if idle is None or not speeds
        else {"engine speed": (saying.exact(saying.clamp(idle.speed(after), 0, 9000), 0),)}
    )
    return Judgement(
        saying.outputs(
            verdict=verdict,
            left=sum(w != "set" for w in words_of),
            speed_gain=saying.clamp(gain, -5000.0, 5000.0),
            sureness=sure,
            barrels=_by_barrel(job, s, words_of),
        ),
        tuple(moves),
        (),
        tuple(findings),
        expect,
        _because(view, s, idle, barrels, verdict, moves, sweeping, target),
    )


def _by_barrel(job: Job, s: Search, told: Sequence[str]) -> tuple[str, ...]:
    out = []
    for c in range(1, job.bank.carbs + 1):
        for b in range(1, job.bank.barrels_per_carb + 1):
            i = next((k for k, p in enumerate(s.spots) if p.carb in (None, c) and p.barrel in (None, b)), None)
            out.append("unknown" if i is None else told[i])
    return tuple(out)


def _because(
    view: ScrewView,
    s: Search,
    idle: Idle,
    barrels: Sequence[Barrel],
    verdict: str,
    moves: Sequence[Move],
    sweeping: Barrel | None,
    target: float,
) -> Reasons:
    lam = [said("{place} {lam:.2f}", place=s.spots[b.i], lam=1.0 / max(b.phi, 0.4)) for b in barrels]
    used = said(
        "{rows:count row} of the meter"
        if s.meter_rows
        else "{shots:count reading} of speed with the screws' positions",
        rows=s.meter_rows,
        shots=idle.shots,
    )
    used = said(
        "{used}; a turn changes the fuel by about {slope:.0f} %, as learned.", used=used, slope=100 * idle.slope
    )
    if sweeping is not None:
        concluded = said(
            "{place} is swept across the crest: by how far the speed changes is told on which side it stands.",
            place=s.spots[sweeping.i],
        )
    elif verdict == "turn":
        concluded = said(
            "Set {moves:count screw} where lambda is about {lam:.2f}. Now about: {now:,}.",
            moves=len(moves),
            lam=1.0 / target,
            now=lam,
        )
    elif verdict == "best":
        concluded = said("Every screw stands where it belongs. Lambda is about: {now:,}.", now=lam)
    else:
        concluded = said("Lambda is about: {now:,}.", now=lam)
    worst = min(barrels, key=lambda b: b.right)
    sure = said(
        "Least sure is {place}: {right:sure} that its lambda is right, with a doubt of {doubt:.3f}.",
        place=s.spots[worst.i],
        right=worst.right,
        doubt=worst.sd / worst.phi**2,
    )
    return Reasons(
        used,
        concluded,
        sure,
        said("A speed that does not follow as expected, or air that is moved: more air leans its {barrel}."),
    )
