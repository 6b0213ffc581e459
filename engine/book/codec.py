"""Events and advice as JSON and back, exactly: a whole number as itself, any other as `{"n": 1, "d": 3}`; it stores
nothing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from engine.evidence import Advice, Aim, Because, Finding, Move, Part, Place, Suggest
from engine.run.events import Event

Json = dict[str, Any]


class Unreadable(ValueError):
    """A stored event that this program can't read; the message says which and why."""


def dump(body: Json) -> bytes:
    """The bytes of one stored event: what is hashed is what is stored."""
    return json.dumps(body, ensure_ascii=False, separators=(",", ":")).encode()


def value_out(value: Any) -> Any:
    """A number, word, truth, hole or row as JSON."""
    if isinstance(value, Fraction):
        return value.numerator if value.denominator == 1 else {"n": value.numerator, "d": value.denominator}
    if isinstance(value, tuple | list):
        return [value_out(v) for v in value]
    return value


def value_in(value: Any) -> Any:
    """The exact value of what `value_out` made."""
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return value
    if isinstance(value, int):
        return Fraction(value)
    if isinstance(value, list):
        return tuple(value_in(v) for v in value)
    return Fraction(value["n"], value["d"])


def _place_out(place: Place) -> list[int | None]:
    return [place.carb, place.barrel]


def _place_in(place: list[int | None]) -> Place:
    return Place(*place)


def _move_out(m: Move) -> Json:
    aim = m.aim and [m.aim.reading, value_out(m.aim.value), m.aim.place and _place_out(m.aim.place)]
    return {
        "screw": m.screw,
        "place": _place_out(m.place),
        "direction": m.direction,
        "effect": m.effect,
        "turns": value_out(m.turns),
        "position": value_out(m.position),
        "aim": aim,
    }


def _move_in(m: Json) -> Move:
    aim = m["aim"]
    if aim is not None:
        aim = Aim(aim[0], value_in(aim[1]), aim[2] and _place_in(aim[2]))
    return Move(
        m["screw"],
        _place_in(m["place"]),
        m["direction"],
        m["effect"],
        value_in(m["turns"]),
        value_in(m["position"]),
        aim,
    )


def _part_out(p: Part) -> Json:
    return {"part": p.part, "place": _place_out(p.place), "size": value_out(p.size)}


def _part_in(p: Json) -> Part:
    return Part(p["part"], _place_in(p["place"]), value_in(p["size"]))


def _finding_out(f: Finding) -> Json:
    s = f.suggest
    return {
        "code": f.code,
        "severity": f.severity,
        "where": [_place_out(p) for p in f.where],
        "say": f.say,
        "do": f.do,
        "suggest": s and [s.part, value_out(s.old), value_out(s.new)],
        "sureness": f.sureness,
        "source": f.source,
        "each": f.each,
    }


def _finding_in(f: Json) -> Finding:
    s = f["suggest"]
    return Finding(
        f["code"],
        f["severity"],
        tuple(_place_in(p) for p in f["where"]),
        f["say"],
        f["do"],
        s and Suggest(s[0], value_in(s[1]), value_in(s[2])),
        f["sureness"],
        f["source"],
        f.get("each", ""),
    )


def advice_out(name: str, advice: Advice) -> Json:
    """One advice with the name under which the step asked for it."""
    b = advice.because
    return {
        "name": name,
        "adviser": advice.adviser,
        "version": advice.version,
        "outputs": {k: value_out(v) for k, v in advice.outputs.items()},
        "moves": [_move_out(m) for m in advice.moves],
        "parts": [_part_out(p) for p in advice.parts],
        "findings": [_finding_out(f) for f in advice.findings],
        "expect": {k: value_out(v) for k, v in advice.expect.items()},
        "because": b and [b.used, b.concluded, b.sure, b.would_change],
    }


def advice_in(a: Json) -> tuple[str, Advice]:
    """What `advice_out` made."""
    b = a["because"]
    return a["name"], Advice(
        a["adviser"],
        a["version"],
        {k: value_in(v) for k, v in a["outputs"].items()},
        tuple(_move_in(m) for m in a["moves"]),
        tuple(_part_in(p) for p in a["parts"]),
        tuple(_finding_in(f) for f in a["findings"]),
        {k: value_in(v) for k, v in a["expect"].items()},
        b and Because(*b),
    )


def event_out(event: Event) -> Json:
    """An event without what is empty."""
    body: Json = {"kind": event.kind, "at": event.at}
    if event.readings is not None:
        body["readings"] = {k: value_out(v) for k, v in event.readings.items()}
    if event.lacking:
        body["lacking"] = dict(event.lacking)
    if event.moved is not None:
        body["moved"] = [_move_out(m) for m in event.moved]
    if event.fitted is not None:
        body["fitted"] = [_part_out(p) for p in event.fitted]
    for key in ("symptom", "understood", "text"):
        if getattr(event, key):
            body[key] = getattr(event, key)
    if event.lost:
        body["lost"] = list(event.lost)
    return body


def event_in(body: Mapping[str, Any]) -> Event:
    """What `event_out` made."""
    try:
        readings, moved, fitted = body.get("readings"), body.get("moved"), body.get("fitted")
        return Event(
            body["kind"],
            readings and {k: value_in(v) for k, v in readings.items()},
            body.get("symptom"),
            body.get("understood", False),
            None if moved is None else tuple(_move_in(m) for m in moved),
            None if fitted is None else tuple(_part_in(p) for p in fitted),
            body.get("lacking"),
            tuple(body.get("lost", ())),
            body.get("text", ""),
            body["at"],
        )
    except (KeyError, TypeError, ValueError) as fault:
        raise Unreadable(f"a stored event can't be read ({fault!r})") from None


def load(body: bytes) -> Json:
    """The JSON of a stored event."""
    try:
        return json.loads(body)
    except ValueError:
        raise Unreadable("a stored event is no JSON") from None
