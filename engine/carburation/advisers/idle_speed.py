"""Idle speed by an equal change of flow on every body, so that the balance stays; it moves nothing else."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    NOT_BELIEVED,
    Coupling,
    Master,
    Plate,
    SpeedOff,
    SpeedTolerance,
    Sureness,
    Target,
    adjust,
    read,
    reading,
    says,
)
from engine.carburation.estimation import flows, gauge, pace
from engine.carburation.estimation.air_look import air_change, coupling_spots, disturbed, plate_spots
from engine.carburation.estimation.fit import normal_cdf
from engine.carburation.estimation.seen import Seen, fitted_screw, history, numbers, places, screw_places, value
from engine.contract import Asked, Told, adviser
from engine.evidence import Aim, Evidence, Move, ReadingView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import Said, said

#: The longest turn in one go; a change of all bodies at once is strong. [common practice: an eighth]
LONGEST = 0.125
#: So near its target, as a share of it, a single screw is turned by the tachometer and not by count. [assumed]
AIMED = 0.25
#: How likely the speed must be right to be called so, and how far one reading of a tachometer scatters, rpm. [assumed]
SURE, ONE_READING = 0.9, 3.0
#: In what steps an airflow is written, kg/h. [assumed: as the shipped readings]
FLOW_STEP = 0.1
#: The speed does not follow the air: its elasticity for so many deviations below this. [assumed: a running engine
#: goes up by about the half power of its air or more]
DEVIATIONS, NOTHING = 1.5, 0.45
#: An aim was out of reach where the speed stands so many times what is allowed below it. [assumed]
OUT_OF_REACH = 2.0
#: Speeds that an engine idles at: past them the tachometer counts another number of cylinders [assumed].
LEAST, MOST = 200.0, 8000.0
#: Of the air at least so much is left by one turn, as a share [assumed: no turn shuts it off].
LEAST_AIR = 0.2


Verdict = Literal["on speed", "turn", "read again", "no answer", "at its stop", "unsound readings"]


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """The speed, the screws that make it and what is wanted."""

    speed: Annotated[ReadingView, reading("engine speed, gauge off", "engine speed")]
    screw: Plate
    coupling: Coupling = None
    master: Master = None
    target: Target = None
    speed_tolerance: SpeedTolerance = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """How the speed stands."""

    verdict: Annotated[
        Verdict,
        says(
            "on speed · turn: make the moves and read again · read again · no answer: the screws don't "
            "change the speed (finding) · at its stop: the plates are shut and it still runs too fast, or fully open "
            "(finding) · unsound readings"
        ),
    ]
    speed_off: SpeedOff
    sureness: Sureness


@adviser(
    2,
    "Brings the engine to speed by an equal change of flow on every body, so that the balance stays. One to two moves; "
    "allow 6 readings.",
    Asks,
    Tells,
    {
        **NOT_BELIEVED,
        "speed-does-not-follow": adjust("more air was given and the speed did not rise"),
        "will-not-idle-down": adjust("a speed screw is at the end of its range and it still runs too fast"),
        "screw-at-its-stop": adjust("a speed screw is at the end of its range and it still runs too slow"),
    },
    makes=("moves",),
    idle=True,
    reads={
        "engine speed": read("the speed of every answer, with the moves before it"),
        "airflow": read("what the barrels draw: how much a turn of the speed screws is of it"),
        "take-off": read("take-offs that could not be plugged: their barrel is held to its neighbour"),
    },
)
def idle_speed(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Equal turns of all speed screws (or the master's, coupled) towards the target; see the registry."""
    view, plate = asked.speed, asked.screw
    coupling = fitted_screw(asked.coupling)
    shown = numbers(view.row or (None,))[0]
    if shown is None or not LEAST <= shown <= MOST:
        wrong = gauge.unsound("no idle speed", shown=shown or 0.0)
        return Judgement(
            Tells(verdict="unsound readings", speed_off=0, sureness=0),
            findings=(wrong,),
            because=Reasons("The latest speed.", wrong, "Not at all.", "A sound reading."),
        )
    target = value(asked.target, float(job.engine.idle_speed))
    allowed = value(asked.speed_tolerance, 30.0)
    master = int(value(asked.master, 1.0))
    rows = places("barrel", job)
    spots = screw_places(plate, job, asked)
    spread = plate_spots(plate, spots, rows, coupling is not None, master)
    level = _level(evidence, len(rows))
    screws = [plate] + ([coupling] if coupling else [])
    seen = history(evidence, screws)
    table = [(plate, spread)]
    if coupling:
        table.append((coupling, coupling_spots(coupling, screw_places(coupling, job, asked), rows, job.bank.carbs)[0]))
    belief = flows.make("airflow", rows, level, table, disturbed(job), FLOW_STEP).follow(seen)
    going = pace.follow(seen, pace.scatter(view), lambda s: air_change(s, belief))
    now = going.now if going.now is not None else shown
    off = now - target
    sd = max(1.0, going.sd if going.count else ONE_READING)
    sure = normal_cdf((allowed - off) / sd) - normal_cdf((-allowed - off) / sd)
    moves, findings, stopped, there = [], [], False, target
    turned = sum(abs(v or 0.0) for s in seen for (n, p), v in s.turned.items() if n == plate.name and p in spread)
    verdict: Verdict
    if sure >= SURE:
        verdict = "on speed"
    elif abs(off) < allowed and going.count < 2:
        verdict = "read again"
    elif off < 0 and (
        _out_of_reach(seen, off, allowed) or (turned and going.elasticity + DEVIATIONS * going.elasticity_sd < NOTHING)
    ):
        verdict = "no answer"
        findings.append(Found("speed-does-not-follow"))
    else:
        share = going.air_for(target)
        keys = [k for k in belief.screws if k[0] == plate.name]
        effect = sum(abs(belief.effect(k)[0]) for k in keys) / max(1, len(keys))
        by = saying.to_step(max(-LONGEST, min(LONGEST, share * level / max(effect, 1e-6))), plate.step)
        by = by or plate.step * (1 if off < 0 else -1)
        growing = by if (plate.outward if plate.counts == "out" else plate.inward) == "more air" else -by
        for p in spread:
            stands = evidence.positions.get((plate.name, p))
            if stands is not None and not plate.range[0] <= stands + growing <= plate.range[1]:
                stopped = True
            move = saying.turn(plate, p, stands, growing)
            if len(spread) == 1 and abs(off) < AIMED * target:
                # One screw moves them all: the hand stays on it until the tachometer shows the figure.
                move = replace(move, turns=None, position=None, aim=Aim(view.name, saying.exact(target, 0)))
            moves.append(move)
        if not any(m.aim for m in moves):  # what will be read, which the longest turn or its step may leave off target
            there = now * max(LEAST_AIR, 1.0 + by * effect / max(level, 1e-6)) ** going.elasticity
        verdict = "at its stop" if stopped else "turn"
        if stopped:
            moves = []
            findings.append(Found("will-not-idle-down") if off > 0 else Found("screw-at-its-stop", way="too slow"))
    return Judgement(
        Tells(verdict=verdict, speed_off=saying.clamp(off, -5000.0, 5000.0), sureness=saying.clamp(sure, 0.0, 1.0)),
        tuple(moves),
        (),
        tuple(findings),
        {"engine speed": (saying.exact(saying.clamp(there, 0.0, 9000.0) if moves else now, 0),)},
        _because(verdict, now, target, going, moves, sure),
    )


