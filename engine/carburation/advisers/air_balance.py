"""Air balance between bodies: every body's next move at once, from rows of gauge readings; it knows no bench and no
file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    AIR_READS,
    DISTURBED,
    NOT_BELIEVED,
    TURNED_OTHERWISE,
    AskedOfAir,
    Bypass,
    Flow,
    Gap,
    Plate,
    SpeedOff,
    SpeedTolerance,
    Sureness,
    Target,
    adjust,
    change,
    note,
    says,
    truth,
)
from engine.carburation.advisers.own_scale import air_on_its_scale
from engine.carburation.estimation import gauge
from engine.carburation.estimation.air_look import Look, look
from engine.carburation.estimation.fit import normal_cdf
from engine.carburation.estimation.seen import Key, fitted_screw, history, row_places, value
from engine.carburation.policy.air_moves import AirMoves, Turn, fewest
from engine.contract import Told, adviser
from engine.evidence import Aim, Evidence, Move, Place, ReadingView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import Said, said

#: How likely a verdict of 'even' must be. [assumed]
SURE = 0.97
#: Where 'even' is likelier than this but not sure, and no turn betters it, so many rows are taken to settle it: they
#: average the gauge's own scatter. [assumed]
EDGE, EDGE_ROWS = 0.3, 4
#: A turn up to this may be made by aim. [assumed: an eighth and what a hand errs by]
AIM_TURN = 0.16
#: Shares of what is allowed: what a count of the screw may miss before the turn is made by aim, how far barrels of a
#: body may differ for one to stand for it, and from where a difference within a body is no screw's to mend. [assumed]
MISSED, ALIKE, WITHIN_BODY = 0.2, 0.5, 0.8
#: What is left to gain, as a share of what is allowed, below which no further move is made within a body. [assumed]
WORTH = 0.3
#: How likely the speed must be right for a verdict, and the share of what is allowed that a plan may use. [assumed]
PACE_SURE, PACE_SHARE = 0.9, 0.4
#: How far the mean may drift in a plan, as a share of it: with no speed to go by, and with depressions. [assumed]
FREE_DRIFT, HELD_DRIFT = 0.15, 0.05
#: What a turn is usually worth, as a share of the mean flow; a depression half of it, a bypass three tenths. [assumed]
USUAL_TURN, OF_DEPRESSION, OF_BYPASS = 0.7, 0.5, 0.3
#: A screw does nothing: turned for so many scatters, its effect for two deviations below this share of what is usual.
#: [assumed]
SEEN_SCATTERS, DEVIATIONS, NOTHING = 4.0, 2.0, 0.35
#: A reading so many scatters from what the moves should have made is not believed at once. [assumed]
SURPRISE = 4.0
#: Barrels of a body differ for certain past so many deviations, and it is worth a word past this share. [assumed]
CERTAIN, SLIGHT = 3.0, 0.045
#: How sure a finding from a row is said to be. [assumed]
TOLD = 0.95


@dataclass(frozen=True, slots=True)
class _Speed:
    held: bool
    target: float
    allowed: float
    off: float
    sure: float


Verdict = Literal[
    "even",
    "inside noise",
    "turn",
    "read again",
    "out of step",
    "no answer",
    "at its stop",
    "unsound readings",
]


@dataclass(frozen=True, kw_only=True)
class Asks(AskedOfAir):
    """The row, the air screws and what is wanted of them."""

    flow: Flow
    screw: Plate
    bypass: Bypass = None
    target: Target = None
    speed_tolerance: SpeedTolerance = None
    hold_speed: Annotated[
        bool | None,
        truth("whether the moves shall also bring the speed to target (left out: yes, where speed is bound)"),
    ] = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """How the bank's air stands."""

    verdict: Annotated[
        Verdict,
        says(
            "even: all within tolerance (and on speed, where held), nothing to turn · inside noise: what is left is "
            "the gauge's own scatter, finer is not to be had · turn: make the moves and read again · read again: take "
            "the row again, turn nothing · out of step: bodies agree, but barrels within a body differ and no bypass "
            "can mend it · no answer: a screw does nothing (finding) · at its stop: a screw would have to leave its "
            "range (finding) · unsound readings: zeros, a stuck gauge (finding)"
        ),
    ]
    gap: Gap
    speed_off: SpeedOff
    sureness: Sureness


