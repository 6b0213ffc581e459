"""Words of a job that nobody declared, with the nearest that somebody did; a job from the book is never asked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from engine.job.model import Job
from engine.procedure.source.problems import did_you_mean, nearest
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

#: A further key or family less alike than this to a known one is a shop's own, not a slip.
ALIKE = 0.8


class Slip(NamedTuple):
    """A word of a job that nobody declared: where it stands, what is wrong, what it was meant to be."""

    loc: tuple[str, ...]
    message: str
    hint: str = ""


def slips(job: Job, words: Vocabulary = SHIPPED) -> Iterator[Slip]:
    """Every word of a job that nobody declared: its kind of mixture screw, and what is nearly a family or a key."""
    bank = job.bank
    kind = bank.mixture_screw
    if kind is not None and kind not in words.mixture_screws and bank.mixture_screw_band is None:
        hint = did_you_mean(kind, words.mixture_screws, "It can be")
        yield Slip(
            ("bank", "mixture_screw"),
            f"Nobody declares the kind of mixture screw '{kind}'.",
            hint or "Declare it in the shop's vocabulary.yaml, or say bank.mixture_screw_band.",
        )
    if bank.family not in words.families:
        close = nearest(bank.family, words.families, ALIKE)
        if close is not None:
            yield Slip(("bank", "family"), f"Nobody declares the family '{bank.family}'.", f"Did you mean '{close}'?")
    for section in ("bank", "instruments"):
        part = getattr(job, section)
        for key in part.model_extra or {}:
            close = nearest(key, type(part).model_fields, ALIKE)
            if close is not None:
                yield Slip((section, key), f"`{section}.{key}` is no key of a job.", f"Did you mean '{close}'?")
