"""Makes a message from what is shown, key by key, as its type says; it knows no message by name and sends nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from operator import attrgetter
from typing import Annotated, Any, Literal, NotRequired, get_args, get_origin

from typing_extensions import get_type_hints, is_typeddict

from engine.quantity.values import OVER_RANGE, OverRange


@dataclass(frozen=True, slots=True)
class From:
    """Where a key finds its value, if not under its own name: names, dot by dot, or what picks it."""

    where: str | Callable[[Any], Any]


def made(of: Any, shown: Any, **given: Any) -> Any:
    """The message of type `of` (a typed dictionary): each key from `shown` as its type says, but for those `given`.

    A key that may be left out is left out where there is nothing.
    """
    found = {}
    for key, pick, convert, needed in _keys(of):
        value = given[key] if key in given else convert(pick(shown))
        if needed or value is not None:
            found[key] = value
    return found


def number(value: Any) -> Any:
    """An exact number as a JSON number; one beyond its scale in words; a row as a list; anything else as it is."""
    if isinstance(value, OverRange):
        return OVER_RANGE
    if isinstance(value, Fraction):
        return value.numerator if value.denominator == 1 else float(value)
    if isinstance(value, tuple | list):
        return [number(v) for v in value]
    return value


_Way = Callable[[Any], Any]


@cache
def _keys(of: Any) -> tuple[tuple[str, _Way, _Way, bool], ...]:
    """The keys of a message: each with what picks its value, what makes it plain, and whether it must be there."""
    found = []
    for key, kind in get_type_hints(of, include_extras=True).items():
        inner, said, needed = _bare(kind)
        place = next((m.where for m in said if isinstance(m, From)), key)
        pick: _Way = attrgetter(place) if isinstance(place, str) else place
        if get_origin(inner) is Literal and len(get_args(inner)) == 1:
            pick = _always(get_args(inner)[0])
        found.append((key, pick, _plain(inner), needed))
    return tuple(found)


def _bare(kind: Any) -> tuple[Any, tuple[Any, ...], bool]:
    """A key's type without what is said of it, that, and whether the key must be there."""
    said: tuple[Any, ...] = ()
    needed = True
    while get_origin(kind) in (Annotated, NotRequired):
        needed = needed and get_origin(kind) is not NotRequired
        kind, *more = get_args(kind)
        said = (*said, *more)
    return kind, said, needed


def _always(word: Any) -> _Way:
    return lambda _: word


def _plain(kind: Any) -> _Way:
    """What makes a value of this type plain: a message within it is made in its turn."""
    inner = _bare(kind)[0]
    if get_origin(inner) is list:
        each = _plain(get_args(inner)[0])
        return lambda values: None if values is None else [each(v) for v in values]
    if get_origin(inner) is dict:
        return lambda values: {name: number(v) for name, v in values.items()}
    members = [_bare(m)[0] for m in (inner, *get_args(inner))]
    message = next((m for m in members if is_typeddict(m)), None)
    if message is not None:
        return lambda v: v if v is None or isinstance(v, str | Mapping) else made(message, v)
    row = next((m for m in members[1:] if get_origin(m) is list), None)
    return number if row is None else _plain(row)
