"""Files that the checks once called sound, and a run of theirs then stranded, crashed or showed what was not so; and
sound ones that they refused. Each is checked and walked."""

import json
import random
from fractions import Fraction
from pathlib import Path

import jsonschema
import pytest
from walk_kit import plan_of, walk

from engine.carburation.registry import shipped
from engine.evidence import Move
from engine.procedure.build.load import load_texts
from engine.procedure.check import check
from engine.procedure.report.pages import files_of
from engine.protocol.talk import step_message
from engine.quantity.wording import decimal
from engine.run.events import Event
from engine.run.machine import begin, step
from engine.session.shown import show

ADVISERS = shipped()
SCHEMA = json.loads((Path(__file__).parents[3] / "engine/protocol/talk.schema.json").read_text(encoding="utf-8"))
ANY = "for: {family: any, carbs: {from: 1, to: 3}, barrels_per_carb: {from: 1, to: 2}}\n"


@pytest.fixture
def judged():
    """The codes of the errors of an example. A sound one is walked: it must end, and never meet an internal error."""

    def run(example, walks=24):
        loaded = load_texts(files_of(example), "example", ADVISERS)
        problems = [*loaded.problems, *(check(loaded.program, ADVISERS) if loaded.program else ())]
        errors = sorted({p.code for p in problems if p.severity == "error"})
        for seed in range(walks if not errors else 0):
            walk(random.Random(seed), loaded.program, ADVISERS, 3000, hostile=(0.0, 0.3, 1.0)[seed % 3])
        return errors

    return run


# ---- rows without a place


GAPS = ANY + "readings:\n  play: {ask: Play, each: gap, unit: mm, range: [0, 5]}\n"


def test_the_greatest_of_the_gaps_is_missing_on_a_bank_of_one(judged):
    example = (
        GAPS
        + """\
steps:
  gate:
    do: Look.
    read: [play]
    keep: {most: max(play)}
    branch:
      - {when: most > 1 mm, go: done}
      - {when: most <= 1 mm, go: done}
"""
    )
    assert judged(example) == ["uncovered-reading"]
    assert judged(example + "      - {otherwise: done}\n") == []
    assert judged(example.replace(ANY, "for: {family: any, carbs: {from: 2, to: 3}}\n")) == []


def test_what_may_be_missing_on_a_bank_of_one_is_not_handed_to_another_file(judged):
    example = (
        GAPS
        + """\
steps:
  gate:
    do: Look.
    read: [play]
    go: inside
  inside:
    call: inner
    with: {n: max(play)}
    ends: {done: done}
# file: inner.yaml
for: {family: any, carbs: {from: 1, to: 3}, barrels_per_carb: {from: 1, to: 2}}
parameters: {n: {unit: mm, range: [0, 5]}}
steps:
  gate:
    do: Look.
    branch:
      - {when: n > 1 mm, go: done}
      - {when: n <= 1 mm, go: done}
"""
    )
    assert judged(example) == ["may-be-missing"]
    assert judged(example.replace(ANY, "for: {family: any, carbs: {from: 2, to: 3}}\n")) == []


def test_nobody_is_asked_for_the_gaps_of_a_bank_of_one(judged):
    """The line protocol has no row of no values, and a screen nothing to type them into."""
    example = (
        GAPS
        + """\
  sound: {ask: Sound, choices: [steady, rough]}
steps:
  gate:
    do: Look.
    read: [play, sound]
    branch:
      - {when: sound == 'rough', go: only}
      - {otherwise: done}
  only:
    read: [play]
    branch:
      - {when: known(play) and any(play > 1), go: done}
      - {otherwise: done}
"""
    )
    assert judged(example) == []
    program = load_texts(files_of(example), "example", {}).program
    for seed in range(12):
        plan = plan_of(random.Random(seed), program)
        view = show(plan, begin(plan, None)[0], "1.1", {})
        assert [a.name for a in view.read] == (["sound"] if plan.job.bank.carbs == 1 else ["play", "sound"])
        jsonschema.validate(json.loads(json.dumps(step_message(view))), SCHEMA)


