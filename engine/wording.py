"""Sentences with figures and places still open, and how they are put into a family's words; it holds no sentence.

A sentence is a text in the manner of `str.format`: `The {screw:name} of {where} was turned by {turned:turns}.` What
stands in braces is a figure's name and how it is said:

- a place as it is: `body 2, barrel 1`; several of them `a, b and c` (`:or` for "or", `:,` for commas alone);
- `turns` (`1 1/4 turns`), `sure` (`97 in 100`, never certain), `count row` (`1 row`, `2 rows`), else a format of Python
  (`.1f`); a row of numbers is said number by number, `-` where one is missing;
- `name` for the name of a screw or a part: the family's word for it, else the name itself with spaces;
- `{carb}` and `{barrel}` alone are the family's words for these, `{carb:several}` for more than one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from string import Formatter
from typing import Any

from engine.evidence import Place
from engine.quantity.wording import count, listed, several, turns

_PARSER = Formatter()


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence, or a piece of one, with the figures and places that it names."""

    text: str
    figures: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Sentence:
    """What a finding says and what to do about it, with its figures still open."""

    say: str
    do: str = ""


#: Sentences by a finding's code and the way it came about ("" where there is one way only).
Catalogue = Mapping[str, Mapping[str, Sentence]]


@dataclass(frozen=True, slots=True)
class Words:
    """A family's words, and how many barrels a carb has here: with one, it is named alone."""

    terms: Mapping[str, str]
    barrels: int = 2

    def term(self, name: str) -> str:
        """The family's word for a carb, a barrel, a screw or a part; else its name with spaces."""
        return self.terms.get(name) or name.replace("_", " ")

    def place(self, where: Place) -> str:
        """`body 2, barrel 1`."""
        if where.carb is None:
            return "the engine"
        carb = f"{self.term('carb')} {where.carb}"
        return carb if where.barrel is None or self.barrels < 2 else f"{carb}, {self.term('barrel')} {where.barrel}"


def said(text: str, /, **figures: Any) -> Said:
    """A sentence with its figures."""
    return Said(text, figures)


def put(what: Said | str, words: Words) -> str:
    """A sentence in the family's words, begun with a capital; a plain text as it stands.

    Raises `KeyError` where it names a figure that is not given.
    """
    if isinstance(what, str):
        return what
    text = _put(what, words)
    return text[:1].upper() + text[1:]


def _put(what: Said, words: Words) -> str:
    out = ""
    for literal, name, how, _ in _PARSER.parse(what.text):
        out += literal
        if name is None:
            continue
        piece = _figure(what.figures[name] if name in what.figures else _own(name, words), how or "", words)
        begins = out.endswith((". ", "? ", "! "))
        out += piece[:1].upper() + piece[1:] if begins else piece
    return out


def _own(name: str, words: Words) -> str:
    if name not in ("carb", "barrel"):
        raise KeyError(name)
    return words.term(name)


def _figure(value: Any, how: str, words: Words) -> str:
    if isinstance(value, Said):
        return _put(value, words)
    if isinstance(value, Place):
        return words.place(value)
    if value is None:
        return "-"
    if isinstance(value, str):
        return words.term(value) if how == "name" else several(value) if how == "several" else value
    if isinstance(value, int | float | Fraction):
        return _number(value, how)
    row = list(value)
    if row and all(v is None or isinstance(v, int | float | Fraction) for v in row):
        return ", ".join(_figure(v, how, words) for v in row)
    return listed((_figure(v, "", words) for v in row), how)


def _number(value: int | float | Fraction, how: str) -> str:
    if how == "turns":
        return turns(value)
    if how == "sure":
        return f"{min(99, max(1, round(100 * float(value))))} in 100"
    if how.startswith("count "):
        thing = how.removeprefix("count ")
        return count(int(value), thing, several(thing))
    return format(float(value), how or "g")
