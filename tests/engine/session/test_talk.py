"""The line protocol: what a client gets and may answer, held against its schema both ways."""

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
from valve_runs import ADVISERS, answered, begun

from engine.protocol import talk as talk_module
from engine.protocol.talk import parse_answer, send, step_message, talk
from engine.run.answer import AnswerRefused
from engine.session.session import Session

SCHEMA = json.loads(Path(talk_module.__file__).with_name("talk.schema.json").read_text(encoding="utf-8"))
OUT, IN = (jsonschema.Draft202012Validator({**SCHEMA, "oneOf": [{"$ref": f"#/$defs/{way}"}]}) for way in ("out", "in"))

READ = {"flow": [4, 7.5], "sound": "steady", "drips": None}


def said(lines: Iterable[Any], session: Session | None = None) -> list[dict[str, Any]]:
    """What comes out for these answers (bytes as they are, anything else as JSON); each held against the schema."""
    out = io.StringIO()
    given_ = [line if isinstance(line, bytes) else json.dumps(line).encode() + b"\n" for line in lines]
    for line, source in zip(given_, lines, strict=True):
        if not isinstance(source, bytes):
            IN.validate(json.loads(line))
    talk(session or begun(), given_, out)
    messages = [json.loads(line) for line in out.getvalue().splitlines()]
    for message in messages:
        OUT.validate(message)
    return messages


def kinds(messages: list[dict[str, Any]]) -> list[str]:
    return [m["kind"] for m in messages]


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_it_begins_with_hello_and_the_first_step() -> None:
    hello, step = said([])
    assert hello == {"kind": "hello", "protocol": 2, "run": "1.1"}
    assert step["moves"][0] == {
        "screw": "spindle",
        "acts": "water",
        "on": "plate",
        "carb": 1,
        "barrel": None,
        "turns": None,
        "direction": "in",
        "effect": "less water",
        "position": 0,
        "aim": None,
    }
    assert step["state"] == {"engine": "stopped", "pedal_link": "on", "coupling": "on", "hold": None, "pump": "stopped"}


def test_a_whole_run_to_its_end() -> None:
    messages = said(
        [
            {"done": True},
            {"done": True},
            {"readings": READ, "understood": True, "lacking": {"drips": "no light"}},
            {"done": True},
            {"readings": {"flow": [6, 6.2], "sound": "steady", "drips": "no"}, "key": "last"},
        ]
    )
    assert kinds(messages) == ["hello", "step", *["recorded", "step"] * 4, "recorded", "end"]
    assert [m["seq"] for m in messages if m["kind"] == "recorded"] == [1, 2, 3, 4, 5]
    end = messages[-1]
    assert (end["outcome"], end["say"], end["findings"]) == ("ok", "Even within 0.2 L/min.", [])
    assert end["as_found"] == {"flow": [4, 7.5], "sound": "steady", "drips": None, "spindle": [2, 2]}
    assert end["as_left"]["flow"] == [6, 6.2]
    assert end["as_left"]["spindle"] == [3, 1.25]


def test_numbers_are_in_the_declared_unit_and_a_reading_says_all_that_it_must() -> None:
    step = said([{"done": True}, {"done": True}])[-1]
    assert step["read"][0] == {
        "name": "flow",
        "ask": "Flow at the valve",
        "quantity": "water flow",
        "each": "carb",
        "of": None,
        "count": 2,
        "unit": "L/min",
        "range": [0, 20],
        "choices": None,
        "healthy": {"from": 5, "to": 7},
        "average": 5,
        "may_lack": False,
        "lack_needs_reason": False,
        "reasons": [],
        "over_range": False,
        "listed": False,
        "safety": False,
    }
    assert step["read"][1]["choices"] == ["steady", "hammering", "silent"]
    assert step["read"][1]["range"] is None
    assert step["wait"] == {"seconds": 60, "until": ""}
    assert step["symptoms"] == [{"id": "hammer", "kind": "hunting"}]
    assert [c["understand"] for c in step["cautions"]] == [True, False]