def test_an_engine_has_more_cylinders_than_its_bank_may_tell(judged):
    example = """\
readings:
  comp: {ask: Compression, each: cylinder, unit: bar, range: [0, 20]}
steps:
  gate:
    do: Look.
    read: [comp]
    keep: {n: count(comp > 5 bar)}
    branch:
      - {when: n <= 8, go: done}
"""
    assert judged(example) == ["uncovered-reading"]
    assert judged(example.replace("n <= 8", "n <= 16")) == []


# ---- screws


FITTED = (
    ANY
    + """\
facts: {coupled: bank.linkage_balance_screws}
screws:
  bal: {each: carb, acts: air, at: plate, in: more air, unit: turn, zero: contact, range: [-3, 5], when: coupled}
"""
)


def test_of_a_screw_that_is_not_fitted_no_place_is_known(judged):
    example = (
        FITTED
        + """\
readings: {counted: {ask: Turns, each: carb, unit: turn, range: [-3, 5]}}
steps:
  gate:
    do: Look.
    read: [counted]
    branch:
      - {when: not known(bal), go: done}
      - {when: any(position(bal) >= -3 turn) and any(counted - position(bal) > 0 turn), go: done}
      - {when: any(position(bal) >= -3 turn) and not any(counted - position(bal) > 0 turn), go: done}
"""
    )
    assert judged(example) == []


def test_a_screw_of_a_file_at_one_place_is_a_row_where_it_has_several(judged):
    example = (
        ANY
        + """\
steps:
  gate:
    call: inner
    each: %s
    ends: {done: next}
    go: done
# file: inner.yaml
for: {family: any, carbs: {from: 1, to: 3}, barrels_per_carb: {from: 1, to: 2}}
here: %s
screws:
  own: {each: carb, acts: air, at: plate, in: more air, unit: turn, zero: contact, range: [-3, 5]}
  by: {each: barrel, acts: air, at: bypass, in: less air, unit: turn, zero: seated, range: [0, 5]}
  link: {each: gap, acts: air, at: lever, in: more air, unit: turn, zero: contact, range: [-3, 5]}
steps:
  gate:
    do: Look.
    moves: [{screw: link, to: 1 turn}, {screw: by, to: 2 turn}]
    branch:
      - {when: any(position(link) > 0 turn) and %s, go: done}
      - {when: known(own) and position(own) > 0 turn, go: done}
      - {otherwise: done}
"""
    )
    assert judged(example % ("carb", "carb", "any(position(by) > 1 turn)")) == []
    assert judged(example % ("barrel", "barrel", "position(by) > 1 turn")) == []


def test_a_file_at_one_place_gives_single_values_back(judged):
    example = (
        ANY
        + """\
steps:
  gate:
    call: inner
    each: carb
    as: it
    ends: {done: next}
    go: judge
  judge:
    do: Look.
    branch:
      - {when: any(it.y > 1 turn), go: done}
      - {otherwise: done}
# file: inner.yaml
for: {family: any, carbs: {from: 1, to: 3}, barrels_per_carb: {from: 1, to: 2}}
here: carb
screws:
  by: {each: barrel, acts: air, at: bypass, in: less air, unit: turn, zero: seated, range: [0, 5]}
gives: {y: %s}
steps:
  gate:
    do: Look.
    go: done
"""
    )
    assert judged(example % "position(by)") == ["row-not-single"]
    assert judged(example % "max(position(by))") == []


TRAVEL = """\
screws:
  needle: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 4]}
settings:
  far: {value: 3 turn, range: [0, %s], source: common practice}
steps:
  gate:
    do: Turn it.
    moves: [{screw: needle, each: carb, %s}]
    go: look
  look:
    do: Look at it.
    branch:
      - {when: all(position(needle) <= 4 turn), go: done}
"""


def test_no_screw_is_turned_further_than_it_goes(judged):
    for move in ("to: far", "by: far, direction: in"):
        assert judged(TRAVEL % (9, move)) == ["out-of-range"]
        assert judged(TRAVEL % (4, move)) == []


