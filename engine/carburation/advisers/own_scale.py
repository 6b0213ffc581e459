"""An airflow gauge with a scale of its own: it tells what is equal, and no kg/h is claimed; nothing is moved here."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any, TypeVar

from engine.carburation.advisers.contract_words import AskedOfAir, AskedOfFlow
from engine.carburation.estimation.seen import numbers, value
from engine.evidence import ReadingView
from engine.job.model import Job

#: What a barrel of a tuned road engine draws at idle, kg/h, and the unit of a scale of its own. What is allowed in kg/h
#: is the same share of whatever such a gauge shows. [common practice: around 5]
USUAL, DIVISIONS = 5.0, "divisions"
#: What is allowed where a file leaves it out, kg/h, as the contracts say: a flow within which any difference is good,
#: and a difference within a body that is a fault. [assumed]
LEAST_FLOW, BODY_LIMIT = 0.0, 1.0
_Asks = TypeVar("_Asks", bound=AskedOfFlow)
_AsksOfAir = TypeVar("_AsksOfAir", bound=AskedOfAir)


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


def air_on_its_scale(job: Job, asked: _AsksOfAir, flow: ReadingView) -> tuple[_AsksOfAir, float]:
    """The inputs of an adviser of air as `on_its_scale` gives them, and from what difference within a body there is a
    fault to mend, as the gauge shows it; a depression tells none."""
    on_scale = on_its_scale(
        job, asked, flow, least_flow=(asked.least_flow, LEAST_FLOW), body_limit=(asked.body_limit, BODY_LIMIT)
    )
    return on_scale, 1e9 if flow.quantity == "depression" else value(on_scale.body_limit, BODY_LIMIT)
