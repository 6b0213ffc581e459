"""The moves of mixture screws: across the crest to learn, back out of what was too lean, to where each belongs.

It turns what the search believes into turns; which of them comes next is `mixture`'s business.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from engine.carburation.advisers import saying
from engine.carburation.estimation.crest import CREST
from engine.carburation.estimation.fit import normal_cdf
from engine.carburation.estimation.picture import Idle
from engine.carburation.estimation.search import Search
from engine.carburation.estimation.seen import screw_places, value
from engine.evidence import Inputs, Move, Place, ScrewView
from engine.job.model import Job

#: How far a screw is swept, in phi: far enough that the crest shows above the scatter, short of misfire.
SWEEP = 0.25
#: No sweep goes leaner than this, phi: there a cylinder misses and spits, and says nothing more.
LEANEST = 0.97
#: From here on a sweep goes inward: a screw is swept outward first, since a barrel too lean to fire shows itself so.
RICH = 1.20
#: A mixture known this well, phi, is leaned to here where only its rich side was seen: the lean side falls faster.
KNOWN, LEAN_LOOK, SEEN = 0.08, 0.91, 0.13
#: How far when it is swept once more, when it is known well enough that it won't lump.
AGAIN = 0.36
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


@dataclass(frozen=True, slots=True)
class Barrel:
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


def barrel_of(s: Search, idle: Idle, i: int, low: float, high: float, target: float) -> Barrel:
    at = s.at[i] or 0.0
    phi = idle.phi(i, at)
    sd = (idle.phi_sd(i, at) ** 2 + HANDS**2) ** 0.5
    right = normal_cdf((1.0 / low - phi) / sd) - normal_cdf((1.0 / high - phi) / sd)
    here = [shot.at[i] for air, shot in zip(s.settings, s.shots, strict=True) if air == s.settings[-1]]
    ever, swept = (
        sum(abs(b - a) * idle.slope > 0.08 for a, b in pairwise(row))
        for row in ([shot.at[i] for shot in s.shots], here)
    )
    return Barrel(i, at, idle.where(i, target), phi, sd, max(0.0, right), ever, swept)


def settled(
    job: Job, inputs: Inputs, view: ScrewView, s: Search, barrels: Sequence[Barrel], target: float
) -> tuple[list[Move], list[Barrel]]:
    """Every mixture screw where it belongs, and where the air screws are known, the speed with it: less air is richer,
    so the mixture is set for the air that will be."""
    assert s.idle is not None
    air, share = _to_speed(job, inputs, s, barrels)
    for_air = [replace(b, best=s.idle.where(b.i, target * (1.0 + share))) for b in barrels]
    moves, stopped = set_where_best(view, s, for_air, target * (1.0 + share))
    return [*moves, *air], stopped


def _to_speed(job: Job, inputs: Inputs, s: Search, barrels: Sequence[Barrel]) -> tuple[list[Move], float]:
    """Equal turns of the air screws that bring the well-set engine to speed, and the share of air that they add."""
    idle, air = s.idle, s.drawn
    assert idle is not None
    wanted = value(inputs, "target", float(job.engine.idle_speed))
    if air is None or not air.all_alike or air.effect <= 0.0 or not any(shot.speed for shot in s.shots):
        return [], 0.0
    low, high = ends(inputs.screws["screw"], s)
    there = idle.speed([min(high, max(low, b.best)) for b in barrels])
    if abs(there - wanted) < OFF_SPEED:
        return [], 0.0
    screw = air.all_alike[0][0]
    share = (wanted / there) ** (1.0 / max(0.75, idle.elasticity)) - 1.0
    by = saying.to_step(max(-MOST_AIR, min(MOST_AIR, share / air.effect)), screw.step)
    moves = []
    for view, place in air.all_alike:
        stands = next(
            (p for p, q in zip(view.positions, screw_places(view, job, inputs), strict=False) if q == place), None
        )
        if stands is not None and not view.range[0] <= stands + by <= view.range[1]:
            return [], 0.0
        moves.append(saying.turn(view, place, stands, by))
    return (moves, float(by) * air.effect) if by else ([], 0.0)


def set_where_best(
    view: ScrewView, s: Search, barrels: Sequence[Barrel], target: float
) -> tuple[list[Move], list[Barrel]]:
    """Moves that put every screw where it belongs, for those where it is worth a turn."""
    moves, stopped = [], []
    low, high = ends(view, s)
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
        by = saying.to_step(goal - b.at, view.step)
        if by:
            moves.append(turn_of(view, s.spots[b.i], b.at, by))
    return moves, stopped


def ends(view: ScrewView, s: Search) -> tuple[float, float]:
    """Between where and where a screw may be set."""
    low, high = (float(v) for v in view.range)
    return (low + CRACK if view.counts == "out" and s.screws.sign > 0 else low), high


def turn_of(view: ScrewView, place: Place, at: float, by: Fraction) -> Move:
    return saying.turn(view, place, saying.exact(at, 6), by)


def to_best_seen(view: ScrewView, s: Search) -> list[Move | None]:
    """All screws back to where it ran fastest: several were leaned at once, and nobody knows which was too much."""
    best = max((shot for shot in s.shots if shot.speed), key=lambda shot: shot.speed or 0.0, default=None)
    if best is None:
        return []
    moves: list[Move | None] = []
    for place, at, then in zip(s.spots, s.at, best.at, strict=True):
        by = saying.to_step(then - (at or 0.0), view.step)
        moves.append(turn_of(view, place, at or 0.0, by) if by else None)
    return moves


def back_out(view: ScrewView, s: Search, b: Barrel) -> Move | None:
    """A screw that was leaned until it stalled, hunted or spat comes back out: to where it belongs, at least a
    quarter."""
    sign = s.screws.sign
    by = saying.to_step(b.best - b.at, view.step)
    least = Fraction(1, 4) * sign
    by = by if by * sign >= abs(least) else least
    low, high = view.range
    inside = low <= saying.exact(b.at, 6) + by <= high
    return turn_of(view, s.spots[b.i], b.at, by) if inside else None


def swept(view: ScrewView, s: Search, idle: Idle, b: Barrel, half: float) -> Move | None:
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
    turn = saying.to_step(max(low, min(high, to)) - b.at, view.step)
    return turn_of(view, s.spots[b.i], b.at, turn) if turn else None


def further(view: ScrewView, s: Search, idle: Idle, b: Barrel) -> Move | None:
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
        by = saying.to_step(to - b.at, view.step)
        if abs(to - edge) > 0.2 and by:
            return turn_of(view, s.spots[b.i], b.at, by)
    return None


def is_mute(s: Search, idle: Idle, b: Barrel) -> bool:
    """Turned far both ways and never answered."""
    strength, low, high = s.response(b.i)
    return b.ever > 1 and strength <= QUIET and (high - low) * idle.slope > 1.3 * WIDE
