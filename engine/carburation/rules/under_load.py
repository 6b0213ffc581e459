"""Under load: which jet the lambda readings of one pull ask for, one change at a time; it never fits and never drives.

The pull is full throttle, from low to high speed, on a rolling road or a closed road with somebody else reading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from engine.carburation.rules.fuel import petrol_scale
from engine.carburation.rules.refusal import Refused, within
from engine.carburation.rules.sizing import JET_STEP, bore_for, in_series, stocked
from engine.wording import Said, said

#: Full-load target. [common practice; 0.85 to 0.90 published: sources S50, S51]
TARGET = 0.87
#: Leaner than this under load: lift off at once. [common practice]
LEAN_STOP = 0.92
#: Units on the air corrector that do at high speed what one unit on the main does: 15 to 20 for 5. A trend, no law.
#: [from memory]
CORRECTOR_PER_MAIN = 3.5
#: The most an air corrector is changed at a time, units. [common practice]
CORRECTOR_MOST = 20.0
#: Readings further than this from a straight line against speed are no pull to judge by: about half a main step.
#: [derived]
SCATTER = 0.03

Verdict = Literal["right", "main jet", "air corrector", "elsewhere", "withheld"]
Sureness = Literal["sure", "likely", "trend only", "none"]


@dataclass(frozen=True, slots=True)
class LoadAdvice:
    """One change, or none. `lean`: lambda was above 0.92 under load, and the pull has to stop.

    `size_from` and `size_to` are jet numbers, `exact` the size before rounding, all None where nothing is changed.
    `low` and `high` are the errors of lambda fitted at the lowest and highest speed, `half_step` what half a main step
    moves lambda: smaller errors are left alone. `say` is for the technician; `why` is what it was worked out from, and
    `unless` what would change it.
    """

    verdict: Verdict
    lean: bool
    size_from: float | None
    size_to: float | None
    exact: float | None
    low: float | None
    high: float | None
    half_step: float
    sureness: Sureness
    say: Said | str
    why: str
    unless: str


@dataclass(frozen=True, slots=True)
class _Pull:
    """One pull as fitted: sorted `rows`, the jets, and lambda's error at the `low` and `high` end of the speeds."""

    rows: tuple[tuple[float, float], ...]
    main: float
    corrector: float | None
    target: float
    step: float
    low: float
    high: float
    scatter: float

    @property
    def half(self) -> float:
        return half_step(self.main, self.target, self.step)

    @property
    def lean(self) -> bool:
        return max(value for _, value in self.rows) > LEAN_STOP

    def off(self, error: float) -> bool:
        """Whether an error asks for a change; on the lean side never past the limit for stopping."""
        return error < -self.half or error > min(self.half, max(0.0, LEAN_STOP - self.target))

    def answer(
        self,
        verdict: Verdict,
        sureness: Sureness,
        say: Said | str,
        unless: str,
        before: float | None = None,
        after: float | None = None,
        exact: float | None = None,
    ) -> LoadAdvice:
        if self.lean:
            say = said(
                "Lean under load, lambda above {limit:g}: lift off, and no further pull until it is richer. "
                "Check fuel pressure and flow under load first. {then}",
                limit=LEAN_STOP,
                then=say,
            )
        why = (
            f"{len(self.rows)} readings from {self.rows[0][0]:g} to {self.rows[-1][0]:g} rpm: lambda is "
            f"{self.low:+.3f} off {self.target:g} ({petrol_scale(self.target):.1f} on a gauge scaled for petrol) at "
            f"the low end and {self.high:+.3f} at the high end; half a main step is {self.half:.3f}."
        )
        return LoadAdvice(
            verdict, self.lean, before, after, exact, self.low, self.high, self.half, sureness, say, why, unless
        )


def half_step(main: float, target: float = TARGET, step: float = JET_STEP) -> float:
    """How far half a step of the main jet moves lambda: a jet can't mend a smaller error. [derived, square-root law]"""
    return target * ((1 + step / (2 * main)) ** 2 - 1)


def advise(
    pull: tuple[tuple[float, float], ...],
    main: float,
    corrector: float | None = None,
    target: float = TARGET,
    step: float = JET_STEP,
) -> LoadAdvice:
    """Judge one pull: rows of (rpm, lambda), on the fitted `main` and air `corrector` (jet numbers).

    Main by the square-root law; air corrector where the error grows with speed only; neither where only the low end is
    off. Half-way and doubtful cases go to the richer side. Refuses rows that no sound meter gives. The pattern is
    [common practice], the law [derived], see `sizing.bore_for`.
    """
    rows = _checked(pull)
    size = in_series(main, step, "main jet")
    air = None if corrector is None else in_series(corrector, step, "air corrector")
    aim = within("target lambda", target, 0.75, 1.0)
    p = _Pull(rows, size, air, aim, step, *_line(rows, aim))
    if p.scatter > SCATTER:
        return p.answer(
            "withheld",
            "none",
            "The readings don't follow the speed: pull again, warm, in one gear, before any jet is changed.",
            f"Readings that lie within {SCATTER:g} of a straight line; these lie up to {p.scatter:.3f} off it.",
        )
    return _judge(p)