def test_a_screw_that_was_counted_past_its_stop_stands_at_it(judged):
    """Somebody turned it from 3 by 2: it stands at 4, whatever was counted, and a guard goes by that."""
    program = load_texts(files_of(TRAVEL % (4, "to: far")), "example", {}).program
    assert program is not None
    plan = plan_of(random.Random(1), program)
    state, _ = begin(plan, None)
    place = plan.bank.places("carb")[0]
    moved = (Move("needle", place, "out", "more water", Fraction(2), None),)
    before = {("needle", p): Fraction(3) for p in plan.bank.places("carb")}
    state = state._replace(world=state.world._replace(positions=before))
    state, _ = step(plan, state, Event("done", moved=moved), None)
    state, _ = step(plan, state, Event("done"), None)
    assert state.end is not None and state.end.outcome == "ok"


@pytest.mark.parametrize(
    "work",
    ["state: {engine: running, hold: n * 1 rpm}", "fit: [{part: main jet, each: carb, size: n}]", "note: 'It is {n}.'"],
)
def test_what_is_counted_up_without_end_is_held_and_fitted_by_nobody(judged, work):
    example = f"""\
cautions: {{fumes: {{word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}}}
steps:
  gate:
    keep: {{n: 1000}}
    go: loop
  loop:
    limit: {{visits: 900, then: done}}
    do: 'Look at {{n}}.'
    keep: {{n: n * 1000000 / 7}}
    {work}
    go: loop
"""
    assert judged(example, 1) == ([] if work.startswith("note") else ["out-of-range"])
    assert decimal(Fraction(10) ** 9000) == "above 10^15"  # and no text that shows it takes the run down


# ---- names


def test_two_files_don_t_give_back_under_one_name(judged):
    example = """\
steps:
  gate:
    call: inner
    as: it
    ends: {done: again}
  again:
    call: %s
    as: it
    ends: {done: judge}
  judge:
    do: Look.
    branch:
      - {when: it.y > 5 mm, go: done}
      - {when: it.y <= 5 mm, go: done}
# file: inner.yaml
gives: {y: x}
readings: {x: {ask: X, unit: mm, range: [0, 10]}}
steps:
  gate:
    do: Look.
    read: [x]
    go: done
# file: other.yaml
gives: {y: c}
readings: {c: {ask: C, choices: [a, b]}}
steps:
  gate:
    do: Look.
    read: [c]
    go: done
"""
    assert judged(example % "other") == ["name-used-twice"]
    assert judged(example % "inner") == []


def test_a_reading_is_not_asked_for_twice_at_once(judged):
    example = """\
readings:
  c: {ask: C, choices: [a, b, d]}
  x: {ask: X, unit: mm, range: [0, 10]}
steps:
  gate:
    do: Look.
    read: [c]
    go: look
  look:
    do: Look.
    read: [{reading: x, when: c == 'a'}, {reading: x, when: %s}]
    record: as left
    go: done
"""
    assert judged(example % "c != 'd'") == ["name-used-twice"]
    assert judged(example % "c == 'd'") == []


def test_a_needle_beyond_its_scale_is_known_and_stands_at_the_top(judged):
    for each in ("", "each: carb, "):
        top = "any(co >= 10 mm)" if each else "co >= 10 mm"
        example = f"""\
readings:
  co: {{ask: CO, {each}unit: mm, range: [0, 10], over_range: true}}
steps:
  gate:
    do: Look.
    read: [co]
    branch:
      - {{when: known(co) and not over(co), go: done}}
      - {{when: {{when}}, go: done}}
"""
        assert judged(example.replace("{when}", "not known(co)")) == ["never-true", "uncovered-reading"]
        assert judged(example.replace("{when}", f"over(co) and {top}")) == []


# ---- ways


