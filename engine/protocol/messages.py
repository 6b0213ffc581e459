"""Every message of the line protocol as a type, and its JSON Schema made from them; it sends and reads nothing.

What goes out are typed dictionaries, so that a type checker sees what `talk` builds; what comes in is a model that
checks a line. The kinds of answers are those of `engine.run.answer`.
"""

from __future__ import annotations

import json
import sys
from typing import Annotated, Any, Literal, NotRequired

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, with_config
from typing_extensions import TypedDict

from engine.run.answer import KINDS

#: The version that these types describe. Protocol 1 is 2 without what came with it; see `talk.as_of`.
PROTOCOL = 2

_STRICT = ConfigDict(extra="forbid")
Count = Annotated[int, Field(ge=1)]
Number = float
Severity = Literal["note", "adjust", "change part", "stop"]
Value = Annotated[
    Number | str | None,
    Field(description="A number in the declared unit, a choice, `over range` beyond the scale, or null: not taken."),
]

# ---- out


@with_config(_STRICT)
class Place(TypedDict):
    """carb counts from 1 along the bank, barrel from 1 within its carb; null for the whole carb, or the whole
    engine.
    """

    carb: Count | None
    barrel: Count | None


@with_config(_STRICT)
class Cylinder(TypedDict):
    """A cylinder, counted from 1 along the engine."""

    cylinder: Count


@with_config(_STRICT)
class Aim(TypedDict):
    """Turn until `reading` shows `value`."""

    reading: str
    value: Number
    place: NotRequired[Annotated[Place, Field(description="Where the gauge sits, if not at the screw's own place.")]]


@with_config(_STRICT)
class Move(TypedDict):
    """One screw: turns from where it stands, or to a position, or until a reading shows a value."""

    screw: str
    acts: Annotated[str, Field(description="What it changes: air, mixture, or a word of the family.")]
    on: Annotated[str, Field(description="Where it works: plate, bypass, jet, coupling, or a word of the family.")]
    carb: Count | None
    barrel: Count | None
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
        "carb": Count | None,
        "barrel": Count | None,
        "size": Annotated[Number, Field(description="In the part's own numbers; a jet: hundredths of a mm.")],
        "from": Annotated[
            Place | None, Field(description="The place that it comes from (a swap); null: it comes new.")
        ],
    },
)
Part.__doc__ = "A part at one place."
with_config(_STRICT)(Part)
Suggest = TypedDict("Suggest", {"part": str, "from": Number | None, "to": Number})
Suggest.__doc__ = "A part to change, in its own numbers."
with_config(_STRICT)(Suggest)
Healthy = TypedDict("Healthy", {"from": Number | None, "to": Number | None})
Healthy.__doc__ = "A closed range; null: no end."
with_config(_STRICT)(Healthy)


@with_config(_STRICT)
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
    choices: Annotated[list[str], Field(min_length=1)] | None
    healthy: Annotated[str | Healthy | None, Field(description="The answer of a sound engine: a choice, or a range.")]
    average: Annotated[Number | None, Field(description="Seconds to average over.")]
    may_lack: Annotated[bool, Field(description="A place may be null, or {'not taken': reason}.")]
    lack_needs_reason: Annotated[bool, Field(description="A place that is not taken must say why.")]
    reasons: Annotated[list[str], Field(description="Reasons that are offered for it; any other may be given.")]
    over_range: Annotated[bool, Field(description="`over range` is an answer: the needle stands beyond the scale.")]
    listed: Annotated[
        bool, Field(description="Part of a checklist: readings with one usual answer, asked as one list.")
    ]
    safety: Annotated[bool, Field(description="A wrong answer may hurt somebody: answer it by itself.")]


@with_config(_STRICT)
class Finding(TypedDict):
    """What is wrong, where, and what to do. It stands until it is cleared."""

    kind: Literal["finding"]
    code: str
    severity: Severity
    where: list[Place | Cylinder]
    say: str
    do: str
    suggest: Suggest | None
    sureness: Annotated[float, Field(ge=0, le=1)] | None
    accepted: Annotated[str | None, Field(description="Of a stop that was gone on from knowingly: the reason.")]


