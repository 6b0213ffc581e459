"""Events and advice as JSON and back, exactly: a whole number as itself, any other as `{"n": 1, "d": 3}`; it stores
nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from engine.book.rows import Stored, Word
from engine.book.seal import new_salt, salted
from engine.book.trouble import BookTrouble
from engine.evidence import Advice, Aim, Because, Finding, Part, Place, Suggest
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
    if word is not None and word.text is None and word.gone:
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


# ---- each type by its fields: what is added to one is stored, and read where it was stored -------------------------

#: Types that are stored as a row of their fields; all others are stored by name.
_ROWS: tuple[type, ...] = (Place, Aim, Suggest, Because)
#: What is not stored: how a stop was accepted is told by the event that did.
_TOLD_OTHERWISE = frozenset({(Finding, "accepted")})
#: Fields that are called otherwise where they are stored, since older programs did.
_CALLED = {(Part, "origin"): "from"}
#: Fields that are left out where they say nothing, since older programs did not know them.
_LEFT_OUT = frozenset({(Part, "origin")})


@dataclass(frozen=True, slots=True)
class _Way:
    """How values of one type become JSON, and back."""

    out: Callable[[Any], Any]
    back: Callable[[Any], Any]


def _same(value: Any) -> Any:
    return value


_AS_IT_IS, _VALUE = _Way(_same, _same), _Way(value_out, value_in)


@cache
def _way(kind: Any) -> _Way:
    """How a type is stored: numbers exactly, rows as lists, data by its fields."""
    origin, args = get_origin(kind), get_args(kind)
    if kind in (Any, Fraction):
        return _VALUE
    if kind in (str, int, float, bool) or origin is Literal:
        return _AS_IT_IS
    if origin in (Union, UnionType):
        return _either(tuple(a for a in args if a is not NoneType))
    if origin is tuple:
        one = _way(args[0])
        return _Way(lambda row: [one.out(v) for v in row], lambda row: tuple(map(one.back, row)))
    if origin is Mapping:
        of = _way(args[1])
        return _Way(
            lambda row: {k: of.out(v) for k, v in row.items()}, lambda row: {k: of.back(v) for k, v in row.items()}
        )
    return _by_row(kind) if kind in _ROWS else _by_name(kind)


def _either(kinds: tuple[Any, ...]) -> _Way:
    """One of some types or None: a row is told from a single value by its looks."""
    rows = [_way(k) for k in kinds if get_origin(k) is tuple]
    ones = [_way(k) for k in kinds if get_origin(k) is not tuple]
    row, one = (rows or ones)[0], (ones or rows)[0]

    def out(value: Any) -> Any:
        return None if value is None else (row if isinstance(value, tuple) else one).out(value)

    def back(value: Any) -> Any:
        return None if value is None else (row if isinstance(value, list) else one).back(value)

    return _AS_IT_IS if row is one is _AS_IT_IS else _Way(out, back)


def _fields(kind: type) -> dict[str, _Way]:
    """Each field that is stored of a type, by its name."""
    return {n: _way(k) for n, k in get_type_hints(kind).items() if (kind, n) not in _TOLD_OTHERWISE}


def _by_row(kind: Any) -> _Way:
    ways = _fields(kind)

    def out(value: Any) -> list[Any]:
        return [way.out(getattr(value, name)) for name, way in ways.items()]

    def back(row: list[Any]) -> Any:
        return kind(*(way.back(v) for way, v in zip(ways.values(), row, strict=True)))

    return _Way(out, back)


def _by_name(kind: Any) -> _Way:
    ways = [(n, _CALLED.get((kind, n), n), (kind, n) in _LEFT_OUT, way) for n, way in _fields(kind).items()]

    def out(value: Any) -> Json:
        return {
            called: way.out(getattr(value, name))
            for name, called, left, way in ways
            if not left or getattr(value, name) is not None
        }

    backs = [(called, way.back) for _, called, _, way in ways]

    def back(told: Json) -> Any:
        try:
            return kind(*[of(told[called]) for called, of in backs])
        except KeyError:  # what an older program did not store
            return kind(**{name: way.back(told[called]) for name, called, _, way in ways if called in told})

    return _Way(out, back)


def advice_out(name: str, advice: Advice) -> Json:
    """One advice with the name under which the step asked for it."""
    return {"name": name, **_way(Advice).out(advice)}


def advice_in(a: Json) -> tuple[str, Advice]:
    """What `advice_out` made."""
    return a["name"], _way(Advice).back(a)


#: The fields of an event in the order of a stored body; an empty one is left out.
_ORDER = (
    "readings", "lacking", "moved", "fitted", "symptom", "understood", "text", "lost", "gate", "awaited", "by",
)  # fmt: skip
_EVENT = {n: _way(k) for n, k in get_type_hints(Event).items() if n not in ("kind", "at")}
_FIELDS = {n: _EVENT[n] for n in (*_ORDER, *(_EVENT.keys() - set(_ORDER)))}
#: Fields in which empty is not the same as left out: an empty list says that nothing was turned or fitted.
_EMPTY_COUNTS = frozenset({"readings", "moved", "fitted"})


def event_out(event: Event) -> Json:
    """An event without what is empty."""
    body: Json = {"kind": event.kind, "at": event.at}
    for name, way in _FIELDS.items():
        value = getattr(event, name)
        if value or (value is not None and name in _EMPTY_COUNTS):
            body[name] = way.out(value)
    return body


def event_in(body: Mapping[str, Any]) -> Event:
    """What `event_out` made."""
    try:
        if body["kind"] == "readings" and body.keys() <= _COMMON:  # nearly every event of a long record
            return Event("readings", {k: value_in(v) for k, v in body["readings"].items()}, at=body["at"])
        found = {name: _FIELDS[name].back(v) for name, v in body.items() if name in _FIELDS and v is not None}
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
