"""What the checks find in the work that a file asks for: readings gone stale, moves, figures that can't be meant."""

import random
from pathlib import Path

import pytest
from walk_kit import job_of

from engine.carburation.registry import shipped
from engine.procedure.build.load import load_texts
from engine.procedure.report.checking import check_file
from engine.run.bind import NotForThisJob
from engine.run.layout import prepare

ADVISERS = shipped()


#: A routine that is sound, with everything that the cases below spoil.
AIR = """\
procedure: air
title: Balance the air
revision: 1
for: {family: any, carbs: {from: 1, to: 4}}
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
  hot: {word: caution, text: Hot., demanded_by: [hot]}
facts:
  coupled: bank.linkage_balance_screws
settings:
  tolerance: {value: 5 %, range: [1, 30], source: common practice}
  least_flow: {value: 0.25 kg/h, range: [0.05, 1], source: common practice}
  lambda_rich: {value: 0.86, range: [0.7, 1], source: common practice}
  lambda_lean: {value: 0.96, range: [0.8, 1.1], source: common practice}
  rest_low: {value: 1 turn, range: [-3, 4], source: common practice}
  rest_high: {value: 2 turn, range: [-3, 5], source: common practice}
screws:
  speed_screw:
    each: carb
    acts: air
    at: plate
    in: more air
    unit: turn
    zero: first contact
    step: 1/32 turn
    range: [-3, 5]
    band: [rest_low, rest_high]
readings:
  speed:
    {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000], average: 10 s, healthy: {from: 800, to: 1000}}
  airflow: {ask: Airflow, quantity: airflow, each: barrel, unit: kg/h, range: [0, 30], step: 0.1}
  lam: {ask: Lambda, quantity: lambda, unit: "", range: [0.5, 2]}
  gauge_found: {ask: The gauge?, choices: [read again, broken]}
symptoms:
  stall:
    kind: stall
    ask: It stalls
    call: restart
    ends: {running: back, dead: not_even}
    limit: {visits: 3, then: not_even}
start: begin
steps:
  begin:
    keep: {turned: "False"}
    go: first_row
  first_row:
    state: {engine: running, hold: none}
    hazards: [hot]
    do: Read the row.
    read: [speed, airflow, lam]
    record: as found
    go: judge
  judge:
    advise:
      name: next
      adviser: air_balance
      with: {flow: airflow, speed: speed, screw: speed_screw, tolerance: tolerance, least_flow: least_flow}
    branch:
      - {when: next.verdict == 'even' and lambda_rich <= lam <= lambda_lean, go: even}
      - {when: next.verdict == 'turn', go: turn}
      - {otherwise: look}
  turn:
    limit: {visits: 8, then: not_even}
    state: {engine: running, hold: none}
    do: Turn as shown.
    make: next
    read: [speed, airflow, lam]
    keep: {turned: "True"}
    go: judge
  look:
    limit: {visits: 2, then: not_even}
    do: Look the gauge over.
    read: [gauge_found]
    branch:
      - {when: gauge_found == 'read again', go: more_air}
      - otherwise: not_even
        finding: {code: gauge-broken, severity: stop, say: It can't be trusted.}
  more_air:
    limit: {visits: 3, then: not_even}
    state: {engine: running, hold: 1500 rpm}
    do: Open them all a little.
    moves:
      - {screw: speed_screw, each: carb, by: 1/8 turn, direction: in, when: not coupled}
      - {screw: speed_screw, only: [{carb: 1}], by: 1/8 turn, direction: in, when: coupled}
    go: first_row
  even: {end: ok, say: 'Even. Turned: {turned}.'}
  not_even: {end: failed, say: It would not come even.}
"""
RESTART = """\
procedure: restart
title: Start it
revision: 1
for: {family: any, carbs: {from: 1, to: 4}}
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
readings:
  catches: {ask: Does it run?, choices: [it runs, it does not]}
symptoms:
  stall: {kind: stall, ask: It stalls, go: dead}
start: gate
steps:
  gate:
    state: {engine: running, hold: 1500 rpm}
    do: Start it and hold it.
    read: [catches]
    branch:
      - {when: catches == 'it runs', go: running}
      - {otherwise: dead}
  running: {end: ok, say: It runs.}
  dead: {end: failed, say: It does not.}
"""


