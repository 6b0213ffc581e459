"""An airflow gauge with a scale of its own: it tells what is equal, and no kg/h is claimed; nothing is moved here."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from engine.carburation.estimation.seen import numbers
from engine.evidence import Inputs
from engine.job.model import Job

#: What a barrel of a tuned road engine draws at idle, kg/h, and the unit of a scale of its own. What is allowed in kg/h
#: is the same share of whatever such a gauge shows. [common practice: around 5]
USUAL, DIVISIONS = 5.0, "divisions"
#: What is allowed in kg/h, and what holds where a file leaves it out (as `contract_words` says).
ALLOWED = {"least_flow": 0.0, "body_limit": 1.0}


def on_its_scale(job: Job, inputs: Inputs) -> Inputs:
    """The inputs as they are meant for the gauge that the job names: on a scale of its own what is allowed in kg/h
    becomes a share of the mean of the row, and the row bears no kg/h."""
    view = inputs.readings["flow"]
    row = [v for v in numbers(view.row or ()) if v is not None]
    if job.instruments.airflow_scale == "kg/h" or view.quantity == "depression" or not row:
        return inputs
    share = Fraction(sum(row) / len(row) / USUAL).limit_denominator(10**6)
    allowed = {name: Fraction(inputs.values.get(name, usual)) * share for name, usual in ALLOWED.items()}
    return replace(
        inputs,
        readings={**inputs.readings, "flow": replace(view, unit=DIVISIONS)},
        values={**inputs.values, **allowed},
    )
