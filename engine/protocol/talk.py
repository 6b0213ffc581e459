"""The line protocol over a session: one JSON object a line, so that a gauge, a script or a program can sit in the
chair.

`messages` holds every message as a type, `talk.schema.json` beside this file the schema that is made from them. Numbers
are JSON numbers in the reading's declared unit. It never sleeps.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import TYPE_CHECKING, Any, TextIO

from engine.evidence import Finding, Move, Part, Place
from engine.foreign import json_line
from engine.procedure.source.problems import did_you_mean
from engine.quantity.values import OVER_RANGE, OverRange
from engine.run.answer import KINDS, Answer, AnswerRefused
from engine.session.session import Reply, Session
from engine.session.view import Advised, Ask, EndView, Line, View

if TYPE_CHECKING:
    from engine.protocol import messages as say
    from engine.run.spoken import Place as SpokenPlace

PROTOCOL = 2
#: What may still be spoken: 1 is 2 without what came with it.
PROTOCOLS = (1, 2)
#: The longest line that is read; a row of readings has some hundred characters.
LONGEST = 1_000_000

#: How things stand before a step has said otherwise.
_STATE: dict[str, Any] = {"engine": "stopped", "pedal_link": "on", "coupling": "on", "hold": None}

#: What answers nothing, so that no step is sent after it.
_ASIDE = tuple(k.key for k in KINDS if k.aside)


def talk(session: Session, lines: Iterable[bytes], out: TextIO, protocol: int = PROTOCOL) -> Reply | None:
    """Run a session over lines of bytes until it ends or the lines do, which suspends it.

    Returns the reply that the book could not keep, if that is why it stopped, else None.
    """
    send(out, {"kind": "hello", "protocol": protocol, "run": session.run})
    _send_now(session, out, protocol)
    if session.over:
        return None
    for line in lines:
        if not line.strip():
            continue
        try:
            answer = parse_answer(parse_line(line))
        except AnswerRefused as refusal:
            send(out, {"kind": "refused", "problem": str(refusal)})
            continue
        reply = session.answer(answer)
        if reply.recorded is None:
            send(out, {"kind": "refused", "problem": reply.problem or "AnswerRefused."})
            if reply.unsaved:
                return reply
            continue
        send(out, {"kind": "recorded", "seq": reply.recorded})
        for finding in reply.findings:
            send(out, as_of(finding_message(finding), protocol))
        if all(getattr(answer, key) is None for key in _ASIDE):
            _send_now(session, out, protocol)
        if session.over:
            # No further line is waited for: a client may keep its end open until this process is gone.
            return None
    session.suspend()
    return None


def send(out: TextIO, message: Any) -> None:
    """Write one message as a line and flush it; nothing in it can steer a terminal that shows it."""
    out.write(json_line(message, allow_nan=False) + "\n")
    out.flush()


def _send_now(session: Session, out: TextIO, protocol: int) -> None:
    view = session.view
    if view.end is not None:
        send(out, as_of(end_message(view.end), protocol))
        return
    message = step_message(view)
    if protocol == 1:
        message["visit"] = view.visit
    send(out, as_of(message, protocol))


def as_of(message: Any, protocol: int) -> Any:
    """A message as a client of this protocol knows it. A reading beyond its scale was the top of the scale then."""
    if protocol >= 2:
        return message
    from engine.protocol.messages import as_of_1

    return as_of_1(message)


# ---- out


def step_message(view: View) -> say.Step:
    """The protocol's step object of a view."""
    made = view.moves_made
    message: say.Step = {
        "kind": "step",
        "step": f"{view.file}.{view.step}" if view.file != view.procedure and view.gate is None else view.step,
        "visit": view.visit_of_run,
        "seq": view.seq,
        "title": view.title,
        "phase": view.phase,
        "do": _words(view),
        "cautions": _cautions(view),
        "state": {**_STATE, **{k: number(v) for k, v in view.state.items()}},  # type: ignore[typeddict-item]
        "again": view.again,
        "moves": [] if made else [move_message(m, view) for m in view.moves],
        "fit": [] if made else [part_message(p) for p in view.fit],
        "read": [ask_message(a) for a in view.read],
        "symptoms": [{"id": s.name, "kind": s.kind} for s in view.symptoms],
        "findings": [finding_message(f) for f in view.findings],
        "advice": [advice_message(a) for a in view.advice],
        "gate": None
        if view.gate is None
        else {"findings": [f.code for f in view.gate.findings], "reason_for": list(view.gate.reason_for)},
        "waiting": list(view.waiting),
    }
    if view.wait is not None:
        message["wait"] = {"seconds": number(view.wait.seconds), "until": view.wait.until}
    return message


