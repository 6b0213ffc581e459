"""Every message of the line protocol as a type, and its JSON Schema made from them; it sends and reads nothing.

What goes out are typed dictionaries, filled by `outgoing` from what is shown: a key says here where its value is found,
if not under its own name. What comes in is a model that checks a line, made from the fields of
`engine.run.answer.Answer`.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from functools import cache
from operator import itemgetter
from typing import Annotated, Any, Literal, NotRequired, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, create_model, with_config
from typing_extensions import TypedDict, get_type_hints, is_typeddict

from engine.protocol.outgoing import From
from engine.run.answer import KINDS, SPOKEN
from engine.run.spoken import STRICT, Count, Number, Place

#: The version that these types describe. Protocol 1 is 2 without what came with it; see `as_of_1`.
PROTOCOL = 2

#: What protocol 2 brought; a client of protocol 1 is not sent it.
SINCE_2 = "since protocol 2"
Severity = Literal["note", "adjust", "change part", "stop"]
Value = Annotated[
    Number | str | None,
    Field(description="A number in the declared unit, a choice, `over range` beyond the scale, or null: not taken."),
]

# ---- out


@with_config(STRICT)
class Cylinder(TypedDict):
    """A cylinder, counted from 1 along the engine."""

    cylinder: Count


@with_config(STRICT)
class Aim(TypedDict):
    """Turn until `reading` shows `value`."""

    reading: str
    value: Number
    place: NotRequired[Annotated[Place, Field(description="Where the gauge sits, if not at the screw's own place.")]]


@with_config(STRICT)
class Move(TypedDict):
    """One screw: turns from where it stands, or to a position, or until a reading shows a value."""

    screw: str
    acts: Annotated[str, Field(description="What it changes: air, mixture, or a word of the family.")]
    on: Annotated[str, Field(description="Where it works: plate, bypass, jet, coupling, or a word of the family.")]
    carb: Annotated[Count | None, From("place.carb")]
    barrel: Annotated[Count | None, From("place.barrel")]
    turns: Annotated[Number, Field(gt=0)] | None
    direction: Literal["in", "out"]
    effect: Annotated[str, Field(description="more air, less air, richer, leaner, or words of the family.")]
    position: Annotated[
        Number | None, Field(description="Turns from its zero where it then stands, once known; 0 for seating.")
    ]
    aim: Aim | None


#: `from` is a word of Python, so these two are written as calls.
Part = TypedDict(
    "Part",
    {
        "part": str,
        "carb": Annotated[Count | None, From("place.carb")],
        "barrel": Annotated[Count | None, From("place.barrel")],
        "size": Annotated[Number, Field(description="In the part's own numbers; a jet: hundredths of a mm.")],
        "from": Annotated[
            Place | None,
            Field(description="The place that it comes from (a swap); null: it comes new."),
            From("origin"),
            SINCE_2,
        ],
    },
)
Part.__doc__ = "A part at one place."
with_config(STRICT)(Part)
Suggest = TypedDict(
    "Suggest",
    {"part": str, "from": Annotated[Number | None, From("old")], "to": Annotated[Number, From("new")]},
)
Suggest.__doc__ = "A part to change, in its own numbers."
with_config(STRICT)(Suggest)
Healthy = TypedDict(
    "Healthy",
    {"from": Annotated[Number | None, From(itemgetter(0))], "to": Annotated[Number | None, From(itemgetter(1))]},
)
Healthy.__doc__ = "A closed range; null: no end."
with_config(STRICT)(Healthy)


@with_config(STRICT)
class Ask(TypedDict):
    """One reading to take. `count` is how long its row is; 1 for a single value, then `each` is null."""

    name: str
    ask: str
    quantity: str
    each: Literal["carb", "barrel", "gap", "cylinder"] | None
    of: Annotated[Place | None, Field(description="Which place a single value belongs to.")]
    count: Count
    unit: str | None
    range: Annotated[list[Number], Field(min_length=2, max_length=2)] | None
    choices: Annotated[Annotated[list[str], Field(min_length=1)] | None, From(lambda ask: ask.choices or None)]
    healthy: Annotated[str | Healthy | None, Field(description="The answer of a sound engine: a choice, or a range.")]
    average: Annotated[Number | None, Field(description="Seconds to average over.")]
    may_lack: Annotated[bool, Field(description="A place may be null, or {'not taken': reason}.")]
    lack_needs_reason: Annotated[bool, Field(description="A place that is not taken must say why."), SINCE_2]
    reasons: Annotated[
        list[str], Field(description="Reasons that are offered for it; any other may be given."), SINCE_2
    ]
    over_range: Annotated[
        bool, Field(description="`over range` is an answer: the needle stands beyond the scale."), SINCE_2
    ]
    listed: Annotated[
        bool, Field(description="Part of a checklist: readings with one usual answer, asked as one list."), SINCE_2
    ]
    safety: Annotated[bool, Field(description="A wrong answer may hurt somebody: answer it by itself."), SINCE_2]


def _where(finding: Any) -> Any:
    return [{"cylinder": p.carb or 1} for p in finding.where] if finding.each == "cylinder" else finding.where


@with_config(STRICT)
class Finding(TypedDict):
    """What is wrong, where, and what to do. It stands until it is cleared."""

    kind: Literal["finding"]
    code: str
    severity: Severity
    where: Annotated[list[Place | Cylinder], From(_where)]
    say: str
    do: str
    suggest: Suggest | None
    sureness: Annotated[float, Field(ge=0, le=1)] | None
    accepted: Annotated[
        str | None,
        Field(description="Of a stop that was gone on from knowingly: the reason."),
        From(lambda finding: finding.accepted or None),
        SINCE_2,
    ]


@with_config(STRICT)
class Caution(TypedDict):
    """A caution with its signal word."""

    word: Literal["danger", "warning", "caution", "notice"]
    text: str
    understand: Annotated[bool, Field(description="The answer must say understood: true.")]


@with_config(ConfigDict(extra="allow"))
class Stand(TypedDict):
    """How things must stand; families may have further keys."""

    engine: Literal["running", "stopped"]
    pedal_link: Literal["on", "off"]
    coupling: Literal["on", "off"]
    hold: Annotated[Number | None, Field(description="Engine speed to hold, rpm.")]


class Symptom(TypedDict):
    """What may be seen or heard at this step."""

    id: Annotated[str, From("name")]
    kind: str


@with_config(STRICT)
class Because(TypedDict):
    """Why an advice is what it is, in a technician's words."""

    used: str
    concluded: str
    sure: str
    would_change: str


