"""Where the mixture screws of a job come to rest: the band of their kind, from vocabulary or job; it judges none."""

from __future__ import annotations

from engine.job.model import Job
from engine.vocabulary.entries import Band
from engine.vocabulary.vocabulary import SHIPPED

#: The kind that is taken where a job does not say one [common practice: the older bodies].
USUAL = "short taper"


def band_of(job: Job) -> Band | None:
    """The band of the job's kind of mixture screw; None where the kind has none (a jet nut) or nobody declared it."""
    declared = job.bank.mixture_screw_band
    if declared is not None:
        return declared.band()
    return SHIPPED.band(job.bank.mixture_screw or USUAL)