def advice_message(advice: Advised) -> say.Advice:
    """An advice in force, with its reasons."""
    b = advice.because
    return {
        "name": advice.name,
        "adviser": advice.adviser,
        "outputs": {k: number(v) for k, v in advice.values.items()},
        "because": None
        if b is None
        else {"used": b.used, "concluded": b.concluded, "sure": b.sure, "would_change": b.would_change},
    }


def _words(view: View) -> str:
    said = view.do
    if view.moves_made and (view.moves or view.fit):
        said = f"{said} The moves of this step were made and stay made; don't make them again.".strip()
    return said


def _cautions(view: View) -> list[say.Caution]:
    found: list[say.Caution] = [
        {"word": c.word, "text": c.text, "understand": c.understand} for c in (*view.cautions, *view.standing)
    ]
    if view.caution:
        found.append({"word": "caution", "text": view.caution, "understand": False})
    return found


def move_message(move: Move, view: View) -> say.Move:
    """One screw, once."""
    screw = next((s for s in view.screws if s.name == move.screw), None)
    aim: Any = None
    if move.aim is not None:
        aim = {"reading": move.aim.reading, "value": number(move.aim.value)}
        if move.aim.place is not None:
            aim["place"] = place_message(move.aim.place)
    return {
        "screw": move.screw,
        "acts": screw.acts if screw else "",
        "on": screw.at if screw else "",
        "carb": move.place.carb,
        "barrel": move.place.barrel,
        "turns": number(move.turns),
        "direction": move.direction,
        "effect": move.effect,
        "position": number(move.position),
        "aim": aim,
    }


def part_message(part: Part) -> say.Part:
    """A part at one place, and where it comes from."""
    return {
        "part": part.part,
        "carb": part.place.carb,
        "barrel": part.place.barrel,
        "size": number(part.size),
        "from": None if part.origin is None else place_message(part.origin),
    }


def place_message(place: Place) -> SpokenPlace:
    """A carb and a barrel; null for the whole carb, or the whole engine."""
    return {"carb": place.carb, "barrel": place.barrel}


def ask_message(ask: Ask) -> say.Ask:
    """One reading to take."""
    healthy: Any = ask.healthy
    if isinstance(healthy, tuple):
        healthy = {"from": number(healthy[0]), "to": number(healthy[1])}
    return {
        "name": ask.name,
        "ask": ask.ask,
        "quantity": ask.quantity,
        "each": ask.each,  # type: ignore[typeddict-item]
        "of": None if ask.of is None else place_message(ask.of),
        "count": ask.count,
        "unit": ask.unit,
        "range": None if ask.range is None else [number(v) for v in ask.range],
        "choices": list(ask.choices) or None,
        "healthy": healthy,
        "average": number(ask.average),
        "may_lack": ask.may_lack,
        "lack_needs_reason": ask.lack_needs_reason,
        "reasons": list(ask.reasons),
        "over_range": ask.over_range,
        "listed": ask.listed,
        "safety": ask.safety,
    }


