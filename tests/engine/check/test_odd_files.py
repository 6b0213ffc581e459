"""Odd files as somebody might write them: what follows from each is said, where, and with what to do next."""

import random
import re

import pytest
from walk_kit import walk

from engine.carburation.registry import shipped
from engine.procedure.build.load import load_texts
from engine.procedure.check import check

ADVISERS = shipped()
ANY = "for: {family: any, carbs: {from: 1, to: 3}, barrels_per_carb: {from: 1, to: 2}}\n"
FUMES = '  fumes: {word: danger, text: Exhaust gas kills. Extraction to open air., demanded_by: ["engine: running"]}\n'
CAUTIONS = f"cautions:\n{FUMES}"
AIRFLOW = "  airflow: {ask: Airflow, quantity: airflow, each: barrel, unit: kg/h, range: [0, 30]}\n"
SPEED = "  speed: {ask: Speed, quantity: engine speed, unit: rpm, range: [0, 9000]}\n"
SCREW = (
    "screws:\n  speed_screw: {each: carb, acts: air, at: plate, in: more air, out: less air, unit: turn, "
    "zero: first contact, step: 1/32, range: [-3, 5]}\n"
)
DONE, BAD = "  done: {end: ok, say: Done.}\n", "  bad: {end: failed, say: Bad.}\n"


def files_of(text):
    """The files of an example, each with its head."""
    parts = re.split(r"^# file: (.*)\.yaml\n", text, flags=re.MULTILINE)
    texts = {"example": parts[0]} | dict(zip(parts[1::2], parts[2::2], strict=True))
    kinds = {n: "kit" if n.startswith("kits/") else "procedure" for n in texts}
    return {n: f"{kinds[n]}: {n.split('/')[-1]}\ntitle: T\nrevision: 1\n{t}" for n, t in texts.items()}


@pytest.fixture
def told():
    """What is said of an example, as (code, message, hint); one without an error is walked: it must end."""

    def run(text, walks=24):
        loaded = load_texts(files_of(text), "example", ADVISERS)
        problems = [*loaded.problems, *(check(loaded.program, ADVISERS) if loaded.program else ())]
        sound = not any(p.severity == "error" for p in problems)
        for seed in range(walks if sound else 0):
            walk(random.Random(seed), loaded.program, ADVISERS, 3000, hostile=(0.0, 0.3, 1.0)[seed % 3])
        return problems

    return run


def codes(problems):
    return [p.code for p in problems]


# ---- a file at one carb goes along its barrels


BODY = (
    ANY
    + """\
start: along
steps:
  along:
    call: body
    each: carb
    as: body
    ends: {fine: next, bad: bad}
    go: judge
  judge:
    branch:
      - {when: any(body.least < 2 mm), go: bad}
      - {otherwise: done}
"""
    + DONE
    + BAD
    + "# file: body.yaml\n"
    + ANY
    + """\
here: carb
gives:
  least: {is: low, unit: mm, range: [0, 9]}
start: begin
steps:
  begin:
    keep: {low: 0 mm}
    go: along
  along:
    call: one
    each: barrel
    as: b
    ends: {seen: next}
    go: judge
  judge:
    keep: {low: min(b.level)}
    branch:
      - {when: count(b.level < 1 mm) > 1, go: bad}
      - {otherwise: fine}
  fine: {end: ok, say: Fine.}
"""
    + BAD
    + "# file: one.yaml\n"
    + ANY
    + """\
here: barrel
readings:
  level: {ask: Level, unit: mm, range: [0, 9]}
gives:
  level: {is: last, unit: mm, range: [0, 9]}
start: begin
steps:
  begin:
    keep: {last: 0 mm}
    go: look
  look:
    do: Measure the level of {here}.
    read: [level]
    keep: {last: level}
    go: seen
  seen: {end: ok, say: Seen.}
"""
)


def test_a_file_at_one_carb_calls_another_once_for_each_of_its_barrels(told):
    assert codes(told(BODY)) == []


def test_of_the_barrels_of_one_carb_there_are_no_more_than_it_has(told):
    problems = told(BODY.replace("> 1, go: bad", "> 2, go: bad"))
    assert problems[0].message == "`count(b.level < 1 mm) > 2` is never true: the count lies between 0 and 2."