def test_a_move_says_how_far_and_where_to_and_its_advice_says_why() -> None:
    step = said([{"done": True}, {"done": True}, {"readings": READ, "understood": True}])[-1]
    assert [(m["turns"], m["direction"], m["effect"], m["position"]) for m in step["moves"]] == [
        (1, "out", "more water", 3),
        (0.75, "in", "less water", 1.25),
    ]
    assert step["advice"] == [
        {
            "name": "next",
            "adviser": "even_flow",
            "outputs": {"verdict": "turn", "gap": 3.5},
            "because": {
                "used": "the row of flows",
                "concluded": "turn",
                "sure": "sure",
                "would_change": "another reading",
            },
        }
    ]


def test_a_finding_comes_when_it_is_raised_and_stands_with_each_step() -> None:
    messages = said([{"done": True}, {"done": True}, {"readings": {**READ, "drips": "yes"}, "understood": True}])
    assert kinds(messages)[-3:] == ["recorded", "finding", "step"]
    assert (
        messages[-2]
        == messages[-1]["findings"][0]
        == {
            "kind": "finding",
            "code": "gland-drips",
            "severity": "adjust",
            "where": [],
            "say": "The gland drips.",
            "do": "Nip it up.",
            "suggest": None,
            "sureness": None,
            "accepted": None,
        }
    )


class TestRefused:
    def test_nothing_is_recorded_and_nothing_is_sent_again(self) -> None:
        session = begun()
        messages = said([{"readings": {"flow": [1, 2]}}, {"done": True}], session)
        assert kinds(messages) == ["hello", "step", "refused", "recorded", "step"]
        assert messages[3]["seq"] == 1

    def test_a_danger_that_is_not_understood(self) -> None:
        messages = said([{"done": True}, {"done": True}, {"readings": READ}])
        assert "danger" in messages[-1]["problem"]

    @pytest.mark.parametrize(
        "line",
        [
            b"\xff\xfe\n",
            b"{\n",
            b"[1]\n",
            b"3\n",
            b"null\n",
            b'"done"\n',
            b"done\n",
            b'{"done": NaN}\n',
            b"{}\n",
            b'{"done": true, "done": true}\n',
            b'{"done": true, "undo": true}\n',
            b'{"done": false}\n',
            b'{"done": 1}\n',
            b'{"dnoe": true}\n',
            b'{"readings": [1, 2]}\n',
            b'{"symptom": 3}\n',
            b'{"lost": "spindle"}\n',
            b'{"done": true, "understood": "yes"}\n',
            b'{"done": true, "key": 7}\n',
            b'{"note": null}\n',
            b'{"understood": true}\n',
            b'{"readings": ' + b"[" * 5000 + b"}\n",
            b'{"note": "' + b"x" * 1_100_000 + b'"}\n',
            b'{"readings": {"flow": ' + b"9" * 5000 + b"}}\n",
        ],
    )
    def test_a_line_that_is_no_answer(self, line: bytes) -> None:
        messages = said([line, {"done": True}])
        assert kinds(messages) == ["hello", "step", "refused", "recorded", "step"]
        assert len(messages[2]["problem"]) < 400

    @settings(max_examples=200)
    @given(st.binary(max_size=60))
    def test_no_line_of_bytes_is_trouble(self, line: bytes) -> None:
        messages = said([line + b"\n", b'{"done": true}\n'])
        assert messages[-1]["step"] in ("zero", "open")

    def test_a_hint_names_the_nearest_key(self) -> None:
        with pytest.raises(AnswerRefused, match="Did you mean 'readings'"):
            parse_answer({"reading": {}})


