"""Which mixture screw is turned next and how far: where the reading will tell most for the turn, and in the end to
where each belongs. It turns what is believed into moves, and believes nothing itself."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from engine.carburation import saying
from engine.carburation.estimation import laws, sweeps
from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.asks import MixtureMoves
from engine.carburation.estimation.fit import normal_cdf
from engine.carburation.estimation.mixture import NEAR, Mixture
from engine.carburation.estimation.search import Search, Shot, alike
from engine.carburation.estimation.seen import screw_places, value
from engine.evidence import Move, ScrewView
from engine.job.model import Job

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array

#: A mixture known to this, ln, is known well enough: half of it is what hand and air do to a set screw [derived].
KNOWN = 0.030
#: A turn is worth making if it takes so much of the doubt away (of 1): less is noise in the forecast itself [assumed].
TELLS = 0.10
#: Mixtures further off than this, ln, are all alike far off [assumed].
FAR_OFF = 0.25
#: A screw is turned at most so often to learn from it, with these jets [assumed: a technician's patience].
MOST_TRIALS = 11
#: One that told nothing is turned no oftener than this: after it the ear is quicker [assumed].
MOST_SILENT = 8
#: Nothing answers where all readings, at least so many, lie within so many scatters of one reading while two screws or
#: more were turned through so much of their reach [assumed: one cylinder of six shows more on such a turn].
FEWEST_READ, QUIET, WIDE = 6, 3.0, 0.6
#: So many readings a screw usually takes [assumed, from runs on engines drawn at random].
USUAL_READINGS = 6
#: Where no place is worth more than this, a screw goes towards where its mixture would be [assumed].
NOWHERE = 0.05
#: And all of them together so often for each [assumed].
TRIALS_A_SCREW = 7.5
#: How far an excursion may go from where the screw seems to belong, ln of fuel: a quarter tells most for its bias
#: [derived: a study of simulated engines; see the contributors' page].
REACHES = (0.13, 0.19, 0.26, 0.34)
#: A screw is never nearer its seat than this while the engine runs, turns; nor further out than so many times the upper
#: end of its band [common practice].
OFF_SEAT, FURTHEST = 0.25, 2.0
#: The engine is taken to stall below this share of its idle speed, and the chance of it at one turn is held below this
#: [assumed: a stall costs a minute].
STALLS_BELOW, STALL_CHANCE = 0.62, 0.05
#: A screw is leaned by no more than this share of mid band at a time beyond where the engine ran [common practice: half
#: a turn of a short taper, a turn of a long one, until it falters].
LEANER = 0.4
#: A screw that tells nothing is not left further than this, turns, from where it is believed to belong [assumed].
STRAYED = 0.3
#: As near as this, turns, to where it stalled, it stalls again [assumed: the hand's own error].
STALLED_THERE = 0.12
#: The chance that a turn takes its cylinder below this share of its best work is held below this [assumed: a tenth
#: less is seen well enough, and near the crest every law of a screw tells the same].
FAR_BELOW, FAR_CHANCE = 0.75, 0.20
#: A screw is moved to where it belongs if that is worth so much, as a chance [assumed: less is the hand's own scatter].
WORTH = 0.02
#: Speed further off than this when all is set is mended along with the mixture, rpm, by at most so many turns
#: [assumed: within what is tuned to; three sixteenths].
OFF_SPEED, MOST_AIR = 22.0, 0.1875
#: Speed further off than this is mended before anything else is learned, rpm: what is known holds for the air of then
#: [assumed].
SPEED_FIRST = 50.0
#: And so much of the way only: near a stall less air does more than it did [assumed].
FIRST_PART = 0.6
#: A turn of the air screws that is less tells little of what a turn does [assumed: what a hand errs by, twice].
LEAST_AIR = 0.03
#: From this chance on a barrel is taken not to answer its screw, and from this one on it is looked into [assumed].
SILENT, SUSPECT = 0.95, 0.30
#: How likely a cylinder whose screw does nothing is near its best all the same [assumed: about as often as not].
UNHEARD = 0.5
#: It was turned far enough if it came so near to either end of its reach, turns [assumed].
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


def choices(s: Search, view: ScrewView, inputs: MixtureMoves, window: tuple[float, float]) -> list[Choice]:
    """Every unit as it is believed now."""
    assert s.mix is not None
    span = reach(view, s, inputs)
    out = []
    for u in range(len(s.units)):
        at = s.stands(u)
        best = best_place(s, view, u, _ran_between(s, u, *span))
        row = s.visited(u)
        trials = sum(abs(b - a) > 0.1 for a, b in pairwise(row))
        m = s.mix
        dead = m.silent(u, *span)
        out.append(
            Choice(
                u,
                at,
                best,
                m.worth(u, at),
                m.worth(u, best),
                (1.0 - dead) * m.inside(u, at, *NEAR) + dead * UNHEARD,
                m.inside(u, at, *window),
                m.doubt(u, best),
                trials,
                dead,
            )
        )
    return out


def ends(view: ScrewView, s: Search) -> tuple[float, float]:
    """Between where and where a screw may be turned while the engine runs."""
    low, high = (float(v) for v in view.range)
    if view.counts == "out":
        low = max(low, OFF_SEAT) if low < OFF_SEAT else low
    return low, high


def reach(view: ScrewView, s: Search, inputs: MixtureMoves) -> tuple[float, float]:
    """Between where and where a screw is tried: no further than a technician would follow."""
    low, high = ends(view, s)
    top = value(inputs.high, 1.2 * s.screws.mid)
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
    first, last = math.ceil(low / grain - 1e-6), math.floor(high / grain + 1e-6)
    places = [round(k * grain, 4) for k in range(first, max(first, last) + 1)]
    worth = s.mix.worths(u, places)
    if max(worth) < NOWHERE:  # it belongs beyond an end
        return round(_where(s.mix, u, -0.02, low, high) / step) * step
    good = [k for k, v in enumerate(worth) if v >= max(worth) - 1e-3]
    return round(places[good[len(good) // 2]] / step) * step


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
        rich = float(mix.xs(u, middle).mean()) > x
        low, high = (low, middle) if rich == (sign > 0) else (middle, high)
    return 0.5 * (low + high)


# --- learning ---------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Trial:
    """A turn to learn from: the unit, where to, and the share of its doubt that it takes away."""

    u: int
    to: float
    tells: float


def next_trial(job: Job, inputs: MixtureMoves, s: Search, view: ScrewView, rows: Sequence[Choice]) -> Trial | None:
    """The turn that tells most of a unit not known well enough, or None where nothing more can be learned."""
    ahead = _last_turned(s)
    open_ = [c for c in rows if unknown(c)]
    if sum(c.trials for c in rows) >= TRIALS_A_SCREW * len(rows):
        open_ = [c for c in open_ if c.trials < 2]
    for c in sorted(open_, key=lambda c: (c.u != ahead or _run_of(s, c.u) >= 2, -c.doubt)):
        if c.u != ahead and _away(s, rows, ahead):
            continue
        trial = best_trial(job, inputs, s, view, c)
        if trial is not None:
            return trial
    return None


def unknown(c: Choice) -> bool:
    """Whether a unit is not known well enough and may be tried once more."""
    return (c.doubt > KNOWN and c.trials < MOST_TRIALS) or (c.dead > SUSPECT and c.trials < MOST_SILENT)


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
    if c.dead > SUSPECT and abs(c.best - c.at) > STRAYED:
        return True  # tried far out, and it told nothing: it does not stay there
    return c.there - c.here > WORTH and abs(c.best - c.at) > 0.04


def last_goes_back(s: Search, rows: Sequence[Choice]) -> Choice | None:
    """The unit turned last, if it stands where it does not belong."""
    u = _last_turned(s)
    return rows[u] if u is not None and goes_back(s, rows[u]) else None


def mute(s: Search, view: ScrewView, inputs: MixtureMoves, rows: Sequence[Choice]) -> list[Choice]:
    """Units that surely do not answer: turned as far both ways as a technician would follow and tried between, for two
    places either side of a crest read alike; and nothing came of it."""
    low, high = reach(view, s, inputs)
    out = []
    for c in rows:
        row = s.visited(c.u)
        third = (high - low) / 3.0
        between = any(low + third <= v <= high - third for v in row)
        if c.dead > SILENT and between and min(row) <= low + FAR_ENOUGH and max(row) >= high - FAR_ENOUGH:
            out.append(c)
    return out


def nothing_answers(s: Search, view: ScrewView, inputs: MixtureMoves, rows: Sequence[Choice]) -> list[Choice]:
    """Units that were turned far, two or more, and told nothing, while none told anything: the speed stood as if
    nothing were turned, or each surely does not answer. It is hardly the screws then, but what shows the speed, or what
    all cylinders idle on."""
    tried = [c for c in rows if c.trials > 1]
    silent = mute(s, view, inputs, tried)
    if len(silent) > 1 and all(c.dead > SUSPECT for c in tried):
        return silent
    read = [shot.speed for shot in s.shots if shot.speed]
    quiet = QUIET * math.hypot(s.noise.scatter, s.noise.step / math.sqrt(12.0))
    if len(read) < FEWEST_READ or any(x.stalled for x in s.shots) or max(read) - min(read) > quiet:
        return []
    low, high = reach(view, s, inputs)
    rows_of = [(c, s.visited(c.u)) for c in tried]
    far = [c for c, row in rows_of if max(row) - min(row) >= WIDE * (high - low)]
    return far if len(far) > 1 else []


def heard_to_answer(s: Search, c: Choice) -> bool:
    """Whether the ear found that a unit answers its screw."""
    return s.mix is not None and bool(s.mix.heard) and s.mix.heard[c.u] < 1.0


def best_trial(job: Job, inputs: MixtureMoves, s: Search, view: ScrewView, c: Choice) -> Trial | None:
    """Where to turn unit c so that the reading tells most; None where no turn tells enough."""
    assert s.mix is not None
    mix, low_high = s.mix, reach(view, s, inputs)
    speed = next((shot.speed for shot in reversed(s.shots) if shot.speed and not shot.stalled), None)
    now = speed or s.idle
    one = math.hypot(s.noise.scatter, s.noise.step / math.sqrt(12.0), 0.7 * s.noise.wander) * mix.noise / now
    noise = 2.0 * (s.whole * one / laws.ELASTICITY) ** 2
    floor = _stalls_from(s, now)
    xs = mix.xs(c.u, c.best)
    found: Trial | None = None
    for to in _spots(s, view, c, low_high, inputs):
        if abs(to - c.at) < 0.09:
            continue
        d = mix.gains(c.u, c.at, to)
        if float((d < floor).mean()) > STALL_CHANCE or (_too_far(mix, c, to) > FAR_CHANCE and c.dead <= SUSPECT):
            continue
        share = told_by(xs, d, noise + sweeps.picture(float(d.mean())) ** 2)
        if c.dead > SUSPECT:
            share = max(share, min(abs(to - v) for v in [*s.visited(c.u), c.at]) / (low_high[1] - low_high[0]))
        if found is None or share > found.tells:
            found = Trial(c.u, to, share)
    return found if found is not None and found.tells >= TELLS else None


def _stalls_from(s: Search, now: float) -> float:
    """By how much the torque of the whole engine, in cylinders, must fall from `now`, rpm, for it to stall."""
    fall: float = s.whole * ((STALLS_BELOW * s.idle / now) ** (1.0 / laws.ELASTICITY) - 1.0)
    return fall


def told_by(xs: Array, seen: Array, noise: float) -> float:
    """What share of the doubt about `xs` goes, on average, once `seen` is read with a variance of `noise`; both by
    equally likely pairs. What lies far off counts as far off, however far."""
    near = float(np.median(xs))
    xs = np.minimum(np.maximum(xs - near, -FAR_OFF), FAR_OFF)
    var = float(xs.var())
    if var <= 0.0:
        return 0.0
    alike = np.exp(-0.25 / noise * (seen[:, None] - seen[None, :]) ** 2)
    alike /= alike.sum(axis=1, keepdims=True)
    mean = alike @ xs
    left = float((alike @ xs**2 - mean**2).mean())
    return 1.0 - math.sqrt(max(0.0, left) / var)


def _too_far(mix: Mixture, c: Choice, to: float) -> float:
    """How likely the cylinder does far less work at `to`: there it misses, and such a reading tells of its misfire and
    of the law of its screw, not of where its crest lies."""
    there, here = mix.torques(c.u, to), mix.torques(c.u, c.at)
    return float(((there < FAR_BELOW) & (there < here - 0.05)).mean())


def _spots(s: Search, view: ScrewView, c: Choice, within: tuple[float, float], inputs: MixtureMoves) -> list[float]:
    """Where an excursion may go: a few reaches either side of where the screw belongs, inside its bounds."""
    assert s.mix is not None
    low, high = within
    step = float(view.step)
    half = value(inputs.sweep, 0.0)
    a, b = s.mix.xs(c.u, c.best - 0.1), s.mix.xs(c.u, c.best + 0.1)
    slope = max(0.05, abs(float((b - a).mean())) / 0.2)
    spots = set()
    for way in (1, -1):
        for to in [c.at + way * 2.0 * half] if half else [c.best + way * r / slope for r in REACHES]:
            spots.add(round(min(high, max(low, to)) / step) * step)
    if c.dead > SUSPECT:
        spots.add(_untried(s, c, low, high, step))
    low, high = _leaned_to(s, c, *_ran_between(s, c.u, low, high))
    return sorted(to for to in spots if low <= to <= high)


def _ran_between(s: Search, u: int, low: float, high: float) -> tuple[float, float]:
    """Where unit u may be turned after stalls: not beyond half of the way from where it ran to where it stalled, the
    others standing as they do."""
    now = [s.stands(k) for k in range(len(s.units))]
    as_now = [_others_alike(u, now, _all_stood(s, shot)) for shot in s.shots]
    mine = [(at, shot.stalled) for at, shot, same in zip(s.visited(u), s.shots, as_now, strict=True) if same]
    ran = [at for at, stalled in mine if not stalled]
    for at, stalled in mine:
        if stalled and ran:
            near = min(ran, key=lambda v: abs(v - at))
            if abs(near - at) > STALLED_THERE:
                low, high = (max(low, 0.5 * (at + near)), high) if at < near else (low, min(high, 0.5 * (at + near)))
    return low, high


def _leaned_to(s: Search, c: Choice, low: float, high: float) -> tuple[float, float]:
    """Where unit c may be turned to learn from it: no more than a step leaner than it ever ran."""
    step = LEANER * s.screws.mid
    ran = [at for at, shot in zip(s.visited(c.u), s.shots, strict=True) if not shot.stalled] or [c.at]
    if s.screws.sign > 0:
        return max(low, min(ran) - step), high
    return low, min(high, max(ran) + step)


def _all_stood(s: Search, shot: Shot) -> list[float]:
    return [s.stood(k, shot) for k in range(len(s.units))]


def _others_alike(u: int, a: Sequence[float], b: Sequence[float]) -> bool:
    """Whether all units but u stand alike in two rows of places, as near as a stall comes again."""
    return all(abs(x - y) < STALLED_THERE for k, (x, y) in enumerate(zip(a, b, strict=True)) if k != u)


def _untried(s: Search, c: Choice, low: float, high: float, step: float) -> float:
    """The place furthest from where unit c was read already."""
    row = [*s.visited(c.u), c.at]
    places = [round((low + k * (high - low) / 6.0) / step) * step for k in range(7)]
    return max(places, key=lambda to: min(abs(to - v) for v in row))


# --- setting ----------------------------------------------------------------------------------------------------------
def settled(
    job: Job, inputs: MixtureMoves, view: ScrewView, s: Search, rows: Sequence[Choice]
) -> tuple[list[Move], list[Choice]]:
    """Every mixture screw where it belongs, and where the air screws are known, the speed with it."""
    moves, stopped = set_where_best(view, s, [c for c in rows if c.dead < SILENT])
    return [*moves, *_to_speed(job, inputs, s, _well_set(s, rows))], stopped


def set_where_best(view: ScrewView, s: Search, rows: Sequence[Choice]) -> tuple[list[Move], list[Choice]]:
    """Moves that put every unit where it belongs, for those where it is worth a turn; and those at their end. Where all
    at once might stall the engine they go half of the way, or a quarter."""
    low, high = ends(view, s)
    stopped = [c for c in rows if min(c.best - low, high - c.best) < float(view.step) and c.there < 0.5]
    due = [c for c in rows if goes_back(s, c)]
    share = next((by for by in (1.0, 0.5) if may_stall(s, due, by) <= STALL_CHANCE), 0.25)
    moves = []
    for c in due:
        moves += to_place(view, s, c.u, c.at + share * (c.best - c.at))
    return moves, stopped


def may_stall(s: Search, rows: Sequence[Choice], share: float) -> float:
    """How likely the engine stalls when these units go so much of the way to where they belong. It stalled at such a
    turn before: then surely."""
    assert s.mix is not None
    if not rows or s.mix.metered:
        return 0.0
    last = s.shots[-1] if s.shots else None
    if last is None or last.speed is None:
        return 0.0
    mean = var = 0.0
    for c in rows:
        gains = s.mix.gains(c.u, c.at, c.at + share * (c.best - c.at))
        mean, var = mean + float(gains.mean()), var + float(gains.var())
    for shot in s.shots:
        if shot.stalled and all(
            abs(shot.at[s.units[c.u][0]] - c.at - share * (c.best - c.at)) < STALLED_THERE for c in rows
        ):
            return 1.0
    floor = _stalls_from(s, last.speed)
    return normal_cdf((floor - mean) / math.sqrt(var + 1e-6))


def to_place(view: ScrewView, s: Search, u: int, to: float) -> list[Move]:
    """Moves of a unit's screws by the same turn, so that they stand at `to` on average."""
    by = saying.to_step(to - s.stands(u), view.step)
    out = []
    for i in s.units[u]:
        stands = saying.exact(s.at[i] or 0.0, 6)
        if by and view.range[0] <= stands + by <= view.range[1]:
            out.append(saying.turn(view, s.spots[i], stands, by))
    return out


