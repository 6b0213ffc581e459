"""One full-throttle pull judged by lambda, as a procedure asks it; the computing is elsewhere."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from engine.carburation.advisers.contract_words import adjust, change, gives, note, number, reading, says, stop
from engine.carburation.estimation.seen import places, value
from engine.carburation.rules import under_load
from engine.carburation.rules.refusal import Refused
from engine.carburation.saying import exact, outputs
from engine.contract import Input, adviser
from engine.evidence import Evidence, Inputs, Part, Place, Suggest
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons


def _end(name: str, where: str, optional: bool = False) -> dict[str, Input]:
    return {
        name: reading(f"lambda {where}", "lambda", optional=optional),
        f"{name}_speed": number(f"the speed at which `{name}` was read", "rpm", "500", "15000", optional=optional),
    }


@adviser(
    1,
    "Judges one full-throttle pull by lambda at two or three speeds: one part to change at a time, richer in doubt. "
    "Allow 6 pulls.",
    {
        **_end("low", "where the pull begins"),
        **_end("middle", "half-way", optional=True),
        **_end("high", "where the pull ends"),
        "target": number("lambda wanted at full load (left out: 0.87)", "", "0.75", "1", optional=True),
    },
    {
        "verdict": says(
            "right · main jet, air corrector: change it on every barrel (parts given) · elsewhere: only "
            "the low end is off, neither of the two · withheld: no pull to judge by (finding)",
            "right",
            "main jet",
            "air corrector",
            "elsewhere",
            "withheld",
        ),
        "lean": says("whether lambda was above 0.92 under load: stop pulling", "yes", "no"),
        "size": gives("the size to fit, 0 for none", "", "0", "1000"),
        "sureness": says("how sure", "sure", "likely", "trend only", "none"),
    },
    {
        "lean-under-load": stop("lambda was above 0.92 under load", told=("lean", "yes")),
        "main-jet-off": change("the pull is off by as much at both ends"),
        "air-corrector-off": change("the pull drifts away from its low end as the speed rises"),
        "onset-of-main-off": adjust("only the low end of the pull is off"),
        "pull-not-believed": note("the readings make no pull, or what is fitted is not known"),
    },
    makes=("parts",),
)
def main_circuit(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
    """One pull judged: lambda at two or three speeds, on the jets fitted now; one part to change, on every barrel.

    Inputs `low`, `middle`, `high` are lambda, `low_speed`, `middle_speed`, `high_speed` rpm, `target` lambda.
    See `load.advise`.
    """
    pull = tuple(
        (value(inputs, f"{end}_speed", 0.0), float(row[0]))
        for end in ("low", "middle", "high")
        if (row := _row(inputs, end)) is not None
    )
    # Whatever can or can't be judged, a lean engine under load is told so.
    lean = any(lam > under_load.LEAN_STOP for _, lam in pull)
    findings = [Found("lean-under-load", figures={"limit": under_load.LEAN_STOP})] if lean else []
    try:
        main = _fitted(job, evidence, "main jet")
        if main is None:
            raise Refused("The main jet fitted is not known, or not the same on every barrel: read it off every one.")
        advice = under_load.advise(
            pull, main, _fitted(job, evidence, "air corrector"), value(inputs, "target", under_load.TARGET)
        )
    except Refused as refusal:
        wrong = Found("pull-not-believed", figures={"told": str(refusal)}, way="can't be judged")
        return Judgement(
            outputs(verdict="withheld", lean="yes" if lean else "no", size=0, sureness="none"),
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
        outputs(
            verdict=advice.verdict, lean="yes" if lean else "no", size=advice.size_to or 0, sureness=advice.sureness
        ),
        parts=parts,
        findings=tuple(findings),
        because=Reasons(advice.why, advice.say, f"{advice.sureness.capitalize()}.", advice.unless),
    )


def _row(inputs: Inputs, name: str) -> tuple[Fraction, ...] | None:
    view = inputs.readings.get(name)
    row = view.row if view else None
    return row if row and row[0] is not None else None


def _fitted(job: Job, evidence: Evidence, part: str) -> float | None:
    """The size fitted now on every barrel, or None where it is unknown or not the same everywhere."""
    row = job.row(part.replace(" ", "_"))
    changed: Mapping[tuple[str, Place], Fraction] = evidence.parts
    sizes = {changed.get((part, place), row[i] if row else None) for i, place in enumerate(places("barrel", job))}
    size = sizes.pop() if len(sizes) == 1 else None
    return None if size is None else float(size)
