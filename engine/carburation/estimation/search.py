"""The search for the best mixture put together from evidence: who had which jet, what was read while which screw was
turned, at which air; and the belief that follows. Which screw to turn next is the policy's business.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from engine.carburation.estimation import laws, sweeps
from engine.carburation.estimation.air_drawn import Drawn, drawn
from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.asks import Checked, MixtureScrews
from engine.carburation.estimation.bank import OWN_FAULT, UNSEEN_FAULT, Jet
from engine.carburation.estimation.follows import FOLLOWS, FOLLOWS_SD, learned
from engine.carburation.estimation.laws import Screws
from engine.carburation.estimation.masks import Mask, masks
from engine.carburation.estimation.mended import Mends, answering, mends
from engine.carburation.estimation.meters import Gas, meter_row, pipe
from engine.carburation.estimation.mixture import CREST, Joint, Mixture, Told, believed
from engine.carburation.estimation.seen import Seen, history, places, screw_places
from engine.carburation.estimation.stock import Stock
from engine.carburation.estimation.sweeps import Look, Noise, Sweep
from engine.carburation.rules import bands, sizing
from engine.evidence import Evidence, Place, ScrewView
from engine.job.model import Job
from engine.vocabulary.screws import FLATS_PER_TURN, JET_NUT_START

#: A stall says that the engine could not hold about this speed [assumed].
STALLED, STALLED_SD = 480.0, 120.0
#: A barrel that spits back stands about here, lambda, and the scatter of its logarithm [assumed].
SPAT, SPAT_SD = 1.18, 0.10
#: Slower than this nothing idles, rpm [assumed].
RUNNING = 200.0
#: Step of stocked idle jets, where nobody says [common practice].
STOCK_STEP = 5.0
#: Scatter of a reading averaged over ten seconds, and how wide the speed slowly wanders, rpm [assumed: 3 to 8 beat to
#: beat, 0 to 12 over a minute]; the belief widens both by what it sees.
SCATTER, WANDER = 3.0, 4.0
#: Screws that stand as near as this, turns, stand where they stood: near its crest that changes nothing
#: [assumed: less than a hand's eighth].
SAME_PLACE = 0.10
#: Two readings of one place differ by no more than scatter makes: what is further apart, in squares of what was
#: assumed, had another cause [assumed: four deviations].
MOST_APART = 16.0
#: So many readings of several units turned at once are weighed, the newest ones [assumed: for time].
MOST_JOINT = 10
#: Steps in which a tachometer may show, rpm: the coarsest that all readings keep to is taken to be its own
#: [assumed: steps of round figures].
STEPS = (50, 25, 20, 10, 5)


@dataclass(frozen=True, slots=True)
class Shot:
    """What was seen at one moment with the jets of then: where each screw stood, the speed, lambda by screw, the
    air."""

    at: tuple[float, ...]
    speed: float | None
    stalled: bool
    when: int
    gas: tuple[Gas | None, ...] | None
    air: tuple[float, ...]
    era: int
    #: Screws whose barrels were seen to spit back.
    spat: tuple[int, ...] = ()
    #: How often anything but these screws was turned until then.
    stirred: int = 0
    #: By how much the air screws were turned until then, on average; None where a turn was not counted.
    opened: float | None = None


@dataclass(frozen=True, slots=True)
class Search:
    """`spots`: the screws' places. `at`: where they stand. `units`: screws that count as one (a plenum that feeds all
    makes one of all). `mix`: the belief, or None before any reading. `shots`: what was seen with the jets of now."""

    spots: tuple[Place, ...]
    at: tuple[float | None, ...]
    screws: Screws
    units: tuple[tuple[int, ...], ...]
    mix: Mixture | None
    shots: tuple[Shot, ...]
    sweeps: tuple[Sweep, ...]
    #: How often a meter was read since the jets were last changed, and since a screw was last turned.
    meter_rows: int
    #: Kind of the last answer's symptom, and the screws (by index) leaned just before it.
    last_symptom: tuple[str, tuple[int, ...]] | None
    drawn: Drawn
    noise: Noise
    #: Torque of the whole engine now, in cylinders at their best; and the idle speed that is wanted, rpm.
    whole: float
    idle: float
    #: The number on each barrel's jet.
    sizes: tuple[Fraction | None, ...]
    masks: tuple[Mask, ...]
    #: Barrels whose jet of now sat in another barrel before.
    swapped: frozenset[int]
    #: Air screws that were turned just before the engine stalled, nothing read since: their places, and how far.
    shut: tuple[tuple[ScrewView, Place, Fraction], ...] = ()

    def stands(self, u: int) -> float:
        """Where unit u's screws stand, on average."""
        mine = [self.at[i] or 0.0 for i in self.units[u]]
        return sum(mine) / len(mine)

    def stood(self, u: int, shot: Shot) -> float:
        """Where unit u's screws stood at a reading, on average."""
        return _mean(shot.at, self.units[u])

    def visited(self, u: int) -> list[float]:
        """Where unit u stood while the speed was read, with the jets of now."""
        return [self.stood(u, shot) for shot in self.shots]

    def unit_of(self, i: int) -> int:
        """The unit of screw i."""
        return next(u for u, mine in enumerate(self.units) if i in mine)


