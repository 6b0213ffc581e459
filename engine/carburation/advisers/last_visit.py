"""Whether an engine stands as it left at its last visit, held row against row; it turns nothing and knows no book.

What the last visit left is a part of the job (`last_visit`), so that a run has it whatever becomes of the book.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation import saying
from engine.carburation.advisers.contract_words import (
    AskedOfFlow,
    SpeedTolerance,
    gives,
    note,
    number,
    read,
    says,
    screw,
)
from engine.carburation.advisers.own_scale import DIVISIONS
from engine.carburation.estimation.seen import numbers, places, screw_places, value
from engine.contract import Figure, Told, adviser
from engine.evidence import Evidence, ScrewView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: A screw counted at two visits by two hands differs by so much and nobody touched it [assumed: a hand counts to a
#: sixteenth, twice].
COUNT = 0.125
#: Where a file says nothing of how near is near, rpm [common practice].
SPEED = 30.0


Verdict = Literal["no last visit", "as left", "moved"]


@dataclass(frozen=True, kw_only=True)
class Asks(AskedOfFlow):
    """The mixture screws as found, and how near is near."""

    screw: Annotated[
        ScrewView | None,
        screw("the mixture screws, counted", "mixture", "jet", "screw", "air", "bypass", each=("barrel", "carb")),
    ] = None
    speed_tolerance: SpeedTolerance = None
    counted_to: Annotated[
        Fraction | None, number("how far two counts of one screw may differ (left out: 1/8)", "turn", "0", "1")
    ] = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """What moved since."""

    verdict: Annotated[
        Verdict,
        says(
            "no last visit: the job has none, or nothing of it was read again · as left: nothing moved · moved: "
            "something stands otherwise (findings)"
        ),
    ]
    speed_moved: Annotated[Figure, gives("speed found less speed left, 0 where not known", "rpm", "-9000", "9000")]


@adviser(
    1,
    "Holds what is found against what the last visit left: speed, air and mixture screws. Ask once, as found.",
    Asks,
    Tells,
    {
        "speed-moved-since": note("the idle stands otherwise than it was left"),
        "air-moved-since": note("a place draws another share than it was left with"),
        "screw-moved-since": note("a mixture screw stands otherwise than it was left"),
    },
    reads={
        "engine speed": read("the first of the run at idle, which is as found"),
        "airflow": read("the first row of the run at idle"),
        "depression": read("the same, on vacuum gauges"),
    },
)
def last_visit(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """What moved since the last visit. Air is compared by each place's share of the mean, since the day's air differs.

    `screw` in turns; tolerances as fractions, kg/h, kPa and rpm. See the contract.
    """
    left, found, used, moved = job.last_visit, list[Found](), list[str](), 0.0
    speed = _first(evidence, "engine speed")
    if speed and speed[0] is not None and left.idle_speed is not None:
        used.append("speed")
        moved = speed[0] - float(left.idle_speed)
        if abs(moved) > value(asked.speed_tolerance, SPEED):
            found.append(Found("speed-moved-since", figures={"was": float(left.idle_speed), "now": speed[0]}))
    scale = "kg/h" if job.instruments.airflow_scale == "kg/h" else DIVISIONS
    for quantity, was, unit in (("airflow", left.airflow, scale), ("depression", left.depression, "kPa")):
        now = _first(evidence, quantity)
        if was and len(was) == len(now):
            used.append("air")
            found += _apart(job, asked, numbers(was), now, unit)
    view = asked.screw
    if view is not None and left.mixture_screws and len(left.mixture_screws) == len(view.positions):
        used.append("mixture screws")
        slack = value(asked.counted_to, COUNT)
        for place, was_at, at in zip(screw_places(view, job, asked), left.mixture_screws, view.positions, strict=True):
            if was_at is not None and at is not None and abs(float(at - was_at)) > slack:
                figures = {"place": place, "was": float(was_at), "now": float(at)}
                found.append(Found("screw-moved-since", (place,), figures))
    verdict: Verdict = "moved" if found else "as left" if used else "no last visit"
    return Judgement(
        Tells(verdict=verdict, speed_moved=saying.clamp(moved, -9000.0, 9000.0)),
        findings=tuple(found),
        because=Reasons(
            said("What the last visit left was held against it: {used}.", used=", ".join(used))
            if used
            else "Nothing is known of an earlier visit.",
            _TOLD[verdict],
            "As sure as two readings of two days agree.",
            "A reading taken again.",
        ),
    )


_TOLD = {
    "as left": "It stands as it was left.",
    "moved": "It does not stand as it was left: each thing that moved is a finding.",
    "no last visit": "There is nothing to hold it against.",
}


def _first(evidence: Evidence, quantity: str) -> tuple[float | None, ...]:
    """The first row of a quantity that was taken at idle; empty where there is none."""
    for answer in evidence.answers:
        if quantity in answer.readings and answer.state.get("hold") in (None, "none"):
            return numbers(answer.readings[quantity])
    return ()


def _apart(job: Job, asked: Asks, was: Sequence[float | None], now: Sequence[float | None], unit: str) -> list[Found]:
    """The places whose share of the mean changed by more than tolerance, on either visit, and a gauge's step."""
    spots = places("barrel" if len(now) == job.bank.barrels else "carb", job)
    pairs = [(p, w, n) for p, w, n in zip(spots, was, now, strict=False) if w is not None and n is not None]
    mean_was, mean_now = (sum(v) / max(1, len(pairs)) for v in ([w for _, w, _ in pairs], [n for _, _, n in pairs]))
    if mean_was <= 0 or mean_now <= 0:
        return []
    least = value(asked.least_depression if unit == "kPa" else asked.least_flow, 0.0)
    half = max(2 * float(asked.tolerance), least / mean_now)
    return [
        Found("air-moved-since", (p,), {"place": p, "was": w, "now": n, "unit": unit})
        for p, w, n in pairs
        if abs(n / mean_now - w / mean_was) > half
    ]