@pytest.mark.parametrize(
    ("here", "call", "hint"),
    [
        ("carb", "call: one", "Call it with `each: barrel` and `go`."),
        ("barrel", "call: one\n    each: barrel", "Delete `each` and `go`: it is called at the place at hand."),
        ("barrel", "call: body", "Call it from a file without `here:`, the one that goes along the bank."),
        ("carb", "call: body\n    each: carb", "Delete `each` and `go`: it is called at the place at hand."),
    ],
)
def test_a_call_from_a_file_at_one_place_says_what_to_do_once(told, here, call, hint):
    inner = "start: go_on\nsteps:\n  go_on: {do: Look at it., go: fine}\n  fine: {end: ok, say: Fine.}\n"
    go = "    go: done\n" if "each" in call else ""
    end = "next" if "each" in call else "done"
    example = (
        f"{ANY}here: {here}\nstart: gate\nsteps:\n  gate:\n    {call}\n    ends: {{fine: {end}}}\n{go}{DONE}"
        f"# file: one.yaml\n{ANY}here: barrel\n{inner}# file: body.yaml\n{ANY}here: carb\n{inner}"
    )
    assert [(p.code, p.hint) for p in told(example)] == [("place-mismatch", hint)]


# ---- what a call gives back


def test_a_name_for_what_comes_back_that_nothing_looks_into_is_told(told):
    judged = "branch:\n      - {when: any(body.least < 2 mm), go: bad}\n      - {otherwise: done}"
    unused = BODY.replace("    go: judge\n  judge:\n    " + judged, "    go: done")
    assert judged in BODY and judged not in unused
    found = [p for p in told(unused) if p.code == "unused-name"]
    assert [p.message for p in found] == ["Nothing looks at what 'body' gives back as 'body'."]
    assert found[0].severity == "warning"


# ---- how things stand


@pytest.mark.parametrize(
    ("hold", "code", "message"),
    [
        ("-5 rpm", "out-of-range", "`-5 rpm` can't be held."),
        ("0 rpm", "out-of-range", "`0 rpm` can't be held."),
        ("15 rpm", "out-of-range", "`15 rpm` can't be held."),
        ("99999 rpm", "out-of-range", "`99999 rpm` can't be held."),
        ("fast", "out-of-range", "`fast` may be set to what can't be held."),
        ("idle", "unknown-word", "`hold` is never `idle`."),
    ],
)
def test_no_hand_holds_an_engine_at_that(told, hold, code, message):
    settings = "settings:\n  fast: {value: 1500 rpm, range: [500, 90000], source: assumed}\n" if hold == "fast" else ""
    example = (
        f"{ANY}{CAUTIONS}{settings}start: gate\nsteps:\n"
        f"  gate: {{state: {{engine: running, hold: {hold}}}, do: Look., go: done}}\n{DONE}"
    )
    assert [(p.code, p.message) for p in told(example)] == [(code, message)]


def test_a_reading_in_a_state_of_a_file_s_own_has_a_code_that_is_explained(told):
    example = (
        f"{ANY}declares: {{states: {{engine: [turning]}}}}\nreadings:\n{SPEED}start: gate\nsteps:\n"
        f"  gate: {{state: {{engine: turning}}, do: Look., read: [speed], go: done}}\n{DONE}"
    )
    assert codes(told(example)) == ["read-in-wrong-state"]


FIT = (
    ANY
    + CAUTIONS
    + "start: gate\nsteps:\n  gate: {state: {engine: running}, do: Start it., go: jets}\n"
    + "  jets: {STATEdo: Fit the jets., fit: [{part: idle jet, each: barrel, size: 50}], go: done}\n"
    + DONE
)


def test_no_part_is_fitted_on_a_running_engine(told):
    assert codes(told(FIT.replace("STATE", ""))) == ["fitted-while-running"]
    assert codes(told(FIT.replace("STATE", "state: {engine: stopped}, "))) == []


# ---- readings while they are true


HELD = (
    ANY
    + CAUTIONS
    + f"readings:\n{AIRFLOW}{AIRFLOW.replace('airflow:', 'idling:')}"
    + """\
start: gate
steps:
  gate: {state: {engine: running, hold: 1500 rpm}, do: Hold it., read: [airflow], go: let}
  let: {state: {hold: none}, do: Let it down., read: [idling], go: judge}
  judge: {branch: [{when: GUARD, go: done}, {otherwise: bad}]}
"""
    + DONE
    + BAD
)