def screws_of(job: Job, view: ScrewView, band: tuple[float, float] | None) -> Screws:
    """What is known of screws of this kind before they are turned."""
    if band is None:
        known = bands.band_of(job)
        start = JET_NUT_START / FLATS_PER_TURN
        band = (float(known.rest[0]), float(known.rest[1])) if known is not None else (start, start)
    grows = view.outward if view.counts == "out" else view.inward
    share = 1 if job.bank.manifold == "shared" else len(places(view.each, job))
    return Screws(0.5 * (band[0] + band[1]), 1 if grows == "richer" else -1, share)


def search(
    job: Job,
    inputs: MixtureScrews,
    evidence: Evidence,
    band: tuple[float, float] | None = None,
    window: tuple[float, float] = (0.86, 0.96),
    step: float | None = None,
    checked: Checked | None = None,
) -> Search:
    """Everything known of the mixture. Answers without known positions or air are passed over.

    `band`: where the screws rest (None: by their kind); `window`: where lambda belongs; `step`: of the stocked jets,
    and what was `checked`, where the jets are judged.
    """
    view = inputs.screw
    spots = screw_places(view, job, inputs)
    n = len(spots)
    units = (tuple(range(n)),) if job.bank.manifold == "shared" else tuple((i,) for i in range(n))
    screws = screws_of(job, view, band)
    seen = history(evidence, [view, *([inputs.air] if inputs.air is not None else [])])
    told = drawn(job, inputs, evidence, spots)
    now = next((row for row in reversed(told.rows) if row is not None), (1.0,) * n)
    at = tuple(None if v is None else float(v) for v in view.positions)
    stock = Stock(job, spots)
    noise = noise_of(job, seen)
    shots: list[Shot] = []
    rows = stirred = 0
    opened: float | None = 0.0
    for k, s in enumerate(seen):
        stirred += any(m.screw != view.name for m in s.answer.moves)
        opened = _opened(opened, s, told)
        stock.take(s.answer)
        if any("jet" in p.part and p.place in spots for p in s.answer.parts):
            rows = 0
        stands = [s.stands.get((view.name, p)) for p in spots]
        here = told.rows[k]
        if here is None or any(v is None for v in stands):
            continue
        gas = meter_row(s, n)
        rows += gas is not None
        spat = _spat(s, view, spots)
        stalled = s.answer.symptom_kind == "stall" and bool(s.answer.moves)
        speed = STALLED if stalled else s.speed()
        if speed is not None and speed < RUNNING:
            speed = None
        if speed is None and gas is None and not spat:
            continue
        shots.append(Shot(tuple(stands), speed, stalled, k, gas, here, stock.era, spat, stirred, opened))  # type: ignore[arg-type]
    masked = masks(checked, evidence, spots, now)
    found = _sweeps(shots, units, noise, screws.share)
    metered = any(s.gas and rows for s in shots)
    mix = None
    if shots:
        mix = _joined(
            job, view, screws, units, shots, found, now, noise, stock, masked, metered, seen, at, window, step, spots
        )
    return Search(
        spots,
        at,
        screws,
        units,
        mix,
        tuple(s for s in shots if s.era == stock.era),
        tuple(w for e, w in found if e == stock.era),
        rows,
        _symptom(seen, view, spots),
        told,
        noise,
        _whole(shots, screws.share),
        float(job.engine.idle_speed),
        tuple(stock.numbers),
        masked,
        frozenset(stock.swapped),
        _shut(seen, told),
    )


