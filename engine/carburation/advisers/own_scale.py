"""An airflow gauge with a scale of its own: it tells what is equal, and no kg/h is claimed; nothing is moved here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from engine.carburation.estimation.seen import numbers
from engine.evidence import ReadingView
from engine.job.model import Job

#: What a barrel of a tuned road engine draws at idle, kg/h, and the unit of a scale of its own. What is allowed in kg/h
#: is the same share of whatever such a gauge shows. [common practice: around 5]
USUAL, DIVISIONS = 5.0, "divisions"


@dataclass(frozen=True, slots=True)
class OwnScale:
    """The row as read on a scale of its own, which bears no kg/h, and what one kg/h is worth on it."""

    flow: ReadingView
    share: Fraction

    def allowed(self, given: Fraction | None, usual: float) -> Fraction:
        """What is allowed in kg/h, or usually allowed where it was left out, as the same share of this row."""
        return Fraction(usual if given is None else given) * self.share


def own_scale(job: Job, flow: ReadingView) -> OwnScale | None:
    """The scale of the gauge that the job names; None where it shows kg/h, or nothing can be told of it."""
    row = [v for v in numbers(flow.row or ()) if v is not None]
    if job.instruments.airflow_scale == "kg/h" or flow.quantity == "depression" or not row:
        return None
    share = Fraction(sum(row) / len(row) / USUAL).limit_denominator(10**6)
    return OwnScale(replace(flow, unit=DIVISIONS), share)
