"""Which mixture screw is turned next and how far: where the reading will tell most for the turn, and in the end to
where each belongs. It turns what is believed into moves, and believes nothing itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from engine.carburation.advisers import saying
from engine.carburation.estimation import laws, sweeps
from engine.carburation.estimation.mixture import NEAR, Mixture
from engine.carburation.estimation.search import Search
from engine.carburation.estimation.seen import screw_places, value
from engine.evidence import Inputs, Move, ScrewView
from engine.job.model import Job

#: A mixture known to this, ln, is known well enough: half of it is what hand and air do to a set screw [derived].
KNOWN = 0.030
#: A turn is worth making if it takes so much of the doubt away (of 1): less is noise in the forecast itself [assumed].
TELLS = 0.10
#: A screw is turned at most so often to learn from it, with these jets [assumed: a technician's patience].
MOST_TRIALS = 8
#: How far an excursion may go from where the screw seems to belong, ln of fuel: a quarter tells most for its bias
#: [derived: a study of simulated engines; see the contributors' page].
REACHES = (0.13, 0.19, 0.26, 0.34)
#: A screw is never nearer its seat than this while the engine runs, turns; nor further out than so many times the upper
#: end of its band [common practice].
OFF_SEAT, FURTHEST = 0.25, 2.0
#: The engine is taken to stall below this share of its idle speed, and the chance of it at one turn is held below this
#: [assumed: a stall costs a minute].
STALLS_BELOW, STALL_CHANCE = 0.62, 0.05
#: The chance that a turn makes its cylinder miss is held below this [assumed].
MISS_CHANCE = 0.15
#: A screw is moved to where it belongs if that is worth so much, as a chance [assumed: less is the hand's own scatter].
WORTH = 0.02
#: Speed further off than this when all is set is mended along with the mixture, rpm, by at most so many turns.
OFF_SPEED, MOST_AIR = 22.0, 0.1875
#: From this chance on a barrel is taken not to answer its screw, and from this one on it is looked into.
SILENT, SUSPECT = 0.95, 0.30
#: It was turned far enough if it came so near to either end of its reach, turns.
FAR_ENOUGH = 0.30


@dataclass(frozen=True, slots=True)
class Choice:
    """One unit of screws: where it stands and belongs, what it is worth to stand there and here (chances), how likely
    lambda is near its best and where it belongs as it stands, the doubt about its place (ln), how often it was tried,
    and how likely it does not answer."""

    u: int
    at: float
    best: float
    here: float
    there: float
    near: float
    right: float
    doubt: float
    trials: int
    dead: float


def choices(s: Search, view: ScrewView, inputs: Inputs, window: tuple[float, float]) -> list[Choice]:
    """Every unit as it is believed now."""
    assert s.mix is not None
    span = reach(view, s, inputs)
    out = []
    for u in range(len(s.units)):
        at = s.stands(u)
        best = best_place(s, view, u, span)
        row = s.visited(u)
        trials = sum(abs(b - a) > 0.1 for a, b in pairwise(row))
        m = s.mix
        out.append(
            Choice(
                u,
                at,
                best,
                m.worth(u, at),
                m.worth(u, best),
                m.inside(u, at, *NEAR),
                m.inside(u, at, *window),
                m.doubt(u, best),
                trials,
                m.silent(u, *span),
            )
        )
    return out


def ends(view: ScrewView, s: Search) -> tuple[float, float]:
    """Between where and where a screw may be turned while the engine runs."""
    low, high = (float(v) for v in view.range)
    if view.counts == "out":
        low = max(low, OFF_SEAT) if low < OFF_SEAT else low
    return low, high


def reach(view: ScrewView, s: Search, inputs: Inputs) -> tuple[float, float]:
    """Between where and where a screw is tried: no further than a technician would follow."""
    low, high = ends(view, s)
    top = value(inputs, "high", 1.2 * s.screws.mid)
    return low, min(high, FURTHEST * top)


def best_place(s: Search, view: ScrewView, u: int, within: tuple[float, float] | None = None) -> float:
    """Where unit u's screws are worth most, to a step of the screw: no further than a technician would follow, and in
    mid band where the screw does nothing."""
    assert s.mix is not None
    low, high = within or (ends(view, s)[0], FURTHEST * 1.2 * s.screws.mid)
    if s.mix.silent(u, low, high) > SILENT:
        return s.screws.mid
    step = float(view.step)
    grain = max(step, 1.0 / 16)
    best = round(_where(s.mix, u, -0.02, low, high) / grain) * grain
    worth = s.mix.worth(u, best)
    for way in (grain, -grain):  # climb
        to = best + way
        while low <= to <= high and (more := s.mix.worth(u, to)) > worth + 1e-4:
            best, worth, to = to, more, to + way
    return round(best / step) * step


def place_of(s: Search, view: ScrewView, u: int, richer: float) -> float:
    """Where unit u's screws belong once its jet makes it richer by so much (ln)."""
    assert s.mix is not None
    low, high = ends(view, s)
    return _where(s.mix, u, -0.02 - richer, low, high)


