"""Every fault of a file is told at its place, by a code in words: a tiny file for each code, several faults at once.

In a case the part between « and » is what the problem must point at.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from water_trade import ADVISERS

from engine.procedure.build.load import Loaded, load_texts
from engine.procedure.source.problems import Problem

BASE = """\
procedure: tiny
title: Tiny
revision: 1
for: {family: any, carbs: {from: 2, to: 3}, barrels_per_carb: 2}
needs: [meter]
cautions:
  scald: {word: warning, text: Hot water.}
facts:
  has_meter: instruments.flow_meter
  stem: {is: bank.stem_thread, choices: [coarse, fine], default: coarse}
settings:
  target: {value: 6 L/min, range: [2, 20], source: common practice}
  open: {by: stem, coarse: 4 turn, fine: 7, range: [1, 10], source: common practice}
screws:
  spindle: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 8]}
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
  out: {ask: Flow at each outlet, each: barrel, unit: L/min, range: [0, 20], may_lack: true}
  sound: {ask: Sound, choices: [steady, silent], healthy: steady}
symptoms:
  hammer: {kind: hunting, ask: Pipe hammers, call: bleed, ends: {bled: back, air: worn}}
values:
  gap: {is: spread(flow), unit: L/min}
gives:
  worst: {is: gap, unit: L/min, range: [0, 20]}
start: measure
steps:
  measure:
    do: Read both.
    limit: {visits: 3, then: worn}
    read: [flow, sound]
    keep: {first: gap}
    advise: {name: next, adviser: even_flow, with: {flow: flow, screw: spindle, target: target, tolerance: 1}}
    branch:
      - {when: gap > 1, go: turn}
      - {otherwise: done}
  turn:
    moves: [{screw: spindle, each: carb, to: 2 turn}]
    make: next
    go: measure
  done: {end: ok, say: 'Even within {gap:L/min}.'}
  worn: {end: failed}
"""
BLEED = """\
procedure: bleed
title: Bleed
revision: 1
for: {family: any, carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 4}}
settings:
  wait: {value: 10 s, range: [1, 60], source: common practice}
start: bleed
steps:
  bleed: {do: Bleed it., go: bled}
  other: {do: Wait., go: air}
  bled: {end: ok}
  air: {end: failed}
"""
ONE = """\
procedure: one
title: One valve
revision: 1
here: carb
for: {family: any, carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 4}}
readings:
  flow: {ask: Flow here, unit: L/min, range: [0, 20]}
start: look
steps:
  look: {read: [flow], go: seen}
  seen: {end: ok}
