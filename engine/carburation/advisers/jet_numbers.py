"""The numbers on the idle jets, read off before anything is set: which bear another than most; it judges no mixture."""

from __future__ import annotations

from fractions import Fraction

from engine.carburation.advisers import saying
from engine.carburation.advisers.contract_words import gives, note, says, wanted
from engine.carburation.advisers.idle_jets import sizes
from engine.carburation.estimation.seen import places
from engine.contract import adviser
from engine.evidence import Advice, Evidence, Finding, Inputs, Part, Suggest
from engine.job.model import Job


@adviser(
    1,
    "Holds the numbers read off the idle jets against each other, before anything is set by them. Ask once.",
    {},
    {
        "verdict": says(
            "alike · odd: some bear another number than most (parts make them alike) · unknown: too few "
            "numbers, or no number that most bear",
            "alike",
            "odd",
            "unknown",
        ),
        "odd": gives("how many differ from most", "", "0", "48"),
    },
    {"jet-odd-one-out": note("a jet bears another number than more than half of them")},
    makes=("parts",),
    reads={"idle jet size": wanted("the number read off each jet; it outranks what the job lists")},
)
def jet_numbers(job: Job, inputs: Inputs, evidence: Evidence) -> Advice:
    """Idle jets that bear another number than most, as fitted, read off or listed: the parts make them alike.

    Most is more than half. With no such number nothing is said: there is no telling which is the odd one.
    """
    spots = places("barrel", job)
    known = sizes(job, evidence, spots)
    numbers = [s for s in known if s is not None]
    usual = max(set(numbers), key=numbers.count) if numbers else None
    most = usual is not None and numbers.count(usual) > len(numbers) / 2
    odd = [(p, s) for p, s in zip(spots, known, strict=True) if s is not None and s != usual] if most else []
    row = ", ".join("-" if s is None else f"{float(s):g}" for s in known)
    verdict = "odd" if odd else "alike" if most and len(numbers) == len(spots) else "unknown"
    return Advice(
        "jet_numbers",
        1,
        saying.outputs(verdict=verdict, odd=len(odd)),
        (),
        tuple(Part("idle jet", p, Fraction(usual or 0)) for p, _ in odd),
        tuple(
            Finding(
                "jet-odd-one-out",
                "note",
                (p,),
                f"The idle jet of {saying.place(p)} is a {float(s):g}, most are {float(usual or 0):g}.",
                "Make the jets alike before anything is set by them.",
                Suggest("idle jet", s, Fraction(usual or 0)),
                0.9,
            )
            for p, s in odd
        ),
        because=saying.because(
            f"The numbers on the idle jets: {row}.",
            f"{len(odd)} differ from the rest." if odd else "None differs from most of the rest.",
            "As sure as the numbers were read.",
            "A number read again with a glass.",
        ),
    )