@pytest.fixture
def spoilt(tmp_path):
    """The errors of the routine above with one text put in place of another, as codes."""

    def run(old, new):
        assert old in AIR, old
        (tmp_path / "air.yaml").write_text(AIR.replace(old, new, 1), encoding="utf-8", newline="\n")
        (tmp_path / "restart.yaml").write_text(RESTART, encoding="utf-8", newline="\n")
        found = check_file(tmp_path / "air.yaml", [], ADVISERS)
        return {p.code for p in found.problems if p.severity == "error"}

    return run


def test_the_routine_that_the_cases_spoil_is_sound(spoilt):
    assert spoilt("title: Balance the air", "title: Balance it") == set()


def test_a_row_that_is_not_taken_again_after_the_turn_is_stale(spoilt):
    turned = "    make: next\n    read: [speed, airflow, lam]\n"
    assert spoilt(turned, "    make: next\n") == {"stale-reading"}
    assert spoilt(turned, "    make: next\n    read: [speed, lam]\n") == {"stale-reading"}


def test_what_a_called_file_turns_makes_the_readings_of_its_caller_stale(tmp_path):
    caller = """\
procedure: caller
title: Caller
revision: 1
for: {family: any, carbs: {from: 1, to: 4}}
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000]}
symptoms:
  stall: {kind: stall, ask: It stalls, go: done}
start: gate
steps:
  gate:
    state: {engine: running, hold: none}
    do: Read it.
    read: [speed]
    go: balance
  balance:
    call: air
    ends: {even: after, not_even: uneven}
  after:
    do: Look.
    AGAINbranch:
      - {when: speed > 900 rpm, go: done}
      - {otherwise: done}
  done: {end: ok, say: Done.}
  uneven: {end: failed, say: Uneven.}
"""

    def codes(again):
        (tmp_path / "air.yaml").write_text(AIR, encoding="utf-8", newline="\n")
        (tmp_path / "restart.yaml").write_text(RESTART, encoding="utf-8", newline="\n")
        (tmp_path / "caller.yaml").write_text(caller.replace("AGAIN", again), encoding="utf-8", newline="\n")
        return [p.code for p in check_file(tmp_path / "caller.yaml", [], ADVISERS).problems if p.severity == "error"]

    assert codes("") == ["stale-reading"]
    assert codes("state: {engine: running, hold: none}\n    read: [speed]\n    ") == []


def test_a_row_taken_while_the_engine_is_held_is_no_idle(spoilt):
    first = "  first_row:\n    state: {engine: running, hold: none}"
    assert spoilt(first, first.replace("none", "1500 rpm")) == {"not-at-idle", "mixed-hold"}
    # A symptom's file leaves the engine held: what the step does not say stays as it is.
    turn = "  turn:\n    limit: {visits: 8, then: not_even}\n    state: {engine: running, hold: none}"
    assert spoilt(turn, turn.replace(", hold: none", "")) == {"not-at-idle", "mixed-hold"}


def test_what_was_found_is_recorded_before_anything_is_turned(spoilt):
    assert spoilt("    make: next\n", "    make: next\n    record: as found\n") == {"found-after-moves"}


