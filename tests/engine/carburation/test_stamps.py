"""The numbers read off the idle jets: an odd one is seen before anything is set by it, and made like the others."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.carburation.registry import shipped
from engine.evidence import Answered, Evidence, Inputs, Part, Place
from engine.job.model import Job


def bank(row=50) -> Job:
    """An invented four with two bodies; `row`: the idle jets that the job lists."""
    return Job.model_validate(
        {
            "engine": {"cylinders": 4, "displacement": "1600 cc", "idle_speed": "950 rpm"},
            "bank": {"family": "twin-choke sidedraught", "carbs": 2, "barrels_per_carb": 2, "idle_jet": row},
        }
    )


def seen(*answers) -> Evidence:
    """Evidence of rows read off (a tuple) and parts fitted (a list), in order."""
    return Evidence(
        tuple(
            Answered(
                i,
                "as-found",
                "jets",
                None,
                1,
                0,
                {},
                {"idle jet size": a} if isinstance(a, tuple) else {},
                {},
                {},
                parts=tuple(a) if isinstance(a, list) else (),
            )
            for i, a in enumerate(answers)
        ),
        {},
        {},
        {},
        0,
    )


def numbers(job, *answers):
    """What the adviser says."""
    return shipped()["jet_numbers"].run(job, Inputs(), seen(*answers))


def test_jets_that_agree_are_alike():
    """Nothing to fit, nothing to say."""
    advice = numbers(bank(), (50, 50, 50, 50))
    assert (advice.outputs["verdict"], advice.parts, advice.findings) == ("alike", (), ())


def test_an_odd_one_is_made_like_the_others():
    """What was read off the jet outranks what the job card lists."""
    advice = numbers(bank(), (50, 50, 45, 50))
    assert advice.outputs["verdict"] == "odd"
    assert advice.parts == (Part("idle jet", Place(2, 1), Fraction(50)),)
    assert [(f.code, f.where) for f in advice.findings] == [("jet-odd-one-out", (Place(2, 1),))]


def test_once_fitted_they_are_alike():
    """A jet fitted since outranks what was read before."""
    advice = numbers(bank(), (50, 50, 45, 50), [Part("idle jet", Place(2, 1), Fraction(50))])
    assert advice.outputs["verdict"] == "alike"


@pytest.mark.parametrize("row", [(50, 50, 45, 45), (None, None, None, None)])
def test_with_no_number_that_most_bear_nobody_can_tell(row):
    """Half and half, or nothing read and nothing listed: no part, no finding."""
    advice = numbers(bank(None), row)
    assert (advice.outputs["verdict"], advice.parts, advice.findings) == ("unknown", (), ())
