"""What the checks find in a file and what they let pass, one promise a test; each file holds only what matters."""

from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.procedure.check.guards import inequalities, space
from engine.procedure.report.checking import check_file
from engine.procedure.report.pages import files_of

ADVISERS = shipped()
READINGS = """\
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20], step: 0.1, rounding: to step}
  drips: {ask: Drips?, choices: ['no', 'yes']}
  sound: {ask: Sound?, choices: [steady, rough]}
"""
#: The same for a text that `format` fills in.
TO_FILL = READINGS.replace("{", "{{").replace("}", "}}")


@pytest.fixture
def problems(tmp_path):
    """The problems of an example, as `code line` pairs by default."""

    def run(example, whole=False):
        for name, text in files_of(example).items():
            (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8", newline="\n")
        found = check_file(tmp_path / "example.yaml", [], ADVISERS).problems
        return found if whole else [p.code for p in found]

    return run


# ---- names


def test_a_reading_taken_where_a_fact_holds_may_be_used_where_it_is_known_to_hold(problems):
    example = (
        TO_FILL
        + """\
facts:
  meter: instruments.flow_meter
steps:
  gate:
    do: Look.
    read: [flow, sound, {{drips: meter}}]
    branch:
      - {{when: {when}, go: done}}
      - {{when: any(flow < 1) or sound == 'rough', go: done}}
      - {{otherwise: done}}
"""
    )
    assert problems(example.format(when="\"meter and drips == 'yes'\"")) == []
    assert problems(example.format(when="\"not meter or drips == 'yes'\"")) == []
    assert problems(example.format(when="\"drips == 'yes' and meter\"")) == ["used-before-read"]
    assert problems(example.format(when="\"known(drips) and drips == 'yes'\"")) == []


def test_a_fact_is_followed_from_step_to_step(problems):
    example = (
        TO_FILL
        + """\
facts:
  meter: instruments.flow_meter
steps:
  gate:
    do: Look.
    read: [flow, {{drips: meter}}]
    branch:
      - {{when: meter, go: {one}}}
      - {{otherwise: {other}}}
  with_it:
    do: 'The gland: {{drips}}.'
    read: [sound]
    branch:
      - {{when: drips == 'yes' and any(flow < 1) and sound == 'rough', go: done}}
      - {{otherwise: done}}
  without:
    do: Look again.
    go: done
"""
    )
    assert problems(example.format(one="with_it", other="without")) == []
    found = problems(example.format(one="without", other="with_it"), whole=True)
    assert {p.code for p in found} == {"used-before-read"}
    assert "where meter is false" in found[0].message and found[0].witness == "gate → with_it"


def test_a_reading_taken_under_a_condition_may_be_used_under_the_same(problems):
    example = (
        TO_FILL
        + """\
steps:
  gate:
    do: Listen.
    read: [sound, flow]
    go: closer
  closer:
    do: Look.
    read: [{{reading: drips, when: sound == 'rough'}}]
    branch:
      - {{when: any(flow < 1), go: done}}
      - {{when: "sound == '{word}' and drips == 'yes'", go: done}}
      - {{otherwise: done}}
"""
    )
    assert problems(example.format(word="rough")) == []
    assert problems(example.format(word="steady")) == ["used-before-read"]


def test_what_a_step_reads_is_not_known_in_its_own_words(problems):
    example = """\
readings:
  sound: {ask: Sound?, choices: [steady, rough]}
steps:
  gate:
    do: 'It sounds {sound}.'
    read: [sound]
    go: done
"""
    (found,) = problems(example, whole=True)
    assert found.code == "used-before-read"
    assert (found.span.column, found.span.end_column - found.span.column) == (21, 5)


def test_a_symptom_leaves_the_readings_of_its_step_untaken(problems):
    example = (
        READINGS
        + """\
symptoms:
  stall: {kind: stall, ask: It stalls, go: after}
steps:
  gate:
    do: Listen.
    read: [sound, drips, flow]
    go: after
  after:
    limit: {visits: 3, then: done}
    do: 'It sounded {sound}.'
    read: [flow, drips]
    record: as left
    go: done
"""
    )
    found = problems(example, whole=True)
    assert [(p.code, p.witness) for p in found] == [("used-before-read", "gate → (stall) → after")]


def test_what_one_step_asks_for_is_no_gap_where_it_was_taken(problems):
    """`known(x)` in one step does not make another one, which has just read x, answer for its being missing."""
    example = """\
facts:
  meter: instruments.flow_meter
readings:
  x: {ask: X, unit: L/min, range: [0, 10]}
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
steps:
  gate:
    do: Look.
    read: [{x: meter}, {flow: meter}]
    branch:
      - {when: known(x) and x > 5 and known(flow) and any(flow > 1), go: again}
      - {otherwise: done}
  again:
    do: Read it.
    read: [x%s]
    branch:
      - {when: x > 5 and spread(flow) > 1, go: done}
      - {when: x <= 5, go: done}
      - {when: x > 5 and spread(flow) <= 1, go: done}
"""
    assert problems(example % ", flow") == []
    assert problems(example % "") == ["uncovered-reading", "used-before-read"]


# ---- ways


def test_the_loop_that_a_limit_ends_is_sound_and_without_it_is_not(problems):
    example = (
        TO_FILL
        + """\
steps:
  gate:
    {limit}do: Listen.
    read: [sound, drips, flow]
    branch:
      - {{when: sound == 'steady' or drips == 'no' or any(flow < 1), go: done}}
      - {{otherwise: turn_it}}
  turn_it:
    do: Turn it.
    go: gate
  bad: {{end: failed, say: Bad.}}
"""
    )
    assert problems(example.format(limit="limit: {visits: 5, then: bad}\n    ")) == []
    found = problems(example.format(limit=""), whole=True)
    assert {p.code for p in found} == {"endless-loop", "unreachable-step"}
    assert any("gate → turn_it → gate" in p.message for p in found)


def test_a_limit_inside_the_loop_of_another_does_not_end_it(problems):
    """Visits are used up one by one: what is left when all are used up must not go round."""
    example = (
        READINGS
        + """\
steps:
  gate:
    limit: {visits: 3, then: other}
    do: Listen.
    read: [sound, drips, flow]
    branch:
      - {when: sound == 'steady' or drips == 'no' or any(flow < 1), go: done}
      - {otherwise: other}
  other:
    limit: {visits: 3, then: gate}
    do: Turn it.
    go: gate
"""
    )
    assert problems(example) == ["limit-in-loop"]


def test_ways_that_need_different_facts_are_no_loop(problems):
    example = """\
facts:
  meter: instruments.flow_meter
steps:
  gate:
    do: Look.
    branch:
      - {when: meter, go: one}
      - {otherwise: two}
  one:
    do: Look.
    branch:
      - {when: meter, go: done}
      - {otherwise: two}
  two:
    do: Look.
    branch:
      - {when: meter, go: one}
      - {otherwise: done}
"""
    found = problems(example, whole=True)
    # No run goes round, for `meter` never changes; what is left over is said as what it is.
    assert {p.code for p in found} == {"idle-otherwise", "never-true"}


def test_a_symptom_that_comes_back_needs_a_limit(problems):
    example = """\
symptoms:
  stall: {{kind: stall, ask: It stalls, call: restart, ends: {{done: back, dead: bad}}{limit}}}
steps:
  gate:
    {own}do: Look.
    go: done
  bad: {{end: failed, say: Bad.}}
# file: restart.yaml
readings:
  catches: {{ask: Does it run?, choices: [it runs, it does not]}}
steps:
  gate:
    do: Start it.
    read: [catches]
    branch:
      - {{when: catches == 'it runs', go: done}}
      - {{otherwise: dead}}
  dead: {{end: failed, say: Dead.}}
"""
    assert problems(example.format(limit="", own="")) == ["endless-symptom"]
    assert problems(example.format(limit=", limit: {visits: 3, then: bad}", own="")) == []
    # Given again inside the called file it calls anew, and the step that it broke into is never entered again.
    own = example.format(limit="", own="limit: {visits: 3, then: bad}\n    ")
    assert problems(own) == ["endless-symptom"]
    # Unless that file leads it somewhere itself.
    led = "# file: restart.yaml\nsymptoms:\n  stall: {kind: stall, ask: It stalls, go: dead}\n"
    assert problems(own.replace("# file: restart.yaml\n", led)) == []


def test_a_symptom_that_may_be_given_again_inside_the_file_that_it_calls_needs_a_limit(problems):
    """No way comes back to the step, and still nothing would end it: the call is left and made anew, each time."""
    example = """\
symptoms:
  stall: {{kind: stall, ask: It stalls, call: restart, ends: {{done: bad}}{limit}}}
  hiss: {{kind: leak, ask: It hisses, {hiss}}}
steps:
  gate:
    do: Look.
    go: done
  bad: {{end: failed, say: Bad.}}
# file: restart.yaml
steps:
  gate:
    do: Start it.
    {way}
# file: deeper.yaml
steps:
  gate:
    do: Start it.
    go: done
"""

    def told(limit="", hiss="go: bad", way="go: done"):
        return [(p.code, p.message) for p in problems(example.format(limit=limit, hiss=hiss, way=way), whole=True)]

    ((code, message),) = told()
    assert code == "endless-symptom" and "given again inside 'restart'" in message
    assert told(limit=", limit: {visits: 3, then: bad}") == []
    # Two symptoms that call each other's file away are found likewise, and a limit of one does not count the other.
    two = told(limit=", limit: {visits: 3, then: bad}", hiss="call: deeper, ends: {done: bad}")
    assert [c for c, _ in two] == ["endless-symptom"]
    # Given in a file that the called one calls, it climbs as far.
    deep = told(way="call: deeper\n    ends: {done: done}")
    assert [c for c, _ in deep] == ["endless-symptom"]


# ---- what passes by itself


def test_a_limited_loop_over_a_file_that_asks_nothing_is_told(problems):
    example = """\
settings:
  n: {{value: 3, range: [1, 9], source: common practice}}
steps:
  gate:
    do: Look.
    go: again
  again:
    limit: {{visits: {visits}, then: done}}
    call: inner
    ends: {{done: {way}}}
  look:
    {look}
    go: again
# file: inner.yaml
readings:
  x: {{ask: X, unit: mm, range: [0, 9]}}
steps:
  gate:
    {ask}keep: {{y: 1 mm}}
    go: second
  second:
    keep: {{y: 2 mm}}
    branch:
      - {{when: y > 1 mm, go: done}}
      - {{otherwise: done}}
"""

    def told(look, ask=""):
        return {p.code for p in problems(example.format(visits=1000, way="look", look=look, ask=ask), whole=True)}

    assert "silent-loop" in told("keep: {y: n}")
    assert not told("do: Look again.") & {"silent-loop", "passes-unseen"}
    assert not told("keep: {y: n}", "do: Look.\n    ") & {"silent-loop", "passes-unseen"}


def test_files_that_call_each_other_may_not_pass_thousands_of_steps_unseen(problems):
    def example(depth):
        def file(n):
            first, second = (
                f"call: file{n + 1}\n    ends: {{done: {then}}}" if n < depth else f"go: {then}"
                for then in ("second", "done")
            )
            return f"steps:\n  gate:\n    {first}\n  second:\n    {second}\n"

        return file(0) + "".join(f"# file: file{n}.yaml\n{file(n)}" for n in range(1, depth + 1))

    assert problems(example(6)) == []
    assert set(problems(example(14))) == {"passes-unseen"}


def test_steps_whose_readings_all_hang_on_a_fact_pass_where_it_does_not_hold(problems):
    def example(others):
        links = "".join(
            f"  more{n}:\n    keep: {{n: n + 1}}\n    go: {f'more{n + 1}' if n < others - 1 else 'again'}\n"
            for n in range(others)
        )
        return f"""\
facts:
  meter: instruments.flow_meter
readings:
  x: {{ask: X, unit: mm, range: [0, 9]}}
steps:
  gate:
    do: Look.
    keep: {{n: 1}}
    go: again
  again:
    limit: {{visits: 1000, then: done}}
    read: [{{x: meter}}]
    branch:
      - {{when: meter and x > 3 and n > 3, go: done}}
      - {{otherwise: more0}}
{links}"""

    assert problems(example(3)) == []
    assert problems(example(5)) == ["passes-unseen"]


# ---- the engine


ENGINE = """\
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
readings:
  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000], step: 10}
  gap: {ask: Clearance, quantity: valve clearance, choices: [right, wrong]}
"""


def test_the_engine_stands_as_the_last_step_on_the_way_said(problems):
    example = (
        ENGINE
        + """\
steps:
  gate:
    state: {engine: running}
    do: Read the speed.
    read: [speed]
    go: next_one
  next_one:
    do: Read it again.
    read: [speed]
    go: off
  off:
    state: {engine: stopped}
    do: Measure.
    read: [gap]
    go: %s
  again:
    do: Read the speed.
    read: [speed]
    go: done
"""
    )
    found = problems(example % "again", whole=True)
    assert [(p.code, p.witness) for p in found if p.severity == "error"] == [
        ("read-while-stopped", "gate → next_one → off → again")
    ]


def test_a_called_file_leaves_the_engine_as_it_left_it(problems):
    example = (
        ENGINE
        + """\
steps:
  gate:
    state: {engine: running}
    do: Read the speed.
    read: [speed]
    go: look
  look:
    call: inside
    ends: {done: after, dead: done}
  after:
    do: Measure.
    read: [%s]
    go: done
# file: inside.yaml
cautions: {fumes: {word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}
readings:
  catches: {ask: Does it run?, choices: [it runs, it does not]}
steps:
  gate:
    do: Look.
    read: [catches]
    branch:
      - {when: catches == 'it runs', go: off}
      - {otherwise: dead}
  off:
    state: {engine: stopped}
    do: Switch off.
    go: done
  dead: {end: failed, say: Dead.}
"""
    )
    assert [c for c in problems(example % "speed") if c != "unused-name"] == ["read-while-stopped"]
    assert [c for c in problems(example % "gap") if c != "unused-name"] == []


def test_a_symptom_that_starts_the_engine_and_comes_back_is_seen(problems):
    example = (
        ENGINE
        + """\
symptoms:
  stall: {kind: stall, ask: It stalls, call: restart, ends: {done: back}, limit: {visits: 2, then: done}}
steps:
  gate:
    state: {engine: stopped}
    do: Look.
    go: measure
  measure:
    %sdo: Measure.
    read: [gap]
    go: done
# file: restart.yaml
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
steps:
  gate:
    state: {engine: running}
    do: Start it.
    go: done
"""
    )
    found = [p for p in problems(example % "", whole=True) if p.severity == "error"]
    assert [(p.code, p.witness) for p in found] == [
        ("read-while-running", "gate → measure → (stall: restart, done) → measure")
    ]
    assert not [p for p in problems(example % "state: {engine: stopped}\n    ", whole=True) if p.severity == "error"]


def test_a_symptom_given_deep_inside_called_files_is_seen(problems):
    """The caller's symptom leaves all files above it, with the engine as the innermost one has it."""
    example = (
        ENGINE
        + """\
symptoms:
  stall: {kind: stall, ask: It stalls, go: read_it}
steps:
  gate:
    state: {engine: running}
    do: Read the speed.
    read: [speed]
    go: look
  look:
    call: middle
    ends: {done: done}
  read_it:
    limit: {visits: 2, then: done}
    do: Read the speed.
    read: [speed]
    go: done
# file: middle.yaml
steps:
  gate:
    call: inner
    ends: {done: done}
# file: inner.yaml
cautions:
  fumes: {word: danger, text: Exhaust gas kills., demanded_by: ["engine: running"]}
steps:
  gate:
    state: {engine: stopped}
    do: Switch it off.
    go: on_again
  on_again:
    state: {engine: running}
    do: Start it.
    go: done
"""
    )
    errors = [p for p in problems(example, whole=True) if p.severity == "error"]
    assert [p.code for p in errors] == ["read-while-stopped"]


# ---- branches


def test_a_step_is_proved_only_for_the_cases_that_reach_it(problems):
    example = (
        READINGS
        + """\
facts:
  meter: instruments.flow_meter
steps:
  gate:
    do: Look.
    branch:
      - {when: meter, go: read_it}
      - {otherwise: done}
  read_it:
    do: Read.
    read: [flow, drips, sound]
    branch:
      - {when: meter and spread(flow) > 1, go: done}
      - {when: meter and spread(flow) <= 1 and (drips == 'no' or sound == 'steady'), go: done}
      - {when: meter and drips == 'yes' and sound == 'rough', go: done}
"""
    )
    assert problems(example) == []


def test_what_the_step_rounds_away_is_no_gap(problems):
    """A reading that is rounded to 0.1 never lies between 1 and 1.1; one that is not, may."""
    example = (
        TO_FILL
        + """\
steps:
  gate:
    do: Read.
    read: [flow, drips, sound]
    branch:
      - {{when: any(flow <= 1), go: done}}
      - {{when: "all(flow >= {least}) and drips == 'no'", go: done}}
      - {{when: "all(flow >= 1.1) and (drips == 'yes' or sound == 'rough')", go: done}}
"""
    )
    assert problems(example.format(least="1.1")) == []
    found = problems(example.format(least="1.2"), whole=True)
    assert [(p.code, p.message) for p in found] == [
        ("uncovered-reading", "Nothing matches flow = 1.1 L/min, drips = no, sound = steady.")
    ]
    (found,) = problems(example.format(least="1.1").replace(", rounding: to step", ""), whole=True)
    assert found.code == "uncovered-reading" and found.message == "Nothing matches flow = 1.02 L/min."


def test_differences_of_what_is_rounded_are_rounded_too(problems):
    example = (
        TO_FILL
        + """\
steps:
  gate:
    do: Read.
    read: [flow, drips, sound]
    branch:
      - {{when: spread(flow) <= 0.5 and drips == 'no', go: done}}
      - {{when: "spread(flow) >= {least} and drips == 'no'", go: done}}
      - {{when: drips == 'yes' and sound == 'steady', go: done}}
      - {{when: drips == 'yes' and sound == 'rough', go: done}}
"""
    )
    assert problems(example.format(least="0.6")) == []
    assert problems(example.format(least="0.7")) == ["uncovered-reading"]


def test_a_value_is_called_by_its_name_in_a_case(problems):
    example = (
        READINGS
        + """\
settings:
  even: {value: 0.5 L/min, range: [0.1, 1], source: common practice}
values:
  gap: {is: spread(flow), unit: L/min}
steps:
  gate:
    do: Read.
    read: [flow, drips, sound]
    branch:
      - {when: gap <= even and drips == 'no' and sound == 'steady', go: done}
      - {when: gap > 2 * even, go: done}
      - {when: drips == 'yes' or sound == 'rough', go: done}
"""
    )
    (found,) = problems(example, whole=True)
    assert found.code == "uncovered-reading"
    assert found.message.startswith("Nothing matches gap = ") and ", even = " in found.message


def test_a_case_says_where_it_comes_up_only_as_a_shop_may_set_it(problems):
    example = (
        READINGS
        + """\
settings:
  even: {value: 0.5 L/min, range: [0.1, 1], source: common practice}
values:
  gap: {is: spread(flow), unit: L/min}
steps:
  gate:
    do: Read.
    read: [flow, drips, sound]
    record: as left
    branch:
      - {when: gap <= even, go: done}
      - {when: gap > %s L/min, go: done}
"""
    )
    (found,) = problems(example % "0.5", whole=True)
    assert found.message.endswith(" L/min (where a shop sets it so).")
    (found,) = problems(example.replace("range: [0.1, 1]", "range: [0.5, 0.51]") % "0.6", whole=True)
    assert "even = 0.5 L/min" in found.message and "shop" not in found.message


def test_a_condition_that_never_holds_is_told_of_whatever_hangs_on_it(problems):
    example = (
        READINGS
        + """\
facts:
  meter: instruments.flow_meter
steps:
  gate:
    do: Look.
    read: [sound, drips, {flow: meter and not meter}]
    findings:
      - {code: rough, severity: note, say: Rough., when: sound == 'rough' and sound == 'steady'}
      - {code: drips, severity: note, say: Drips., when: drips == 'yes' and sound == 'rough'}
    go: done
"""
    )
    found = [p for p in problems(example, whole=True) if p.code == "never-true"]
    assert [p.message.partition(", so ")[2] for p in found] == [
        "this reading is never taken.",
        "this finding is never raised.",
    ]


def test_a_value_that_needs_an_unread_reading_is_told_with_it(problems):
    example = """\
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
values:
  gap: spread(flow)
  wide: gap > 2
steps:
  gate:
    do: Look.
    branch:
      - {when: wide, go: read_it}
      - {otherwise: read_it}
  read_it: {do: Read., read: [flow], go: done}
"""
    (found,) = problems(example, whole=True)
    assert found.message == "`wide` needs `flow`, which comes from 'read_it', and may not be known here."


# ---- many files


def test_every_problem_of_every_file_is_told_at_once(problems, tmp_path):
    example = """\
steps:
  gate:
    do: Look.
    go: inside
  inside:
    call: inner
    ends: {done: done}
  lost:
    do: Nobody comes here.
    go: done
# file: inner.yaml
steps:
  gate:
    hazards: [hot]
    do: Open it, and then close it.
    go: done
  lost:
    do: Nobody comes here either.
    go: done
"""
    found = problems(example, whole=True)
    assert [(Path(p.path).stem, p.code) for p in found] == [
        ("example", "unreachable-step"),
        ("inner", "missing-caution"),
        ("inner", "two-actions"),
        ("inner", "unreachable-step"),
    ]


def test_a_file_with_faults_of_its_own_is_told_that_proofs_come_later(tmp_path):
    (tmp_path / "broken.yaml").write_text("procedure: broken\n", encoding="utf-8")
    checked = check_file(tmp_path / "broken.yaml", [], ADVISERS)
    assert not checked.proved and not checked.sound and checked.problems


# ---- rows


ROW_FILE = """\
for: {{family: any, carbs: {carbs}}}
readings:
  play: {{ask: Play, each: gap, unit: mm, range: [0, 5]}}
  draw: {{ask: Draw, each: carb, unit: kg/h, range: [0, 30], may_lack: true}}
  drop: {{ask: Drop, unit: mm, range: [0, 9], may_lack: true}}
steps:
  gate:
    do: Look.
    read: [play, draw, drop]
    record: as left
    branch:
      - {{when: "{when}", go: done}}
{rest}"""
OTHERWISE = "      - {otherwise: done}\n"


def row_file(when, carbs="2", rest=OTHERWISE):
    return ROW_FILE.format(when=when, carbs=carbs, rest=rest)


def test_a_row_that_may_lack_a_place_may_be_known_and_may_not(problems):
    assert problems(row_file("known(draw)")) == []
    assert problems(row_file("not known(draw)")) == []
    assert problems(row_file("known(draw)", rest="")) == ["uncovered-reading"]
    assert problems(row_file("known(draw)", rest="      - {when: not known(draw), go: done}\n")) == []


def test_on_a_bank_of_one_a_row_is_known_where_its_one_place_was_taken(problems):
    both = row_file("known(draw)", "1", "      - {when: not any(draw >= 0), go: done}\n")
    assert problems(both) == []


@pytest.mark.parametrize("when", ["count(play > 1) >= 1", "any(play > 1)", "max(play) > 1", "mean(play) > 1"])
def test_a_bank_of_one_has_no_gap_and_nothing_is_true_of_any(problems, when):
    (found,) = problems(row_file(when, "1"), whole=True)
    assert found.code == "never-true"
    assert problems(row_file(f"not ({when})", "1", "")) == []
    assert problems(row_file(when, "{from: 1, to: 3}")) == []


def test_a_comparison_is_false_of_what_is_missing_even_where_it_cancels(problems):
    for whole in ("drop == drop", "drop - drop < 3 mm", "any(draw == draw)", "spread(draw - draw) <= 0"):
        assert problems(row_file(whole, rest="")) == ["uncovered-reading"], whole
    for never in ("drop - drop > 3 mm", "max(draw) < 0.9 * min(draw)", "any(draw - draw > 3)"):
        assert problems(row_file(never)) == ["never-true"], never
    assert problems(row_file("all(draw - draw < 3)", rest="")) == []


def test_a_product_is_proved_against_its_own_factors(problems):
    share = 'settings:\n  share: {value: 0.9, range: [0.5, 0.95], source: "common practice"}\n'
    assert problems(share + row_file("max(draw) < share * min(draw)")) == ["never-true"]
    assert problems(share + row_file("max(draw) * share > 20")) == []


# ---- what is settled


SETTLED = """\
readings:
  c: {{ask: C?, choices: [a, b, d]}}
  x: {{ask: X, unit: mm, range: [0, 9]}}
  flow: {{ask: Flow, each: carb, unit: L/min, range: [0, 20]}}
steps:
  gate:
    do: Look.
    read: [c, x, flow]
    record: as left
    keep: {{even: "{even}", last: c}}
    branch:
      - {{when: "{when}", go: first}}
      - {{otherwise: second}}
  first:
    do: Look again.
    keep: {{even: "True"}}
    go: {go}
  second:
    do: Look once more.
    {read}branch:
{branches}  other: {{end: failed, say: 'Other {{even}}, {{last}}.'}}
"""


def settled(*branches, when="c == 'b'", even="False", go="done", read=""):
    lines = "".join(f'      - {{when: "{b}", go: {"done" if i else "other"}}}\n' for i, b in enumerate(branches))
    return SETTLED.format(when=when, even=even, go=go, read=read, branches=lines)


def test_what_a_branch_has_settled_can_not_be_otherwise_after_it(problems):
    for when, later, rest in (
        ("c == 'b'", "c == 'b'", "c != 'b'"),
        ("x > 5", "x >= 7", "x < 7"),
        ("spread(flow) > 2", "spread(flow) > 3", "spread(flow) <= 3"),
        ("any(flow < 1)", "all(flow < 1)", "not all(flow < 1)"),
        ("c == 'b' or x > 5", "last == 'b'", "last != 'b'"),
        ("c == 'b' and x > 5", "c == 'b' and x > 6", "c != 'b' or x <= 6"),
    ):
        found = problems(settled(later, rest, when=when), whole=True)
        assert {p.code for p in found} == {"never-true", "unreachable-step"}, when
        assert "where this step can be reached" in next(p.message for p in found if p.code == "never-true")
        assert problems(settled(later, rest, when=when, read="read: [c, x, flow]\n    keep: {last: c}\n    ")) == []
        # Where the way leads back from the other branch as well, it may be so.
        assert problems(settled(later, rest, when=when, go="second")) == []


def test_no_reading_is_asked_for_that_was_settled_before(problems):
    """The twin of it: no case is missing for an answer that can't be there any more."""
    assert problems(settled("c == 'a'", "c == 'd'")) == []
    assert problems(settled("x < 2", "2 <= x <= 5", when="x > 5")) == []
    assert problems(settled("c == 'a'", "c == 'd'", go="second")) == ["uncovered-reading"]


def test_a_kept_value_is_what_some_way_has_kept(problems):
    dead = problems(settled("even", "not even"))
    assert sorted(set(dead)) == ["never-true", "unreachable-step"]
    assert problems(settled("even", "not even", go="second")) == []
    assert problems(settled("even", "not even", even="True")) == ["never-true"]
    # It is known which goes with which.
    both = settled("even and c != 'b'", "not even or c == 'b'", go="second")
    assert sorted(set(problems(both))) == ["never-true", "unreachable-step"]


def test_what_a_called_file_never_gives_back_is_never_so(problems):
    example = """\
steps:
  gate:
    call: inner
    as: it
    ends: {{done: look, off: done}}
  look:
    do: Look.
    branch:
      - {{when: it.moved, go: more}}
      - {{otherwise: done}}
  more:
    do: More.
    go: done
# file: inner.yaml
gives: {{moved: turned}}
readings:
  c: {{ask: C?, choices: [a, b]}}
steps:
  gate:
    do: Look.
    read: [c]
    keep: {{turned: "False"}}
    branch:
      - {{when: c == 'a', go: turn}}
      - {{otherwise: {end}}}
  turn:
    do: Turn.
    keep: {{turned: "True"}}
    go: {turned}
  off: {{end: failed, say: Off.}}
"""
    assert problems(
        example.format(end="done", turned="done").replace("otherwise: done}\n  turn", "otherwise: off}\n  turn")
    ) == ["idle-otherwise"]
    assert sorted(set(problems(example.format(end="done", turned="off")))) == ["never-true", "unreachable-step"]


def test_a_symptom_settles_nothing(problems):
    example = settled("c == 'b'", "c != 'b'", go="done")
    with_symptom = "symptoms:\n  stall: {kind: stall, ask: It stalls, go: second}\n" + example
    found = problems(with_symptom)
    # Before the first answer nothing is known; from `first` it is known to be b.
    assert "never-true" not in found and "unreachable-step" not in found


def test_what_stands_beyond_its_scale_is_known_and_counts_as_the_top(problems):
    example = """\
readings:
  co: {{ask: CO, unit: "%", range: [0, 10], {over}}}
  row: {{ask: Row, each: carb, unit: "%", range: [0, 10], {over}}}
steps:
  gate:
    do: Read them.
    read: [co, row]
    branch:
      - {{when: "{when}", go: done}}
      - {{when: "{rest}", go: done}}
"""

    def told(when, rest, over="over_range: true"):
        return problems(example.format(when=when, rest=rest, over=over))

    assert told("known(co) and known(row)", "not known(co) or not known(row)") == ["never-true"]
    assert told("over(co) and over(row)", "not over(co) or not over(row)") == []
    assert told("over(co) or over(row) or co < 10", "co >= 10") == []
    assert told("over(co) and co < 10", "co >= 0 or over(row)") == ["never-true"]
    assert told("over(row) and max(row) < 10", "co >= 0") == ["never-true"]
    assert told("co >= 0 and any(row >= 0)", "co < 5") == ["shadowed-branch"]


def test_a_part_of_a_condition_that_changes_nothing_is_told(problems):
    def told(when, lack=""):
        example = (
            f"readings:\n  x: {{ask: X, unit: mm, range: [0, 9]{lack}}}\n  c: {{ask: C, choices: [a, b]}}\nsteps:\n"
            f'  gate:\n    do: Look.\n    read: [x, c]\n    branch:\n      - {{when: "{when}", go: done}}\n'
            "      - {when: x > 3 and c == 'b', go: done}\n      - {otherwise: done}\n"
        )
        return [(p.code, p.message) for p in problems(example, whole=True)]

    ((code, message),) = told("not known(x) or c == 'a'")
    assert code == "idle-part" and message.startswith("`not known(x)` is never true here")
    ((_, message),) = told("c == 'a' and (x > 9 or x < 2)")
    assert message.startswith("`x > 9` is never true here")
    assert told("not known(x) or c == 'a'", ", may_lack: true") == []
    assert told("x > 1 and (c == 'a' or x < 5)") == []


# ---- the checks' own work


def test_five_hundred_branches_are_cut_by_few_comparisons(problems, monkeypatch):
    """The work is counted, not the time: cells of a line stand in order, and nobody need look at each of them."""
    compared = []
    side = space.side
    monkeypatch.setattr(space, "side", lambda cell, c: compared.append(1) or side(cell, c))
    branches = "".join(f"      - {{when: x < {n + 1} mm and y < {500 - n} mm, go: done}}\n" for n in range(500))
    example = (
        "readings:\n  x: {ask: X, unit: mm, range: [0, 1000]}\n  y: {ask: Y, unit: mm, range: [0, 1000]}\n"
        f"steps:\n  gate:\n    do: Look.\n    read: [x, y]\n    branch:\n{branches}      - {{otherwise: done}}\n"
    )
    assert problems(example) == []
    assert len(compared) < 50_000


def test_guards_of_many_terms_take_a_bounded_number_of_pairs(problems, monkeypatch):
    pairs = []
    cost = inequalities._cost
    monkeypatch.setattr(inequalities, "_cost", lambda rows, i: pairs.append(len(rows)) or cost(rows, i))
    names = [f"r{n}" for n in range(8)]
    readings = "".join(f"  {n}: {{ask: X, unit: mm, range: [0, 10]}}\n" for n in names)
    sums = [" + ".join(f"{(i * 7 + j * 3) % 5 + 1} * {n}" for j, n in enumerate(names)) for i in range(15)]
    branches = "".join(f'      - {{when: "{s} > {i + 3} mm", go: done}}\n' for i, s in enumerate(sums))
    example = (
        f"readings:\n{readings}steps:\n  gate:\n    do: Look.\n    read: [{', '.join(names)}]\n"
        f"    branch:\n{branches}      - {{otherwise: done}}\n"
    )
    problems(example)
    assert sum(pairs) < 100_000


@pytest.mark.parametrize(
    ("guard", "why"),
    [
        ("any(x > 3 mm and x < 2 mm)", "its parts exclude each other"),
        ("any(x > 3 mm) and all(x < 2 mm)", "its parts exclude each other"),
        ("any(x > 10 mm)", "x lies between 0 and 9 mm"),
        ("count(x > 3 mm and x < 5 mm) > 4", "the count lies between 0 and 4"),
    ],
)
def test_why_a_guard_is_never_true(problems, guard, why):
    example = f"""\
for: {{family: any, carbs: {{from: 2, to: 4}}}}
readings: {{x: {{ask: X, each: carb, unit: mm, range: [0, 9]}}}}
steps:
  gate:
    do: Read it.
    read: [x]
    branch:
      - {{when: "{guard}", go: done}}
      - {{otherwise: done}}
"""
    (told,) = [p for p in problems(example, whole=True) if p.code == "never-true"]
    assert told.message == f"`{guard}` is never true: {why}."