@with_config(STRICT)
class Advice(TypedDict):
    """An advice in force: what it put out, in the units that the adviser declares, and why."""

    name: str
    adviser: str
    outputs: Annotated[
        dict[str, bool | Number | str | list[bool | Number | str | None] | None],
        From("values"),
    ]
    because: Because | None


@with_config(STRICT)
class Wait(TypedDict):
    """A pause before the readings; the program itself never sleeps."""

    seconds: Annotated[Number, Field(ge=0)]
    until: str


@with_config(STRICT)
class Gate(TypedDict):
    """A stop on the spot: nothing else is answered before it. Its one reading `stop_gate` holds the choice."""

    findings: Annotated[
        list[str],
        Field(description="The codes of the findings that stop it."),
        From(lambda gate: [f.code for f in gate.findings]),
    ]
    reason_for: Annotated[list[str], Field(description="The choices that need a `reason` beside them.")]


@with_config(STRICT)
class Step(TypedDict):
    """What is to be done and read now."""

    kind: Literal["step"]
    step: Annotated[str, Field(description="The step's id; in a called file: file.step; at a stop: stop_gate.")]
    visit: Annotated[
        Count,
        Field(description="Which visit of this step it is, counted through the whole run."),
        From("visit_of_run"),
    ]
    seq: Annotated[int, Field(ge=0, description="The event that led here; an answer may say it in `for`."), SINCE_2]
    title: str
    phase: Annotated[
        str,
        Field(
            description="Where in the work the step belongs: as found, checks, preset, air, mixture, jets, linkage, "
            "beyond idle, hand-over; empty where no file says."
        ),
        SINCE_2,
    ]
    do: Annotated[str, Field(description="The instruction; may be empty.")]
    cautions: list[Caution]
    state: Stand
    again: Annotated[
        str, Field(description="What to do again first, after a pause: `warm up first`; else empty."), SINCE_2
    ]
    moves: Annotated[
        list[Move], Field(description="To be made before the readings; empty where they were made already.")
    ]
    fit: list[Part]
    read: list[Ask]
    symptoms: list[Symptom]
    findings: list[Finding]
    advice: Annotated[list[Advice], Field(description="The advice in force, newest first, with its reasons.")]
    gate: Annotated[Gate | None, SINCE_2]
    waiting: Annotated[
        list[str], Field(description="The parts that the run waits for; it goes on with `resume`."), SINCE_2
    ]
    wait: NotRequired[Wait]