def test_advice_to_turn_is_made_and_made_once(spoilt):
    assert "advice-not-made" in spoilt("    make: next\n", "")
    wrong = "{when: next.verdict == 'turn', go: turn}"
    assert "advice-not-made" in spoilt(wrong, wrong.replace("go: turn", "go: look"))
    again = '    keep: {turned: "True"}\n    go: judge\n'
    twice = again.replace("go: judge", "go: twice") + (
        "  twice:\n    state: {engine: running, hold: none}\n    do: Turn.\n    make: next\n"
        "    read: [speed, airflow, lam]\n    go: judge\n"
    )
    assert spoilt(again, twice) == {"made-twice"}


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("by: 1/8 turn, direction: in, when: not", "by: 1 flat, direction: in, when: not", "turned-in-other-unit"),
        ("by: 1/8 turn, direction: in, when: not", "by: 1/64 turn, direction: in, when: not", "finer-than-step"),
        ("direction: in, when: not coupled", "direction: in", "screw-twice"),
        ("average: 10 s", "average: 9999 min", "unlikely-time"),
        ("average: 10 s", "average: 0 s", "unlikely-time"),
        ("healthy: {from: 800, to: 1000}", "healthy: {from: 1000, to: 800}", "upside-down"),
        ("step: 0.1", "step: 50", "step-past-range"),
        ("otherwise: not_even\n        finding", "otherwise: even\n        finding", "ok-over-stop"),
        ('keep: {turned: "True"}\n    go: judge', 'keep: {turnd: "True"}\n    go: judge', "kept-for-nothing"),
        ("lambda_rich: {value: 0.86", "lambda_rich: {value: 0.99", "upside-down"),
        ("rest_high: {value: 2 turn", "rest_high: {value: 1/2 turn", "upside-down"),
        ("band: [rest_low, rest_high]", "band: [rest_high, rest_low]", "upside-down"),
    ],
)
def test_what_can_not_be_meant_is_an_error(spoilt, old, new, code):
    assert code in spoilt(old, new)


def test_a_shop_can_not_set_rich_over_lean():
    program = load_texts({"air": AIR, "restart": RESTART}, "air", ADVISERS).program
    job = job_of(random.Random(1), program)
    prepare(program, job, {"lambda_rich": 0.9})
    with pytest.raises(NotForThisJob, match=r"lambda_rich: 1' does not go with 'lambda_lean: 0.96'"):
        prepare(program, job, {"lambda_rich": 1})
    with pytest.raises(NotForThisJob, match="rest_low must not be above rest_high"):
        prepare(program, job, {"rest_low": "4 turn"})


# ---- a shop's file in place of a shipped one


@pytest.fixture
def shop(tmp_path):
    """Checks a shop's version of a file that `air` calls: its errors as (in the shop, code, message)."""
    shipped_folder, shop_folder = tmp_path / "shipped", tmp_path / "shop"
    shipped_folder.mkdir()
    shop_folder.mkdir()
    for name, text in (("air", AIR), ("restart", RESTART)):
        (shipped_folder / f"{name}.yaml").write_text(text, encoding="utf-8", newline="\n")

    def run(old, new, ask=None):
        (shop_folder / "restart.yaml").write_text(RESTART.replace(old, new), encoding="utf-8", newline="\n")
        found = check_file(ask or shop_folder / "restart.yaml", [shop_folder, shipped_folder], ADVISERS)
        return {(Path(p.path).parent.name, p.code, p.message) for p in found.problems if p.severity == "error"}

    return run


def test_a_shops_file_is_checked_with_those_that_call_it_and_the_error_stands_in_it(shop):
    told = {
        ("shop", "called-otherwise", "Called by `air`, which expects an end `running`."),
        ("shop", "called-otherwise", "Called by `air`, which knows no end `runs`."),
    }
    assert shop("running", "runs") != told  # `engine: runs` is a slip of its own
    assert shop("go: running}", "go: runs}").issuperset({("shop", "unknown-step", "There is no step `runs`.")})
    both = ("  running: {end", "  runs: {end")
    renamed = RESTART.replace(*both).replace("go: running}", "go: runs}")
    assert shop(RESTART, renamed) == told
    # Whoever asks for the routine that calls it is shown the shop's file, not the shipped one.
    assert shop(RESTART, renamed, ask="air") == told


def test_a_shops_file_that_keeps_its_ends_gives_no_alarm(shop):
    assert shop("revision: 1", "revision: 2") == set()