def _where(mix: Mixture, u: int, x: float, low: float, high: float) -> float:
    """Where ln of the mixture against the crest is `x` on average."""
    sign = mix.screws.sign
    for _ in range(12):
        middle = 0.5 * (low + high)
        xs = mix.xs(u, middle)
        rich = sum(xs) / len(xs) > x
        low, high = (low, middle) if rich == (sign > 0) else (middle, high)
    return 0.5 * (low + high)


# --- learning ---------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Trial:
    """A turn to learn from: the unit, where to, and the share of its doubt that it takes away."""

    u: int
    to: float
    tells: float


def next_trial(job: Job, inputs: Inputs, s: Search, view: ScrewView, rows: Sequence[Choice]) -> Trial | None:
    """The turn that tells most of a unit not known well enough, or None where nothing more can be learned."""
    ahead = _last_turned(s)
    open_ = [c for c in rows if unknown(c)]
    for c in sorted(open_, key=lambda c: (c.u != ahead or _run_of(s, c.u) >= 2, -c.doubt)):
        if c.u != ahead and _away(s, rows, ahead):
            continue
        trial = best_trial(job, inputs, s, view, c)
        if trial is not None:
            return trial
    return None


def unknown(c: Choice) -> bool:
    """Whether a unit is not known well enough and may be tried once more."""
    return (c.doubt > KNOWN or c.dead > SUSPECT) and c.trials < MOST_TRIALS


def _last_turned(s: Search) -> int | None:
    """The unit that alone was turned before the last reading."""
    for a, b in zip(reversed(s.shots[:-1]), reversed(s.shots[1:]), strict=False):
        moved = {s.unit_of(i) for i, (x, y) in enumerate(zip(a.at, b.at, strict=True)) if abs(x - y) > 0.02}
        if moved:
            return next(iter(moved)) if len(moved) == 1 else None
    return None


def _run_of(s: Search, u: int) -> int:
    """How often in a row unit u was turned, up to now."""
    row = s.visited(u)
    others = [s.visited(k) for k in range(len(s.units)) if k != u]
    count = 0
    for k in range(len(row) - 1, 0, -1):
        if any(abs(o[k] - o[k - 1]) > 0.02 for o in others):
            break
        count += abs(row[k] - row[k - 1]) > 0.1
    return count


def _away(s: Search, rows: Sequence[Choice], u: int | None) -> bool:
    """Whether the unit turned last stands where it does not belong: it goes back before another is turned."""
    return u is not None and goes_back(s, rows[u])


def goes_back(s: Search, c: Choice) -> bool:
    """Whether a unit is better set to where it belongs before anything else."""
    return c.there - c.here > WORTH and abs(c.best - c.at) > 0.04


def last_goes_back(s: Search, rows: Sequence[Choice]) -> Choice | None:
    """The unit turned last, if it stands where it does not belong."""
    u = _last_turned(s)
    return rows[u] if u is not None and goes_back(s, rows[u]) else None


def mute(s: Search, view: ScrewView, inputs: Inputs, rows: Sequence[Choice]) -> list[Choice]:
    """Units that surely do not answer: turned as far both ways as a technician would follow, and nothing came of it."""
    low, high = reach(view, s, inputs)
    out = []
    for c in rows:
        row = s.visited(c.u)
        if row and c.dead > SILENT and min(row) <= low + FAR_ENOUGH and max(row) >= high - FAR_ENOUGH:
            out.append(c)
    return out


