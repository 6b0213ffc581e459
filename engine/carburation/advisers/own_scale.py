"""An airflow gauge with a scale of its own: it tells what is equal, and no kg/h is claimed; nothing is moved here."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any, TypeVar

from engine.carburation.estimation.seen import numbers
from engine.contract import Asked
from engine.evidence import ReadingView
from engine.job.model import Job

#: What a barrel of a tuned road engine draws at idle, kg/h, and the unit of a scale of its own. What is allowed in kg/h
#: is the same share of whatever such a gauge shows. [common practice: around 5]
USUAL, DIVISIONS = 5.0, "divisions"
_Asks = TypeVar("_Asks", bound=Asked)


def on_its_scale(job: Job, asked: _Asks, flow: ReadingView, **allowed: tuple[Fraction | None, float]) -> _Asks:
    """The inputs as they are meant for the gauge that the job names: on a scale of its own each of what is `allowed` in
    kg/h (as given, and what holds where it was left out) becomes a share of the mean of the row, and the row bears no
    kg/h."""
    row = [v for v in numbers(flow.row or ()) if v is not None]
    if job.instruments.airflow_scale == "kg/h" or flow.quantity == "depression" or not row:
        return asked
    share = Fraction(sum(row) / len(row) / USUAL).limit_denominator(10**6)
    shares = {name: Fraction(usual if given is None else given) * share for name, (given, usual) in allowed.items()}
    changed: Any = {"flow": replace(flow, unit=DIVISIONS), **shares}
    return replace(asked, **changed)
