"""The line protocol over a session: one JSON object a line, so that a gauge, a script or a program can sit in the
chair.

`messages` holds every message as a type, `outgoing` fills it from what is shown, `talk.schema.json` beside this file is
the schema that is made from them. Numbers are JSON numbers in the reading's declared unit. It never sleeps.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any, TextIO

from pydantic import ValidationError

from engine.evidence import Move
from engine.foreign import json_line
from engine.procedure.source.problems import did_you_mean
from engine.protocol import messages as say
from engine.protocol.messages import AnswerLine, as_of_1
from engine.protocol.outgoing import made, number
from engine.run.answer import KINDS, SPOKEN, Answer, AnswerRefused
from engine.run.spoken import WITHIN
from engine.session.session import Reply, Session
from engine.session.view import EndView, Line, View

PROTOCOL = 2
#: What may still be spoken: 1 is 2 without what came with it.
PROTOCOLS = (1, 2)
#: The longest line that is read; a row of readings has some hundred characters.
LONGEST = 1_000_000

#: How things stand before a step has said otherwise.
_STATE: dict[str, Any] = {"engine": "stopped", "pedal_link": "on", "coupling": "on", "hold": None}

#: The field of an answer that another word stands for on a line.
_FIELD_OF = {said.called: field for field, said in SPOKEN.items() if said.called}
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
            send(out, as_of(made(say.Finding, finding), protocol))
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
    return message if protocol >= 2 else as_of_1(message)


# ---- out


def step_message(view: View) -> say.Step:
    """The protocol's step object of a view."""
    step: say.Step = made(
        say.Step,
        view,
        step=f"{view.file}.{view.step}" if view.file != view.procedure and view.gate is None else view.step,
        do=_words(view),
        cautions=_cautions(view),
        state={**_STATE, **{k: number(v) for k, v in view.state.items()}},
        moves=[] if view.moves_made else [move_message(m, view) for m in view.moves],
        fit=[] if view.moves_made else [made(say.Part, p) for p in view.fit],
    )
    return step


def _words(view: View) -> str:
    said = view.do
    if view.moves_made and (view.moves or view.fit):
        said = f"{said} The moves of this step were made and stay made; don't make them again.".strip()
    return said


def _cautions(view: View) -> list[say.Caution]:
    found: list[say.Caution] = [made(say.Caution, c) for c in (*view.cautions, *view.standing)]
    if view.caution:
        found.append({"word": "caution", "text": view.caution, "understand": False})
    return found


def move_message(move: Move, view: View) -> say.Move:
    """One screw, once."""
    screw = next((s for s in view.screws if s.name == move.screw), None)
    sent: say.Move = made(say.Move, move, acts=screw.acts if screw else "", on=screw.at if screw else "")
    return sent


def end_message(end: EndView) -> say.End:
    """How the run ended."""
    as_found, as_left = ({n: _line(line) for n, line in lines.items()} for lines in (end.as_found, end.as_left))
    sent: say.End = made(say.End, end, as_found=as_found, as_left=as_left)
    return sent


def _line(line: Line) -> Any:
    row = number(line.row)
    return row if line.each is not None and line.each != "bank" else row[0] if row else None


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
    try:
        AnswerLine.model_validate(message)
    except ValidationError as fault:
        raise AnswerRefused(_slip(fault.errors()[0], AnswerLine)) from None
    kinds = tuple(k.key for k in KINDS)
    given = [k for k in kinds if k in message]
    if len(given) != 1:
        what = f"has {' and '.join(given)}" if given else "has none"
        raise AnswerRefused(f"An answer has exactly one of {', '.join(kinds)}; this one {what}.")
    return Answer(**{_FIELD_OF.get(key, key): value for key, value in message.items()})


def _slip(error: Any, model: Any) -> str:
    """What is wrong with an answer, as a sentence."""
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    key, *inside = (str(part) for part in error["loc"]) if error["loc"] else ("",)
    if key not in fields:
        return f"An answer has no key '{key[:40]}'. {did_you_mean(key, fields)}".strip()
    at = [part for part in inside if part.isdigit() or part in WITHIN]
    where = f" Look at {' '.join(at)[:60]}: {error['msg'][:1].lower()}{error['msg'][1:]}." if at else ""
    return f"'{key}' is {fields[key].description}{where}"