@with_config(_STRICT)
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

    id: str
    kind: str


@with_config(_STRICT)
class Because(TypedDict):
    """Why an advice is what it is, in a technician's words."""

    used: str
    concluded: str
    sure: str
    would_change: str


@with_config(_STRICT)
class Advice(TypedDict):
    """An advice in force: what it put out, in the units that the adviser declares, and why."""

    name: str
    adviser: str
    outputs: dict[str, bool | Number | str | list[bool | Number | str | None] | None]
    because: Because | None


@with_config(_STRICT)
class Wait(TypedDict):
    """A pause before the readings; the program itself never sleeps."""

    seconds: Annotated[Number, Field(ge=0)]
    until: str


@with_config(_STRICT)
class Gate(TypedDict):
    """A stop on the spot: nothing else is answered before it. Its one reading `stop_gate` holds the choice."""

    findings: Annotated[list[str], Field(description="The codes of the findings that stop it.")]
    reason_for: Annotated[list[str], Field(description="The choices that need a `reason` beside them.")]


@with_config(_STRICT)
class Step(TypedDict):
    """What is to be done and read now."""

    kind: Literal["step"]
    step: Annotated[str, Field(description="The step's id; in a called file: file.step; at a stop: stop_gate.")]
    visit: Annotated[Count, Field(description="Which visit of this step it is, counted through the whole run.")]
    seq: Annotated[int, Field(ge=0, description="The event that led here; an answer may say it in `for`.")]
    title: str
    phase: Annotated[
        str,
        Field(
            description="Where in the work the step belongs: as found, checks, preset, air, mixture, jets, linkage, "
            "beyond idle, hand-over; empty where no file says."
        ),
    ]
    do: Annotated[str, Field(description="The instruction; may be empty.")]
    cautions: list[Caution]
    state: Stand
    again: Annotated[str, Field(description="What to do again first, after a pause: `warm up first`; else empty.")]
    moves: Annotated[
        list[Move], Field(description="To be made before the readings; empty where they were made already.")
    ]
    fit: list[Part]
    read: list[Ask]
    symptoms: list[Symptom]
    findings: list[Finding]
    advice: Annotated[list[Advice], Field(description="The advice in force, newest first, with its reasons.")]
    gate: Gate | None
    waiting: Annotated[list[str], Field(description="The parts that the run waits for; it goes on with `resume`.")]
    wait: NotRequired[Wait]


@with_config(_STRICT)
class Hello(TypedDict):
    """The first message."""

    kind: Literal["hello"]
    protocol: Literal[1, 2]
    run: Annotated[str, Field(description="The run's id in the job book: job.number.")]


@with_config(_STRICT)
class Recorded(TypedDict):
    """The answer is on the disk, as event `seq`."""

    kind: Literal["recorded"]
    seq: Count


@with_config(_STRICT)
class Refused(TypedDict):
    """Nothing was recorded and nothing is sent again: answer the same step anew."""

    kind: Literal["refused"]
    problem: Annotated[str, Field(min_length=1)]


Lines = Annotated[
    dict[str, Value | list[Value]],
    Field(description="Readings and screw positions by name: a value or a row; null where it was not taken."),
]


@with_config(_STRICT)
class End(TypedDict):
    """How the run ended; the last message."""

    kind: Literal["end"]
    outcome: Literal["ok", "failed", "stopped"]
    say: str
    as_found: Lines
    as_left: Lines
    findings: list[Finding]


Out = Hello | Step | Recorded | Refused | Finding | End

# ---- in

NotTaken = TypedDict("NotTaken", {"not taken": Annotated[str, Field(min_length=1)]})
NotTaken.__doc__ = "A place that was not taken, and why."
with_config(_STRICT)(NotTaken)
Given = Number | str | NotTaken | None


@with_config(_STRICT)
class ReportedMove(TypedDict):
    """A move that was made: turns with a direction, or the position where it then stands; with neither, its position is
    unknown. A move as it was sent may be sent back.
    """

    screw: str
    carb: Count | None
    barrel: NotRequired[Count | None]
    turns: NotRequired[Annotated[Number, Field(ge=0)] | None]
    direction: NotRequired[Literal["in", "out"] | None]
    position: NotRequired[Number | None]
    acts: NotRequired[str]
    on: NotRequired[str]
    effect: NotRequired[str]
    aim: NotRequired[dict[str, Any] | None]


