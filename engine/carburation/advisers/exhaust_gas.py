"""One sample of four gases judged, as a procedure asks it: evidence in, advice out; the computing is elsewhere."""

from __future__ import annotations

from fractions import Fraction

from engine.carburation import saying
from engine.carburation.advisers.contract_words import adjust, gives, note, number, reading, says
from engine.carburation.estimation.seen import value
from engine.carburation.rules import exhaust
from engine.carburation.rules.refusal import Refused
from engine.contract import adviser
from engine.evidence import Evidence, Inputs
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons

#: Where an idle mixture belongs. [common practice]
GOOD = 0.86, 0.96


@adviser(
    1,
    "Lambda from one sample of four gases, and whether it may be believed. Ask once a sample.",
    {
        "co": reading("CO, dry", "CO"),
        "co2": reading("CO2, dry", "CO2"),
        "o2": reading("O2, dry", "O2"),
        "hc": reading("HC as hexane", "HC", optional=True),
        "lambda_low": number("richest good mixture (left out: 0.86)", "", "0.6", "1.2", optional=True),
        "lambda_high": number("leanest good mixture (left out: 0.96)", "", "0.6", "1.2", optional=True),
    },
    {
        "verdict": says(
            "believed · misfire: oxygen or fuel went through unburnt (finding) · diluted: air in the "
            "sample (finding) · unsound readings",
            "believed",
            "misfire",
            "diluted",
            "unsound readings",
        ),
        "lambda": gives("lambda by the gases, 0 where the readings are unsound", "", "0", "2"),
        "mixture": says("where the mixture stands", "rich", "right", "lean", "unknown"),
    },
    {
        "misfire-in-exhaust": adjust("oxygen or fuel went through unburnt"),
        "sample-thin": note("air got into the sample"),
        "gases-not-believed": note("no exhaust can hold these gases together"),
    },
)
def exhaust_gas(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
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
            {"verdict": "unsound readings", "lambda": Fraction(0), "mixture": "unknown"},
            findings=(wrong,),
            because=Reasons("The gases read.", wrong, "Nothing is said.", "Readings that an exhaust can hold."),
        )
    low, high = value(inputs, "lambda_low", GOOD[0]), value(inputs, "lambda_high", GOOD[1])
    believed = reading.combustion == "burning"
    mixture = (
        "unknown" if not believed else ("rich" if reading.lam < low else "lean" if reading.lam > high else "right")
    )
    where = (inputs.here,) if inputs.here else ()
    found: tuple[Found, ...] = ()
    if reading.combustion == "misfire":
        found = (Found("misfire-in-exhaust", where, {"lam": reading.lam}),)
    elif reading.combustion == "diluted":
        found = (Found("sample-thin", where, {"lam": reading.lam, "carbon": gas.co + gas.co2}),)
    return Judgement(
        {
            "verdict": "believed" if believed else reading.combustion,
            "lambda": saying.exact(min(2.0, reading.lam)),
            "mixture": mixture,
        },
        findings=found,
        because=Reasons(
            f"CO {gas.co:g} %, CO2 {gas.co2:g} %, O2 {gas.o2:g} %, HC {gas.hc:g} ppm.",
            " ".join((f"Lambda by the gases is {reading.lam:.3f}.", *reading.notes)),
            "As sure as the analyser is zeroed." if believed else "The sample can't be trusted for lambda.",
            "Speed and the beat of the engine: they come before the gases.",
        ),
    )


def _gas(inputs: Inputs, name: str, factor: float) -> float:
    view = inputs.readings.get(name)
    row = view.row if view else None
    if row is None or row[0] is None:
        if name == "hc":
            return 0.0
        raise Refused(f"{name.upper()} was not taken, and lambda needs all of CO, CO2 and O2.")
    return float(row[0]) * factor
