"""Words of a job that nobody declared, with the nearest that somebody did; a job from the book is never asked."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from engine.job.model import Job, ScrewBand
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


class Undeclared(ValueError):
    """A word of a job that nobody declares; the message is a sentence with the nearest that somebody does."""


def settled(job: Job, words: Vocabulary) -> Job:
    """A job with the band of a kind of mixture screw that only a file or shop declares, so that it is in the record.

    Raises `Undeclared` where nobody declares the kind.
    """
    kind = job.bank.mixture_screw
    if kind is None or kind in SHIPPED.mixture_screws or job.bank.mixture_screw_band is not None:
        return job
    found = words.mixture_screws.get(kind)
    if found is None or found.band is None:
        hint = did_you_mean(kind, words.mixture_screws, "It can be")
        raise Undeclared(f"Nobody declares the job's kind of mixture screw, '{kind}'. {hint}".strip())
    band = ScrewBand.of(found.out, found.band, found.source)
    return job.model_copy(update={"bank": job.bank.model_copy(update={"mixture_screw_band": band})})
