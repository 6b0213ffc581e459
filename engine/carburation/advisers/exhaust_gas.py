"""One sample of four gases judged, as a procedure asks it: evidence in, advice out; the computing is elsewhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from engine.carburation import saying
from engine.carburation.advisers.contract_words import LambdaHigh, LambdaLow, adjust, gives, note, reading, says
from engine.carburation.estimation.seen import value
from engine.carburation.rules import exhaust
from engine.carburation.rules.refusal import Refused
from engine.contract import Asked, Figure, Told, adviser
from engine.evidence import Evidence, ReadingView
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons

#: Where an idle mixture belongs. [common practice]
GOOD = 0.86, 0.96


Combustion = Literal["believed", "misfire", "diluted", "unsound readings"]
Stand = Literal["rich", "right", "lean", "unknown"]


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """One sample, and the bounds of a good mixture."""

    co: Annotated[ReadingView, reading("CO, dry", "CO")]
    co2: Annotated[ReadingView, reading("CO2, dry", "CO2")]
    o2: Annotated[ReadingView, reading("O2, dry", "O2")]
    hc: Annotated[ReadingView | None, reading("HC as hexane", "HC")] = None
    lambda_low: LambdaLow = None
    lambda_high: LambdaHigh = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """What the sample says."""

    verdict: Annotated[
        Combustion,
        says(
            "believed · misfire: oxygen or fuel went through unburnt (finding) · diluted: air in the "
            "sample (finding) · unsound readings"
        ),
    ]
    lambda_: Annotated[Figure, gives("lambda by the gases, 0 where the readings are unsound", "", "0", "2")]
    mixture: Annotated[Stand, says("where the mixture stands")]


@adviser(
    1,
    "Lambda from one sample of four gases, and whether it may be believed. Ask once a sample.",
    Asks,
    Tells,
    {
        "misfire-in-exhaust": adjust("oxygen or fuel went through unburnt"),
        "sample-thin": note("air got into the sample"),
        "gases-not-believed": note("no exhaust can hold these gases together"),
    },
)
def exhaust_gas(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """One sample of four gases: lambda, whether it may be believed, and where the mixture stands.

    Inputs `co`, `co2`, `o2` and `hc` (may be left out) are single readings; `lambda_low` and `lambda_high` bound a good
    mixture. See `exhaust.read`.
    """
    try:
        gas = exhaust.Gases(
            _taken("CO", asked.co, 100.0),
            _taken("CO2", asked.co2, 100.0),
            _taken("O2", asked.o2, 100.0),
            _taken("HC", asked.hc, 1e6, 0.0),
        )
        most = job.instruments.co_range
        if most is not None and gas.co >= float(most):
            raise Refused(
                f"The CO meter stands at the end of its scale, {float(most):g} %: that or more, so that no lambda "
                "follows from it. It is far too rich."
            )
        reading = exhaust.read(gas, job.instruments.exhaust_sampling == "merged")
    except Refused as refusal:
        wrong = Found("gases-not-believed", figures={"told": str(refusal)})
        return Judgement(
            Tells(verdict="unsound readings", lambda_=0, mixture="unknown"),
            findings=(wrong,),
            because=Reasons("The gases read.", wrong, "Nothing is said.", "Readings that an exhaust can hold."),
        )
    low, high = value(asked.lambda_low, GOOD[0]), value(asked.lambda_high, GOOD[1])
    believed = reading.combustion == "burning"
    mixture: Stand = (
        "unknown" if not believed else ("rich" if reading.lam < low else "lean" if reading.lam > high else "right")
    )
    where = (asked.here,) if asked.here else ()
    found: tuple[Found, ...] = ()
    if reading.combustion == "misfire":
        found = (Found("misfire-in-exhaust", where, {"lam": reading.lam}),)
    elif reading.combustion == "diluted":
        found = (Found("sample-thin", where, {"lam": reading.lam, "carbon": gas.co + gas.co2}),)
    return Judgement(
        Tells(
            verdict="believed" if reading.combustion == "burning" else reading.combustion,
            lambda_=saying.exact(min(2.0, reading.lam)),
            mixture=mixture,
        ),
        findings=found,
        because=Reasons(
            f"CO {gas.co:g} %, CO2 {gas.co2:g} %, O2 {gas.o2:g} %, HC {gas.hc:g} ppm.",
            " ".join((f"Lambda by the gases is {reading.lam:.3f}.", *reading.notes)),
            "As sure as the analyser is zeroed." if believed else "The sample can't be trusted for lambda.",
            "Speed and the beat of the engine: they come before the gases.",
        ),
    )


def _taken(gas: str, view: ReadingView | None, factor: float, left_out: float | None = None) -> float:
    """A share of a gas as the formulas take it. Raises `Refused` where it was not read and can't be left out."""
    row = view.row if view else None
    if row is None or row[0] is None:
        if left_out is None:
            raise Refused(f"{gas} was not taken, and lambda needs all of CO, CO2 and O2.")
        return left_out
    return float(row[0]) * factor
