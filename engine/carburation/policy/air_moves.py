"""Works out which air screws to turn, how far, so that all places read alike at a wanted level; it believes what it is
told.

Moves are pruned: a screw whose turn would change nothing that matters is left alone. Counted turns come in steps of the
screw; the last small one may be by aim, since no hand counts finer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from engine.carburation.estimation.air_look import Look
from engine.carburation.estimation.flows import AirScrew
from engine.carburation.estimation.seen import Key

#: A turn beyond this in one go is never asked; nor a part of the air this great taken away at once (the engine would
#: stall) [common practice: half a turn at most, assumed to be three quarters where a body stands far off].
LONGEST_TURN = 0.75
#: Moves stop where what is left lies inside this share of the tolerance [assumed: the rest is the next reading's].
ENOUGH = 0.45


@dataclass(frozen=True, slots=True)
class Turn:
    """One screw to turn by `turns` (in the way its position grows); `stopped`: its range ends well before."""

    screw: AirScrew
    turns: float
    stopped: bool = False


@dataclass(frozen=True, slots=True)
class AirMoves:
    """Turns in the order they are made, the row expected after them, and its worst distance from its mean."""

    turns: tuple[Turn, ...]
    row: tuple[float, ...]
    worst: float

    @property
    def mean(self) -> float:
        """The level expected."""
        return sum(self.row) / len(self.row)


def even(look: Look, level: float, dead: Sequence[Key] = ()) -> AirMoves:
    """Turns that bring every place to `level`, before pruning. `dead` screws are left alone."""
    row = list(look.estimate)
    turns: list[Turn] = []

    # what each place would read with its bypass shut
    plate_only = list(row)
    for i, key in look.bypasses.items():
        stands = look.stands.get(key)
        if stands is not None:
            plate_only[i] -= look.flows.effect(key)[0] * stands

    def make(key: Key | None, need: float) -> None:
        if key is None or key in dead or not need:
            return
        screw = look.flows.screws[key]
        effect, sd = look.flows.effect(key)
        if not screw.moves or abs(effect) < 1e-6:
            return
        # the turn that leaves least behind on average, the effect being as unsure as it is
        by = max(-LONGEST_TURN, min(LONGEST_TURN, need * effect / (effect * effect + sd * sd)))
        stands, stopped = look.stands.get(key), False
        if stands is not None:
            low, high = (float(v) for v in screw.view.range)
            inside = max(low - stands, min(high - stands, by))
            stopped, by = abs(inside - by) * abs(effect) > ENOUGH * look.allowed(), inside
        turns.append(Turn(screw, by, stopped))
        for i in screw.moves:
            row[i] += effect * by
            if screw.view.at != "bypass":
                plate_only[i] += effect * by

    def want(body: Sequence[int]) -> float:
        """By how much the body's plates must change: by its highest barrel where a bypass lifts the other, else by the
        middle."""
        if any(i in look.bypasses for i in body):
            return level - max(plate_only[i] for i in body)
        values = [row[i] for i in body]
        return level - 0.5 * (max(values) + min(values))

    for n, body in enumerate(look.bodies):
        own = [k for k in look.plates if set(look.flows.screws[k].moves) & set(body)]
        whole = [k for k in own if set(body) <= set(look.flows.screws[k].moves)]
        if look.couplings and n > 0:
            later = [k for k in look.couplings if body[0] in look.flows.screws[k].moves]
            last = max(later, key=lambda k: k[1].carb or 0) if later else None
            make(last, want(body))
        elif whole:
            make(whole[0], want(body))
        else:
            for k in own:
                moved = look.flows.screws[k].moves
                make(k, level - sum(row[i] for i in moved) / len(moved))
    for body in look.bodies:
        top = max(plate_only[i] for i in body)  # its bypass stays shut, the lower barrels' open to meet it
        for i in body:
            make(look.bypasses.get(i), top - row[i])
    return _plan(look, turns)


def _plan(look: Look, turns: Sequence[Turn]) -> AirMoves:
    row = list(look.estimate)
    for t in turns:
        effect = look.flows.effect(t.screw.key)[0]
        for i in t.screw.moves:
            row[i] += effect * t.turns
    mean = sum(row) / len(row)
    return AirMoves(tuple(turns), tuple(row), max(abs(v - mean) for v in row))


def prune(look: Look, plan: AirMoves, keeps: object = None) -> AirMoves:
    """Drop the turns that don't matter, smallest first: the worst place stays inside a part of the tolerance without
    them.

    `keeps(plan)` must stay true, if given (the speed stays where it should).
    """
    enough = max(ENOUGH * look.allowed(), plan.worst * 1.02)
    for t in sorted(plan.turns, key=lambda t: abs(t.turns)):
        if t.stopped:  # it is why the plan falls short, and is told
            continue
        less = _plan(look, [x for x in plan.turns if x is not t])
        if less.worst <= enough and (keeps is None or keeps(less)):  # type: ignore[operator]
            plan = less
    return plan


def fewest(look: Look, level: float, low: float, high: float, dead: Sequence[Key] = ()) -> AirMoves:
    """The plan with fewest turns whose level lies in [low, high], nearest `level` among equals."""

    def keeps(p: AirMoves) -> bool:
        return low <= p.mean <= high

    levels = [level]
    if low < high:
        for body in look.bodies:
            values = [look.estimate[i] for i in body]
            levels.append(max(values) if look.bypasses else 0.5 * (max(values) + min(values)))
    plans = []
    for n, at in enumerate(levels):
        full = even(look, at, dead)
        if n and not keeps(full):
            continue
        far = abs(full.mean - level) + 0.5 * (high - low)
        plans.append((prune(look, full, keeps if keeps(full) else lambda p, far=far: abs(p.mean - level) <= far), n))
    enough = ENOUGH * look.allowed()
    best, _ = min(
        plans, key=lambda c: (c[0].worst > enough and c[0].worst, len(c[0].turns), abs(c[0].mean - level), c[1])
    )
    return best
