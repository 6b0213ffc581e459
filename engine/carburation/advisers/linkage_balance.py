"""Whether the linkage, once on, holds a body open or lets bodies open apart; rods and levers are the technician's to
set."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    NOT_BELIEVED,
    AskedOfFlow,
    Flow,
    Gap,
    Sureness,
    adjust,
    change,
    gives,
    read,
    row,
    says,
    truth,
)
from engine.carburation.advisers.own_scale import LEAST_FLOW, on_its_scale
from engine.carburation.estimation import air_look, flows, gauge
from engine.carburation.estimation.fit import within
from engine.carburation.estimation.seen import Seen, history, numbers, row_places, step_of
from engine.contract import Figure, Told, adviser
from engine.evidence import Evidence, Place
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import Said, said

#: Barrels of one body part for certain past so many standard deviations, and it matters past this share of the mean
#: [assumed: plates of one spindle are set within a few per cent of each other].
TWIST_SURE, TWIST = 4.0, 0.1
#: How likely it must be that all follow, from what likelihood a first row is read again, and how sure a finding is said
#: to be. [assumed]
FOLLOWS, READ_AGAIN, TOLD = 0.5, 0.2, 0.9
#: A figure written to a step scatters by the step over the root of twelve. [derived]
STEP_SCATTER = 12**0.5


Verdict = Literal["follows", "link holds", "apart", "read again", "unsound readings"]


@dataclass(frozen=True, kw_only=True)
class Asks(AskedOfFlow):
    """The row with the linkage on, and the one before."""

    flow: Flow
    before: Annotated[
        tuple[Fraction | None, ...] | None,
        row("the row at idle with the linkage off (a kept row; left out: found in the evidence)", "kg/h", "barrel"),
    ] = None
    off_idle: Annotated[
        bool | None, truth("whether this row was taken off idle, speed held (left out: by the state `hold`)")
    ] = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """Whether the bodies follow."""

    verdict: Annotated[
        Verdict,
        says(
            "follows: nothing moved · link holds: a body stands further open than before (finding) · "
            "apart: off idle the bodies do not open together (finding) · read again · unsound readings"
        ),
    ]
    gap: Gap
    worst: Annotated[Figure, gives("the body that is furthest out, 0 for none", "", "0", "12")]
    even: Annotated[
        Figure, gives("how likely every barrel lies within tolerance, by this row and those just before", "", "0", "1")
    ]
    sureness: Sureness


@adviser(
    1,
    "Compares the row with the linkage on, at idle or held off idle, with the row before: a link that holds a body "
    "open, or bodies that do not open together. Allow 4 rows.",
    Asks,
    Tells,
    {
        **NOT_BELIEVED,
        "link-holds-body": adjust("with the linkage on a body draws otherwise than before"),
        "bodies-open-apart": adjust("off idle a body draws more or less than its share"),
        "spindle-twisted": change("barrels of one body that were alike at idle part as the throttle opens"),
    },
    reads={
        "airflow": read("the rows at idle before the linkage went on, where `before` is not bound"),
        "depression": read("the same, where `flow` is a depression"),
    },
    retired={"speed": "the row alone tells whether the bodies follow"},
)
def linkage_balance(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Compare the latest row with the row before the linkage went on; see the registry."""
    asked = on_its_scale(job, asked, asked.flow, least_flow=(asked.least_flow, LEAST_FLOW))
    view = asked.flow
    rows = row_places(view, job, asked)
    seen = history(evidence, [])
    wrong = gauge.problem(view, rows, seen)
    if wrong:
        return Judgement(
            Tells(verdict="unsound readings", gap=0, worst=0, even=0, sureness=0),
            findings=(wrong,),
            because=Reasons("The latest row.", wrong, "Not at all.", "A fresh row."),
        )
    now = [v if v is not None else math.nan for v in numbers(view.row or ())]
    off_idle = asked.off_idle if asked.off_idle is not None else bool(seen) and not seen[-1].idling
    before = _before(asked.before, seen, view.quantity, len(rows))
    noise = [
        math.hypot(
            (flows.DISTURBED_SCATTER if p in air_look.disturbed(job) else flows.GAUGE_SCATTER) * v,
            step_of(view, 0.0) / STEP_SCATTER,
        )
        for p, v in zip(rows, now, strict=True)
    ]
    mean = _mean(now)
    half = max(float(asked.tolerance) * mean, air_look.least(asked, view.quantity))
    base = [b * mean / _mean(before) for b in before] if before else [mean] * len(now)
    opens = -1.0 if view.quantity == "depression" else 1.0  # a plate further open lets the depression fall
    rise = [opens * (n - b) for n, b in zip(now, base, strict=True)]
    bodies = _bodies(rows)
    shifts = {
        c: (_mean([rise[i] for i in m]), math.sqrt(sum(noise[i] ** 2 * (2 if before else 1) for i in m)) / len(m))
        for c, m in bodies.items()
    }
    # Of two bodies off idle the one that lags is named. At idle a link holds a body open, never shut.
    of_two = 1 if not off_idle and before else 0
    middle = sorted(s for s, _ in shifts.values())[(len(shifts) - of_two) // 2]
    moved = {c: (s - middle, sd) for c, (s, sd) in shifts.items()}
    worst = max(moved, key=lambda c: abs(moved[c][0]), default=0)
    far, sd = moved.get(worst, (0.0, 1.0))
    sure = math.prod(within(s, d, half) for s, d in moved.values())
    carb, unit = Place(worst, None), view.unit or ""
    findings: list[Found] = []
    verdict: Verdict
    if sure >= FOLLOWS and abs(far) < half:
        verdict = "follows"
    elif within(far, sd, half) > READ_AGAIN and _taken(seen, view.quantity) < 2:
        verdict = "read again"
    elif off_idle:
        verdict = "apart"
        figures = {"body": carb, "far": abs(far), "unit": unit}
        findings.append(Found("bodies-open-apart", (carb,), figures, "more" if far > 0 else "less", sureness=TOLD))
    else:
        verdict = "link holds"
        findings.append(
            Found("link-holds-body", (carb,), {"body": carb}, "further" if far > 0 else "less", sureness=TOLD)
        )
    if off_idle and before:
        findings += _twist(bodies, now, base, noise, unit)
    gap = max(abs(v - mean) for v in now if not math.isnan(v)) / mean
    used = said(
        "The row now, {now:.1f} {unit}{before}.",
        now=now,
        unit=unit,
        before=said(", against {row:.1f} before", row=before) if before else "",
    )
    told: dict[str, Said | str] = {
        "follows": "Nothing moved.",
        "read again": "It may be the gauge: read again.",
        "link holds": said("{body} has moved.", body=carb),
        "apart": said("{body} does not open with the others.", body=carb),
    }
    return Judgement(
        Tells(
            verdict=verdict,
            gap=saying.clamp(gap, 0.0, 2.0),
            worst=0 if verdict == "follows" else worst,
            even=saying.clamp(_even(now, base if before else None, noise, half), 0.0, 1.0),
            sureness=saying.clamp(sure if verdict == "follows" else 1.0 - sure, 0.0, 1.0),
        ),
        findings=tuple(findings),
        because=Reasons(
            used,
            told[verdict],
            said("That all {carb:several} follow: {sure:sure}.", sure=sure),
            "A second row that says otherwise.",
        ),
    )


def _even(now: Sequence[float], before: Sequence[float] | None, noise: Sequence[float], half: float) -> float:
    """How likely every barrel lies within `half` of the mean, by this row and the one `before` it (at the same level):
    two rows average the gauge's scatter."""
    rows = [now, *([before] if before else [])]
    each = [_mean([row[i] for row in rows]) for i in range(len(now))]
    mean = _mean(each)
    sure = (within(v - mean, sd / math.sqrt(len(rows)), half) for v, sd in zip(each, noise, strict=True) if v == v)
    return math.prod(sure)


def _mean(row: Sequence[float]) -> float:
    good = [v for v in row if not math.isnan(v)]
    return sum(good) / len(good) if good else math.nan


def _bodies(rows: Sequence[Place]) -> dict[int, list[int]]:
    out: dict[int, list[int]] = {}
    for i, p in enumerate(rows):
        out.setdefault(p.carb or 1, []).append(i)
    return out


def _taken(seen: Sequence[Seen], quantity: str) -> int:
    """Rows taken in the state of now, one after the other."""
    count = 0
    for s in reversed(seen):
        if s.answer.state != seen[-1].answer.state or s.answer.moves:
            return count + (s.answer.state == seen[-1].answer.state and s.row(quantity) is not None)
        count += s.row(quantity) is not None
    return count


def _before(
    bound: Sequence[Fraction | None] | None, seen: Sequence[Seen], quantity: str, count: int
) -> list[float] | None:
    """The row bound as `before`, or the mean of the last idle rows taken with the linkage off."""
    given = [float(v) for v in bound or () if v is not None]
    if bound is not None and len(given) == len(bound) == count:
        return given
    rows = []
    for s in reversed(seen):
        row = s.row(quantity)
        if row is None or len(row) != count or any(v is None for v in row) or not s.idling:
            continue
        if s.answer.state.get("pedal_link") == "off":
            rows.append([float(v or 0.0) for v in row])
            if s.answer.moves or len(rows) == 2:
                break
        elif rows:
            break
    return [sum(c) / len(rows) for c in zip(*rows, strict=True)] if rows else None


def _twist(
    bodies: dict[int, list[int]], now: Sequence[float], base: Sequence[float], noise: Sequence[float], unit: str
) -> list[Found]:
    """Barrels of one body that were alike at idle and part as the throttle opens: their spindle is twisted."""
    out = []
    for carb, members in bodies.items():
        if len(members) != 2:
            continue
        a, b = members
        change = (now[a] - now[b]) - (base[a] - base[b])
        sd = math.sqrt(2.0 * (noise[a] ** 2 + noise[b] ** 2))
        if abs(change) > TWIST_SURE * sd and abs(change) > TWIST * _mean(now):
            body = Place(carb, None)
            figures = {"body": body, "apart": abs(change), "unit": unit}
            out.append(Found("spindle-twisted", (body,), figures, sureness=TOLD))
    return out