def test_a_step_whose_visits_are_used_up_when_a_stop_is_mended_leaves_things_as_it_set_them(judged):
    example = """\
cautions: {fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000]}
  clearance: {ask: Clearance, quantity: valve clearance, choices: [right, wrong], healthy: right}
  drips: {ask: Drips, choices: ['no', 'yes'], healthy: 'no'}
steps:
  gate:
    state: {engine: stopped}
    do: Switch it off.
    go: run
  run:
    limit: {visits: 1, then: measure}
    state: {engine: running}
    do: Start it.
    read: [drips, speed]
    branch:
      - {when: drips == 'yes', go: bad, finding: {code: fuel-leak, severity: %s, say: It drips., do: Mend it.}}
      - {when: speed > 100 rpm, go: done}
      - {otherwise: measure}
  measure:
    state: {%s}
    do: Measure.
    read: [clearance]
    record: as left
    go: done
  bad: {end: failed, say: Bad.}
"""
    assert judged(example % ("stop", "pedal_link: 'on'")) == ["read-while-running"]
    assert judged(example % ("stop", "engine: stopped")) == []


# ---- what is no longer so


TURNED = """\
cautions: {fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}
screws:
  speed_screw: {each: carb, acts: air, at: plate, in: more air, unit: turn, zero: contact, range: [-3, 5]}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000], may_lack: true}
steps:
  gate:
    state: {engine: running, hold: none}
    do: Read it.
    read: [speed]
    advise: {name: next, adviser: idle_speed, with: {speed: speed, screw: speed_screw, speed_tolerance: 30 rpm}}
    branch:
      - {when: next.verdict == 'turn', go: turn}
      - {otherwise: done}
  turn:
    limit: {visits: 3, then: done}
    do: Turn it.
    make: next
"""


def test_what_hands_do_is_not_decided_by_a_figure_of_before(judged):
    def example(work):
        return f"{TURNED}    go: more\n  more:\n    do: And this.\n    {work}\n    go: done\n"

    assert judged(example("read: [{reading: speed, when: speed > 900 rpm}]")) == ["stale-reading"]
    move = "moves: [{screw: speed_screw, each: carb, by: 1/8 turn, direction: in, when: speed > 900 rpm}]"
    assert judged(example(move)) == ["stale-reading"]
    assert judged(example(move).replace("make: next\n", "make: next\n    read: [speed]\n")) == []


def test_what_an_adviser_said_before_a_turn_is_not_gone_by_after_it(judged):
    example = (
        TURNED
        + """\
    read: [speed]
    advise: {name: next, adviser: idle_speed, %swith: {speed: speed, screw: speed_screw, speed_tolerance: 30 rpm}}
    branch:
      - {when: next.verdict == 'turn', go: turn}
      - {otherwise: done}
"""
    )
    assert judged(example % "when: known(speed), ") == ["stale-advice"]
    assert judged(example % "") == []


def test_a_text_that_shows_a_figure_of_before_is_told():
    for read, told in (("", ["stale-reading"]), ("    read: [speed]\n", [])):
        example = TURNED + read + "    go: last\n  last: {end: ok, say: 'It idles at {speed:rpm}.'}\n"
        program = load_texts(files_of(example), "example", ADVISERS).program
        assert program is not None and [p.code for p in check(program, ADVISERS)] == told


def test_a_stop_that_an_adviser_finds_does_not_lead_straight_to_an_end_that_says_ok(judged):
    """`lean-under-load` always comes with `lean == 'yes'`: where that is branched off, nothing is left of it."""
    example = """\
for: {family: any, carbs: 2}
readings:
  low: {ask: Low, quantity: lambda, unit: '', range: [0.5, 2]}
  high: {ask: High, quantity: lambda, unit: '', range: [0.5, 2]}
cautions:
  fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}
  road: {word: danger, text: Straps on., demanded_by: [road load]}
steps:
  gate:
    state: {engine: running}
    hazards: [road load]
    do: Pull once.
    read: [low, high]
    advise:
      name: next
      adviser: main_circuit
      with: {low: low, low_speed: 3000 rpm, high: high, high_speed: 6000 rpm}
    branch:
      LEAN- {when: next.verdict == 'right', go: fine}
      - {otherwise: bad}
  fine: {keep: {good: "True"}, go: done}
  bad: {end: failed, say: Bad.}
"""
    branched = "- {when: next.lean == 'yes', go: bad}\n      "
    assert judged(example.replace("LEAN", "")) == ["ok-over-stop"]
    assert judged(example.replace("LEAN", branched)) == []