"""
KIT = "kit: {name}\ntitle: Kit\nrevision: 1\nwords: {words}\nreadings:\n  rare: {{ask: Seen?, choices: [a, b]}}\n"
KITS = {
    f"kits/{name}": KIT.format(name=name, words="{said: so}" if name != "gauges" else "{}")
    for name in ("valves", "taps", "gauges")
}
OTHERS = {"bleed": BLEED, "one": ONE, **KITS}

# (code, text of BASE, what stands there instead)
CASES: list[tuple[str, str, str]] = [
    # screws and answers
    ("same-effect", "in: less water, unit", "in: less water, out: «less water», unit"),
    ("unknown-word", "zero: seated", "zero: «seatd»"),
    (
        "position-untold",
        "  sound: {ask",
        "  turns: «{ask: T, each: carb, quantity: mixture screw position, unit: turn, range: [0, 8]}»\n  sound: {ask",
    ),
    ("healthy-not-first", "[steady, silent], healthy: steady", "[steady, silent], healthy: «silent»"),
    # YAML
    ("not-yaml", "    do: Read both.", "    do: Read«:» both."),
    ("not-yaml", "    do: Read both.", "«\t»do: Read both."),
    ("not-yaml", "'Even within {gap:L/min}.'", "«'»Even within {gap:L/min}."),
    ("duplicate-key", "    do: Read both.", "    do: Read both.\n    «do»: Read again."),
    ("no-anchors", "do: Read both.", "do: «&x Read both.»"),
    ("no-tags", "do: Read both.", "do: «!!str Read both.»"),
    ("several-documents", "gives:", "«---»\ngives:"),
    ("bad-key", "    do: Read both.", "    «[a, b]»: Read both."),
    ("too-deep", "needs: [meter]", "needs: " + "[" * 20 + "«[»"),
    # shape
    ("missing-key", "  scald: {word: warning, text: Hot water.}", "  «scald»: {word: warning}"),
    ("missing-key", "title: Tiny\n", ""),
    ("unknown-key", "do: Read both.", "do: Read both.\n    «raed»: [flow]"),
    ("unknown-key", "limit: {visits: 3, then: worn}", "limit: {visits: 3, then: worn, «or»: so}"),
    ("no-value", "limit: {visits: 3, then: worn}", "limit: {visits: 3, then: worn, «or so»}"),
    ("wrong-shape", "read: [flow, sound]", "read: «flow»"),
    ("wrong-shape", "do: Read both.", "do: «[Read, both]»"),
    ("wrong-shape", "limit: {visits: 3, then: worn}", "limit: «3»"),
    ("no-value", "do: Read both.", "«do»:"),
    ("no-value", "do: Read both.", "do: «''»"),
    ("text-too-long", "do: Read both.", "do: «" + "word " * 400 + "word»"),
    ("bad-number", "visits: 3", "visits: «many»"),
    ("bad-number", "visits: 3", "visits: «0»"),
    ("bad-number", "range: [2, 20]", "range: [«few», 20]"),
    ("bad-name", "keep: {first: gap}", "keep: {«first gap»: gap}"),
    ("bad-name", "call: bleed,", "call: «bleed.yaml»,"),
    ("reserved-name", "keep: {first: gap}", "keep: {«mean»: gap}"),
    ("unknown-word", "word: warning", "word: «warnin»"),
    ("unknown-word", "needs: [meter]", "terms: {«crab»: valve}"),
    ("unknown-word", "may_lack: true", "may_lack: «yes»"),
    ("unknown-unit", "value: 6 L/min", "value: «6 L/minute»"),
    ("name-not-file", "procedure: tiny", "procedure: «small»"),
    ("bad-range", "range: [2, 20]", "range: [«20», 2]"),
    ("bad-range", "range: [2, 20]", "range: «[2]»"),
    ("bad-range", "carbs: {from: 2, to: 3}", "carbs: «{from: 3, to: 2}»"),
    ("bad-choices", "choices: [steady, silent], healthy: steady", "choices: «[steady, steady]»"),
    ("several-keys", "unit: L/min, range: [0, 20]}\n  out", "unit: L/min, range: [0, 20], «choices»: [a, b]}\n  out"),
    ("several-keys", "    go: measure", "    «go»: measure\n    branch: [{otherwise: done}]"),
    ("several-keys", "- {when: gap > 1, go: turn}\n      - {otherwise: done}", "- {«when»: gap > 1, otherwise: done}"),
    (
        "no-way-on",
        "  turn:\n    moves: [{screw: spindle, each: carb, to: 2 turn}]\n    make: next\n    go: measure\n",
        "  «turn»:\n    make: next\n",
    ),
    ("otherwise-not-last", "- {when: gap > 1, go: turn}", "- {«otherwise»: turn}"),
    # names
    ("unknown-name", "keep: {first: gap}", "keep: {first: «gapp»}"),
    ("unknown-name", "{gap:L/min}", "{«gapp»:L/min}"),
    ("unknown-name", "{gap:L/min}", "{«here»}"),
    ("unknown-name", "range: [0, 20]}\n  out", "range: [0, 20], healthy: {from: «targett»}}\n  out"),
    ("unknown-name", "range: [0, 20]}\n  out", "range: [0, 20], healthy: {from: «gap»}}\n  out"),
    ("unit-mismatch", "range: [0, 20]}\n  out", "range: [0, 20], healthy: {from: «open»}}\n  out"),
    ("unknown-function", "is: spread(flow)", "is: «range»(flow)"),
    ("unknown-step", "- {otherwise: done}", "- {otherwise: «don»}"),
    ("unknown-step", "start: measure", "start: «mesure»"),
    ("unknown-step", "bled: back", "bled: «next»"),
    ("unknown-reading", "read: [flow, sound]", "read: [«flaw», sound]"),
    ("unknown-screw", "moves: [{screw: spindle,", "moves: [{screw: «spindel»,"),
    ("unknown-caution", "do: Read both.", "cautions: [«scold»]"),
    ("unknown-symptom", "do: Read both.", "symptoms: {«hamer»: worn}"),
    ("unknown-adviser", "adviser: even_flow", "adviser: «even_flaw»"),
    ("unknown-input", "target: target,", "target: target, «goal»: target,"),
    ("retired-input", "target: target,", "target: target, «aim»: target,"),
    ("missing-input", "adviser: even_flow, with: {flow: flow, ", "adviser: «even_flow», with: {"),
    ("unknown-advice", "make: next", "make: «nxt»"),
    ("unknown-finding", "do: Read both.", "clear: [«valve-stock»]"),
    ("unknown-fact", "has_meter: instruments.flow_meter", "has_meter: «bank.flow_meter»"),
    ("unknown-fact", "has_meter: instruments.flow_meter", "has_meter: «bank.family»"),
    ("unknown-fact", "has_meter: instruments.flow_meter", "has_meter: {is: «bank.carbs», yes_no: true}"),
    ("unknown-file", "call: bleed,", "call: «blead»,"),
    ("unknown-end", "bled: back", "bled: back, «burst»: worn"),
    ("unmapped-end", "call: bleed, ends: {bled: back, air: worn}", "call: «bleed», ends: {bled: back}"),
    ("unknown-kit", "needs: [meter]", "uses: [«valvs»]"),
    ("unused-kit", "needs: [meter]", "uses: [«gauges»]"),
    ("kits-clash", "needs: [meter]", "uses: [valves, «taps»]"),
    ("no-usual-answer", "read: [flow, sound]", "read: [sound]\n    checklist: [«flow»]"),
    ("unknown-word", "    do: Read both.", "    phase: «as fuond»\n    do: Read both."),
    ("missing-key", "gives:", "parameters:\n  wide: {«unit»: mm}\ngives:"),
    ("unknown-setting", "call: bleed,", "call: bleed, with: {«wiat»: 5 s},"),
    ("unknown-place", "each: carb, to: 2 turn", "only: [{carb: «3»}], to: 2 turn"),
    ("unknown-quantity", "sound: {ask: Sound,", "sound: {ask: Sound, quantity: «water flows»,"),
    (
        "range-beyond-quantity",
        "choices: [steady, silent], healthy: steady}",
        "quantity: lambda, unit: '', range: «[0, 200]»}",
    ),
    ("unknown-hazard", "do: Read both.", "hazards: [«feul»]\n    do: Read both."),
    ("unknown-hazard", "text: Hot water.}", 'text: Hot water., demanded_by: [«"engine: runing"»]}'),
    ("unknown-family", "for: {family: any,", "for: {family: «constant depresion»,"),
    ("unknown-word", "read: [flow, sound]", "state: {engine: «runing»}\n    read: [flow, sound]"),
    ("unknown-word", "read: [flow, sound]", "state: {«engin»: running}\n    read: [flow, sound]"),
    (
        "unit-mismatch",
        "sound: {ask: Sound, choices: [steady, silent], healthy: steady}",
        "sound: {ask: Sound, quantity: engine speed, unit: «kg/h», range: [0, 20]}",
    ),
    ("name-used-twice", "keep: {first: gap}", "keep: {«flow»: gap}"),
    ("name-used-twice", "read: [flow, sound]", "read: [flow, sound, «flow»]"),
    ("value-cycle", "is: spread(flow)", "is: «gap + 1»"),
    ("call-cycle", "call: bleed,", "call: «tiny»,"),
    ("incomplete-table", "{by: stem, coarse: 4 turn, fine: 7,", "{by: «stem», coarse: 4 turn,"),
    ("unknown-choice", "coarse: 4 turn, fine: 7,", "coarse: 4 turn, fine: 7, «medium»: 5,"),
    ("unknown-choice", "healthy: steady", "healthy: «loud»"),
    ("unknown-choice", "default: coarse", "default: «square»"),
    ("unknown-choice", "when: gap > 1", "when: sound == «'loud'»"),
    # meaning
    ("bad-guard", "when: gap > 1", "when: gap «=» 1"),
    ("bad-guard", "when: gap > 1", 'when: «"gap >\n          1"»'),
    ("guard-too-long", "when: gap > 1", "when: «gap > 1" + " or gap > 1" * 30 + "»"),
    ("may-grow-without-end", "keep: {first: gap}\n", "keep: {first: gap, n: «n * n»}\n    findings: []\n"),
    (
        "guard-too-long",
        "  gap: {is",
        "  v1: «v2 + v2»\n"
        + "".join(f"  v{i}: v{i + 1} + v{i + 1}\n" for i in range(2, 8))
        + "  v8: gap + gap + gap + gap\n  gap: {is",
    ),
    ("guard-too-deep", "when: gap > 1", "when: " + "not " * 21 + "«not» gap > 1"),
    ("unit-mismatch", "when: gap > 1", "when: gap > «1 turn»"),
    ("unit-mismatch", "range: [2, 20]", "range: [«2 turn», 20]"),
    ("unit-mismatch", "{gap:L/min}", "{gap:«turn»}"),
    ("wrong-kind", "when: gap > 1", "when: «gap»"),
    ("wrong-kind", "has_meter: instruments.flow_meter", "has_meter: {is: instruments.flow_meter, default: «5»}"),
    ("wrong-kind", "when: gap > 1", "when: «sound > 1»"),
    ("row-not-single", "when: gap > 1", "when: «flow > 1»"),
    ("single-not-row", "when: gap > 1", "when: any(«gap > 1»)"),
    ("rows-dont-fit", "when: gap > 1", 'when: "any(spread(«flow», per: carb) > 1)"'),
    ("may-divide-by-zero", "when: gap > 1", "when: 1 L/min / «gap» > 1"),
    ("temperature-sum", "when: gap > 1", "when: «80 degC» + 5 K > 300 K"),
    ("may-be-missing", "tolerance: 1", "tolerance: «max(out)»"),
    ("may-be-missing", "to: 2 turn", "to: «position(spindle)»"),
    ("out-of-range", "value: 6 L/min", "value: «60 L/min»"),
    ("out-of-range", "to: 2 turn", "to: «9 turn»"),
    ("out-of-range", "call: bleed,", "call: bleed, with: {wait: «2 min»},"),
    (
        "out-of-range",
        "worst: {is: gap, unit: L/min, range: [0, 20]}",
        "worst: {is: «gap», unit: L/min, range: [0, 10]}",
    ),
    ("wrong-binding", "flow: flow, screw", "flow: «out», screw"),
    ("wrong-binding", "flow: flow, screw", "flow: «gap», screw"),
    ("wrong-binding", "screw: spindle, target", "screw: «flow», target"),
    ("place-mismatch", "each: carb, to: 2 turn", "each: «barrel», to: 2 turn"),
    (
        "place-mismatch",
        "    go: measure",
        "    call: «bleed»\n    each: carb\n    ends: {bled: next, air: next}\n    go: done",
    ),
    ("place-mismatch", "    go: measure", "    call: «one»\n    ends: {seen: done}"),
    ("bad-placeholder", "{gap:L/min}", "«{gap + 1}»"),
    ("bad-placeholder", "{gap:L/min}", "«{»gap"),
    ("bad-placeholder", "ask: Pipe hammers", "ask: 'Pipe hammers «{gap}»'"),
]
ELSEWHERE = {
    "called-otherwise",  # in tests of loading, of guards, or below
    "not-a-file",
    "cannot-read",
    "too-big",
    "not-utf-8",
    "layout-mismatch",
    "screw-mismatch",
    "calls-too-deep",
    "kit-cycle",
}


def tell(text: str, **others: str) -> Loaded:
    return load_texts({**OTHERS, "tiny": text, **others}, "tiny", ADVISERS)


def marked(text: str) -> tuple[str, tuple[int, int, int, int] | None]:
    """The text without marks, and the span between them."""
    if "«" not in text:
        return text, None
    before, inside, after = re.split("[«»]", text)
    end = before + inside
    return before + inside + after, (
        before.count("\n") + 1,
        len(before) - before.rfind("\n"),
        end.count("\n") + 1,
        len(end) - end.rfind("\n"),
    )


def span(problem: Problem) -> tuple[int, int, int, int]:
    s = problem.span
    return s.line, s.column, s.end_line, s.end_column


def test_the_file_that_the_cases_spoil_is_sound() -> None:
    assert tell(BASE).problems == ()


@pytest.mark.parametrize(("code", "old", "new"), CASES, ids=[f"{i}-{c[0]}" for i, c in enumerate(CASES)])
def test_a_fault_is_told_where_it_stands(code: str, old: str, new: str) -> None:
    assert BASE.count(old) == 1, "the case must change one place"
    text, place = marked(BASE.replace(old, new))
    found = tell(text)
    assert [p.code for p in found.problems] == [code], "\n".join(str(p) for p in found.problems)
    assert found.problems[0].path == "tiny.yaml"
    if place is not None:
        assert span(found.problems[0])[:2] == place[:2]
        assert span(found.problems[0]) == place or code in ("not-yaml", "several-documents", "bad-key", "no-value")


@pytest.mark.parametrize(
    ("old", "new", "said", "hint"),
    [
        (
            "say: 'Even within {gap:L/min}.'",
            "say: Even within {gap:L/min} now",
            "`{gap:L/min}` stands in a text",
            "quotes",
        ),
        ("say: 'Even within {gap:L/min}.'", "say: {gap}", "`{gap}` without quotes is a mapping", "`'{gap}'`"),
        ("start: measure", "start:measure", "A space is missing after `start:`.", "Write `start: measure`."),
        ("do: Read both.", "do:Read both.", "A space is missing after `do:`.", "Write `do: Read both.`."),
        ("when: gap > 1", "when:gap > 1", "A space is missing after `when:`.", "Write `when: gap > 1"),
        ("- {otherwise: done}", "- {else: done}", "`else` is no key", "Here it is called `otherwise`."),
    ],
)
def test_a_slip_of_the_hand_is_called_what_it_is(old: str, new: str, said: str, hint: str) -> None:
    assert BASE.count(old) == 1, "the case must change one place"
    first = tell(BASE.replace(old, new)).problems[0]
    assert said in first.message and hint in first.hint


def test_files_that_call_each_other_too_deep_are_told_so_and_yaml_is_not_blamed() -> None:
    chain = {
        f"file{n}": BASE.replace("procedure: tiny", f"procedure: file{n}")
        .partition("steps:")[0]
        .partition("symptoms:")[0]
        + f"start: gate\nsteps:\n  gate: {{call: file{n + 1}, ends: {{done: done}}}}\n  done: {{end: ok, say: Done.}}\n"
        for n in range(484)
    }
    found = load_texts(chain, "file0", ADVISERS)
    assert "calls-too-deep" in {p.code for p in found.problems}
    assert not {"not-yaml"} & {p.code for p in found.problems}


def test_every_code_has_its_case() -> None:
    rooms = Path(__file__).parents[3] / "engine" / "procedure"
    sources = [p for p in rooms.rglob("*.py") if "check" not in p.parts]
    used: set[str] = set()
    for path in sources:
        text = path.read_text(encoding="utf-8")
        calls = r"(?:fault|warn|GuardFault|refuse|_misfit|Problem|\badd)"
        used |= set(re.findall(calls + r"\(\s*\"([a-z]+(?:-[a-z]+)+)\"", text))
    assert used - {c[0] for c in CASES} - ELSEWHERE == set()


def test_all_faults_of_a_file_come_at_once_and_in_order() -> None:
    text = BASE
    for old, new in (
        ("word: warning", "word: warnin"),
        ("do: Read both.", "doo: Read both."),
        ("when: gap > 1", "when: gapp > 1"),
        ("go: turn}", "go: trun}"),
        ("to: 2 turn", "to: 2 truns"),
        ("adviser: even_flow", "adviser: odd_flow"),
        ("{gap:L/min}", "{gup}"),
    ):
        text = text.replace(old, new)
    found = tell(text)
    assert [p.code for p in found.problems] == [
        "unknown-word",
        "unknown-key",
        "unknown-adviser",
        "unknown-name",
        "unknown-step",
        "unknown-unit",
        "unknown-name",
    ]
    assert found.program is None
    assert all(p.message.endswith(".") and p.hint for p in found.problems)


def test_a_spoilt_declaration_does_not_make_its_users_wrong() -> None:
    for code, old, new in (
        ("unknown-word", "flow: {ask: Flow, each: carb", "flow: {ask: Flow, each: crab"),
        ("unknown-unit", "value: 6 L/min", "value: 6 L/mim"),
        ("unknown-function", "is: spread(flow)", "is: spraed(flow)"),
        ("unknown-word", "spindle: {each: carb", "spindle: {each: crab"),
        ("unknown-word", "default: coarse", "default: coarse, yes_no: 'yes'"),
    ):
        assert [p.code for p in tell(BASE.replace(old, new)).problems] == [code], old


def test_faults_of_called_files_are_told_in_their_own_file() -> None:
    found = tell(BASE, bleed=BLEED.replace("go: bled", "go: bledd"))
    assert [(p.path, p.code, p.span.line) for p in found.problems] == [("bleed.yaml", "unknown-step", 9)]
    assert found.program is None


def test_one_name_is_one_screw_in_all_files() -> None:
    spindle = re.search("screws:\n.*\n", BASE)
    assert spindle is not None
    other = spindle.group().replace("less water", "more water")
    found = tell(BASE, bleed=BLEED.replace("settings:", other + "settings:"))
    assert [p.code for p in found.problems] == ["screw-mismatch"]
    assert "in, out" in found.problems[0].message


def test_a_called_file_serves_every_bank_of_its_caller() -> None:
    found = tell(BASE, bleed=BLEED.replace("carbs: {from: 1, to: 4}", "carbs: {from: 1, to: 2}"))
    assert [(p.code, p.span.line) for p in found.problems] == [("layout-mismatch", 21)]
    assert "3 carbs" in found.problems[0].message
    found = tell(BASE, bleed=BLEED.replace("family: any", "family: pump house"))
    assert [p.code for p in found.problems if p.severity == "error"] == ["layout-mismatch"]


def test_files_that_call_each_other_in_a_circle_are_refused() -> None:
    back = BLEED.replace("do: Bleed it., go: bled", "call: tiny, ends: {done: bled, worn: air}")
    back = back.replace(
        "carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 4}", "carbs: {from: 2, to: 3}, barrels_per_carb: 2"
    )
    found = tell(BASE, bleed=back)
    assert [(p.path, p.code) for p in found.problems] == [("bleed.yaml", "call-cycle")]
    assert "tiny calls bleed calls tiny" in found.problems[0].message
