"""Which idle jets change places with a sound neighbour, to tell a wrong jet from a wrong barrel; it judges no jet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from engine.carburation.advisers.contract_words import says
from engine.carburation.advisers.idle_jets import Asks, idle_jets, judged, searched
from engine.carburation.estimation.seen import screw_places
from engine.carburation.policy import jet_reset
from engine.contract import Told, adviser
from engine.evidence import Evidence, Part
from engine.job.model import Job
from engine.judgement import Judgement, Reasons
from engine.wording import said


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """Whether there is a swap to make."""

    verdict: Annotated[
        Literal["swap", "cannot"],
        says("swap: fit the parts as given · cannot: no sound neighbour, or jet numbers unknown"),
    ]


@adviser(
    2,
    "Gives the parts of a swap: each barrel that is out alone changes its idle jet with a neighbour that is not.",
    Asks,
    Tells,
    {},
    makes=("moves", "parts"),
    reads=idle_jets.reads,
)
def jet_swap(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    """Parts of a swap: each barrel that is out alone changes its idle jet with a sound neighbour, its own body's
    first."""
    view = asked.screw
    spots = screw_places(view, job, asked)
    told: Sequence[str] = judged(job, asked, evidence).outputs.barrels
    known = searched(job, asked, evidence)
    fitted = known.sizes
    free = [i for i, t in enumerate(told) if t in ("right", "unknown") and fitted[i] is not None]
    parts, moves, pairs = [], [], []
    for i, t in enumerate(told):
        if not t.endswith(("too small", "too large")) or i in known.swapped or fitted[i] is None or not free:
            continue
        j = min(free, key=lambda j: (spots[j].carb != spots[i].carb, told[j] != "right", abs(j - i)))
        free.remove(j)
        parts += [
            Part("idle jet", spots[i], _fraction(fitted[j]), spots[j]),
            Part("idle jet", spots[j], _fraction(fitted[i]), spots[i]),
        ]
        moves += jet_reset.for_swap(view, known, i, j)
        pairs.append(said("{one} with {other}", one=spots[i], other=spots[j]))
    concluded = (
        said("Swap {pairs}; the suspect's screw goes where the neighbour's jet wants it.", pairs=pairs)
        if pairs
        else "There is no sound neighbour to swap with."
    )
    return Judgement(
        Tells(verdict="swap" if parts else "cannot"),
        tuple(moves),
        tuple(parts),
        because=Reasons(
            "The verdict on each jet and the number that it bears.",
            concluded,
            "The swap itself proves it: a fault that goes along is the jet.",
            "A jet that turns out to be dirty.",
        ),
    )


def _fraction(size: Fraction | None) -> Fraction:
    assert size is not None
    return size