def best_trial(job: Job, inputs: Inputs, s: Search, view: ScrewView, c: Choice) -> Trial | None:
    """Where to turn unit c so that the reading tells most; None where no turn tells enough."""
    assert s.mix is not None
    mix, low_high = s.mix, reach(view, s, inputs)
    xs = mix.xs(c.u, c.best)
    mean = sum(xs) / len(xs)
    var = sum((x - mean) ** 2 for x in xs) / len(xs)
    speed = next((shot.speed for shot in reversed(s.shots) if shot.speed and not shot.stalled), None)
    idle = float(job.engine.idle_speed)
    now = speed or idle
    one = math.hypot(s.noise.scatter * mix.noise, s.noise.step / math.sqrt(12.0), s.noise.wander * mix.noise) / now
    noise = 2.0 * (s.whole * one / laws.ELASTICITY) ** 2
    floor = s.whole * ((STALLS_BELOW * idle / now) ** (1.0 / laws.ELASTICITY) - 1.0)
    found: Trial | None = None
    for to in _spots(s, view, c, low_high, inputs):
        if abs(to - c.at) < 0.09:
            continue
        d = mix.gains(c.u, c.at, to)
        middle = sum(d) / len(d)
        spread = sum((v - middle) ** 2 for v in d) / len(d)
        if sum(v < floor for v in d) / len(d) > STALL_CHANCE or _misses(mix, c, to) > MISS_CHANCE:
            continue
        both = sum((v - middle) * (x - mean) for v, x in zip(d, xs, strict=True)) / len(d)
        noisy = spread + noise + (sweeps.PICTURE * middle) ** 2
        tells = both * both / (noisy * var) if var > 0.0 else 0.0
        share = 1.0 - math.sqrt(max(0.0, 1.0 - min(0.999, tells)))
        if c.dead > SUSPECT:
            share = max(share, 0.5 * abs(to - c.at) / (low_high[1] - low_high[0]))
        if found is None or share > found.tells:
            found = Trial(c.u, to, share)
    return found if found is not None and found.tells >= TELLS else None


def _misses(mix: Mixture, c: Choice, to: float) -> float:
    """How likely the cylinder misses at `to` though it fires where it stands: such a reading tells only 'too far'."""
    edge = [law.out for law in laws.laws(mix.screws.mid)]
    there, here = mix.xs(c.u, to), mix.xs(c.u, c.at)
    bad = 0
    for (h, _), x, y in zip(mix.pairs[c.u], there, here, strict=True):
        bad += not edge[h] < x < laws.RICH_OUT and edge[h] < y < laws.RICH_OUT
    return bad / len(there)


def _spots(s: Search, view: ScrewView, c: Choice, within: tuple[float, float], inputs: Inputs) -> list[float]:
    """Where an excursion may go: a few reaches either side of where the screw belongs, inside its bounds."""
    assert s.mix is not None
    low, high = within
    step = float(view.step)
    half = value(inputs, "sweep", 0.0)
    a, b = s.mix.xs(c.u, c.best - 0.1), s.mix.xs(c.u, c.best + 0.1)
    slope = max(0.05, abs(sum(b) - sum(a)) / len(a) / 0.2)
    spots = set()
    for way in (1, -1):
        for to in [c.at + way * 2.0 * half] if half else [c.best + way * r / slope for r in REACHES]:
            spots.add(round(min(high, max(low, to)) / step) * step)
    if c.dead > SUSPECT:
        spots |= {round(v / step) * step for v in (low, high)}
    return sorted(spots)


# --- setting ----------------------------------------------------------------------------------------------------------
def settled(
    job: Job, inputs: Inputs, view: ScrewView, s: Search, rows: Sequence[Choice]
) -> tuple[list[Move], list[Choice]]:
    """Every mixture screw where it belongs, and where the air screws are known, the speed with it."""
    moves, stopped = set_where_best(view, s, [c for c in rows if c.dead < SILENT])
    return [*moves, *_to_speed(job, inputs, s, rows)], stopped