ReportedPart = TypedDict(
    "ReportedPart",
    {
        "part": str,
        "carb": Count | None,
        "barrel": NotRequired[Count | None],
        "size": Number,
        "from": NotRequired[Place | None],
    },
)
ReportedPart.__doc__ = "A part that was fitted. A part as it was sent may be sent back."
with_config(_STRICT)(ReportedPart)


@with_config(_STRICT)
class Awaited(TypedDict):
    """What a run waits for."""

    parts: Annotated[list[Annotated[str, Field(min_length=1)]], Field(min_length=1)]
    note: NotRequired[str]


@with_config(_STRICT)
class Visit(TypedDict):
    """A step by its id and its visit, as they were sent."""

    step: str
    visit: Count


Words = Annotated[str, Field(min_length=1)]


def _key(about: str, **more: Any) -> Any:
    return Field(default=None, description=about, **more)


class AnswerLine(BaseModel):
    """What a client answers: exactly one of the kinds; the other keys ride beside it."""

    model_config = ConfigDict(
        strict=True,
        extra="forbid",
        title="Answer",
        json_schema_extra={"oneOf": [{"required": [k.key]} for k in KINDS]},
    )
    done: Literal[True] = _key("true: the step was done; for a step that reads nothing, or only what may lack.")
    readings: dict[str, Given | list[Given]] = _key(
        "an object: each name asked with its value, or a row as long as count; where a place may lack, null or "
        '{"not taken": reason}; where the scale may be too short, "over range".'
    )
    symptom: str = _key("the id of a symptom of the step; its readings are void.")
    gate: Literal["mended", "ends here", "go on knowingly"] = _key(
        "the way on from a stop: mended (it is read again), ends here, or go on knowingly, with a reason."
    )
    undo: Literal[True] = _key("true: strike the last answer. No screw is turned back.")
    strike: Count = _key(
        "the number of an earlier answer (its seq, as recorded): it and all that followed are struck. No screw is "
        "turned back; redo takes them up again."
    )
    redo: Literal[True] = _key("true: take the struck answer up again.")
    lost: Annotated[list[str], Field(min_length=1)] = _key(
        "a list of screw ids: their count was lost, and their positions are unknown from here on."
    )
    abandon: Words = _key("a text, the reason: the run is given up.")
    note: Words = _key("a text; it is recorded and answers nothing, so no step is sent after it.")
    wait_for_parts: Awaited = _key("an object: the parts that the run waits for, and a note. It goes on with resume.")
    resume: Literal[True] = _key("true: the work goes on after a pause; dangers are to be understood again.")
    waited: Annotated[Number, Field(ge=0)] = _key(
        "a number of seconds that were waited; it answers nothing, so no step is sent after it."
    )
    suspend: Literal[True] = _key("true: the technician leaves; the run stays where it is.")
    understood: bool = _key("true or false: the dangers of the step are understood; without it such a step is refused.")
    moved: list[ReportedMove] = _key(
        "a list of moves: what was turned, where it differs from what was asked; an empty list: nothing."
    )
    fitted: list[ReportedPart] = _key(
        "a list of parts: what was fitted, where it differs from what was asked; an empty list: nothing."
    )
    lacking: dict[str, str] = _key("an object: why a reading was not taken, by the reading's name; beside readings.")
    reason: str = _key("a text: why a stop is gone on from, or ended at; beside the choice of a stop.")
    about: Count = _key("the number of the answer that a note is about; beside note.")
    photo: Words = _key("the file name of a photograph; beside note.")
    key: Annotated[str, Field(min_length=1, max_length=200)] = _key(
        "a text of 1 to 200 characters: the same key is recorded once, however often it is sent."
    )
    answers: Annotated[int, Field(ge=0)] | Visit = _key(
        "the seq of the step that is answered, or its step and visit: a stale one is refused.", alias="for"
    )
    by: Annotated[str, Field(min_length=1, max_length=80)] = _key("a short text: who answers.")


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
