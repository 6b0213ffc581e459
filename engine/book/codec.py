"""Events and advice as JSON and back, exactly: a whole number as itself, any other as `{"n": 1, "d": 3}`; it stores
nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from engine.book.rows import Stored, Word
from engine.book.seal import new_salt, salted
from engine.book.trouble import BookTrouble
from engine.evidence import Advice, Aim, Because, Finding, Move, Part, Place, Suggest
from engine.quantity.values import OverRange
from engine.run.events import Event

Json = dict[str, Any]


class Unreadable(BookTrouble, ValueError):
    """A stored event that this program can't read; the message says which and why."""


#: What stands where a free text was taken out, and where it is not the text that was sealed.
TAKEN_OUT = "(taken out at the request of a person)"
ALTERED = "(unreadable: this is not what was written)"
#: Where people's words may stand in an event.
_FREE = ("text", "by", "awaited", "lacking")


def dump(body: Json) -> bytes:
    """The bytes of one stored event: what is hashed is what is stored. A lone half of a character becomes `?`."""
    return json.dumps(body, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace")


def parted(body: Json) -> tuple[bytes, dict[str, Word]]:
    """The bytes of one event, empty texts and salted hashes in place of people's words; and these words by where they
    stood: `text`, `lacking flow`, `lacking flow 1`.
    """
    free: dict[str, str] = {}
    kept = dict(body)
    for key in _FREE:
        # How long was waited, and which answer is struck, are numbers, though they stand where texts do.
        if key in kept and not (key == "text" and kept.get("kind") in ("waited", "strike")):
            kept[key] = _emptied(kept[key], key, free)
    words = {name: Word(new_salt(), _plain(text)) for name, text in free.items()}
    return sealing(kept, words), words


def _emptied(value: Any, at: str, into: dict[str, str]) -> Any:
    """The same structure with every text empty; the texts by their places."""
    if isinstance(value, str):
        if value:
            into[at] = value
        return ""
    if isinstance(value, dict):
        return {k: _emptied(v, f"{at} {k}", into) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_emptied(v, f"{at} {n}", into) for n, v in enumerate(value)]
    return value


def sealing(body: Json, words: Mapping[str, Word]) -> bytes:
    """The bytes of one event that seals free texts kept outside it, by name."""
    hashes = {name: salted(word.salt, word.text or "") for name, word in words.items()}
    return dump({**body, "words": hashes} if hashes else body)


def _plain(text: str) -> str:
    return text.encode("utf-8", "replace").decode()


def body_of(stored: Stored) -> Json:
    """The JSON of a stored event with people's words in their places. Words that were taken out, or are not those that
    were sealed, say so.
    """
    body = load(stored.body)
    hashes = body.get("words")
    if not isinstance(hashes, dict):
        return body
    texts = {name: word_of(stored.words.get(name), sealed) for name, sealed in hashes.items()}
    return {key: _filled(value, key, texts) if key in _FREE else value for key, value in body.items()}


def _filled(value: Any, at: str, texts: Mapping[str, str]) -> Any:
    if isinstance(value, dict):
        return {k: _filled(v, f"{at} {k}", texts) for k, v in value.items()}
    if isinstance(value, list):
        return [_filled(v, f"{at} {n}", texts) for n, v in enumerate(value)]
    return texts.get(at, value)


def word_of(word: Word | None, sealed: str) -> str:
    """A free text, held against the hash that its event sealed."""
    if word is not None and word.text is None:
        return TAKEN_OUT
    return (
        word.text if word is not None and word.text is not None and salted(word.salt, word.text) == sealed else ALTERED
    )


def value_out(value: Any) -> Any:
    """A number, word, truth, hole or row as JSON; a needle beyond its scale with the top of it."""
    if isinstance(value, OverRange):
        return {"over": value_out(Fraction(value))}
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
    if "over" in value:
        return OverRange(value_in(value["over"]))
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
    out = {"part": p.part, "place": _place_out(p.place), "size": value_out(p.size)}
    return out if p.origin is None else {**out, "from": _place_out(p.origin)}


def _part_in(p: Json) -> Part:
    origin = p.get("from")
    return Part(p["part"], _place_in(p["place"]), value_in(p["size"]), origin and _place_in(origin))


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


def _same(value: Any) -> Any:
    return value


def _values_in(row: Json) -> Json:
    return {k: value_in(v) for k, v in row.items()}


def _lacking_in(reasons: Json) -> Json:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in reasons.items()}


#: Each field of an event as JSON and back, in the order of a stored body; an empty one is left out.
_FIELDS: dict[str, tuple[Callable[[Any], Any], Callable[[Any], Any]]] = {
    "readings": (lambda row: {k: value_out(v) for k, v in row.items()}, _values_in),
    "lacking": (lambda why: {k: list(v) if isinstance(v, tuple) else v for k, v in why.items()}, _lacking_in),
    "moved": (lambda moves: [_move_out(m) for m in moves], lambda row: tuple(map(_move_in, row))),
    "fitted": (lambda parts: [_part_out(p) for p in parts], lambda row: tuple(map(_part_in, row))),
    "symptom": (_same, _same),
    "understood": (_same, _same),
    "text": (_same, _same),
    "lost": (list, tuple),
    "gate": (_same, _same),
    "awaited": (list, tuple),
    "by": (_same, _same),
}
#: Fields in which empty is not the same as left out: an empty list says that nothing was turned or fitted.
_EMPTY_COUNTS = frozenset({"readings", "moved", "fitted"})


def event_out(event: Event) -> Json:
    """An event without what is empty."""
    body: Json = {"kind": event.kind, "at": event.at}
    for name, (out, _) in _FIELDS.items():
        value = getattr(event, name)
        if value or (value is not None and name in _EMPTY_COUNTS):
            body[name] = out(value)
    return body


def event_in(body: Mapping[str, Any]) -> Event:
    """What `event_out` made."""
    try:
        if body["kind"] == "readings" and body.keys() <= _COMMON:  # nearly every event of a long record
            return Event("readings", {k: value_in(v) for k, v in body["readings"].items()}, at=body["at"])
        found = {name: _FIELDS[name][1](value) for name, value in body.items() if name in _FIELDS and value is not None}
        return Event(body["kind"], at=body["at"], **found)
    except (AttributeError, KeyError, TypeError, ValueError) as fault:
        raise Unreadable(f"a stored event can't be read ({fault!r})") from None


_COMMON = frozenset({"kind", "at", "readings", "led"})


def load(body: bytes) -> Json:
    """The JSON of a stored event."""
    try:
        found = json.loads(body)
    except ValueError:
        raise Unreadable("A stored event is no JSON. 'evendraw book verify' says what is safe.") from None
    if not isinstance(found, dict):
        raise Unreadable("A stored event is no object. 'evendraw book verify' says what is safe.")
    return found