def speed_first(job: Job, inputs: MixtureMoves, s: Search, rows: Sequence[Choice]) -> list[Move]:
    """Turns of the air screws where the engine runs far off its speed, and would with its screws where they belong:
    early, since what is learned holds for the air of then."""
    last = s.shots[-1] if s.shots else None
    wanted = value(inputs.target, s.idle)
    if len(s.shots) > 1 and not alike(s.shots[-1], s.shots[-2]):
        return []  # the air was moved just before: what it did is learned first
    there = _well_set(s, rows)
    if last is None or last.stalled or last.speed is None or there is None:
        return []
    off, still = last.speed - wanted, there - wanted
    if off * still <= 0.0 or min(abs(off), abs(still)) < SPEED_FIRST:
        return []
    return _to_speed(job, inputs, s, wanted + min(off, still, key=abs), FIRST_PART)


def _answers_air(s: Search) -> float:
    """By what share of it the speed changed for a turn of the air screws, the most that was seen; 0 where nothing
    was: a throttle nearly shut answers sharply."""
    told = [shot for shot in s.shots if shot.speed and not shot.stalled and shot.opened is not None]
    most = 0.0
    for a, b in pairwise(told):
        by = (b.opened or 0.0) - (a.opened or 0.0)
        alone = all(abs(x - y) < STALLED_THERE for x, y in zip(a.at, b.at, strict=True))
        if alone and abs(by) > LEAST_AIR:
            most = max(most, abs((b.speed or 1.0) / (a.speed or 1.0) - 1.0) / abs(by))
    return most