class TestWhatAnswersAStep:
    def test_a_note_is_recorded_and_answers_nothing(self) -> None:
        assert kinds(said([{"note": "Gland weeps."}, {"done": True}])) == [
            "hello",
            "step",
            "recorded",
            "recorded",
            "step",
        ]

    def test_empty_lines_are_passed_over(self) -> None:
        assert kinds(said([b"\n", b"  \r\n", {"done": True}])) == ["hello", "step", "recorded", "step"]

    def test_undo_sends_the_step_before_without_its_moves(self) -> None:
        step = said([{"done": True}, {"undo": True}])[-1]
        assert (step["step"], step["visit"], step["moves"]) == ("zero", 1, [])
        assert "were made and stay made" in step["do"]

    def test_a_lost_count_sends_the_step_again(self) -> None:
        step = said([{"done": True}, {"lost": ["spindle"]}])[-1]
        assert step["step"] == "open"
        assert [m["position"] for m in step["moves"]] == [2, 2]

    def test_a_symptom_leads_into_a_called_file_and_back(self) -> None:
        messages = said([{"done": True}, {"symptom": "hammer"}, {"readings": {"air": "no"}}])
        assert [m["step"] for m in messages if m["kind"] == "step"] == ["zero", "open", "bleed_line.bleed", "open"]
        assert messages[-1]["moves"] == []

    def test_to_abandon_ends_the_run(self) -> None:
        end = said([{"done": True}, {"abandon": "The customer came back."}, {"done": True}])[-1]
        assert (end["kind"], end["outcome"], end["say"]) == ("end", "stopped", "The customer came back.")

    def test_a_move_as_it_was_sent_may_be_sent_back(self) -> None:
        first = said([{"done": True}])[-1]
        moves = [{**m, "turns": 1.5, "position": None} for m in first["moves"]]
        session = begun()
        said([{"done": True}, {"done": True, "moved": moves}], session)
        assert set(session.state.world.positions.values()) == {1.5}

    def test_the_same_key_is_recorded_once_and_the_step_in_force_is_sent(self) -> None:
        messages = said([{"done": True, "key": "a"}, {"done": True, "key": "a"}])
        assert [m["seq"] for m in messages if m["kind"] == "recorded"] == [1, 1]
        assert [m["step"] for m in messages if m["kind"] == "step"] == ["zero", "open", "open"]

    def test_the_end_of_input_suspends_the_run(self) -> None:
        session = begun()
        said([{"done": True}], session)
        assert b'"suspended"' in session.book.events(session.run)[-1].body
        again = Session.reopen(session.book, session.run, advisers=ADVISERS)
        assert kinds(said([{"done": True}], again)) == ["hello", "step", "recorded", "step"]

    def test_the_book_failing_stops_it_and_says_so(self) -> None:
        session = begun()
        session.book._db.execute("PRAGMA query_only = ON")
        out = io.StringIO()
        unsaved = talk(session, [b'{"done": true}\n', b'{"done": true}\n'], out)
        assert unsaved is not None
        assert "read-only" in (unsaved.problem or "")
        assert json.loads(out.getvalue().splitlines()[-1])["kind"] == "refused"
        assert len(out.getvalue().splitlines()) == 3


def test_every_step_of_a_run_passes_the_schema_as_the_screen_sees_it() -> None:
    from valve_runs import LONG_WAY

    session = begun()
    for answer in LONG_WAY:
        OUT.validate(step_message(session.view))
        answered(session, answer)


def test_nothing_that_is_sent_can_steer_a_terminal_and_it_reads_back_the_same() -> None:
    """What people and files wrote goes out too: titles, words, what was wrong with a line."""
    out = io.StringIO()
    told = {"kind": "refused", "problem": "a\u202eb\x1b[2J\x07\u2066c\x9b ü"}
    send(out, told)
    assert not set(out.getvalue()) & set("\u202e\x1b\x07\u2066\x9b") and "ü" in out.getvalue()
    assert out.getvalue().count("\n") == 1 and json.loads(out.getvalue()) == told