def test_what_was_read_at_a_held_speed_is_not_judged_as_an_idle(told):
    problems = told(HELD.replace("GUARD", "any(airflow > 5 kg/h) and any(idling > 5 kg/h)"))
    assert codes(problems) == []  # held against what was read at idle, it is meant as what it was
    problems = told(HELD.replace("GUARD", "any(airflow > 5 kg/h)").replace(", read: [idling]", ""))
    assert "stale-reading" in codes(problems)


ADVISED = (
    ANY
    + CAUTIONS
    + SCREW
    + f"readings:\n{AIRFLOW}"
    + """\
start: gate
steps:
  gate: {state: {engine: running, hold: none}, do: Read it., read: [airflow], go: judge}
  judge:
    advise: {name: next, adviser: air_balance, with: {flow: airflow, screw: speed_screw, tolerance: 5 %}}
    branch: [{when: next.verdict == 'even', go: done}, {when: next.verdict == 'WORD', go: turn}, {otherwise: bad}]
  turn: {limit: {visits: 3, then: bad}, do: Make the moves., make: next, read: [airflow], go: judge}
"""
    + DONE
    + BAD
)


def test_moves_are_made_where_an_adviser_says_that_there_are_some(told):
    assert codes(told(ADVISED.replace("WORD", "turn"))) == []
    assert codes(told(ADVISED.replace("WORD", "read again"))) == ["advice-not-made"]


def test_an_instruction_that_speaks_of_what_is_shown_shows_something(told):
    step = "start: gate\nsteps:\n  gate: {do: Turn each screw as shown., WHATgo: done}\n"
    moves = "moves: [{screw: speed_screw, each: carb, by: 1/8 turn, direction: in}], "
    assert codes(told(ANY + SCREW + step.replace("WHAT", moves) + DONE)) == []
    assert "nothing-shown" in codes(told(ANY + step.replace("WHAT", "") + DONE))


def test_a_healthy_range_by_a_table_is_the_right_way_up_for_every_choice(told):
    example = (
        ANY
        + """\
facts: {taper: {is: bank.taper, choices: [short, long], default: short}}
settings:
  low: {by: taper, short: 1 mm, long: 2 mm, range: [0, 9], source: assumed}
  high: {by: taper, short: 3 mm, long: 4 mm, range: [0, 9], source: assumed}
readings:
  play: {ask: Play, unit: mm, range: [0, 9], healthy: {from: low, to: high}}
start: gate
steps:
  gate: {do: Look., read: [play], branch: [{when: play > high, go: bad}, {otherwise: done}]}
"""
        + DONE
        + BAD
    )
    assert codes(told(example)) == []
    assert "upside-down" in codes(told(example.replace("from: low, to: high", "from: high, to: low")))
    assert "upside-down" in codes(told(example.replace("long: 4 mm", "long: 1 mm")))


@pytest.mark.parametrize("wait", ["for: 0 s", "until: it is hot, at_most: 0 min"])
def test_nobody_waits_no_time_at_all(told, wait):
    step = f"start: gate\nsteps:\n  gate: {{do: Look., wait: {{{wait}, why: it settles}}, go: done}}\n"
    assert codes(told(ANY + step + DONE)) == ["unlikely-time"]


@pytest.mark.parametrize(("severity", "found"), [("stop", []), ("adjust", ["idle-on-stop"])])
def test_words_for_a_stop_stand_where_one_may_be_found(told, severity, found):
    example = (
        ANY
        + "readings:\n  hose: {ask: The hose?, choices: [dry, wet], healthy: dry}\nstart: gate\nsteps:\n"
        + "  gate:\n    do: Look.\n    read: [hose]\n    on_stop: {do: Shut the tap.}\n    go: judge\n"
        + "  judge:\n    branch:\n      - {when: hose == 'dry', go: done}\n      - {otherwise: bad, finding: "
        + f"{{code: hose-wet, severity: {severity}, say: It leaks., do: Mend it.}}}}\n"
        + DONE
        + BAD
    )
    assert codes(told(example)) == found