def _opened(before: float | None, s: Seen, told: Drawn) -> float | None:
    """By how much the air screws stand open after answer `s`; counted anew where a turn was made by aim."""
    mine = [s.turned.get((screw.name, place), 0.0) for screw, place in told.all_alike]
    if not mine or any(v is None for v in mine):
        return None if mine else before
    by = sum(v or 0.0 for v in mine) / len(mine)
    return by if before is None and s.speed() is not None else None if before is None else before + by


def _shut(seen: Sequence[Seen], told: Drawn) -> tuple[tuple[ScrewView, Place, Fraction], ...]:
    """Air screws turned just before a stall, and by how much, if nothing was read or turned since."""
    for s in reversed(seen):
        if s.answer.symptom_kind == "stall":
            return tuple(
                (screw, place, Fraction(by).limit_denominator(64))
                for screw, place in told.all_alike
                if (by := s.turned.get((screw.name, place)))
            )
        if s.answer.moves or "engine speed" in s.answer.readings:
            break
    return ()


def noise_of(job: Job, seen: Sequence[Seen]) -> Noise:
    """What one reading of the tachometer is worth: its step and scatter as the job says, coarser where the readings
    themselves keep to a coarser step."""
    step = float(getattr(job.instruments, "tachometer_step", None) or 1)
    scatter = float(getattr(job.instruments, "tachometer_scatter", None) or SCATTER)
    speeds = [v for s in seen if (v := s.speed()) is not None]
    if len(speeds) >= 5:
        step = max(step, next((float(x) for x in STEPS if all(abs(v / x - round(v / x)) < 1e-6 for v in speeds)), 1.0))
    return Noise(scatter, WANDER, step)


def _sweeps(
    shots: Sequence[Shot], units: Sequence[tuple[int, ...]], noise: Noise, share: int
) -> list[tuple[int, Sweep]]:
    """Stretches of readings in which one unit's screws alone were turned, at one air and with the same jets."""
    out: list[tuple[int, Sweep]] = []
    mine: list[Shot] = []
    who: int | None = None
    bests = _best_speeds(shots)

    def close() -> None:
        nonlocal mine, who
        if who is not None and len(mine) > 1:
            looks = tuple(_look(s, units[who], noise) for s in mine)
            air = sum(mine[0].air[i] for i in units[who]) / len(units[who])
            part = (looks[0].speed / bests[mine[0].when]) ** (1.0 / laws.ELASTICITY)
            sweep = Sweep(who, looks, air, share * max(0.2, round(part * 20.0) / 20.0))
            if sweep.tells:
                out.append((mine[0].era, sweep))
        who = None

    for s in shots:
        if s.speed is None:
            continue
        if mine:
            last = mine[-1]
            moved = {u for u, ks in enumerate(units) if any(abs(s.at[k] - last.at[k]) > 0.02 for k in ks)}
            if not alike(s, last) or len(moved) > 1:
                close()
                mine = []
            elif moved and who is not None and moved != {who}:
                close()
                mine = [last]
            elif len(mine) >= sweeps.LONGEST and who is not None:
                keep = who
                close()
                mine, who = [last], keep
            if len(moved) == 1 and mine:
                who = next(iter(moved))
            elif who is None and len(mine) >= 3:
                mine = mine[-2:]
        mine.append(s)
    close()
    return out