@adviser(
    2,
    "Gives every body its next move at once, so that all draw alike and the engine holds its speed. Three to five rows "
    "suffice from a rough start; allow 8.",
    Asks,
    Tells,
    {
        **NOT_BELIEVED,
        **TURNED_OTHERWISE,
        "screw-does-nothing": adjust("the screw was turned far enough for the gauge to show it, and it did not"),
        "screw-at-its-stop": adjust("the screw would have to leave its range for the air to be even"),
        "body-out-of-step": change("barrels of one body differ by more than its limit, bypass allowed for"),
        "body-slightly-out": note("barrels of one body differ for certain, by less than its limit"),
        **DISTURBED,
    },
    makes=("moves",),
    idle=True,
    reads=AIR_READS,
)
def air_balance(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Next moves of all air screws between bodies from `flow` (row, kg/h or kPa), with `speed` (rpm) where bound.

    Returns moves, findings and the row to expect; see the registry for verdicts. Never raises on bad readings.
    """
    asked, limit = air_on_its_scale(job, asked, asked.flow)
    view = asked.flow
    screws = [s for v in (asked.screw, asked.coupling, asked.bypass) if (s := fitted_screw(v)) is not None]
    wrong = gauge.problem(view, row_places(view, job, asked), history(evidence, screws))
    if wrong:
        return Judgement(
            Tells(verdict="unsound readings", gap=0, speed_off=0, sureness=0),
            findings=(wrong,),
            because=unused(wrong),
        )
    seen = look(job, asked, evidence)
    pace = _speed(job, asked, seen)
    dead = nothing_followed(seen)
    doubtful = unbelieved(seen)
    plan = _plan(seen, pace, dead)
    turns = () if dead else plan.turns
    moves = [m for t in turns if (m := aimed_or_counted(seen, t, asked.flow, asked.by_aim, plan.row)) is not None]
    sure = seen.sureness()
    if moves and pace.sure >= PACE_SURE and _split(seen) and _worst(seen) - plan.worst < WORTH * seen.allowed():
        moves = []  # what is left is within a body: no screw here mends it
    findings = differences(seen, limit, view.unit)
    masked = any(f.code == "body-out-of-step" for f in findings)
    stopped = [t for t in plan.turns if t.stopped]
    verdict: Verdict
    if dead:
        verdict = "no answer"
        findings += [
            Found(
                "screw-does-nothing",
                (k[1],),
                {"screw": k[0], "place": k[1], "turned": seen.flows.turned[k]},
                sureness=TOLD,
            )
            for k in dead
        ]
    elif doubtful:
        verdict, moves = "read again", []
        findings += doubtful
    elif sure >= SURE and pace.sure >= PACE_SURE and not masked:
        verdict, moves = "even", []
    elif moves:
        verdict = "turn"
    elif stopped and max(abs(t.turns) for t in stopped) < 1e-6:
        verdict = "at its stop"
    elif not masked and seen.flows.since < (EDGE_ROWS if EDGE < sure < SURE else 2):
        verdict = "read again"
    elif masked or _split(seen):
        verdict = "out of step"
    elif stopped:
        verdict = "at its stop"
    else:
        verdict = "inside noise"
    if verdict == "at its stop":
        findings += [
            Found(
                "screw-at-its-stop",
                (t.screw.key[1],),
                {"screw": t.screw.key[0], "place": t.screw.key[1]},
                "air not even",
            )
            for t in stopped
        ]
    if verdict == "out of step" and not masked:
        findings = [f for f in findings if f.code != "body-slightly-out"] + _split(seen, view.unit)
    findings += disturbed_last(seen) if verdict != "turn" else []
    expect = plan.row if verdict == "turn" else seen.estimate
    return Judgement(
        Tells(
            verdict=verdict,
            gap=saying.clamp(seen.gap(), 0.0, 2.0),
            speed_off=saying.clamp(pace.off, -5000.0, 5000.0),
            sureness=sure if verdict != "turn" else saying.clamp(1.0 - sure, 0.0, 1.0),
        ),
        tuple(moves),
        (),
        tuple(findings),
        {view.quantity: tuple(saying.exact(v, 2) for v in expect)},
        _because(seen, verdict, plan, pace, sure, view.unit or "kg/h"),
    )


def unused(wrong: Found) -> Reasons:
    """Why a row is not used: a finding, no number."""
    return Reasons("The latest row only.", wrong, "A reading that no sound gauge gives is not used.", "A fresh row.")


def _speed(job: Job, asked: Asks, seen: Look) -> _Speed:
    target = value(asked.target, float(job.engine.idle_speed))
    allowed = value(asked.speed_tolerance, 30.0)
    now = seen.pace.now
    held = asked.hold_speed is not False and asked.speed is not None and now is not None
    off = 0.0 if now is None else now - target
    sd = max(seen.pace.sd, 1.0)
    sure = normal_cdf((allowed - off) / sd) - normal_cdf((-allowed - off) / sd) if held else 1.0
    return _Speed(held, target, allowed, off, sure)


def _plan(seen: Look, pace: _Speed, dead: Sequence[Key]) -> AirMoves:
    row = seen.estimate
    mean = sum(row) / len(row)
    if seen.flows.quantity == "depression" or not pace.held or not seen.pace.now:  # a speed of 0: it stands
        wide = HELD_DRIFT if pace.held else FREE_DRIFT
        return fewest(seen, mean, mean * (1 - wide), mean * (1 + wide), dead)
    slope = seen.pace.now * seen.pace.elasticity / mean  # rpm per unit of level
    level = mean * (1.0 + seen.pace.air_for(pace.target))
    half = PACE_SHARE * pace.allowed / slope
    low, high = sorted((level - half, level + half))
    return fewest(seen, level, low, high, dead)


def aimed_or_counted(seen: Look, t: Turn, flow: ReadingView, by_aim: bool | None, row: Sequence[float]) -> Move | None:
    """A turn in the screw's steps, or by aim at `flow` where it is small and the gauge can sit where it means something
    (not where `by_aim` forbids it)."""
    view, (_, where) = t.screw.view, t.screw.key
    effect, sd = seen.flows.effect(t.screw.key)
    counted = saying.to_step(t.turns, view.step)
    missed = abs(float(counted) - t.turns) * abs(effect) + abs(t.turns) * sd
    if (
        by_aim is not False
        and abs(t.turns) <= AIM_TURN
        and missed > MISSED * seen.allowed()
        and seen.flows.quantity == "airflow"
    ):
        at = _aim_place(seen, t, row)
        if at is not None:
            outward = (t.turns > 0) == (view.counts == "out")
            shown = Fraction(round(row[at] * 20), 20)
            place = seen.flows.places[at]
            return Move(
                view.name,
                where,
                "out" if outward else "in",
                view.outward if outward else view.inward,
                aim=Aim(flow.name, shown, None if place == where else place),
            )
    if not counted:
        return None
    stands = seen.stands.get(t.screw.key)
    return saying.turn(view, where, None if stands is None else saying.exact(stands, 6), counted)


def _aim_place(seen: Look, t: Turn, row: Sequence[float]) -> int | None:
    body = next((b for b in seen.bodies if set(b) & set(t.screw.moves)), ())
    if seen.couplings and t.screw.key in seen.couplings:
        body = next((b for b in seen.bodies if b[0] in t.screw.moves), ())
    sound = [i for i in body if i in t.screw.moves and i not in seen.flows.disturbed]
    if len(sound) < len(body):
        return None
    values = [row[i] for i in sound]
    if not sound or max(values) - min(values) > ALIKE * seen.allowed():
        return None
    return max(sound, key=lambda i: row[i])


def nothing_followed(seen: Look) -> list[Key]:
    """Screws that were turned far enough for the gauge to show it, and it did not."""
    out = []
    for key, turned in seen.flows.turned.items():
        screw = seen.flows.screws[key]
        effect, sd = seen.flows.effect(key)
        usual = USUAL_TURN * seen.flows.mean * (OF_DEPRESSION if seen.flows.quantity == "depression" else 1.0)
        if screw.view.at == "bypass":
            usual *= OF_BYPASS
        noise = max((seen.flows.scatter(i) for i in screw.moves), default=1.0)
        sign = 1.0 if screw.sign > 0 else -1.0
        if turned * usual > SEEN_SCATTERS * noise and sign * effect + DEVIATIONS * sd < NOTHING * usual:
            out.append(key)
    return out


def unbelieved(seen: Look) -> list[Found]:
    """The finding for readings that don't fit the moves made, once; a second row that says the same is believed."""
    if seen.flows.since != 1 or seen.flows.rows < 2:
        return []
    where = tuple(p for p, z in zip(seen.flows.places, seen.flows.surprises, strict=True) if abs(z) > SURPRISE)
    return [Found("screw-turned-otherwise", where, {"places": where})] if where else []


def disturbed_last(seen: Look) -> list[Found]:
    """The finding for a verdict that rests on a row which was read at a disturbed place with its take-off open."""
    where = seen.flows.spoilt
    return [Found("reading-disturbed", where, {"places": where})] if where else []


def _worst(seen: Look) -> float:
    row = seen.estimate
    mean = sum(row) / len(row)
    return max(abs(v - mean) for v in row)


def _split(seen: Look, unit: str | None = None) -> list[Found]:
    """Bodies whose own barrels lie so far apart that no speed screw brings both inside the tolerance."""
    out = []
    for body in seen.bodies:
        if len(body) < 2 or any(i in seen.bypasses for i in body):
            continue
        low, high = min(body, key=lambda i: seen.estimate[i]), max(body, key=lambda i: seen.estimate[i])
        apart, _ = seen.flows.belief.value({high: 1.0, low: -1.0})
        if apart / 2 > WITHIN_BODY * seen.allowed():
            out.append(_step_finding(seen, "body-out-of-step", low, high, apart, unit))
    return out


def _step_finding(seen: Look, code: str, low: int, high: int, apart: float, unit: str | None) -> Found:
    body = Place(seen.flows.places[low].carb, None)
    figures = {"high": seen.flows.places[high], "low": seen.flows.places[low]}
    way = "measured" if code == "body-out-of-step" else ""
    return Found(code, (body,), figures | {"apart": apart, "unit": unit or "kg/h"}, way, sureness=TOLD)


def differences(seen: Look, limit: float, unit: str | None) -> list[Found]:
    """Differences within bodies: past the limit with the bypass allowed for, or slight but certain."""
    out = []
    for body in seen.bodies:
        if len(body) < 2 or any(i in seen.flows.disturbed for i in body):
            continue
        weights = []
        for i in body:
            key = seen.bypasses.get(i)
            stands = seen.stands.get(key) if key else None
            w = {i: 1.0}
            if key and stands:
                w[seen.flows.screws[key].index] = -seen.flows.screws[key].sign * stands
            weights.append((seen.flows.belief.value(w)[0], i, w))
        (_, low, wl), (_, high, wh) = min(weights)[:3], max(weights)[:3]
        joint = dict(wh)
        for k, v in wl.items():
            joint[k] = joint.get(k, 0.0) - v
        apart, sd = seen.flows.belief.value(joint)
        if apart - sd > limit:
            out.append(_step_finding(seen, "body-out-of-step", low, high, apart, unit))
        elif apart > CERTAIN * sd and apart > SLIGHT * seen.flows.mean and seen.flows.quantity != "depression":
            out.append(_step_finding(seen, "body-slightly-out", low, high, apart, unit))
    return out


def _because(seen: Look, verdict: Verdict, plan: AirMoves, pace: _Speed, sure: float, unit: str) -> Reasons:
    row = seen.estimate
    learned = [
        said("the {screw:name} of {place} by {effect:+.1f}", screw=k[0], place=k[1], effect=seen.flows.effect(k)[0])
        for k in seen.flows.turned
    ]
    taught: Said | str = "; what a turn does is not learned yet, so the usual effect is taken"
    if learned:
        taught = said("; as learned here, a whole turn changes {learned:,} {unit}", learned=learned, unit=unit)
    used = said(
        "{rows:count row} of the gauge, weighed for its scatter of about {scatter:.2f} {unit}{taught}{speed}.",
        rows=seen.flows.rows,
        scatter=seen.flows.scatter(0),
        unit=unit,
        taught=taught,
        speed=said(". Speed {now:.0f} rpm", now=seen.pace.now) if seen.pace.now else "",
    )
    told: dict[str, str | Said] = {
        "even": "All draw alike within tolerance.",
        "inside noise": "What is left is inside the gauge's own scatter.",
        "turn": said("After these moves the row should read {row:.1f} {unit}.", row=plan.row, unit=unit),
        "read again": "One more row will tell; nothing is to be turned.",
        "out of step": "The {carb:several} agree, but {barrel:several} within a {carb} do not, and no screw here mends "
        "that.",
        "no answer": "A screw was turned and nothing followed.",
        "at its stop": "A screw has no travel left.",
    }
    end = told[verdict]
    concluded = said(
        "The {barrel:several} draw {row:.2f} {unit}; the furthest lies {gap:.1f} % from the mean. {told}",
        row=row,
        unit=unit,
        gap=100 * seen.gap(),
        told=end if isinstance(end, Said) else said(end),
    )
    certain = said(
        "That all lie within {allowed:.2f} {unit} of the mean: {sure:sure}.",
        allowed=seen.allowed(),
        unit=unit,
        sure=sure,
    )
    return Reasons(
        used,
        concluded,
        certain,
        "A second row that differs by more than the gauge's scatter, a screw turned otherwise than shown, or a "
        "take-off that was not plugged.",
    )