@with_config(STRICT)
class Hello(TypedDict):
    """The first message."""

    kind: Literal["hello"]
    protocol: Literal[1, 2]
    run: Annotated[str, Field(description="The run's id in the job book: job.number.")]


@with_config(STRICT)
class Recorded(TypedDict):
    """The answer is on the disk, as event `seq`."""

    kind: Literal["recorded"]
    seq: Count


@with_config(STRICT)
class Refused(TypedDict):
    """Nothing was recorded and nothing is sent again: answer the same step anew."""

    kind: Literal["refused"]
    problem: Annotated[str, Field(min_length=1)]


Lines = Annotated[
    dict[str, Value | list[Value]],
    Field(description="Readings and screw positions by name: a value or a row; null where it was not taken."),
]


@with_config(STRICT)
class End(TypedDict):
    """How the run ended; the last message."""

    kind: Literal["end"]
    outcome: Literal["ok", "failed", "stopped"]
    say: str
    as_found: Lines
    as_left: Lines
    findings: list[Finding]


Out = Hello | Step | Recorded | Refused | Finding | End


def as_of_1(message: Any) -> Any:
    """A message as a client of protocol 1 knows it: without what protocol 2 brought."""
    of = next(t for t in get_args(Out) if message["kind"] in get_args(get_type_hints(t)["kind"]))
    return _before_2(message, of)


def _before_2(message: Mapping[str, Any], of: Any) -> dict[str, Any]:
    known = {key: inner for key, inner in _of_1(of) if key in message}
    return {
        key: message[key] if inner is None else [_before_2(v, inner) for v in message[key]]
        for key, inner in known.items()
    }


@cache
def _of_1(of: Any) -> tuple[tuple[str, Any], ...]:
    """The keys of a message that protocol 1 knew, each with the kind of message that it is a list of, if it is."""
    marked = get_type_hints(of, include_extras=True)
    found = []
    for key, kind in get_type_hints(of).items():
        of_list: Any = get_origin(kind)
        inner: Any = get_args(kind)[0] if of_list is list else None
        if SINCE_2 not in getattr(marked[key], "__metadata__", ()):
            found.append((key, inner if is_typeddict(inner) else None))
    return tuple(found)


# ---- in, as each field of an answer says

_FIELDS: dict[str, Any] = {
    key: (said.type, Field(default=None, description=said.about, alias=said.called)) for key, said in SPOKEN.items()
}
AnswerLine: type[BaseModel] = create_model(
    "AnswerLine",
    __config__=ConfigDict(
        strict=True,
        extra="forbid",
        title="Answer",
        json_schema_extra={"oneOf": [{"required": [k.key]} for k in KINDS]},
    ),
    __doc__="What a client answers: exactly one of the kinds; the other keys ride beside it.",
    **_FIELDS,
)


def schema() -> dict[str, Any]:
    """The JSON Schema of both directions, made from the types above."""
    out = TypeAdapter(Out).json_schema(ref_template="#/$defs/{model}")
    back = AnswerLine.model_json_schema(ref_template="#/$defs/{model}")
    defs = {**out.pop("$defs"), **back.pop("$defs")}
    found = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:evendraw:talk:{PROTOCOL}",
        "title": f"The line protocol of evendraw talk, version {PROTOCOL}",
        "description": "One JSON object a line, UTF-8, in both directions. Numbers are in the reading's declared "
        "unit. First comes hello; then for each step a step object, answered by exactly one answer, which is recorded "
        "or refused; last comes end. A client that says nothing of a step, a person or a swap works as with protocol "
        "1; 'evendraw talk --protocol 1' sends what protocol 1 sent.",
        "oneOf": [{"$ref": "#/$defs/out"}, {"$ref": "#/$defs/in"}],
        "$defs": {"out": {"description": "What the program sends.", **out}, "in": back, **dict(sorted(defs.items()))},
    }
    made: dict[str, Any] = _plain(found)
    return made


def _plain(node: Any) -> Any:
    """Without the titles and the defaults that a generator adds: a key that is left out is left out, never null."""
    if isinstance(node, list):
        return [_plain(v) for v in node]
    if not isinstance(node, dict):
        return node
    found = {}
    for key, value in node.items():
        if key == "properties":
            found[key] = {name: _plain(inner) for name, inner in value.items()}
        elif key != "default" and not (key == "title" and "properties" not in node and "$defs" not in node):
            found[key] = _plain(value)
    return found


def text() -> str:
    """The schema as the committed file holds it: `python -m engine.protocol.messages >
    engine/protocol/talk.schema.json`.
    """
    return json.dumps(schema(), indent=2, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    sys.stdout.write(text())