def finding_message(finding: Finding) -> say.Finding:
    """What is wrong, where, and what to do."""
    s = finding.suggest
    return {
        "kind": "finding",
        "code": finding.code,
        "severity": finding.severity,
        "where": [{"cylinder": p.carb or 1} if finding.each == "cylinder" else place_message(p) for p in finding.where],
        "say": finding.say,
        "do": finding.do,
        "suggest": None if s is None else {"part": s.part, "from": number(s.old), "to": number(s.new)},
        "sureness": finding.sureness,
        "accepted": finding.accepted or None,
    }


def end_message(end: EndView) -> say.End:
    """How the run ended."""
    return {
        "kind": "end",
        "outcome": end.outcome,  # type: ignore[typeddict-item]
        "say": end.say,
        "as_found": {name: _line(line) for name, line in end.as_found.items()},
        "as_left": {name: _line(line) for name, line in end.as_left.items()},
        "findings": [finding_message(f) for f in end.findings],
    }


def _line(line: Line) -> Any:
    row = [number(v) for v in line.row]
    return row if line.each is not None and line.each != "bank" else row[0] if row else None


def number(value: Any) -> Any:
    """An exact number as a JSON number; one beyond its scale in words; a row as a list; anything else as it is."""
    if isinstance(value, OverRange):
        return OVER_RANGE
    if isinstance(value, Fraction):
        return value.numerator if value.denominator == 1 else float(value)
    if isinstance(value, tuple | list):
        return [number(v) for v in value]
    return value


# ---- in


def parse_line(line: bytes) -> dict[str, Any]:
    """The object on a line. Raises `AnswerRefused` with a sentence."""
    if len(line) > LONGEST:
        raise AnswerRefused("The line is too long. Send one JSON object a line.")
    try:
        found = json.loads(line.decode("utf-8-sig"), parse_constant=_no_number, object_pairs_hook=_once)
    except UnicodeDecodeError:
        raise AnswerRefused("The line is not UTF-8. Send JSON in UTF-8.") from None
    except RecursionError:
        raise AnswerRefused("The line is nested too deep. Send one flat JSON object a line.") from None
    except ValueError as fault:
        raise AnswerRefused(f"The line is no JSON object: {fault}.") from None
    if not isinstance(found, dict):
        raise AnswerRefused('The line is JSON, but no object. Send something like {"done": true}.')
    try:
        json.dumps(found, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise AnswerRefused("The line holds half of a character (a lone surrogate). Send whole ones.") from None
    return found


def _no_number(word: str) -> Any:
    raise ValueError(f"{word} is no JSON number")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def parse_answer(message: Mapping[str, Any]) -> Answer:
    """The answer of an object. Raises `AnswerRefused` for an unknown key, a wrong type, or none or several answers at
    once.
    """
    from pydantic import ValidationError

    from engine.protocol.messages import AnswerLine

    try:
        AnswerLine.model_validate(message)
    except ValidationError as fault:
        raise AnswerRefused(_slip(fault.errors()[0], AnswerLine)) from None
    kinds = tuple(k.key for k in KINDS)
    given = [k for k in kinds if k in message]
    if len(given) != 1:
        what = f"has {' and '.join(given)}" if given else "has none"
        raise AnswerRefused(f"An answer has exactly one of {', '.join(kinds)}; this one {what}.")
    return Answer(**{"answers" if key == "for" else key: value for key, value in message.items()})


def _slip(error: Any, model: Any) -> str:
    """What is wrong with an answer, as a sentence."""
    from engine.run.spoken import WITHIN

    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    key, *inside = (str(part) for part in error["loc"]) if error["loc"] else ("",)
    if key not in fields:
        return f"An answer has no key '{key[:40]}'. {did_you_mean(key, fields)}".strip()
    at = [part for part in inside if part.isdigit() or part in WITHIN]
    where = f" Look at {' '.join(at)[:60]}: {error['msg'][:1].lower()}{error['msg'][1:]}." if at else ""
    return f"'{key}' is {fields[key].description}{where}"