def test_a_word_that_is_given_back_is_declared_once(told):
    example = BODY.replace(
        "gives:\n  level: {is: last, unit: mm, range: [0, 9]}",
        "gives:\n  level: {is: last, unit: mm, range: [0, 9]}\n  how: {is: said, choices: [WORDS]}",
    ).replace("    keep: {last: 0 mm}", "    keep: {last: 0 mm, said: \"'dry'\"}")
    assert "bad-choices" not in codes(told(example.replace("WORDS", "dry, wet")))
    assert "bad-choices" in codes(told(example.replace("WORDS", "dry, wet, dry")))


# ---- words


def test_a_word_without_its_quotes_is_told_as_one(told):
    example = (
        ANY
        + "start: gate\nsteps:\n  gate: {call: inner, with: {how: WORD}, ends: {fine: done}}\n"
        + DONE
        + "# file: inner.yaml\n"
        + ANY
        + "parameters:\n  how: {choices: [a screw a barrel, none], default: none}\n"
        + "start: gate\nsteps:\n  gate: {branch: [{when: how == 'none', go: fine}, {otherwise: look}]}\n"
        + "  look: {do: Look., go: fine}\n  fine: {end: ok, say: Fine.}\n"
    )
    for word in ("a screw a barrel", "none"):
        problems = told(example.replace("WORD", word))
        assert [(p.code, p.hint, p.fix) for p in problems if p.severity == "error"] == [
            ("unknown-name", f"Write it as `\"'{word}'\"`.", f"\"'{word}'\"")
        ]
        assert codes(told(example.replace("WORD", f"\"'{word}'\""))) == []


READ = (
    ANY
    + "readings:\n  gap: {ask: Gap, unit: mm, range: [0, 9]}\nstart: gate\nsteps:\n"
    + "  gate: {do: Look., read: [gap], branch: [WAYS]}\n"
    + DONE
    + BAD
)


def test_a_way_on_in_the_words_of_another_language_is_told_once_a_word(told):
    problems = told(READ.replace("WAYS", "{if: gap > 3 mm, then: done}, {default: bad}"))
    assert [(p.code, p.hint) for p in problems] == [
        ("unknown-key", f"Here it is called `{word}`.") for word in ("when", "go", "otherwise")
    ]


@pytest.mark.parametrize(("sign", "meant"), [("=<", "<="), ("=>", ">="), ("is", "=="), ("=", "==")])
def test_a_sign_of_another_language_is_told_with_the_one_that_is_meant(told, sign, meant):
    ways = f'{{when: "gap {sign} 3 mm", go: done}}, {{otherwise: bad}}'
    assert [(p.code, p.fix) for p in told(READ.replace("WAYS", ways))] == [("bad-guard", meant)]
    assert codes(told(READ.replace("WAYS", ways.replace(f" {sign} ", f" {meant} ")))) == []


def test_a_list_of_one_without_its_brackets_is_told_with_them(told):
    ways = "{when: gap > 3 mm, go: done}, {otherwise: bad}"
    problems = told(READ.replace("WAYS", ways).replace("[gap]", "gap"))
    assert ("A list belongs here.", "Write `[gap]`.") in [(p.message, p.hint) for p in problems]


def test_a_screw_that_is_counted_from_elsewhere_is_not_turned_to_its_seat(told):
    step = "start: gate\nsteps:\n  gate: {do: Turn., moves: [{screw: speed_screw, each: carb, to: seated}], go: done}\n"
    problems = told(ANY + SCREW + step + DONE)
    assert [(p.code, p.message) for p in problems] == [
        ("unknown-word", "`speed_screw` is counted from first contact, not from seated.")
    ]


def test_a_symptom_of_a_kit_that_leads_nowhere_is_told_at_the_step(told):
    example = (
        ANY
        + """\
uses: [signs]
start: gate
steps:
  gate: {do: Look., symptoms: {stall: bad}, go: on}
  on: {do: Look again., go: done}
"""
        + DONE
        + BAD
        + "# file: kits/signs.yaml\nsymptoms:\n  stall: {kind: stall, ask: It stalls}\n"
    )
    (problem,) = told(example)
    assert (problem.code, problem.path.split("/")[-1], problem.span.line) == (
        "symptom-leads-nowhere",
        "example.yaml",
        9,
    )
    assert problem.hint == "Say `stall: step` under `symptoms` at the top of the file, or in this step."
