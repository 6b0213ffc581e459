"""Sizing, main circuit and exhaust gas as a procedure calls them: evidence in, advice out; the computing is elsewhere.

Pure functions `(job, inputs, evidence) -> Advice`. What no sound meter gives becomes a finding, never a figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from engine.carburation.advisers.saying import because, exact, outputs
from engine.carburation.estimation.seen import places, value
from engine.carburation.rules import exhaust, under_load
from engine.carburation.rules.refusal import Refused
from engine.evidence import Advice, Evidence, Finding, Inputs, Part, Place, Suggest
from engine.job.model import Job

#: Where an idle mixture belongs. [common practice]
GOOD = 0.86, 0.96


def sizing_review(job: Job, _: Inputs, __: Evidence) -> Advice:
    """What the sizing report says of each part: in range, off, or nothing to compare; a rule orders no part.

    From the job alone, see `engine.sizing_report`.
    """
    from engine.carburation.rules import sizing_report

    report = sizing_report.work_out(job)
    findings: list[Finding] = []
    verdicts: dict[str, str] = {}
    for part in report.parts:
        told = part.verdict in ("in range", "small", "large", "barrels differ")
        verdicts[part.part.replace(" ", "_")] = part.verdict if told else "unknown"
        off = [f for f in part.fitted if f.verdict in ("small", "large")]
        if off or part.verdict == "barrels differ":
            sizes = ", ".join(f"{f.size:g}" + (f" ({f.where})" if f.where != "all" else "") for f in off or part.fitted)
            unit = f" {part.unit}" if part.unit else ""
            findings.append(
                Finding(
                    f"{part.part.replace(' ', '-')}-unusual",
                    "note",
                    (),
                    f"{part.part.capitalize()} {sizes}: this engine would start from {part.start:g}{unit}, and "
                    f"{part.low:.0f} to {part.high:.0f}{unit} is usual.",
                    "Read it off the part again. No rule orders a part: the screws and a lambda reading decide.",
                )
            )
    off_parts = [p.part for p in report.parts if p.verdict in ("small", "large", "barrels differ")]
    known = [p.part for p in report.parts if p.verdict in ("in range", "small", "large", "barrels differ")]
    verdict = "off" if off_parts else "in range" if known else "nothing to compare"
    return Advice(
        "sizing",
        1,
        outputs(verdict=verdict, **verdicts),
        findings=tuple(findings),
        because=because(
            "; ".join((report.engine, report.air, report.fuel)),
            f"Unusual: {', '.join(off_parts)}." if off_parts else f"In range: {', '.join(known) or 'nothing known'}.",
            "Rules of the trade give a start, not a verdict.",
            "The maker's sheet for this engine, and a lambda reading under load.",
        ),
    )


def main_circuit(job: Job, inputs: Inputs, evidence: Evidence) -> Advice:
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
    findings = (
        [
            Finding(
                "lean-under-load",
                "stop",
                (),
                f"Lambda is above {under_load.LEAN_STOP:g} under load.",
                "Lift off. Fuel pressure and flow under load first, then the jet; "
                "no full throttle before it is richer.",
            )
        ]
        if lean
        else []
    )
    try:
        main = _fitted(job, evidence, "main jet")
        if main is None:
            raise Refused("The main jet fitted is not known, or not the same on every barrel: read it off every one.")
        advice = under_load.advise(
            pull, main, _fitted(job, evidence, "air corrector"), value(inputs, "target", under_load.TARGET)
        )
    except Refused as refusal:
        return Advice(
            "main_circuit",
            1,
            outputs(verdict="withheld", lean="yes" if lean else "no", size=0, sureness="none"),
            findings=(*findings, Finding("pull-not-believed", "note", (), str(refusal), "Put that right, then again.")),
            because=because("The readings of this pull.", str(refusal), "Nothing is said.", "Readings that fit."),
        )
    parts: tuple[Part, ...] = ()
    if advice.verdict in ("main jet", "air corrector"):
        old, new = (None if v is None else exact(v) for v in (advice.size_from, advice.size_to))
        findings.append(
            Finding(
                f"{advice.verdict.replace(' ', '-')}-off",
                "change part",
                (),
                advice.say,
                "One change, then pull again.",
                Suggest(advice.verdict, old, new) if new is not None else None,
            )
        )
        if new is not None:
            parts = tuple(Part(advice.verdict, place, new) for place in places("barrel", job))
    elif advice.verdict == "elsewhere":
        findings.append(Finding("onset-of-main-off", "adjust", (), advice.say, "Fuel level and progression first."))
    elif advice.verdict == "withheld":
        findings.append(Finding("pull-not-believed", "note", (), advice.say, "Pull again."))
    return Advice(
        "main_circuit",
        1,
        outputs(
            verdict=advice.verdict, lean="yes" if lean else "no", size=advice.size_to or 0, sureness=advice.sureness
        ),
        parts=parts,
        findings=tuple(findings),
        because=because(advice.why, advice.say, f"{advice.sureness.capitalize()}.", advice.unless),
    )


def exhaust_gas(job: Job, inputs: Inputs, evidence: Evidence) -> Advice:
    """One sample of four gases: lambda, whether it may be believed, and where the mixture stands.

    Inputs `co`, `co2`, `o2` and `hc` (may be left out) are single readings; `lambda_low` and `lambda_high` bound a good
    mixture. See `exhaust.read`.
    """
    try:
        gas = exhaust.Gases(
            *(
                _gas(inputs, name, factor)
                for name, factor in (("co", 100.0), ("co2", 100.0), ("o2", 100.0), ("hc", 1e6))
            )
        )
        reading = exhaust.read(gas, job.instruments.exhaust_sampling == "merged")
    except Refused as refusal:
        return Advice(
            "exhaust_gas",
            1,
            {"verdict": "unsound readings", "lambda": Fraction(0), "mixture": "unknown"},
            findings=(Finding("gases-not-believed", "note", (), str(refusal), "Zero the analyser, read again."),),
            because=because("The gases read.", str(refusal), "Nothing is said.", "Readings that an exhaust can hold."),
        )
    low, high = value(inputs, "lambda_low", GOOD[0]), value(inputs, "lambda_high", GOOD[1])
    believed = reading.combustion == "burning"
    mixture = (
        "unknown" if not believed else ("rich" if reading.lam < low else "lean" if reading.lam > high else "right")
    )
    findings = ()
    if not believed:
        where = (inputs.here,) if inputs.here else ()
        findings = (
            Finding("misfire-in-exhaust", "adjust", where, reading.say)
            if reading.combustion == "misfire"
            else Finding("sample-thin", "note", where, reading.say),
        )
    return Advice(
        "exhaust_gas",
        1,
        {
            "verdict": "believed" if believed else reading.combustion,
            "lambda": exact(min(2.0, reading.lam)),
            "mixture": mixture,
        },
        findings=findings,
        because=because(
            f"CO {gas.co:g} %, CO2 {gas.co2:g} %, O2 {gas.o2:g} %, HC {gas.hc:g} ppm.",
            " ".join((reading.say, *reading.notes)),
            "As sure as the analyser is zeroed." if believed else "The sample can't be trusted for lambda.",
            "Speed and the beat of the engine: they come before the gases.",
        ),
    )


def _row(inputs: Inputs, name: str) -> tuple[Any, ...] | None:
    view = inputs.readings.get(name)
    row = view.row if view else None
    return row if row and row[0] is not None else None


def _gas(inputs: Inputs, name: str, factor: float) -> float:
    row = _row(inputs, name)
    if row is None:
        if name == "hc":
            return 0.0
        raise Refused(f"{name.upper()} was not taken, and lambda needs all of CO, CO2 and O2.")
    return float(row[0]) * factor


def _fitted(job: Job, evidence: Evidence, part: str) -> float | None:
    """The size fitted now on every barrel, or None where it is unknown or not the same everywhere."""
    row = job.row(part.replace(" ", "_"))
    changed: Mapping[tuple[str, Place], Fraction] = evidence.parts
    sizes = {changed.get((part, place), row[i] if row else None) for i, place in enumerate(places("barrel", job))}
    size = sizes.pop() if len(sizes) == 1 else None
    return None if size is None else float(size)