def _well_set(s: Search, rows: Sequence[Choice]) -> float | None:
    """Speed to expect with every screw where it belongs."""
    return expected(s, {c.u: c.best for c in rows if goes_back(s, c)})


def _to_speed(job: Job, inputs: MixtureMoves, s: Search, there: float | None, part: float = 1.0) -> list[Move]:
    """Equal turns of the air screws that bring an engine that would run `there`, rpm, so much of the way to speed."""
    air = s.drawn
    wanted = value(inputs.target, float(job.engine.idle_speed))
    if not air.all_alike or air.effect <= 0.0 or there is None or abs(there - wanted) < OFF_SPEED:
        return []
    screw = air.all_alike[0][0]
    share = (wanted / there) ** (1.0 / laws.ELASTICITY) - 1.0
    worth = max(air.effect, _answers_air(s) / laws.ELASTICITY)
    by = saying.to_step(max(-MOST_AIR, min(MOST_AIR, part * share / worth)), screw.step)
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
    for u in range(len(s.units)):
        was = s.stood(u, last)
        goes = to.get(u, s.stands(u))
        if abs(goes - was) > 0.01:
            more += float(s.mix.gains(u, was, goes).mean())
    speed: float = last.speed * max(0.3, 1.0 + more / s.whole) ** laws.ELASTICITY
    return speed