def _out_of_reach(seen: list[Seen], off: float, allowed: float) -> bool:
    """The hand was to turn until the tachometer showed the figure, and it never did."""
    return bool(seen) and bool(seen[-1].aims) and off < -OUT_OF_REACH * allowed


def _level(evidence: Evidence, count: int) -> float:
    for a in reversed(evidence.answers):
        row = [v for v in numbers(a.readings.get("airflow", ())) if v]
        if len(row) == count:
            return sum(row) / count
    return 1.0


def _because(verdict: Verdict, now: float, target: float, going: pace.Pace, moves: list[Move], sure: float) -> Reasons:
    used = said(
        "{count:count speed reading} since the last move, {now:.0f} rpm for {target:.0f}; one per cent of air is worth "
        "about {worth:.0f} rpm here.",
        count=going.count,
        now=now,
        target=target,
        worth=now * going.elasticity / 100,
    )
    told: dict[str, Said | str] = {
        "on speed": "It idles where it should.",
        "read again": "One more reading will tell.",
        "turn": _turned(moves, target),
        "no answer": "More air does not make it faster.",
        "at its stop": "A screw has no travel left.",
    }
    return Reasons(
        used,
        told[verdict],
        said("That it is on speed: {sure:sure}.", sure=sure),
        "Lamps, a fan, or an engine not yet warm through.",
    )


def _turned(moves: list[Move], target: float) -> Said:
    if moves and moves[0].aim is not None:
        return said("Turn the one screw that moves them all until it shows {target:.0f} rpm.", target=target)
    by = (moves[0].turns or 0) if moves else 0
    if len(moves) == 1:
        return said("Turn the screw by {by:turns}.", by=by)
    return said("Turn {many:count screw} alike by {by:turns}.", many=len(moves), by=by)
