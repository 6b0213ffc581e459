"""Typed inputs and outputs of an adviser: its contract is made from them, and neither says what the other does not."""

from dataclasses import dataclass, make_dataclass
from fractions import Fraction
from typing import Annotated, Literal

import pytest

from engine.carburation.advisers.contract_words import choice, gives, number, reading, says, truth
from engine.contract import Asked, Figure, Told, adviser, inputs_of, outputs_of
from engine.evidence import Evidence, Inputs, ReadingView
from engine.job.model import Job
from engine.judgement import Judgement
from tests.engine.water_trade import water_job

NOTHING = Evidence((), {}, {}, {}, 0)


@dataclass(frozen=True, kw_only=True)
class Asks(Asked):
    """Some of each kind."""

    lambda_: Annotated[ReadingView, reading("lambda", "lambda")]
    most: Annotated[Fraction | None, number("the most", "rpm", "0", "100")] = None
    made: Annotated[Literal["no", "yes"] | None, choice("whether it was made")] = None


@dataclass(frozen=True, kw_only=True)
class Tells(Told):
    """Words, a number, and a row."""

    verdict: Annotated[Literal["good", "bad"], says("how it is")]
    lambda_: Annotated[Figure, gives("lambda", "", "0", "2")]
    rows: Annotated[tuple[Figure | None, ...], gives("a row", "turn", "0", "9", each="barrel", holes=True)]


def _judge(job: Job, asked: Asks, evidence: Evidence) -> Judgement[Tells]:
    assert asked.lambda_.row is not None
    return Judgement(Tells(verdict="good", lambda_=float(asked.lambda_.row[0]), rows=(None, Fraction(1, 3))))


def test_the_contract_is_made_from_the_fields():
    inputs, outputs = inputs_of(Asks), outputs_of(Tells)
    assert [*inputs] == ["lambda", "most", "made"] and [*outputs] == ["verdict", "lambda", "rows"]
    assert [i.optional for i in inputs.values()] == [False, True, True]
    assert inputs["made"].type.choices == ("no", "yes") and outputs["verdict"].type.choices == ("good", "bad")


def test_an_adviser_takes_what_a_step_binds_and_answers_by_name_in_exact_numbers():
    asked = adviser(1, "", Asks, Tells, {})(_judge)
    view = ReadingView("probe", "lambda", None, "", None, (0.91237,))
    told = asked.run(water_job(), Inputs({"lambda": view}, {}, {"unknown": 1}), NOTHING)
    assert told.outputs == {"verdict": "good", "lambda": Fraction(9124, 10000), "rows": (None, Fraction(1, 3))}


def test_an_input_that_must_be_there_and_is_not_is_an_error_at_once():
    with pytest.raises(TypeError, match="lambda_"):
        Asks.of(Inputs(), inputs_of(Asks))


@pytest.mark.parametrize(
    ("kind", "declared"),
    [
        (Fraction, reading("a reading", "lambda")),
        (bool, number("a number", "rpm", "0", "1")),
        (str, choice("words that are not told")),
        (Fraction | None, truth("yes or no")),
    ],
)
def test_an_input_whose_field_is_of_another_type_is_no_contract(kind, declared):
    wrong = make_dataclass("Wrong", [("x", Annotated[kind, declared])], bases=(Asked,), frozen=True, kw_only=True)
    with pytest.raises(TypeError, match=r"Wrong\.x"):
        inputs_of(wrong)


@pytest.mark.parametrize("kind", [str, Figure, Literal["good"]])
def test_an_output_whose_field_is_of_another_type_is_no_contract(kind):
    row = says("a word a barrel", each="barrel")
    wrong = make_dataclass("Wrong", [("x", Annotated[kind, row])], bases=(Told,), frozen=True, kw_only=True)
    with pytest.raises(TypeError, match=r"Wrong\.x"):
        outputs_of(wrong)
