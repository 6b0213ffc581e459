"""What the rules of sizing say of each fitted part, as a procedure asks it: notes only; it orders no part."""

from __future__ import annotations

from engine.carburation.advisers.contract_words import note, says
from engine.carburation.saying import outputs
from engine.contract import adviser
from engine.evidence import Evidence, Inputs
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

_SIZED = ("in range", "small", "large", "barrels differ", "unknown")
_PARTS = ("choke", "main_jet", "air_corrector", "idle_jet", "pump_jet")


@adviser(
    1,
    "Holds choke, main jet, air corrector, idle jet and pump jet against what the trade's rules would start from, by "
    "the job alone. Notes only. Ask once.",
    {},
    {
        "verdict": says(
            "in range · off: something is unusual (notes) · nothing to compare: the job names no parts, or "
            "no rule covers them",
            "in range",
            "off",
            "nothing to compare",
        ),
        **{part: says(f"the {part.replace('_', ' ')}", *_SIZED) for part in _PARTS},
    },
    {
        f"{part.replace('_', '-')}-unusual": note("its size lies outside what is usual, or barrels differ")
        for part in _PARTS
    },
)
def sizing(job: Job, _: Inputs, __: Evidence) -> Judgement:
    """What the sizing report says of each part: in range, off, or nothing to compare; a rule orders no part.

    From the job alone, see `engine.sizing_report`.
    """
    from engine.carburation.rules import sizing_report

    report = sizing_report.work_out(job)
    findings: list[Found] = []
    verdicts: dict[str, str] = {}
    for part in report.parts:
        told = part.verdict in ("in range", "small", "large", "barrels differ")
        verdicts[part.part.replace(" ", "_")] = part.verdict if told else "unknown"
        off = [f for f in part.fitted if f.verdict in ("small", "large")]
        if off or part.verdict == "barrels differ":
            sizes = [
                said("{size:g} ({places})", size=f.size, places=f.places) if f.places else said("{size:g}", size=f.size)
                for f in off or part.fitted
            ]
            figures = {"sizes": sizes, "start": part.start, "low": part.low, "high": part.high}
            findings.append(Found(f"{part.part.replace(' ', '-')}-unusual", figures=figures))
    off_parts = [p.part for p in report.parts if p.verdict in ("small", "large", "barrels differ")]
    known = [p.part for p in report.parts if p.verdict in ("in range", "small", "large", "barrels differ")]
    verdict = "off" if off_parts else "in range" if known else "nothing to compare"
    return Judgement(
        outputs(verdict=verdict, **verdicts),
        findings=tuple(findings),
        because=Reasons(
            "; ".join((report.engine, report.air, report.fuel)),
            f"Unusual: {', '.join(off_parts)}." if off_parts else f"In range: {', '.join(known) or 'nothing known'}.",
            "Rules of the trade give a start, not a verdict.",
            "The maker's sheet for this engine, and a lambda reading under load.",
        ),
    )