LOOKED = """\
%sstart: gate
steps:
  gate: {call: looks, ends: {done: after}}
  after: {%s}
  done: {end: ok, say: Done.}
# file: looks.yaml
%sreadings:
  belt: {ask: Belt, choices: [sound, frayed], healthy: sound}
start: gate
steps:
  gate:
    do: Look at the belt.
    read: [belt]
    branch:
      - {when: belt == 'frayed', go: quietly, finding: {code: belt-frayed, severity: stop, say: Frayed., do: New one.}}
      - {otherwise: done}
  quietly: {branch: [{when: belt == 'frayed', go: done}, {otherwise: done}]}
  done: {end: ok, say: Looked at.}
"""


def test_an_end_that_says_ok_belongs_to_the_run_and_a_called_file_may_end_so_over_a_stop(judged):
    assert judged(LOOKED % (ANY, "do: Go on., go: done", ANY)) == []
    assert judged(LOOKED % (ANY, 'keep: {gone: "True"}, go: done', ANY)) == ["ok-over-stop"]


# ---- a danger that somebody else brought about


LEFT = """\
%sdeclares: {states: {lid: [open, shut]}}
readings:
  x: {ask: X, unit: mm, range: [0, 5]}
%sstart: gate
steps:
  gate: {call: opens, ends: {done: reach}}
  reach:
    do: Reach in.
    read: [x]
    branch: [{when: x > 1 mm, go: shut}, {otherwise: done}]
  shut: {state: {lid: shut}, do: Shut it., go: done}
  done: {end: ok, say: Done.}
# file: opens.yaml
%sdeclares: {states: {lid: [open, shut]}}
cautions: {spring: {word: danger, text: It springs., demanded_by: ["%s"]}}
%sstart: gate
steps:
  gate: {state: {%s}, do: Open it., go: done}
  done: {end: ok, say: Done.}
"""
SPRING = 'cautions: {spring: {word: danger, text: It springs., demanded_by: ["lid: open"]}}\n'


def test_a_danger_that_a_called_file_leaves_standing_is_said_where_somebody_works_on(judged):
    assert judged(LEFT % (ANY, "", ANY, "lid: open", "", "lid: open")) == ["missing-caution"]
    assert judged(LEFT % (ANY, SPRING, ANY, "lid: open", "", "lid: open")) == []
    assert judged(LEFT % (ANY, "", ANY, "engine: running", "", "engine: running")) == ["missing-caution"]


def test_a_danger_that_a_caller_set_is_said_in_the_file_that_it_calls(judged):
    example = """\
%scautions: {fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}
symptoms:
  hiss: {kind: leak, ask: It hisses, call: looks, ends: {done: done}, limit: {visits: 1, then: done}}
start: gate
steps:
  gate: {state: {engine: running}, do: Start it., go: done}
  done: {end: ok, say: Done.}
# file: looks.yaml
%s%sstart: gate
steps:
  gate: {%sdo: Look under it., go: done}
  done: {end: ok, say: Done.}
"""
    fumes = 'cautions: {fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}\n'
    assert judged(example % (ANY, ANY, "", "")) == ["missing-caution"]
    assert judged(example % (ANY, ANY, "", "state: {engine: stopped}, ")) == []
    assert judged(example % (ANY, ANY, fumes, "")) == []


def test_of_a_kept_number_that_was_worked_out_nobody_says_surely_what_it_is():
    example = (
        ANY
        + """\
start: gate
steps:
  gate: {keep: {n: 0}, go: again}
  again:
    limit: {visits: 3, then: done}
    do: Once more.
    keep: {n: n + 1}
    branch: [{when: n == 1, go: again}, {when: n > 1, go: again}]
  done: {end: ok, say: Done.}
"""
    )
    loaded = load_texts(files_of(example), "example", ADVISERS)
    (told,) = check(loaded.program, ADVISERS)
    assert told.message == "May match nothing: n = 0."


