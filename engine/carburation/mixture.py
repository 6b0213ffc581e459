"""Idle mixture: the next position of every mixture screw, from speed alone or from lambda or CO by barrel.

With a meter the screws go straight to where lambda belongs. With speed alone each screw is swept once across the
expected
crest, one screw a reading, so that every reading serves the fit of all; then all are set at once, on the lean side of
best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from engine.carburation import words
from engine.carburation.crest import CREST
from engine.carburation.fit import normal_cdf
from engine.carburation.picture import Idle
from engine.carburation.search import Search, search
from engine.carburation.seen import numbers, screw_places, value
from engine.evidence import Advice, Evidence, Finding, Inputs, Move, Place, ScrewView
from engine.job import Job

#: A barrel's mixture is placed well enough, as a standard deviation of phi: about 0.035 of lambda.
PLACED = 0.042
#: How far a screw is swept, in phi: far enough that the crest shows above the scatter, short of misfire.
SWEEP = 0.25
#: Mixtures that a sweep may not leave, phi. Lean of the first a cylinder misses and spits, and says nothing more.
LEANEST, RICHEST = 0.97, 1.44
#: From here on a sweep goes inward: a screw is swept outward first, since a barrel too lean to fire shows itself so.
RICH = 1.20
#: A mixture known this well, phi, is leaned to here where only its rich side was seen: the lean side falls faster.
KNOWN, LEAN_LOOK, SEEN = 0.08, 0.91, 0.13
#: How far when it is swept once more, when it is known well enough that it won't lump.
AGAIN = 0.36
#: A screw is turned at most so often to learn from it.
MOST_SWEEPS = 5
#: Further from where it belongs than this, phi, a screw still unsure is set alone, so that its effect is seen.
AWAY = 0.10
#: A sweep stays so many turns off the seat, where the fuel is cut off.
OFF_SEAT = 0.5
#: Speed further off than this when all is set is mended along with the mixture, rpm.
OFF_SPEED = 22.0
#: The longest turn of the air screws along with the mixture.
MOST_AIR = 0.1875
#: A screw answered if the speed changed by so many standard deviations; and how far one is turned that did not, phi.
QUIET, WIDE = 1.8, 0.36
#: No screw is set further than this outside where it was turned before, phi.
TRUST = 0.18
#: No screw is set nearer its seat than this: there the needle rules, not the jet.
CRACK = 0.35
#: What hand and air add to the doubt about a set barrel, phi.
HANDS = 0.012
#: A screw further than this from where it belongs is worth a move, phi.
WORTH = 0.035
_CHECKS = ("In this order: spark at that plug, its lead and cap; the idle jet and its passage blown through; the "
           "screw's tip "
           "sound; compression; the starting device shut.")


@dataclass(frozen=True, slots=True)
class _Barrel:
    """One screw: where it stands and belongs, the mixture now with its doubt, how likely that is right; how often it
    was turned to learn from it with these jets `ever`, and at this air (`swept`)."""

    i: int
    at: float
    best: float
    phi: float
    sd: float
    right: float
    ever: int
    swept: int


def idle_mixture(job: Job, inputs: Inputs, evidence: Evidence) -> Advice:
    """Next mixture moves; see the registry. Refuses in words what no sound meter gives, and never raises on it."""
    view = inputs.screws["screw"]
    if any(p is None for p in view.positions):
        return _lost(job, inputs, view, evidence)
    wrong = _problem(job, inputs, view)
    if wrong:
        return _answer(job, view, "unsound readings", (), (), findings=(Finding("gauge-not-believed", "note", (), wrong,
                       "Take the reading again before anything is turned."),), why=wrong)
    s = search(job, inputs, evidence, *_band(inputs))
    if s.idle is None:
        return _answer(job, view, "read again", s.spots, (), why="Nothing was read yet that the mixture shows in.")
    low, high = value(inputs, "lambda_low", 0.86), value(inputs, "lambda_high", 0.96)
    target = 2.0 / (low + high)
    barrels = [_barrel(s, s.idle, i, low, high, target) for i in range(len(s.spots))]
    metered = s.meter_rows > 0 and ("lambda" in inputs.readings or "co" in inputs.readings)
    if metered:
        return _by_meter(job, inputs, view, s, barrels, target)
    return _by_speed(job, inputs, view, s, barrels, target)


def _band(inputs: Inputs) -> tuple[float | None, float | None]:
    low, high = inputs.values.get("low"), inputs.values.get("high")
    return (None, None) if low is None or high is None else (float(low), float(high))


def _problem(job: Job, inputs: Inputs, view: ScrewView) -> str | None:
    speed = inputs.readings.get("speed")
    if speed is not None and speed.row is not None:
        shown = numbers(speed.row)[0] if speed.row else None
        if shown is None or shown < 200.0:
            return f"A speed of {shown or 0:.0f} rpm is no running engine. See that the tachometer is set for it."
    for name, what in (("lambda", "lambda"), ("co", "CO")):
        meter = inputs.readings.get(name)
        if meter is None or meter.row is None:
            continue
        row = numbers(meter.row)
        if len(row) % len(view.positions):
            return f"The row of {what} has {len(row)} values, which does not fit {len(view.positions)} mixture screws."
        if all(v is None for v in row):
            return f"No {what} was read. Read it in every pipe."
        if name == "lambda" and any(v is not None and not 0.5 <= v <= 2.0 for v in row):
            return "Lambda outside 0.5 to 2 is a cold or broken probe, not a mixture. Warm it and read again."
        if name == "co" and any(v is not None and not 0.0 <= v <= 0.15 for v in row):
            return "CO outside 0 to 15 % is a meter out of order. Zero it in clean air and read again."
    return None


def _barrel(s: Search, idle: Idle, i: int, low: float, high: float, target: float) -> _Barrel:
    at = s.at[i] or 0.0
    phi = idle.phi(i, at)
    sd = (idle.phi_sd(i, at) ** 2 + HANDS ** 2) ** 0.5
    right = normal_cdf((1.0 / low - phi) / sd) - normal_cdf((1.0 / high - phi) / sd)
    here = [shot.at[i] for air, shot in zip(s.settings, s.shots, strict=True) if air == s.settings[-1]]
    ever, swept = (sum(abs(b - a) * idle.slope > 0.08 for a, b in pairwise(row))
                   for row in ([shot.at[i] for shot in s.shots], here))
    return _Barrel(i, at, idle.where(i, target), phi, sd, max(0.0, right), ever, swept)


# --- with a meter ---------------------------------------------------------------------------------------------------
def _by_meter(job: Job, inputs: Inputs, view: ScrewView, s: Search, barrels: Sequence[_Barrel],
              target: float) -> Advice:
    moves, stopped = _settle(job, inputs, view, s, barrels, target)
    if moves:
        verdict = "turn"
    elif stopped:
        verdict = "at its stop"
    elif min(b.right for b in barrels) < 0.9 and s.meter_rows < 4:
        verdict = "read again"
    else:
        verdict = "best"
    return _told(job, view, s, barrels, verdict, moves, stopped, target)


def _settle(job: Job, inputs: Inputs, view: ScrewView, s: Search, barrels: Sequence[_Barrel], target: float
            ) -> tuple[list[Move], list[_Barrel]]:
    """Every mixture screw where it belongs, and where the air screws are known, the speed with it: less air is richer,
    so
    the mixture is set for the air that will be."""
    assert s.idle is not None
    air, share = _to_speed(job, inputs, s, barrels)
    for_air = [replace(b, best=s.idle.where(b.i, target * (1.0 + share))) for b in barrels]
    moves, stopped = _set(view, s, for_air, target * (1.0 + share))
    return [*moves, *air], stopped


def _to_speed(job: Job, inputs: Inputs, s: Search, barrels: Sequence[_Barrel]) -> tuple[list[Move], float]:
    """Equal turns of the air screws that bring the well-set engine to speed, and the share of air that they add."""
    idle, air = s.idle, s.drawn
    assert idle is not None
    wanted = value(inputs, "target", float(job.engine.idle_speed))
    if air is None or not air.all_alike or air.effect <= 0.0 or not any(shot.speed for shot in s.shots):
        return [], 0.0
    low, high = _ends(inputs.screws["screw"], s)
    there = idle.speed([min(high, max(low, b.best)) for b in barrels])
    if abs(there - wanted) < OFF_SPEED:
        return [], 0.0
    screw = air.all_alike[0][0]
    share = (wanted / there) ** (1.0 / max(0.75, idle.elasticity)) - 1.0
    by = words.to_step(max(-MOST_AIR, min(MOST_AIR, share / air.effect)), screw.step)
    moves = []
    for view, place in air.all_alike:
        stands = next((p for p, q in zip(view.positions, screw_places(view, job, inputs),
                                         strict=False) if q == place), None)
        if stands is not None and not view.range[0] <= stands + by <= view.range[1]:
            return [], 0.0
        moves.append(words.turn(view, place, stands, by))
    return (moves, float(by) * air.effect) if by else ([], 0.0)


def _set(view: ScrewView, s: Search, barrels: Sequence[_Barrel], target: float) -> tuple[list[Move], list[_Barrel]]:
    """Moves that put every screw where it belongs, for those where it is worth a turn."""
    moves, stopped = [], []
    low, high = _ends(view, s)
    for b in barrels:
        reach = TRUST / s.screws.slope
        least = min((shot.at[b.i] for shot in s.shots), default=b.at) - reach
        most = max((shot.at[b.i] for shot in s.shots), default=b.at) + reach
        goal = min(high, max(low, b.best))
        goal = min(most, max(least, goal))
        if (abs(b.phi - target) < WORTH and b.right > 0.5) or (b.right > 0.97 and abs(b.phi - target) < 1.6 * WORTH):
            continue
        if goal in (low, high) and abs(goal - b.at) < float(view.step):
            stopped.append(b)
            continue
        by = words.to_step(goal - b.at, view.step)
        if by:
            moves.append(_turn(view, s.spots[b.i], b.at, by))
    return moves, stopped


def _ends(view: ScrewView, s: Search) -> tuple[float, float]:
    """Between where and where a screw may be set."""
    low, high = (float(v) for v in view.range)
    return (low + CRACK if view.counts == "out" and s.screws.sign > 0 else low), high


def _turn(view: ScrewView, place: Place, at: float, by: Fraction) -> Move:
    return words.turn(view, place, words.exact(at, 6), by)


# --- with speed alone -----------------------------------------------------------------------------------------------
def _by_speed(job: Job, inputs: Inputs, view: ScrewView, s: Search, barrels: Sequence[_Barrel],
              target: float) -> Advice:
    assert s.idle is not None
    last = s.last_symptom
    if last is not None and last[0] in ("stall", "spit-back", "hunting"):
        back = _best_seen(view, s) if len(last[1]) > 1 else [_back(view, s, barrels[i]) for i in last[1]]
        moves = [m for m in back if m is not None]
        if moves:
            return _told(job, view, s, barrels, "turn", moves, [], target)
    half = value(inputs, "sweep", 0.0)
    new = next((b for b in barrels if not b.ever), None)
    if new is not None:                                        # first each once, outward
        move = _sweep(view, s, s.idle, new, half)
        if move is not None:
            return _told(job, view, s, barrels, "turn", [move], [], target, sweeping=new)
    unsure = [b for b in barrels if s.idle.phi_sd(b.i, b.best) > PLACED and b.swept < MOST_SWEEPS]
    away = [b for b in unsure if abs(b.phi - target) > AWAY]
    if away:                                                   # then each alone to where it seems best: it tells again
        b = max(away, key=lambda b: abs(b.phi - target))
        moves, stopped = _set(view, s, [b], target)
        if moves:
            return _told(job, view, s, barrels, "turn", moves, [], target, sweeping=b)
    again = [b for b in unsure if b.swept < MOST_SWEEPS - 1]
    if again:
        b = min(again, key=lambda b: (b.swept, b.i))
        move = _sweep(view, s, s.idle, b, half)
        if move is not None:
            return _told(job, view, s, barrels, "turn", [move], [], target, sweeping=b)
    moves, stopped = _settle(job, inputs, view, s, barrels, target)
    if not moves:
        for b in barrels:
            move = _further(view, s, s.idle, b)
            if move is not None:
                return _told(job, view, s, barrels, "turn", [move], [], target, sweeping=b)
    mute = [b for b in barrels if _mute(s, s.idle, b)]
    verdict = "turn" if moves else "no answer" if mute else "at its stop" if stopped else "best"
    return _told(job, view, s, barrels, verdict, moves, stopped, target, mute=mute)


def _best_seen(view: ScrewView, s: Search) -> list[Move | None]:
    """All screws back to where it ran fastest: several were leaned at once, and nobody knows which was too much."""
    best = max((shot for shot in s.shots if shot.speed), key=lambda shot: shot.speed or 0.0, default=None)
    if best is None:
        return []
    moves: list[Move | None] = []
    for place, at, then in zip(s.spots, s.at, best.at, strict=True):
        by = words.to_step(then - (at or 0.0), view.step)
        moves.append(_turn(view, place, at or 0.0, by) if by else None)
    return moves


def _back(view: ScrewView, s: Search, b: _Barrel) -> Move | None:
    """A screw that was leaned until it stalled, hunted or spat comes back out: to where it belongs, at least a
    quarter."""
    sign = s.screws.sign
    by = words.to_step(b.best - b.at, view.step)
    least = Fraction(1, 4) * sign
    by = by if by * sign >= abs(least) else least
    low, high = view.range
    inside = low <= words.exact(b.at, 6) + by <= high
    return _turn(view, s.spots[b.i], b.at, by) if inside else None


def _sweep(view: ScrewView, s: Search, idle: Idle, b: _Barrel, half: float) -> Move | None:
    """The move that takes one screw across the crest: outward, since a barrel too lean to fire shows itself so and one
    that is leaned may stall; inward only where it certainly stands rich."""
    sd = idle.phi_sd(b.i, b.at)
    reach = AGAIN if b.ever > 1 else SWEEP
    seen = [idle.phi(b.i, shot.at[b.i]) for shot in s.shots]
    inward = max(LEANEST + 0.4 * sd, b.phi - reach)
    outward = max(2.0 * CREST - b.phi, b.phi + reach)
    usual = reach / (CREST * s.screws.slope)
    if b.ever > 1 and sd < KNOWN and max(seen) > CREST + SEEN and min(seen) > CREST - SEEN:
        goal, usual = LEAN_LOOK, 0.7 * SWEEP / (CREST * s.screws.slope)
    else:
        goal = inward if b.phi - sd > RICH and b.phi - inward > 0.14 else outward
    by = max(0.7 * usual, min(1.25 * usual, abs(idle.where(b.i, goal) - b.at)))
    by = min(by, 2.0 * half) if half else by
    to = b.at + by * s.screws.sign * (1 if goal > b.phi else -1)
    low, high = (float(v) for v in view.range)
    if view.counts == "out" and s.screws.sign > 0:
        low = min(b.at, low + OFF_SEAT)
    turn = words.to_step(max(low, min(high, to)) - b.at, view.step)
    return _turn(view, s.spots[b.i], b.at, turn) if turn else None


def _further(view: ScrewView, s: Search, idle: Idle, b: _Barrel) -> Move | None:
    """A barrel that never answered its screw is turned a long way, out first and then in: one that did not fire comes
    in
    with a bound, a sound one slows. None where it answered, or where it was turned far enough both ways."""
    strength, low, high = s.response(b.i)
    if strength > QUIET or not b.ever:
        return None
    reach, sign = WIDE / idle.slope, s.screws.sign
    ends = [float(v) for v in view.range]
    if view.counts == "out" and sign > 0:
        ends[0] += CRACK
    for way in (sign, -sign):
        edge = high if way > 0 else low
        if abs(edge - b.best) >= 0.9 * reach:
            continue
        to = max(ends[0], min(ends[1], b.best + way * reach))
        by = words.to_step(to - b.at, view.step)
        if abs(to - edge) > 0.2 and by:
            return _turn(view, s.spots[b.i], b.at, by)
    return None


def _mute(s: Search, idle: Idle, b: _Barrel) -> bool:
    """Turned far both ways and never answered."""
    strength, low, high = s.response(b.i)
    return b.ever > 1 and strength <= QUIET and (high - low) * idle.slope > 1.3 * WIDE


# --- telling --------------------------------------------------------------------------------------------------------
def _lost(job: Job, inputs: Inputs, view: ScrewView, evidence: Evidence) -> Advice:
    spots = screw_places(view, job, inputs)
    where = tuple(p for p, v in zip(spots, view.positions, strict=False) if v is None)
    return _answer(job, view, "lost", spots, (), findings=(Finding(
        "position-lost", "adjust", where, "Nobody knows where this mixture screw stands.",
        "Engine off, count it in to its seat and back out to where it was."),),
        why="A position is unknown, and no move can be given from an unknown place.")


def _answer(job: Job, view: ScrewView, verdict: str, spots: Sequence[Place], moves: Sequence[Move], *,
            findings: Sequence[Finding] = (), why: str = "") -> Advice:
    return Advice(
        "idle_mixture", 1,
        words.outputs(verdict=verdict, left=len(view.positions), speed_gain=0, sureness=0,
                      barrels=("unknown",) * job.bank.barrels),
        tuple(moves), (), tuple(findings), because=words.because("The latest answer.", why, "Not at all.", "A sound "
                                                                                                           "reading."))


def _told(job: Job, view: ScrewView, s: Search, barrels: Sequence[_Barrel], verdict: str, moves: Sequence[Move],
          stopped: Sequence[_Barrel], target: float, sweeping: _Barrel | None = None, mute: Sequence[_Barrel] = ()
          ) -> Advice:
    idle = s.idle
    assert idle is not None
    words_of = ["silent" if b in mute else "stopped" if b in stopped else "set" if b.right > 0.75 else "sought"
                for b in barrels]
    findings = [Finding("mixture-screw-at-its-stop", "adjust", (s.spots[b.i],),
                        f"The mixture screw of {words.place(s.spots[b.i])} is at the end of its travel and the "
                        "mixture is not "
                        "found.", "Count it to its seat again; then the idle jet, its passage and the fuel level.")
                for b in stopped]
    findings += [Finding("barrel-does-not-answer", "adjust", (s.spots[b.i],),
                         f"{words.place(s.spots[b.i])} does not answer its mixture screw.", _CHECKS, sureness=0.9)
                 for b in mute]
    after = [float(m.position) if (m := next((m for m in moves if m.place == s.spots[b.i]),
                                             None)) and m.position is not None
             else b.at for b in barrels]
    speeds = [shot.speed for shot in s.shots if shot.speed]
    gain = (speeds[-1] - speeds[0]) if len(speeds) > 1 else 0.0
    sure = min((b.right for b in barrels), default=0.0)
    expect = {} if idle is None or not speeds else {"engine speed": (words.exact(words.clamp(idle.speed(after), 0,
                                                                                             9000), 0),)}
    return Advice(
        "idle_mixture", 1,
        words.outputs(verdict=verdict, left=sum(w != "set" for w in words_of), speed_gain=words.clamp(gain, -5000.0,
                                                                                                      5000.0),
                      sureness=sure, barrels=_by_barrel(job, s, words_of)),
        tuple(moves), (), tuple(findings), expect,
        _because(view, s, idle, barrels, verdict, moves, sweeping, target))


def _by_barrel(job: Job, s: Search, told: Sequence[str]) -> tuple[str, ...]:
    out = []
    for c in range(1, job.bank.carbs + 1):
        for b in range(1, job.bank.barrels_per_carb + 1):
            i = next((k for k, p in enumerate(s.spots) if p.carb in (None, c) and p.barrel in (None, b)), None)
            out.append("unknown" if i is None else told[i])
    return tuple(out)


def _because(view: ScrewView, s: Search, idle: Idle, barrels: Sequence[_Barrel], verdict: str, moves: Sequence[Move],
             sweeping: _Barrel | None, target: float):
    lam = ", ".join(f"{words.place(s.spots[b.i])} {1.0 / max(b.phi, 0.4):.2f}" for b in barrels)
    how = (words.count(s.meter_rows, "row") + " of the meter" if s.meter_rows
           else words.count(idle.shots, "reading") + " of speed with the screws' positions")
    used = f"{how}; a turn changes the fuel by about {100 * idle.slope:.0f} %, as learned."
    if sweeping is not None:
        concluded = (f"{words.place(s.spots[sweeping.i])} is swept across the crest: by how far the speed changes is "
                     "told on "
                     "which side it stands.")
    elif verdict == "turn":
        concluded = f"Set {len(moves)} screw(s) where lambda is about {1.0 / target:.2f}. Now about: {lam}."
    elif verdict == "best":
        concluded = f"Every screw stands where it belongs. Lambda is about: {lam}."
    else:
        concluded = f"Lambda is about: {lam}."
    worst = min(barrels, key=lambda b: b.right)
    sure = (f"Least sure is {words.place(s.spots[worst.i])}: {words.percent(worst.right)} that its lambda is right, "
            "with a doubt "
            f"of {worst.sd / worst.phi ** 2:.3f}.")
    return words.because(used, concluded, sure, "A speed that does not follow as expected, or air that is moved: "
                                                "more air "
                         "leans its barrel.")
