"""The line protocol over a session: one JSON object a line, so that a gauge, a script or a program can sit in the
chair.

`talk.schema.json` beside this file is its schema. Numbers are JSON numbers in the reading's declared unit. It never
sleeps.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any, TextIO

from engine.evidence import Finding, Move, Part, Place
from engine.procedure.source.problems import did_you_mean
from engine.run.answer import Answer, AnswerRefused
from engine.session.session import Reply, Session
from engine.session.view import Ask, EndView, Line, View

PROTOCOL = 1
#: The longest line that is read; a row of readings has some hundred characters.
LONGEST = 1_000_000

#: How things stand before a step has said otherwise.
_STATE = {"engine": "stopped", "pedal_link": "on", "coupling": "on", "hold": None}

_ANSWERS = ("done", "readings", "symptom", "undo", "lost", "abandon", "note")
_RIDERS = ("understood", "moved", "fitted", "key", "lacking", "reason")


def talk(session: Session, lines: Iterable[bytes], out: TextIO) -> Reply | None:
    """Run a session over lines of bytes until it ends or the lines do, which suspends it.

    Returns the reply that the book could not keep, if that is why it stopped, else None.
    """
    send(out, {"kind": "hello", "protocol": PROTOCOL, "run": session.run})
    _send_now(session, out)
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
            send(out, finding_message(finding))
        if answer.note is None:
            _send_now(session, out)
        if session.over:
            # No further line is waited for: a client may keep its end open until this process is gone.
            return None
    session.suspend()
    return None


def send(out: TextIO, message: Mapping[str, Any]) -> None:
    """Write one message as a line and flush it."""
    out.write(json.dumps(message, ensure_ascii=False, allow_nan=False) + "\n")
    out.flush()


def _send_now(session: Session, out: TextIO) -> None:
    view = session.view
    send(out, step_message(view) if view.end is None else end_message(view.end))


# ---- out


def step_message(view: View) -> dict[str, Any]:
    """The protocol's step object of a view."""
    made = view.moves_made
    message = {
        "kind": "step",
        "step": f"{view.file}.{view.step}" if view.file != view.procedure else view.step,
        "visit": view.visit,
        "title": view.title,
        "phase": view.phase,
        "do": _words(view),
        "cautions": _cautions(view),
        "state": {**_STATE, **{k: number(v) for k, v in view.state.items()}},
        "moves": [] if made else [move_message(m, view) for m in view.moves],
        "fit": [] if made else [part_message(p) for p in view.fit],
        "read": [ask_message(a) for a in view.read],
        "symptoms": [{"id": s.name, "kind": s.kind} for s in view.symptoms],
        "findings": [finding_message(f) for f in view.findings],
        "advice": [
            {
                "name": a.name,
                "adviser": a.adviser,
                "outputs": {k: number(v) for k, v in a.values.items()},
                "because": None
                if a.because is None
                else {
                    "used": a.because.used,
                    "concluded": a.because.concluded,
                    "sure": a.because.sure,
                    "would_change": a.because.would_change,
                },
            }
            for a in view.advice
        ],
    }
    if view.wait is not None:
        message["wait"] = {"seconds": number(view.wait.seconds), "until": view.wait.until}
    return message


def _words(view: View) -> str:
    said = view.do
    if view.moves_made and (view.moves or view.fit):
        said = f"{said} The moves of this step were made and stay made; don't make them again.".strip()
    return said


def _cautions(view: View) -> list[dict[str, Any]]:
    found = [{"word": c.word, "text": c.text, "understand": c.understand} for c in (*view.cautions, *view.standing)]
    if view.caution:
        found.append({"word": "caution", "text": view.caution, "understand": False})
    return found


def move_message(move: Move, view: View) -> dict[str, Any]:
    """One screw, once."""
    screw = next((s for s in view.screws if s.name == move.screw), None)
    aim = None
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


def part_message(part: Part) -> dict[str, Any]:
    """A part at one place."""
    return {"part": part.part, "carb": part.place.carb, "barrel": part.place.barrel, "size": number(part.size)}


def place_message(place: Place) -> dict[str, Any]:
    """A carb and a barrel; null for the whole carb, or the whole engine."""
    return {"carb": place.carb, "barrel": place.barrel}


def ask_message(ask: Ask) -> dict[str, Any]:
    """One reading to take."""
    healthy: Any = ask.healthy
    if isinstance(healthy, tuple):
        healthy = {"from": number(healthy[0]), "to": number(healthy[1])}
    return {
        "name": ask.name,
        "ask": ask.ask,
        "quantity": ask.quantity,
        "each": ask.each,
        "of": None if ask.of is None else place_message(ask.of),
        "count": ask.count,
        "unit": ask.unit,
        "range": None if ask.range is None else [number(v) for v in ask.range],
        "choices": list(ask.choices) or None,
        "healthy": healthy,
        "average": number(ask.average),
        "may_lack": ask.may_lack,
        "listed": ask.listed,
        "safety": ask.safety,
    }


def finding_message(finding: Finding) -> dict[str, Any]:
    """What is wrong, where, and what to do."""
    s = finding.suggest
    return {
        "kind": "finding",
        "code": finding.code,
        "severity": finding.severity,
        "where": [{"cylinder": p.carb} if finding.each == "cylinder" else place_message(p) for p in finding.where],
        "say": finding.say,
        "do": finding.do,
        "suggest": None if s is None else {"part": s.part, "from": number(s.old), "to": number(s.new)},
        "sureness": finding.sureness,
    }


def end_message(end: EndView) -> dict[str, Any]:
    """How the run ended."""
    return {
        "kind": "end",
        "outcome": end.outcome,
        "say": end.say,
        "as_found": {name: _line(line) for name, line in end.as_found.items()},
        "as_left": {name: _line(line) for name, line in end.as_left.items()},
        "findings": [finding_message(f) for f in end.findings],
    }


def _line(line: Line) -> Any:
    row = [number(v) for v in line.row]
    return row if line.each is not None and line.each != "bank" else row[0] if row else None


def number(value: Any) -> Any:
    """An exact number as a JSON number; a row as a list; anything else as it is."""
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
    for key in message:
        if key not in _ANSWERS and key not in _RIDERS:
            raise AnswerRefused(
                f"An answer has no key '{key[:40]}'. {did_you_mean(key, (*_ANSWERS, *_RIDERS))}".strip()
            )
    given = [k for k in _ANSWERS if k in message]
    if len(given) != 1:
        what = f"has {' and '.join(given)}" if given else "has none"
        raise AnswerRefused(f"An answer has exactly one of {', '.join(_ANSWERS)}; this one {what}.")
    for key in ("done", "undo"):
        if key in message and message[key] is not True:
            raise AnswerRefused(f"'{key}' is true or left out.")
    for key, kind, word in _TYPES:
        if key in message and not isinstance(message[key], kind):
            raise AnswerRefused(f"'{key}' is {word}.")
    return Answer(**{k: v for k, v in message.items()})


_TYPES: tuple[tuple[str, type, str], ...] = (
    ("readings", dict, "an object: each name asked with its value or row"),
    ("symptom", str, "the id of a symptom"),
    ("lost", list, "a list of screw ids"),
    ("abandon", str, "a text: the reason"),
    ("note", str, "a text"),
    ("understood", bool, "true or false"),
    ("moved", list, "a list of moves"),
    ("fitted", list, "a list of parts"),
    ("key", str, "a text"),
    ("lacking", dict, "an object: a reason by reading"),
)
