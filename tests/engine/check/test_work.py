"""What the checks find in the work that a file asks for: readings gone stale, moves, figures that can't be meant."""

from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.procedure.build.load import load
from engine.procedure.report.checking import check_file
from engine.run.bind import NotForThisJob
from engine.run.layout import prepare

SHIPPED = Path(__file__).parents[3] / "procedures"
ADVISERS = shipped()


@pytest.fixture
def spoilt(tmp_path):
    """The new problems of a shipped file with one text put in place of another, as (code, severity) by file."""

    def run(name, old, new, count=1, main=None):
        text = (SHIPPED / f"{name}.yaml").read_text(encoding="utf-8")
        assert old in text, old
        (tmp_path / f"{name}.yaml").write_text(text.replace(old, new, count), encoding="utf-8", newline="\n")
        found = check_file(tmp_path / f"{main or name}.yaml" if main is None else main, [tmp_path, SHIPPED], ADVISERS)
        return {p.code for p in found.problems if p.severity == "error"}

    return run


def test_a_row_that_is_not_taken_again_after_the_turn_is_stale(spoilt):
    turned = "    make: next\n    read: [speed, airflow]\n"
    assert spoilt("air-balance", turned, "    make: next\n") == {"stale-reading"}
    assert spoilt("air-balance", turned, "    make: next\n    read: [speed]\n") == {"stale-reading"}


def test_what_a_called_file_turns_makes_the_readings_of_its_caller_stale(tmp_path):
    caller = """\
procedure: caller
title: Caller
revision: 1
for: {family: any, carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 2}}
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000]}
start: gate
steps:
  gate:
    state: {engine: running, hold: none}
    do: Read it.
    read: [speed]
    go: balance
  balance:
    call: air-balance
    ends: {even: after, out_of_step: done, not_even: done, no_answer: done, at_stop: done, unsettled: done}
  after:
    do: Look.
    AGAINbranch:
      - {when: speed > 900 rpm, go: done}
      - {otherwise: done}
  done: {end: ok, say: Done.}
"""

    def codes(again):
        (tmp_path / "caller.yaml").write_text(caller.replace("AGAIN", again), encoding="utf-8", newline="\n")
        return [
            p.code for p in check_file(tmp_path / "caller.yaml", [SHIPPED], ADVISERS).problems if p.severity == "error"
        ]

    assert codes("") == ["stale-reading"]
    assert codes("state: {engine: running, hold: none}\n    read: [speed]\n    ") == []


def test_a_row_taken_while_the_engine_is_held_is_no_idle(spoilt):
    first = "  first_row:\n    title: Read the bank\n    state: {engine: running, hold: none}"
    assert spoilt("air-balance", first, first.replace("none", "1500 rpm")) == {"not-at-idle"}
    # A symptom's file leaves the engine held: what the step does not say stays as it is.
    turn = "    limit: {visits: 8, then: not_even}\n    state: {engine: running, hold: none}"
    assert spoilt("air-balance", turn, turn.replace(", hold: none", "")) == {"not-at-idle"}


def test_what_was_found_is_recorded_before_anything_is_turned(spoilt):
    found = spoilt("idle-mixture", "    make: next\n", "    make: next\n    record: as found\n")
    assert found == {"found-after-moves"}


def test_advice_to_turn_is_made_and_made_once(spoilt):
    assert "advice-not-made" in spoilt("air-balance", "    make: next\n", "")
    wrong = "{when: next.verdict == 'turn', go: turn}"
    assert "advice-not-made" in spoilt("air-balance", wrong, wrong.replace("go: turn", "go: row_again"))
    again = '    read: [speed, airflow]\n    keep: {turned: "True"}\n    go: judge\n'
    twice = again.replace("go: judge", "go: twice") + (
        "\n  twice:\n    state: {engine: running, hold: none}\n    do: Turn.\n    make: next\n"
        "    read: [speed, airflow]\n    go: judge\n"
    )
    assert spoilt("air-balance", again, twice) == {"made-twice"}


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        (
            "by: 1/8 turn, direction: in, when: not coupled",
            "by: 1 flat, direction: in, when: not coupled",
            "turned-in-other-unit",
        ),
        (
            "by: 1/8 turn, direction: in, when: not coupled",
            "by: 1/64 turn, direction: in, when: not coupled",
            "finer-than-step",
        ),
        ("direction: in, when: not coupled", "direction: in", "screw-twice"),
        ("average: 10 s", "average: 9999 min", "unlikely-time"),
        ("healthy: {from: 800, to: 1000}", "healthy: {from: 1000, to: 800}", "upside-down"),
        ("step: 0.1", "step: 50", "step-past-range"),
        ("otherwise: not_even\n        finding", "otherwise: even\n        finding", "ok-over-stop"),
        ('keep: {turned: "True"}\n    go: judge', 'keep: {turnd: "True"}\n    go: judge', "kept-for-nothing"),
    ],
)
def test_what_can_not_be_meant_is_an_error(spoilt, old, new, code):
    assert code in spoilt("air-balance", old, new)


def test_a_pair_of_settings_upside_down_is_an_error_in_a_file_and_refused_from_a_shop(spoilt):
    assert spoilt("idle-mixture", "lambda_rich: {value: 0.86", "lambda_rich: {value: 0.99") == {"upside-down"}
    assert spoilt("idle-mixture", "long taper: 3 turn, range: [0, 8]", "long taper: 1.5 turn, range: [0, 8]") == {
        "upside-down"
    }
    assert spoilt("idle-mixture", "band: [mixture_low, mixture_high]", "band: [mixture_high, mixture_low]") == {
        "upside-down"
    }


def test_a_shop_can_not_set_rich_over_lean():
    import random

    from walk_kit import job_of

    program = load("idle-mixture", [SHIPPED], ADVISERS).program
    job = job_of(random.Random(1), program)
    prepare(program, job, {"lambda_rich": 0.9})
    with pytest.raises(NotForThisJob, match=r"lambda_rich: 1' does not go with 'lambda_lean: 0.96'"):
        prepare(program, job, {"lambda_rich": 1})
    with pytest.raises(NotForThisJob, match="mixture_low must not be above mixture_high"):
        prepare(program, job, {"mixture_low": "4 turn"})