def alike(a: Shot, b: Shot) -> bool:
    """Whether two readings were taken with the same jets and air."""
    same = a.era == b.era
    return same and (a.air == b.air or all(abs(x / y - 1.0) < 0.01 for x, y in zip(a.air, b.air, strict=True)))


def _best_speeds(shots: Sequence[Shot]) -> dict[int, float]:
    """By answer: the best speed read with the jets and the air of then, which is near the engine's best there."""
    out: dict[int, float] = {}
    groups: list[list[Shot]] = []
    for s in shots:
        if s.speed is None:
            continue
        if not groups or not alike(s, groups[-1][0]):
            groups.append([])
        groups[-1].append(s)
    for mine in groups:
        rows = sorted((s.speed or 0.0) for s in mine)
        best = sum(rows[-2:]) / len(rows[-2:])  # one lucky reading does not rule
        out |= {s.when: max(best, s.speed or 0.0) for s in mine}
    return out


def _whole(shots: Sequence[Shot], share: int) -> float:
    last = next((s for s in reversed(shots) if s.speed is not None and not s.stalled), None)
    if last is None or last.speed is None:
        return float(share)
    less: float = share * (last.speed / _best_speeds(shots)[last.when]) ** (1.0 / laws.ELASTICITY)
    return less


def _look(s: Shot, unit: Sequence[int], noise: Noise) -> Look:
    sd = STALLED_SD if s.stalled else math.hypot(noise.scatter, noise.step / math.sqrt(12.0))
    return Look(round(sum(s.at[i] for i in unit) / len(unit), 4), s.speed or 1.0, sd, s.when, s.stalled)


def _joined(
    job: Job,
    view: ScrewView,
    screws: Screws,
    units: Sequence[tuple[int, ...]],
    shots: Sequence[Shot],
    found: Sequence[tuple[int, Sweep]],
    now: tuple[float, ...],
    noise: Noise,
    stock: Stock,
    masked: Sequence[Mask],
    metered: bool,
    seen: Sequence[Seen],
    at: Sequence[float | None],
    window: tuple[float, float],
    step: float | None,
    spots: Sequence[Place],
) -> Mixture:
    wander, done = noise.wander, mends(seen, spots)
    follows = (FOLLOWS, FOLLOWS_SD) if metered else learned(screws, [w for e, w in found if e == stock.era], wander)
    mean_air = sum(now) / len(now)
    checked = next((r for x in reversed(seen) if (r := x.answer.readings.get("air leak"))), ())
    had, told, shifts = [], [], []
    for u, ks in enumerate(units):
        i = ks[0]
        mine_air = sum(now[k] for k in ks) / len(ks)
        rows = [Told() for _ in stock.had[i]]
        if metered:
            for s in shots:
                by = done.since(i, s.when)
                if s.gas is not None and by is not None:
                    g = stock.eras[s.era][i]
                    rows[g] = _by_gas(screws, rows[g], s, ks, mine_air, by)
        else:
            for era, sweep in found:
                by = done.since(i, sweep.looks[-1].when)
                if sweep.unit == u and by is not None:
                    g = stock.eras[era][i]
                    rows[g] = _by_sweep(screws, rows[g], sweep, mine_air, wander, by, follows)
        for s in shots:
            if set(ks) & set(s.spat):
                g = stock.eras[s.era][i]
                lean = Gas(SPAT if metered else SPAT * 0.91 / CREST, SPAT_SD)
                rows[g] = _with(screws, rows[g], lean, _mean(s.at, ks), 0.0, metered)
        told.append(rows)
        had.append(stock.had[i])
        apart = math.log(mine_air / mean_air)
        fault = UNSEEN_FAULT if i < len(checked) and checked[i] == "no" else OWN_FAULT
        shifts.append((-FOLLOWS * apart - masked[i].shift, masked[i].doubt, fault))
    usual = usual_jet(job)
    jets = [Jet(float(x) if x is not None else (usual or 50.0), fresh) for x, fresh in stock.jets]
    stands = [sum(at[k] or 0.0 for k in ks) / len(ks) for ks in units]
    return believed(
        screws,
        told,
        had,
        jets,
        step or STOCK_STEP,
        usual,
        shifts,
        window,
        () if metered else _joint(shots, units, noise, screws.share, stock.era, done),
        _again(shots, noise),
        pipe(job, seen, at, view),
        stands,
        _heard(answering(seen, spots), units),
    )