# ---- figures that can't be meant, and advice that was overtaken


TRIMMED = """\
for: {family: any, carbs: {from: 2, to: 4}}
cautions: {fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}
settings:
  least: {value: 1 turn, range: [0.5, 2], source: common practice}
  near: {value: 20 rpm, range: [-50, 50], source: common practice}
screws:
  needle: {each: barrel, acts: mixture, at: jet, in: leaner, unit: turn, zero: seated, range: [0, 8], step: 1/32 turn}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000], healthy: {from: 900 - near, to: 900 + near}}
steps:
  gate:
    state: {engine: running, hold: none}
    do: Read it.
    read: [speed]
    advise: {name: next, adviser: idle_mixture, with: {screw: needle, speed: speed, low: least, high: 1.5 turn}}
    branch:
      - {when: next.verdict == 'turn', go: turn}
      - {otherwise: done}
  turn:
    limit: {visits: 3, then: done}
    do: Turn.
    make: next
    go: gate
"""


def test_an_adviser_is_given_its_ends_the_right_way_round(judged):
    assert judged(TRIMMED) == []
    assert judged(TRIMMED.replace("low: least", "low: 1.75 turn")) == ["upside-down"]
    assert judged(TRIMMED.replace("low: least", "low: least + 1 turn")) == ["upside-down"]


def test_a_healthy_range_is_the_right_way_up_as_the_file_ships_its_settings(judged):
    assert judged(TRIMMED.replace("value: 20 rpm", "value: -20 rpm")) == ["upside-down"]


def test_an_advice_is_made_before_anything_else_is_turned(judged):
    by_hand = (
        "  turn: {do: Turn., moves: [{screw: needle, each: barrel, by: 1/8 turn, direction: in}], go: make}\n  make:\n"
    )
    assert judged(TRIMMED.replace("  turn:\n", by_hand)) == ["stale-advice"]


def test_no_part_has_a_size_below_nothing(judged):
    example = (
        ANY
        + """\
readings: {size: {ask: Size, unit: '', range: [%s, 200]}}
steps:
  gate: {do: Read., read: [size], go: fit}
  fit: {do: Fit it., fit: [{part: jet, each: carb, size: size}], go: done}
"""
    )
    assert judged(example % "0") == []
    assert judged(example % "-1") == ["out-of-range"]


def test_no_part_is_fitted_twice_at_one_place_in_a_step(judged):
    fit = (
        "steps:\n  gate:\n    do: Fit.\n    go: done\n"
        "    fit: [{part: jet, each: carb, size: 50}, {part: jet, only: [{carb: %s}], size: 55}]\n"
    )
    assert judged(ANY + fit % 1) == ["screw-twice"]
    assert judged(ANY + fit.replace("part: jet, only", "part: washer, only") % 1) == []


def test_a_misspelt_each_is_told_once(judged):
    looks = "# file: looks.yaml\n" + ANY + "here: carb\n"
    example = ANY + "steps:\n  gate: {call: looks, each: %s, ends: {done: next}, go: done}\n" + looks
    assert judged(example % "carb") == []
    assert judged(example % "gap") == ["unknown-word"]


def test_a_symptom_in_a_file_that_a_symptom_calls_leads_somewhere_too(judged):
    example = (
        ANY
        + """\
symptoms:
  stall: {kind: stall, ask: It stalls, call: looks, ends: {done: done}, limit: {visits: 2, then: done}}
  LED
# file: looks.yaml
"""
        + ANY
        + """\
symptoms:
  hiss: {kind: leak, ask: It hisses}
"""
    )
    assert judged(example.replace("  LED\n", "")) == ["symptom-leads-nowhere"]
    assert judged(example.replace("LED", "hiss: {kind: leak, ask: It hisses, go: done}")) == []