def set_where_best(view: ScrewView, s: Search, rows: Sequence[Choice]) -> tuple[list[Move], list[Choice]]:
    """Moves that put every unit where it belongs, for those where it is worth a turn; and those at their end."""
    moves, stopped = [], []
    low, high = ends(view, s)
    for c in rows:
        if min(c.best - low, high - c.best) < float(view.step) and c.there < 0.5:
            stopped.append(c)
        if goes_back(s, c):
            moves += to_place(view, s, c.u, c.best)
    return moves, stopped


def to_place(view: ScrewView, s: Search, u: int, to: float) -> list[Move]:
    """Moves of a unit's screws by the same turn, so that they stand at `to` on average."""
    by = saying.to_step(to - s.stands(u), view.step)
    out = []
    for i in s.units[u]:
        stands = saying.exact(s.at[i] or 0.0, 6)
        if by and view.range[0] <= stands + by <= view.range[1]:
            out.append(saying.turn(view, s.spots[i], stands, by))
    return out


def _to_speed(job: Job, inputs: Inputs, s: Search, rows: Sequence[Choice]) -> list[Move]:
    """Equal turns of the air screws that bring the well-set engine to speed."""
    assert s.mix is not None
    air = s.drawn
    wanted = value(inputs, "target", float(job.engine.idle_speed))
    there = expected(s, {c.u: c.best for c in rows if goes_back(s, c)})
    if not air.all_alike or air.effect <= 0.0 or there is None or abs(there - wanted) < OFF_SPEED:
        return []
    screw = air.all_alike[0][0]
    share = (wanted / there) ** (1.0 / 0.92) - 1.0
    by = saying.to_step(max(-MOST_AIR, min(MOST_AIR, share / air.effect)), screw.step)
    moves = []
    for view, place in air.all_alike:
        stands = next(
            (p for p, q in zip(view.positions, screw_places(view, job, inputs), strict=False) if q == place), None
        )
        if stands is not None and not view.range[0] <= stands + by <= view.range[1]:
            return []
        moves.append(saying.turn(view, place, stands, by))
    return moves if by else []


def expected(s: Search, to: dict[int, float]) -> float | None:
    """Speed that will be read with units turned as told, from the last reading on."""
    assert s.mix is not None
    last = next((shot for shot in reversed(s.shots) if shot.speed and not shot.stalled), None)
    if last is None or last.speed is None:
        return None
    more = 0.0
    for u, mine in enumerate(s.units):
        was = sum(last.at[i] for i in mine) / len(mine)
        goes = to.get(u, s.stands(u))
        if abs(goes - was) > 0.01:
            gains = s.mix.gains(u, was, goes)
            more += sum(gains) / len(gains)
    speed: float = last.speed * max(0.3, 1.0 + more / s.whole) ** laws.ELASTICITY
    return speed


def taken_back(view: ScrewView, s: Search) -> list[Move]:
    """After a stall: every screw back to where it ran before; where nobody knows, all a quarter richer."""
    good = next((shot for shot in reversed(s.shots) if shot.speed and not shot.stalled), None)
    moves: list[Move] = []
    for u, mine in enumerate(s.units):
        if good is not None:
            moves += to_place(view, s, u, sum(good.at[i] for i in mine) / len(mine))
    if moves:
        return moves
    for u in range(len(s.units)):
        moves += to_place(view, s, u, s.stands(u) + 0.25 * s.screws.sign)
    return moves


def back_out(view: ScrewView, s: Search, c: Choice) -> list[Move]:
    """A unit that was leaned until it spat or hunted comes back out: to where it belongs, at least a quarter."""
    sign = s.screws.sign
    by = max(0.25, (c.best - c.at) * sign) * sign
    return to_place(view, s, c.u, c.at + by)


def tolerance(mix: Mixture, i: int, at: float) -> float:
    """Half of the interval that lambda lies in with 90 of 100, at `at`."""
    return 1.645 * mix.lam(i, at)[1]


def sureness(rows: Sequence[Choice]) -> float:
    """How likely every cylinder is near its best, as it stands."""
    return math.prod(c.near for c in rows)