def _heard(told: Sequence[float], units: Sequence[tuple[int, ...]]) -> tuple[float, ...]:
    """Unit by unit, how a test by ear changes the odds that it does nothing: all its screws would have to."""
    return tuple(min(told[i] for i in ks) for ks in units)


def _joint(
    shots: Sequence[Shot], units: Sequence[tuple[int, ...]], noise: Noise, share: int, era: int, done: Mends
) -> list[Joint]:
    """Neighbouring readings with the jets of now between which several units were turned, at one air."""
    out = []
    bests = _best_speeds(shots)
    told = [s for s in shots if s.speed is not None and s.era == era]
    for a, b in pairwise(told):
        if a.stalled or not alike(a, b):
            continue
        turned = {u: (_mean(a.at, ks), _mean(b.at, ks)) for u, ks in enumerate(units)}
        turned = {u: ends for u, ends in turned.items() if abs(ends[0] - ends[1]) > 0.02}
        if len(turned) < 2 or any(done.since(units[u][0], a.when) != (0.0, 0.0) for u in turned):
            continue
        whole = share * max(0.2, ((a.speed or 1.0) / bests[a.when]) ** (1.0 / laws.ELASTICITY))
        change = sweeps.torque_of(b.speed or 1.0, a.speed or 1.0, whole) - whole
        one = math.hypot(noise.scatter, noise.step / math.sqrt(12.0))
        two = STALLED_SD if b.stalled else one
        sd = whole / laws.ELASTICITY / (a.speed or 1.0) * math.sqrt(one**2 + two**2 + noise.wander**2)
        out.append(Joint(turned, change, math.hypot(sd, sweeps.picture(change / len(turned)) * len(turned))))
    return out[-MOST_JOINT:]


def _again(shots: Sequence[Shot], noise: Noise) -> tuple[float, int]:
    """Squares of the differences between readings of one place, each with the last before it, in units of what is
    assumed of them; and how many."""
    squares, count = 0.0, 0
    told = [s for s in shots if s.speed is not None and not s.stalled]
    for k, b in enumerate(told):
        for a in reversed(told[max(0, k - 8) : k]):
            if (
                a.stirred == b.stirred
                and alike(a, b)
                and all(abs(x - y) < SAME_PLACE for x, y in zip(a.at, b.at, strict=True))
            ):
                one = 2.0 * (noise.scatter**2 + noise.step**2 / 12.0)
                apart = 2.0 * noise.wander**2 * (1.0 - math.exp((a.when - b.when) / sweeps.FORGETS))
                squares += min(MOST_APART, ((a.speed or 0.0) - (b.speed or 0.0)) ** 2 / (one + apart))
                count += 1
                break
    return squares, count


def usual_jet(job: Job) -> float | None:
    """The idle jet that the table gives for a cylinder of this volume, or None where it has none."""
    try:
        volume = float(job.engine.displacement) / job.engine.cylinders
        return float(sizing.idle_jet(volume, job.bank.cylinders_per_barrel).exact)
    except ValueError:
        return None


