"""Protocol 2: the schema is made from the program's own types and agrees with it both ways; a stale answer is refused;
an old client is served as before.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from typing_extensions import TypedDict, get_type_hints
from valve_runs import ADVISERS, LONG_WAY, Answer, answered, begun, written

from engine.protocol import messages, talk
from engine.protocol.outgoing import made
from engine.protocol.talk import parse_answer, parse_line, step_message
from engine.run.answer import ALONE, KINDS, RIDERS, AnswerRefused
from engine.session.session import Session

SCHEMA = messages.schema()
COMMITTED = Path(talk.__file__).with_name("talk.schema.json")
PROTOCOL_1 = json.loads(Path(__file__).with_name("talk_protocol_1.schema.json").read_text(encoding="utf-8"))


def validator(schema: dict[str, Any], way: str) -> Any:
    return jsonschema.Draft202012Validator({**schema, "oneOf": [{"$ref": f"#/$defs/{way}"}]})


OUT, IN = validator(SCHEMA, "out"), validator(SCHEMA, "in")
READ = {"flow": [4, 7.5], "sound": "steady", "drips": None}


def said(lines: Iterable[Any], session: Session | None = None, protocol: int = 2) -> list[dict[str, Any]]:
    """What comes out for these answers."""
    out = io.StringIO()
    sent = [line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n" for line in lines]
    talk.talk(session or begun(), sent, out, protocol)
    found = [json.loads(line) for line in out.getvalue().splitlines()]
    for message in found:
        (OUT if protocol == 2 else validator(PROTOCOL_1, "out")).validate(message)
    return found


def stop_session(tmp_path: Path) -> Session:
    path = tmp_path / "shop.yaml"
    path.write_text(
        "procedure: shop\ntitle: Shop\nrevision: 1\nfor: {family: any, carbs: 2}\n"
        "readings:\n  seen: {ask: Seen, choices: [nothing, worn], healthy: nothing}\nstart: one\nsteps:\n"
        "  one:\n    read: [seen]\n    findings:\n"
        "      - {code: worn, severity: stop, say: It is worn., do: Change it., when: seen == 'worn'}\n    go: end\n"
        "  end: {end: ok, say: Done.}\n",
        encoding="utf-8",
    )
    return begun(program=written(path))


def of(node: dict[str, Any]) -> st.SearchStrategy[Any]:
    """Values that a part of the schema lets in; what it uses of the language is little, and the rest fails here."""
    if "$ref" in node:
        return of(SCHEMA["$defs"][node["$ref"].removeprefix("#/$defs/")])
    if "anyOf" in node:
        return st.one_of([of(inner) for inner in node["anyOf"]])
    if "const" in node or "enum" in node:
        return st.sampled_from(node.get("enum") or [node["const"]])
    match node["type"]:
        case "null":
            return st.none()
        case "boolean":
            return st.booleans()
        case "integer":
            return st.integers(node.get("minimum"), node.get("maximum"))
        case "number":
            return st.one_of(st.floats(node.get("minimum"), allow_nan=False, allow_infinity=False), st.integers(0, 9))
        case "string":
            return st.text(min_size=node.get("minLength", 0), max_size=min(node.get("maxLength", 20), 20))
        case "array":
            return st.lists(of(node["items"]), min_size=node.get("minItems", 0), max_size=3)
    extra = node.get("additionalProperties")
    if isinstance(extra, dict):
        return st.dictionaries(st.sampled_from(["flow", "sound", "drips", "x"]), of(extra), max_size=3)
    fields = {name: of(inner) for name, inner in node.get("properties", {}).items()}
    must = {name: fields.pop(name) for name in node.get("required", ())}
    return st.fixed_dictionaries(must, optional=fields) if extra is False else st.dictionaries(st.text(), st.integers())


def answers() -> st.SearchStrategy[dict[str, Any]]:
    """Answers that the schema lets in: one kind, and some riders."""
    fields = SCHEMA["$defs"]["in"]["properties"]
    kinds = [k.key for k in KINDS]
    riders = {name: of(inner) for name, inner in fields.items() if name not in kinds}
    return st.one_of([st.fixed_dictionaries({key: of(fields[key])}, optional=riders) for key in kinds])


# ---- schema and program are one


def test_the_committed_schema_is_the_one_that_the_types_make() -> None:
    assert COMMITTED.read_text(encoding="utf-8") == messages.text()


def test_a_key_that_a_message_gains_is_filled_from_what_is_shown_without_another_line() -> None:
    more = TypedDict("more", {**get_type_hints(messages.Ask, include_extras=True), "source": str, "rounds": bool})
    session = answered(begun(), Answer(done=True), Answer(done=True), Answer(understood=True))
    ask = session.view.read[0]
    message = made(more, ask)
    assert (message["source"], message["rounds"]) == (ask.source, ask.rounds)
    assert {k: v for k, v in message.items() if k not in ("source", "rounds")} == step_message(session.view)["read"][0]


def test_every_kind_of_answer_and_every_rider_is_spoken_and_nothing_else() -> None:
    spoken = {field.alias or name for name, field in messages.AnswerLine.model_fields.items()}
    named = {"for" if key == "answers" else key for key in (*(k.key for k in KINDS), *RIDERS)}
    assert spoken == named
    assert {k.key for k in ALONE} <= set(RIDERS)
    assert set(Answer.__slots__) == {k.key for k in KINDS} | set(RIDERS)


@settings(max_examples=400, deadline=None)
@given(answers())
def test_whatever_the_schema_lets_in_is_understood_or_refused_with_a_sentence(message: dict[str, Any]) -> None:
    IN.validate(message)
    line = json.dumps(message).encode()
    try:
        answer = parse_answer(parse_line(line))
    except AnswerRefused as refusal:
        # What a schema can't say: half a character, a number that is none in practice.
        assert "surrogate" in str(refusal), str(refusal)
        return
    session = answered(begun(), Answer(done=True), Answer(done=True))
    reply = session.answer(answer)
    assert reply.recorded is not None or (reply.problem or "").strip().endswith((".", "?"))
    assert "failed on this answer" not in (reply.problem or "")


_ANY = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=400, deadline=None)
@given(st.dictionaries(st.sampled_from([*messages.AnswerLine.model_fields, "for", "x"]), _ANY, max_size=3))
def test_what_the_schema_does_not_let_in_the_program_refuses_too(message: dict[str, Any]) -> None:
    allowed = IN.is_valid(message)
    try:
        parse_answer(message)
        understood = True
    except AnswerRefused as refusal:
        understood = False
        assert str(refusal).strip()
    assert understood == allowed, message


def test_every_step_of_a_run_passes_the_schema_as_the_screen_sees_it() -> None:
    session = begun()
    for answer in LONG_WAY:
        OUT.validate(step_message(session.view))
        answered(session, answer)


# ---- which step is answered


class TestFor:
    def test_the_same_line_three_times_is_one_answer(self) -> None:
        line = {"done": True, "for": 0}
        kinds = [m["kind"] for m in said([line, line, line])]
        assert kinds == ["hello", "step", "recorded", "step", "refused", "refused"]

    def test_a_step_says_its_seq_and_its_visit(self) -> None:
        first, second = (m for m in said([{"done": True}]) if m["kind"] == "step")
        assert (first["seq"], first["visit"], second["seq"], second["visit"]) == (0, 1, 1, 1)

    def test_a_step_and_its_visit_will_do(self) -> None:
        messages_ = said(
            [{"done": True, "for": {"step": "zero", "visit": 1}}, {"done": True, "for": {"step": "zero", "visit": 1}}]
        )
        assert messages_[-1]["kind"] == "refused"
        assert "open" in messages_[-1]["problem"]

    @pytest.mark.parametrize("stale", ["zero", -1, 0.5, None, {"step": "zero"}, {"step": 1, "visit": 1}, [1], True])
    def test_what_is_no_step_is_refused(self, stale: Any) -> None:
        assert said([{"done": True, "for": stale}])[-1]["kind"] == "refused"

    def test_an_answer_that_says_nothing_of_it_is_taken(self) -> None:
        assert [m["kind"] for m in said([{"done": True}, {"done": True}])].count("recorded") == 2

    def test_the_visit_counts_on_through_calls_that_are_over(self) -> None:
        """The called file's step is visited twice: in two calls, each with counters of its own."""
        bleed = {"readings": {"air": "no"}}
        lines = [{"done": True}, {"symptom": "hammer"}, bleed, {"symptom": "hammer"}, bleed]
        visits = [m["visit"] for m in said(lines) if m["kind"] == "step" and m["step"] == "bleed_line.bleed"]
        assert visits == [1, 2]
        old = [m["visit"] for m in said(lines, protocol=1) if m["kind"] == "step" and m["step"] == "bleed_line.bleed"]
        assert old == [1, 1]


