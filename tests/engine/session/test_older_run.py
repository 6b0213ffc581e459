"""A stored run is read by its structure: with the contracts that its advisers had when it was started, whatever has
become of the advisers since. What can't be gone on with says so in one sentence, and is still read and printed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction as F
from typing import Any

import pytest
from valve_runs import ADVISERS, CLOCK, DONE, LONG_WAY, PROCEDURES, Answer, answered, begun, gate, valves

from engine.book import codec
from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.contract import Adviser, Input, Output, Registry
from engine.evidence import Evidence, Inputs
from engine.job.model import Job
from engine.judgement import Judgement
from engine.procedure.build.load import load_texts
from engine.procedure.language.expr import Type
from engine.protocol.talk import step_message
from engine.session.reopen import plan_of
from engine.session.session import Session
from engine.sheet.gather import sheet_of

EVEN = ADVISERS["even_flow"]


def without(table: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {n: v for n, v in table.items() if n not in names}


def saying(**outputs: Any) -> Adviser:
    """Today's adviser, answering some of its outputs otherwise; None: not at all."""

    def run(job: Job, inputs: Inputs, evidence: Evidence) -> Judgement:
        advice = EVEN.run(job, inputs, evidence)
        said = {n: v for n, v in {**advice.outputs, **outputs}.items() if v is not None}
        return replace(advice, outputs=said)

    gone = [n for n, v in outputs.items() if v is None]
    verdict = Output(Type("choice", choices=("even", "turn", "no answer", "unsettled")), "")
    wide = Output(replace(EVEN.outputs["gap"].type, high=F(10**6)), "")
    return replace(EVEN, run=run, outputs=without({"verdict": verdict, "gap": wide}, *gone))


#: What has become of the one adviser, in versions of the program that read the run later.
LATER: dict[str, Registry] = {
    "as it was": ADVISERS,
    "gone": {},
    "under another name": {"even_flows": replace(EVEN, name="even_flows")},
    "without an input": {"even_flow": replace(EVEN, inputs=without(EVEN.inputs, "tolerance"))},
    "with a new input": {
        "even_flow": replace(EVEN, inputs={**EVEN.inputs, "speed": Input("reading", "", optional=True)})
    },
    "needing a new input": {
        "even_flow": replace(EVEN, inputs={**EVEN.inputs, "speed": Input("reading", "pump speed")})
    },
    "reading another quantity": {
        "even_flow": replace(EVEN, inputs={**EVEN.inputs, "flow": replace(EVEN.inputs["flow"], quantities=("steam",))})
    },
    "for another kind of screw": {
        "even_flow": replace(EVEN, inputs={**EVEN.inputs, "screw": replace(EVEN.inputs["screw"], acts=("steam",))})
    },
    "allowing less": {
        "even_flow": replace(
            EVEN, inputs={**EVEN.inputs, "target": Input("value", "", replace(EVEN.inputs["target"].type, high=F(1)))}
        )
    },
    "without an output": {"even_flow": saying(gap=None)},
    "without its verdict": {"even_flow": saying(verdict=None)},
    "with a verdict less": {
        "even_flow": replace(
            EVEN, outputs={**EVEN.outputs, "verdict": Output(Type("choice", choices=("even", "turn")), "")}
        )
    },
    "making nothing": {"even_flow": replace(EVEN, makes=frozenset())},
    "finding something else": {"even_flow": replace(EVEN, findings={"valve-stuck-fast": "stop"})},
}


@pytest.mark.parametrize("later", LATER.values(), ids=LATER.keys())
@pytest.mark.parametrize("answers", [LONG_WAY[:4], LONG_WAY[:12], LONG_WAY], ids=["early", "midway", "ended"])
def test_a_run_is_read_and_printed_whatever_became_of_its_adviser(answers: tuple[Answer, ...], later: Registry) -> None:
    session = answered(begun(), *answers)
    again = Session.reopen(session.book, session.run, advisers=later, clock=lambda: CLOCK)
    assert again.state.seq == session.state.seq
    now, then = step_message(again.view), step_message(session.view)
    assert now == then
    assert sheet_of(session.book, session.run, later) == sheet_of(session.book, session.run, ADVISERS)


def gone_on(later: Registry) -> tuple[Session, Any]:
    session = answered(begun(), DONE, DONE)
    again = Session.reopen(session.book, session.run, advisers=later, clock=lambda: CLOCK)
    return again, again.answer(gate(4, 7.5))