def _by_sweep(
    screws: Screws,
    before: Told,
    sweep: Sweep,
    now: float,
    wander: float,
    since: tuple[float, float],
    follows: tuple[float, float],
) -> Told:
    by = math.log(now / sweep.air)
    if abs(by) <= 0.004:
        by = 0.0
    blur = math.hypot(follows[1] * by, since[1])
    rows, count, dead = sweeps.weighed(
        screws, sweep, wander, since[0] - follows[0] * by, max(0.01, blur) if blur else 0.0
    )
    if before.rows is None:
        return Told(rows, count, dead)
    return Told(before.rows + rows, before.count + count, before.dead + dead)


def _by_gas(screws: Screws, before: Told, s: Shot, ks: Sequence[int], now: float, since: tuple[float, float]) -> Told:
    told = [g for k in ks if s.gas and (g := s.gas[k]) is not None]
    if not told:
        return before
    gas = Gas(
        sum(g.lam for g in told) / len(told),
        max(max(g.sd for g in told), 0.6 * laws.STEP),
        any(g.least for g in told),
        any(g.most for g in told),
    )
    return _with(screws, before, gas, _mean(s.at, ks), math.log(now / _mean(s.air, ks)), True, since)


def _mean(row: Sequence[float], ks: Sequence[int]) -> float:
    return row[ks[0]] if len(ks) == 1 else sum(row[k] for k in ks) / len(ks)


def _with(
    screws: Screws,
    before: Told,
    gas: Gas,
    turns: float,
    by: float,
    metered: bool,
    since: tuple[float, float] = (0.0, 0.0),
) -> Told:
    """What lambda of one barrel tells of its richness, told for air that is `by` more (ln), and for a barrel that was
    made richer `since`, with its doubt."""
    sd = math.hypot(gas.sd, FOLLOWS_SD * by, since[1])
    goal = math.log(0.91 / gas.lam) - FOLLOWS * by + since[0]
    off = (laws.grid()[None, :] + laws.fuels(screws, round(turns, 4))[:, None] - goal) / sd
    rows = np.minimum(off * off, 60.0)
    if gas.least:
        rows = np.where(off < 0.0, 0.0, rows)
    if gas.most:
        rows = np.where(off > 0.0, 0.0, rows)
    return Told(rows if before.rows is None else before.rows + rows, before.count + 1, before.dead, metered)


def _spat(seen: Seen, view: ScrewView, spots: Sequence[Place]) -> tuple[int, ...]:
    """Barrels that were seen to spit back, or the one whose screw alone was leaned just before it spat: too lean."""
    if "spit-back" in seen.answer.readings:
        row = seen.answer.readings["spit-back"]
        return tuple(i for i, v in enumerate(row) if v == "yes") if len(row) == len(spots) else ()
    if seen.answer.symptom_kind != "spit-back":
        return ()
    leaned = [m.place for m in seen.answer.moves if m.screw == view.name and m.effect == "leaner"]
    return (spots.index(leaned[0]),) if len(leaned) == len(seen.answer.moves) == 1 and leaned[0] in spots else ()


def _symptom(seen: Sequence[Seen], view: ScrewView, spots: Sequence[Place]) -> tuple[str, tuple[int, ...]] | None:
    """A symptom that came with turned mixture screws, if nothing was read or turned since: its kind, and the screws
    that were leaned."""
    for s in reversed(seen):
        moved = [m for m in s.answer.moves if m.screw == view.name and m.place in spots]
        leaned = tuple(spots.index(m.place) for m in moved if m.effect == "leaner")
        if s.answer.symptom_kind:
            return (s.answer.symptom_kind, leaned) if moved else None
        if s.answer.moves or ("engine speed" in s.answer.readings and s.idling):
            return None
    return None
