"""The numbers on the idle jets, read off before anything is set: which bear another than most; it judges no mixture."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation.advisers.contract_words import gives, note, read, says
from engine.carburation.estimation.seen import places
from engine.carburation.estimation.stock import sizes
from engine.contract import Asked, Figure, Told, adviser
from engine.evidence import Evidence, Part, Suggest
from engine.job.model import Job
from engine.judgement import Found, Judgement, Reasons
from engine.wording import said

#: How sure a number that was read off a jet is said to be. [assumed]
READ = 0.9


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """Whether the jets bear one number."""

    verdict: Annotated[
        Literal["alike", "odd", "unknown"],
        says(
            "alike · odd: some bear another number than most (parts make them alike) · unknown: too few "
            "numbers, or no number that most bear"
        ),
    ]
    odd: Annotated[Figure, gives("how many differ from most", "", "0", "48")]


@adviser(
    1,
    "Holds the numbers read off the idle jets against each other, before anything is set by them. Ask once.",
    Asked,
    Tells,
    {"jet-odd-one-out": note("a jet bears another number than more than half of them")},
    makes=("parts",),
    reads={"idle jet size": read("the number read off each jet; it outranks what the job lists")},
)
def jet_numbers(job: Job, _: Asked, evidence: Evidence) -> Judgement[Tells]:
    """Idle jets that bear another number than most, as fitted, read off or listed: the parts make them alike.

    Most is more than half. With no such number nothing is said: there is no telling which is the odd one.
    """
    spots = places("barrel", job)
    known = sizes(job, evidence, spots)
    numbers = [s for s in known if s is not None]
    usual = max(set(numbers), key=numbers.count) if numbers else None
    most = usual is not None and numbers.count(usual) > len(numbers) / 2
    odd = [(p, s) for p, s in zip(spots, known, strict=True) if s is not None and s != usual] if most else []
    whole = most and len(numbers) == len(spots)
    return Judgement(
        Tells(verdict="odd" if odd else "alike" if whole else "unknown", odd=len(odd)),
        parts=tuple(Part("idle jet", p, Fraction(usual or 0)) for p, _ in odd),
        findings=tuple(
            Found(
                "jet-odd-one-out",
                (p,),
                {"part": "idle jet", "place": p, "size": s, "usual": usual},
                suggest=Suggest("idle jet", s, Fraction(usual or 0)),
                sureness=READ,
            )
            for p, s in odd
        ),
        because=Reasons(
            said("The numbers on the idle jets: {row:g}.", row=known),
            said("{odd:g} differ from the rest.", odd=len(odd)) if odd else "None differs from most of the rest.",
            "As sure as the numbers were read.",
            "A number read again with a glass.",
        ),
    )
