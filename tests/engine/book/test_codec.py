"""Events and advice as they are stored: byte for byte what older programs wrote, and every field of theirs."""

import json
from dataclasses import fields
from fractions import Fraction as F

from engine.book import codec
from engine.evidence import Advice, Aim, Because, Finding, Move, Part, Place, Suggest
from engine.quantity.values import OverRange
from engine.run.events import Event

MOVES = (
    Move("s", Place(1, None), "in", "more air", F(1, 8), None, Aim("flow", F(9, 2), Place(1, 2))),
    Move("s", Place(2, 1), "out", "less air", F(1, 2), F(3)),
)
ADVICE = Advice(
    "a",
    2,
    {"v": "turn", "g": F(1, 3), "row": (None, F(2), "x")},
    MOVES,
    (Part("idle jet", Place(1, 1), F(50), Place(1, 2)), Part("idle jet", Place(1, 1), F(50))),
    (
        Finding("c", "adjust", (Place(1, 1),), "say", "do", Suggest("idle jet", None, F(55)), 0.5, "x"),
        Finding("c", "note", (), "say"),
    ),
    {"airflow": (F(9, 2), None)},
    Because("used", "concluded", "sure", "unless"),
)
EVENT = Event(
    "readings",
    {"a": (F(1, 3), None, OverRange(F(3)), "yes"), "b": F(2)},
    "sy",
    True,
    MOVES[:1],
    (),
    {"a": (None, "why"), "b": "w"},
    ("x",),
    "t",
    "now",
    "mended",
    ("p",),
    "me",
)
#: What a program of before wrote of these.
STORED_ADVICE = (
    '{"name":"n","adviser":"a","version":2,"outputs":{"v":"turn","g":{"n":1,"d":3},"row":[null,2,"x"]},"m'
    'oves":[{"screw":"s","place":[1,null],"direction":"in","effect":"more air","turns":{"n":1,"d":8},"pos'
    'ition":null,"aim":["flow",{"n":9,"d":2},[1,2]]},{"screw":"s","place":[2,1],"direction":"out","effect'
    '":"less air","turns":{"n":1,"d":2},"position":3,"aim":null}],"parts":[{"part":"idle jet","place":[1,'
    '1],"size":50,"from":[1,2]},{"part":"idle jet","place":[1,1],"size":50}],"findings":[{"code":"c","sev'
    'erity":"adjust","where":[[1,1]],"say":"say","do":"do","suggest":["idle jet",null,55],"sureness":0.5,'
    '"source":"x","each":""},{"code":"c","severity":"note","where":[],"say":"say","do":"","suggest":null,'
    '"sureness":null,"source":"","each":""}],"expect":{"airflow":[{"n":9,"d":2},null]},"because":["used",'
    '"concluded","sure","unless"]}'
)
STORED_EVENT = (
    '{"kind":"readings","at":"now","readings":{"a":[{"n":1,"d":3},null,{"over":3},"yes"],"b":2},"lacking"'
    ':{"a":[null,"why"],"b":"w"},"moved":[{"screw":"s","place":[1,null],"direction":"in","effect":"more a'
    'ir","turns":{"n":1,"d":8},"position":null,"aim":["flow",{"n":9,"d":2},[1,2]]}],"fitted":[],"symptom"'
    ':"sy","understood":true,"text":"t","lost":["x"],"gate":"mended","awaited":["p"],"by":"me"}'
)


def test_advice_is_stored_as_it_always_was_and_read_again() -> None:
    assert codec.dump(codec.advice_out("n", ADVICE)).decode() == STORED_ADVICE
    assert codec.advice_in(json.loads(STORED_ADVICE)) == ("n", ADVICE)


def test_an_event_is_stored_as_it_always_was_and_read_again() -> None:
    assert codec.dump(codec.event_out(EVENT)).decode() == STORED_EVENT
    assert codec.event_in(json.loads(STORED_EVENT)) == EVENT


def test_what_is_empty_is_left_out_but_nothing_turned_is_said() -> None:
    assert codec.event_out(Event("done", moved=(), at="now")) == {"kind": "done", "at": "now", "moved": []}


def test_a_finding_of_before_it_had_a_kind_of_place_is_read() -> None:
    told = json.loads(STORED_ADVICE)
    for finding in told["findings"]:
        del finding["each"]
    assert codec.advice_in(told) == ("n", ADVICE)


def test_every_field_is_stored_but_what_another_event_tells() -> None:
    told = json.loads(STORED_ADVICE)
    assert {f.name for f in fields(Finding)} - told["findings"][0].keys() == {"accepted"}
    assert {f.name for f in fields(Move)} == told["moves"][0].keys()
    assert {f.name for f in fields(Advice)} | {"name"} == told.keys()
    assert set(Event._fields) == json.loads(STORED_EVENT).keys()