def taken_back(view: ScrewView, s: Search) -> list[Move]:
    """After a stall: every screw back to where it ran before, the air screws too; where nobody knows, all a quarter
    richer."""
    moves = [saying.turn(screw, place, None, -by) for screw, place, by in s.shut]
    if moves:
        return moves
    good = next((shot for shot in reversed(s.shots) if shot.speed and not shot.stalled), None)
    for u in range(len(s.units)):
        if good is not None:
            better = _faster_there(s, good, u)
            moves += to_place(view, s, u, s.stood(u, better))
    if moves:
        return moves
    for u in range(len(s.units)):
        moves += to_place(view, s, u, s.stands(u) + 0.25 * s.screws.sign)
    return moves


def _faster_there(s: Search, good: Shot, u: int) -> Shot:
    """The reading like `good`, but for where unit u stood, at which the engine ran surely faster; else `good`."""
    best, there = good, _all_stood(s, good)
    for shot in s.shots:
        if shot.stalled or not shot.speed or not alike(shot, good):
            continue
        if _others_alike(u, _all_stood(s, shot), there):
            best = max(best, shot, key=lambda x: x.speed or 0.0)
    sure = 2.0 * math.hypot(s.noise.scatter, s.noise.step, s.noise.wander)
    return best if (best.speed or 0.0) - (good.speed or 0.0) > sure else good


def back_out(view: ScrewView, s: Search, c: Choice) -> list[Move]:
    """A unit that was leaned until it spat or hunted comes back out: to where it belongs, at least a quarter."""
    sign = s.screws.sign
    by = max(0.25, (c.best - c.at) * sign) * sign
    return to_place(view, s, c.u, c.at + by)


def rounds_left(s: Search, rows: Sequence[Choice]) -> int:
    """About how many readings are still to come: a few for each unit that is not known, and one to see all set."""
    if s.mix is None or s.mix.metered:
        return 1
    return 1 + sum(max(1, USUAL_READINGS - c.trials) for c in rows if unknown(c))


def tolerance(mix: Mixture, i: int, at: float) -> float:
    """Half of the interval that lambda lies in with 90 of 100, at `at`."""
    return 1.645 * mix.lam(i, at)[1]


def sureness(rows: Sequence[Choice]) -> float:
    """How likely every cylinder is near its best, as it stands."""
    return math.prod(c.near for c in rows)