@pytest.mark.parametrize(
    "became", sorted(LATER.keys() - {"gone", "under another name", "needing a new input", "without its verdict"})
)
def test_it_goes_on_where_the_adviser_still_answers_what_the_procedure_decides_on(became: str) -> None:
    again, reply = gone_on(LATER[became])
    assert reply.problem is None
    assert again.view.step == "turn"
    assert [m.turns for m in again.view.moves] == [1, F(3, 4)]


@pytest.mark.parametrize(
    ("later", "why"),
    [
        ({}, "there is no adviser 'even_flow' in it"),
        (
            LATER["needing a new input"],
            "its adviser 'even_flow' now needs 'speed', which the run's procedure does not give",
        ),
        (
            LATER["without its verdict"],
            "its adviser 'even_flow' no longer tells 'verdict', on which the run's procedure decides",
        ),
        (
            {"even_flow": saying(verdict="unsettled")},
            "its adviser 'even_flow' now answers 'verdict' with 'unsettled', which the run's procedure does not know",
        ),
    ],
)
def test_where_it_does_not_the_answer_is_refused_in_a_sentence_and_nothing_is_lost(later: Registry, why: str) -> None:
    again, reply = gone_on(later)
    assert reply.recorded is None
    assert reply.problem == (
        f"This step can't be gone on with in this version of the program, because {why}: undo, give the run up here, "
        "or go on with it in the version that it was started with, 0.1.0."
    )
    assert again.view.step == "measure"
    assert again.answer(Answer(note="Left as it stands.")).problem is None
    assert again.answer(Answer(undo=True)).problem is None
    assert again.answer(Answer(abandon="The version of then is not at hand.")).problem is None
    assert again.over


def test_a_number_stays_in_the_range_of_then_so_that_what_was_proved_of_it_holds() -> None:
    again, reply = gone_on({"even_flow": saying(gap=F(5000))})
    assert reply.problem is None
    assert [a.values["gap"] for a in again.view.advice] == [100]


def test_the_contracts_of_then_stand_in_the_first_event() -> None:
    session = begun()
    first = codec.load(session.book.events(session.run)[0].body)
    assert first["advisers"]["even_flow"]["version"] == 1
    assert set(first["advisers"]["even_flow"]["inputs"]) == {"flow", "screw", "target", "tolerance"}
    assert first["advisers"]["even_flow"]["outputs"]["verdict"]["choices"] == ["even", "turn", "no answer"]


def test_what_is_written_anew_is_judged_by_todays_contracts() -> None:
    """Only a run's own texts are read by structure: a file that is loaded to be started is judged."""
    texts = {n: p.source.text for n, p in valves().files.items()}
    for became in (
        "gone",
        "without an input",
        "needing a new input",
        "reading another quantity",
        "allowing less",
        "with a verdict less",
        "making nothing",
    ):
        assert load_texts(texts, "balance_two_valves", LATER[became]).program is None, became


def test_a_text_with_an_adviser_that_no_contract_names_is_read_by_what_its_inputs_look_like() -> None:
    text = (PROCEDURES / "balance_two_valves.yaml").read_text(encoding="utf-8")
    text = text.replace("adviser: even_flow", "adviser: nobody").replace("next.verdict == 'even'", "gap < 1 L/min")
    text = text.replace("next.verdict == 'no answer'", "gap > 9 L/min")
    bleed = (PROCEDURES / "bleed_line.yaml").read_text(encoding="utf-8")
    loaded = load_texts({"balance_two_valves": text, "bleed_line": bleed}, "balance_two_valves", {}, judged=False)
    assert loaded.program is not None
    (advise,) = loaded.program.files["balance_two_valves"].steps["measure"].advise
    assert {n: b.kind for n, b in advise.bindings.items()} == {
        "flow": "reading",
        "screw": "screw",
        "target": "value",
        "tolerance": "value",
    }


def test_the_settings_of_a_book_in_memory_are_of_then_too() -> None:
    session = begun(Book.memory(), settings={"target": "7 L/min"})
    again = Session.reopen(session.book, session.run, advisers={}, clock=lambda: CLOCK)
    assert again.plan.settings == session.plan.settings


def test_a_job_that_can_not_be_read_any_more_is_a_sentence() -> None:
    session = begun()
    first = codec.load(session.book.events(session.run)[0].body)
    first["job"] = {**first["job"], "engine": {"cylinders": 2}}
    with pytest.raises(BookTrouble, match=r"^The job that this run was started with can't be read by this version"):
        plan_of(session.book, first)
