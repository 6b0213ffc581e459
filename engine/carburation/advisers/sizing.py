"""What the rules of sizing say of each fitted part, as a procedure asks it: notes only; it orders no part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from engine.carburation.advisers.contract_words import note, says
from engine.contract import Asked, Told, adviser
from engine.evidence import Evidence
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

_PARTS = ("choke", "main_jet", "air_corrector", "idle_jet", "pump_jet")


Sized = Literal["in range", "small", "large", "barrels differ", "unknown"]


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """How each part's size stands."""

    verdict: Annotated[
        Literal["in range", "off", "nothing to compare"],
        says(
            "in range · off: something is unusual (notes) · nothing to compare: the job names no parts, or "
            "no rule covers them"
        ),
    ]
    choke: Annotated[Sized, says("the choke")]
    main_jet: Annotated[Sized, says("the main jet")]
    air_corrector: Annotated[Sized, says("the air corrector")]
    idle_jet: Annotated[Sized, says("the idle jet")]
    pump_jet: Annotated[Sized, says("the pump jet")]


@adviser(
    1,
    "Holds choke, main jet, air corrector, idle jet and pump jet against what the trade's rules would start from, by "
    "the job alone. Notes only. Ask once.",
    Asked,
    Tells,
    {
        f"{part.replace('_', '-')}-unusual": note("its size lies outside what is usual, or barrels differ")
        for part in _PARTS
    },
)
def sizing(job: Job, _: Asked, __: Evidence) -> Judgement[Tells]:
    """What the sizing report says of each part: in range, off, or nothing to compare; a rule orders no part.

    From the job alone, see `engine.sizing_report`.
    """
    from engine.carburation.rules import sizing_report

    report = sizing_report.work_out(job)
    findings: list[Found] = []
    verdicts: dict[str, Sized] = {}
    for part in report.parts:
        verdict = part.verdict
        verdicts[part.part] = "unknown" if verdict == "not given" or verdict == "withheld" else verdict
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
    return Judgement(
        Tells(
            verdict="off" if off_parts else "in range" if known else "nothing to compare",
            choke=verdicts["choke"],
            main_jet=verdicts["main jet"],
            air_corrector=verdicts["air corrector"],
            idle_jet=verdicts["idle jet"],
            pump_jet=verdicts["pump jet"],
        ),
        findings=tuple(findings),
        because=Reasons(
            "; ".join((report.engine, report.air, report.fuel)),
            f"Unusual: {', '.join(off_parts)}." if off_parts else f"In range: {', '.join(known) or 'nothing known'}.",
            "Rules of the trade give a start, not a verdict.",
            "The maker's sheet for this engine, and a lambda reading under load.",
        ),
    )