def _checked(pull: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    if not pull:
        raise Refused("There is no reading under load to judge. Give at least one row of speed and lambda.")
    hint = "Outside that the sensor is cold or at fault, or air gets into the exhaust; find out which first."
    return tuple(
        sorted(
            (within("engine speed", rpm, 500, 15000, "rpm"), within("lambda", value, 0.6, 1.6, hint=hint))
            for rpm, value in pull
        )
    )


def _line(rows: tuple[tuple[float, float], ...], target: float) -> tuple[float, float, float]:
    """Least squares of lambda's error against speed: the error at lowest and highest speed, the largest residual."""
    mean_n = sum(n for n, _ in rows) / len(rows)
    mean_e = sum(v for _, v in rows) / len(rows) - target
    spread = sum((n - mean_n) ** 2 for n, _ in rows)
    slope = sum((n - mean_n) * (v - target) for n, v in rows) / spread if spread else 0.0
    fit = [mean_e + slope * (n - mean_n) for n, _ in rows]
    return fit[0], fit[-1], max(abs(v - target - f) for (_, v), f in zip(rows, fit, strict=True))


def _judge(p: _Pull) -> LoadAdvice:
    low, high = p.off(p.low), p.off(p.high)
    speeds = {n for n, _ in p.rows}
    if len(speeds) < 3 or max(speeds) - min(speeds) < 1000:
        # Too short a range to tell the corrector from the main: only the leaner end is judged, as the main's.
        leanest = max(p.low, p.high)
        return _main(p, leanest, "likely") if p.off(leanest) else _right(p, "likely")
    if not low and not high:
        return _right(p, "sure")
    if low and high and (p.low > 0) == (p.high > 0):
        # Lean throughout: by the mean, which leaves neither end far off. Rich: by the leaner end; none then goes lean.
        error = (p.low + p.high) / 2 if p.low > 0 else max(p.low, p.high)
        return _main(p, error, "sure" if abs(p.high - p.low) <= p.half else "likely")
    if low and high and p.low > 0:
        return _main(p, p.low, "likely")
    if high:
        return _corrector(p)
    return p.answer(
        "elsewhere",
        "likely",
        f"{'Lean' if p.low > 0 else 'Rich'} only at the low end: emulsion tube, fuel level, or progression and idle "
        f"air bleed, not the main jet.",
        "A high end that is off the same way: then it is the main jet.",
    )


def _right(p: _Pull, sureness: Sureness) -> LoadAdvice:
    if p.lean:
        # The fit is inside half a step but one reading is past the limit: doubt goes to the richer side.
        return _main(p, max(value for _, value in p.rows) - p.target, "likely")
    return p.answer(
        "right",
        sureness,
        "Leave the main circuit as it is: the error is under half a main step.",
        "An error of more than half a step in another pull."
        if sureness == "sure"
        else "Three readings or more over 1000 rpm or more: they would judge the air corrector too.",
    )


def _main(p: _Pull, error: float, sureness: Sureness) -> LoadAdvice:
    exact = bore_for(p.main, p.target + error, p.target)
    # A lean engine never keeps its jet, and a rich one never gets a larger one.
    size = max(stocked(exact, p.step), p.main + p.step) if error > 0 else min(stocked(exact, p.step), p.main)
    if size == p.main:
        return _right(p, "likely")
    tilt = p.high - p.low
    rest = (
        f": the high end will still be {'leaner' if tilt > 0 else 'richer'} than the low one, and that is the air "
        f"corrector's"
        if abs(tilt) > p.half
        else ""
    )
    return p.answer(
        "main jet",
        sureness,
        said(
            "Main jet from {old:g} to {new:g} on every {barrel}, nothing else. Then pull again{rest}.",
            old=p.main,
            new=size,
            rest=rest,
        ),
        "A fuel pressure that falls under load, or air getting into the exhaust before the sensor.",
        p.main,
        size,
        exact,
    )


def _corrector(p: _Pull) -> LoadAdvice:
    way, turn = ("Lean", "smaller") if p.high > 0 else ("Rich", "larger")
    where = f"{way} {'' if p.off(p.low) else 'only '}at the high end"
    unless = "A fuel pressure that falls under load, or air getting into the exhaust before the sensor."
    if p.corrector is None:
        return p.answer(
            "air corrector",
            "trend only",
            f"{where}: a {turn} air corrector. The one fitted is not in the job; read it off.",
            unless,
        )
    units = CORRECTOR_PER_MAIN * (bore_for(p.main, p.target + p.high, p.target) - p.main)
    exact = p.corrector - math.copysign(min(CORRECTOR_MOST, abs(units)), units)
    # The law is rough, so every size goes to the richer side, which for air is the smaller.
    size = math.floor(exact / p.step + 1e-9) * p.step
    if size == p.corrector:
        size += p.step
    return p.answer(
        "air corrector",
        "trend only",
        said(
            "{where}: air corrector from {old:g} to {new:g} on every {barrel}, nothing else. How much is a trend, "
            "not a law: pull again.",
            where=where,
            old=p.corrector,
            new=size,
        ),
        unless,
        p.corrector,
        size,
        exact,
    )