# ---- values, riders, gates


def test_a_place_that_was_not_taken_says_why() -> None:
    session = begun()
    lines = [
        {"done": True},
        {"done": True},
        {"readings": {**READ, "drips": {"not taken": "no light"}}, "understood": True},
    ]
    assert said(lines, session)[-1]["kind"] == "step"
    assert (session.state.past.event.lacking or {}) == {"drips": ("no light",)}
    assert Session.reopen(session.book, session.run, advisers=ADVISERS, reading=True).view == session.view


def test_no_reason_for_a_place_that_must_be_taken() -> None:
    lines = [{"done": True}, {"done": True}, {"readings": {**READ, "sound": {"not taken": "x"}}, "understood": True}]
    assert "a value is needed" in said(lines)[-1]["problem"]


@pytest.mark.parametrize(
    "aside",
    [{"note": "He turned it while I looked."}, {"undo": True}, {"abandon": "The customer came back."}],
)
def test_what_was_moved_beside_anything_is_taken(aside: dict[str, Any]) -> None:
    session = begun()
    move = {"screw": "spindle", "carb": 1, "barrel": None, "position": 1.5}
    said([{"done": True}, {**aside, "moved": [move]}], session)
    assert session.state.world.positions["spindle", (1, None)] == 1.5
    again = Session.reopen(session.book, session.run, advisers=ADVISERS, reading=True)
    assert again.state.world.positions == session.state.world.positions


