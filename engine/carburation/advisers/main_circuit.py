"""One full-throttle pull judged by lambda, as a procedure asks it; the computing is elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation.advisers.contract_words import adjust, change, gives, note, number, reading, says, stop
from engine.carburation.estimation.seen import places, value
from engine.carburation.rules import under_load
from engine.carburation.rules.refusal import Refused
from engine.carburation.saying import exact
from engine.contract import Asked, Figure, Input, Told, adviser
from engine.evidence import Evidence, Part, Place, ReadingView, Suggest
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons

Verdict = Literal["right", "main jet", "air corrector", "elsewhere", "withheld"]
HowSure = Literal["sure", "likely", "trend only", "none"]


def _lambda(where: str) -> Input:
    return reading(f"lambda {where}", "lambda")


def _speed(end: str) -> Input:
    return number(f"the speed at which `{end}` was read", "rpm", "500", "15000")


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """One pull: lambda at two or three speeds."""

    low: Annotated[ReadingView, _lambda("where the pull begins")]
    low_speed: Annotated[Fraction, _speed("low")]
    middle: Annotated[ReadingView | None, _lambda("half-way")] = None
    middle_speed: Annotated[Fraction | None, _speed("middle")] = None
    high: Annotated[ReadingView, _lambda("where the pull ends")]
    high_speed: Annotated[Fraction, _speed("high")]
    target: Annotated[Fraction | None, number("lambda wanted at full load (left out: 0.87)", "", "0.75", "1")] = None

    def pull(self) -> tuple[tuple[float, float], ...]:
        """Speed, rpm, and lambda of each end that was read."""
        ends = ((self.low, self.low_speed), (self.middle, self.middle_speed), (self.high, self.high_speed))
        return tuple(
            (value(speed, 0.0), float(view.row[0]))
            for view, speed in ends
            if view is not None and view.row and view.row[0] is not None
        )


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """What the pull says."""

    verdict: Annotated[
        Verdict,
        says(
            "right · main jet, air corrector: change it on every barrel (parts given) · elsewhere: only "
            "the low end is off, neither of the two · withheld: no pull to judge by (finding)"
        ),
    ]
    lean: Annotated[Literal["yes", "no"], says("whether lambda was above 0.92 under load: stop pulling")]
    size: Annotated[Figure, gives("the size to fit, 0 for none", "", "0", "1000")]
    sureness: Annotated[HowSure, says("how sure")]


@adviser(
    1,
    "Judges one full-throttle pull by lambda at two or three speeds: one part to change at a time, richer in doubt. "
    "Allow 6 pulls.",
    Asks,
    Tells,
    {
        "lean-under-load": stop("lambda was above 0.92 under load", told=("lean", "yes")),
        "main-jet-off": change("the pull is off by as much at both ends"),
        "air-corrector-off": change("the pull drifts away from its low end as the speed rises"),
        "onset-of-main-off": adjust("only the low end of the pull is off"),
        "pull-not-believed": note("the readings make no pull, or what is fitted is not known"),
    },
    makes=("parts",),
)
def main_circuit(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """One pull judged: lambda at two or three speeds, on the jets fitted now; one part to change, on every barrel.

    Inputs `low`, `middle`, `high` are lambda, `low_speed`, `middle_speed`, `high_speed` rpm, `target` lambda.
    See `load.advise`.
    """
    pull = asked.pull()
    # Whatever can or can't be judged, a lean engine under load is told so.
    lean = any(lam > under_load.LEAN_STOP for _, lam in pull)
    findings = [Found("lean-under-load", figures={"limit": under_load.LEAN_STOP})] if lean else []
    try:
        main = _fitted(job, evidence, "main jet")
        if main is None:
            raise Refused("The main jet fitted is not known, or not the same on every barrel: read it off every one.")
        advice = under_load.advise(
            pull, main, _fitted(job, evidence, "air corrector"), value(asked.target, under_load.TARGET)
        )
    except Refused as refusal:
        wrong = Found("pull-not-believed", figures={"told": str(refusal)}, way="can't be judged")
        return Judgement(
            Tells(verdict="withheld", lean="yes" if lean else "no", size=0, sureness="none"),
            findings=(*findings, wrong),
            because=Reasons("The readings of this pull.", wrong, "Nothing is said.", "Readings that fit."),
        )
    told = {"told": advice.say}
    parts: tuple[Part, ...] = ()
    if advice.verdict in ("main jet", "air corrector"):
        old, new = (None if v is None else exact(v) for v in (advice.size_from, advice.size_to))
        suggest = Suggest(advice.verdict, old, new) if new is not None else None
        findings.append(Found(f"{advice.verdict.replace(' ', '-')}-off", figures=told, suggest=suggest))
        if new is not None:
            parts = tuple(Part(advice.verdict, place, new) for place in places("barrel", job))
    elif advice.verdict == "elsewhere":
        findings.append(Found("onset-of-main-off", figures=told))
    elif advice.verdict == "withheld":
        findings.append(Found("pull-not-believed", figures=told, way="no pull"))
    return Judgement(
        Tells(verdict=advice.verdict, lean="yes" if lean else "no", size=advice.size_to or 0, sureness=advice.sureness),
        parts=parts,
        findings=tuple(findings),
        because=Reasons(advice.why, advice.say, f"{advice.sureness.capitalize()}.", advice.unless),
    )


def _fitted(job: Job, evidence: Evidence, part: str) -> float | None:
    """The size fitted now on every barrel, or None where it is unknown or not the same everywhere."""
    row = job.row(part.replace(" ", "_"))
    changed: Mapping[tuple[str, Place], Fraction] = evidence.parts
    sizes = {changed.get((part, place), row[i] if row else None) for i, place in enumerate(places("barrel", job))}
    size = sizes.pop() if len(sizes) == 1 else None
    return None if size is None else float(size)