@pytest.mark.parametrize(
    "line",
    [
        {"done": True, "moved": [{"screw": {}, "carb": 1}]},
        {"done": True, "moved": [{"screw": {}}]},
        {"done": True, "moved": [{"screw": "spindle", "carb": 1, "turns": 1e14, "direction": "in"}]},
        {"lost": [{}]},
        {"done": True, "fitted": [{"part": "washer", "carb": 2, "size": 3, "from": 7}]},
        {"done": True, "fitted": [{"part": "w" * 200, "carb": 2, "size": 3}]},
        {"note": "x" * 10_001},
        {"abandon": "x" * 10_001},
        {"note": "half \ud800"},
        {"done": True, "by": "x" * 90},
        {"done": True, "lacking": {"flow": "no"}},
        {"done": True, "reason": "none"},
        {"waited": -1},
        {"waited": 1e300},
        {"wait_for_parts": {"parts": []}},
        {"gate": "mended"},
    ],
)
def test_what_can_not_be_is_refused_in_a_sentence_and_nothing_is_lost(line: dict[str, Any]) -> None:
    found = said([line, {"done": True}])
    assert [m["kind"] for m in found] == ["hello", "step", "refused", "recorded", "step"]
    assert 10 < len(found[2]["problem"]) < 400


def test_a_long_note_is_kept_whole() -> None:
    session = begun()
    said([{"note": "x" * 9_000}], session)
    assert [len(text) for _, text in session.state.notes] == [9_000]


def test_a_run_waits_for_parts_and_goes_on() -> None:
    found = said([{"wait_for_parts": {"parts": ["gland packing"]}}, {"done": True}, {"resume": True}, {"done": True}])
    assert [m["kind"] for m in found] == [
        "hello", "step", "recorded", "step", "refused", "recorded", "step", "recorded", "step",
    ]  # fmt: skip
    assert found[3]["waiting"] == ["gland packing"]


class TestStopGate:
    def test_it_is_a_step_with_one_choice(self, tmp_path: Path) -> None:
        step = said([{"readings": {"seen": "worn"}}], stop_session(tmp_path))[-1]
        assert (step["step"], step["do"]) == ("stop_gate", "It is worn. Change it.")
        assert step["gate"] == {"findings": ["worn"], "reason_for": ["go on knowingly"]}
        assert [(a["name"], a["choices"]) for a in step["read"]] == [
            ("stop_gate", ["mended", "ends here", "go on knowingly"])
        ]

    def test_its_ways_on(self, tmp_path: Path) -> None:
        lines = [
            {"readings": {"seen": "worn"}},
            {"gate": "go on knowingly"},
            {"gate": "go on knowingly", "reason": "He sells it."},
        ]
        found = said(lines, stop_session(tmp_path))
        assert [m["kind"] for m in found][-3:] == ["refused", "recorded", "end"]
        assert found[-1]["outcome"] == "stopped"
        assert found[-1]["findings"][0]["accepted"] == "He sells it."

    def test_a_client_of_protocol_1_answers_it_as_any_step(self, tmp_path: Path) -> None:
        lines = [{"readings": {"seen": "worn"}}, {"readings": {"stop_gate": "ends here"}}]
        assert said(lines, stop_session(tmp_path), protocol=1)[-1]["outcome"] == "stopped"


# ---- a client that knows nothing of it


def test_a_client_of_protocol_1_gets_what_it_got() -> None:
    lines = [
        {"done": True},
        {"done": True},
        {"readings": READ, "understood": True, "lacking": {"drips": "no light"}},
        {"done": True},
        {"readings": {"flow": [6, 6.2], "sound": "steady", "drips": "no"}, "key": "last"},
    ]
    found = said(lines, protocol=1)
    assert found[0] == {"kind": "hello", "protocol": 1, "run": "1.1"}
    assert found[-1]["outcome"] == "ok"


def test_what_a_client_of_protocol_1_may_answer_is_understood() -> None:
    for message in (
        {"readings": {"a": [1, None, "x"]}, "moved": [], "fitted": [], "lacking": {"a": "b"}, "key": "k"},
        {"undo": True},
        {"lost": ["a"]},
        {"note": "n"},
        {"abandon": "a"},
        {"symptom": "s"},
    ):
        validator(PROTOCOL_1, "in").validate(message)
        IN.validate(message)
        assert isinstance(parse_answer(parse_line(json.dumps(message).encode())), Answer)


def test_a_part_of_a_swap_says_where_it_comes_from() -> None:
    from fractions import Fraction

    from engine.evidence import Part, Place
    from engine.protocol.messages import Part as Sent

    swapped = made(Sent, Part("idle jet", Place(1, 1), Fraction(50), Place(2, 1)))
    assert swapped["from"] == {"carb": 2, "barrel": 1}
    assert made(Sent, Part("idle jet", Place(1, 1), Fraction(50)))["from"] is None
    session = begun()
    back = {"done": True, "fitted": [{"part": "washer", "carb": 2, "size": 12, "from": {"carb": 1, "barrel": None}}]}
    said([back], session)
    assert session.state.past.event.fitted == (Part("washer", Place(2), Fraction(12), Place(1)),)
    assert Session.reopen(session.book, session.run, advisers=ADVISERS, reading=True).state.past.event.fitted == (
        Part("washer", Place(2), Fraction(12), Place(1)),
    )
