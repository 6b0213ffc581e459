"""Numbers, rows, places and templates in words; it knows no screen and no file format."""

from __future__ import annotations

import re
from collections.abc import Collection
from fractions import Fraction
from typing import Any

from engine.evidence import Place
from engine.procedure.program import Template
from engine.quantity.units import UNITS, from_base
from engine.quantity.values import OverRange
from engine.run.scope import Names, Scope

_WORD = re.compile(r"\{(\w+)\}")
_FRACTIONS = {Fraction(n, d) for d in (2, 4, 8, 16, 32) for n in range(1, d)}


def number(value: Fraction, places: int = 3) -> str:
    """An exact number with at most so many decimals, a point for the mark, no trailing zeros: `4.8`, `-0.125`, `12`."""
    scaled = round(abs(value) * 10**places)
    whole, rest = divmod(scaled, 10**places)
    text = f"{whole}.{rest:0{places}d}".rstrip("0").rstrip(".") if places else str(whole)
    return f"-{text}" if value < 0 and scaled else text


def turns(value: Fraction) -> str:
    """Turns as a mechanic says them: `1 1/4`, `7/8`, `2`; decimals where no thirty-second fits."""
    size = abs(value)
    whole, rest = size.numerator // size.denominator, size % 1
    if rest and rest not in _FRACTIONS:
        return number(value)
    text = " ".join(filter(None, (str(whole) if whole or not rest else "", str(rest) if rest else "")))
    return f"-{text}" if value < 0 else text


def quantity(value: Any, unit: str | None, tail: bool = True) -> str:
    """A value in base units as words in `unit`: a number with its unit, yes or no, a choice, `not taken`, or a row
    of them.
    """
    if isinstance(value, tuple):
        row = ", ".join(quantity(v, unit, tail=False) for v in value)
        return f"{row} {unit_word(unit)}" if tail and unit and any(isinstance(v, Fraction) for v in value) else row
    if value is None:
        return "not taken"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, OverRange):
        return f"over {quantity(Fraction(value), unit, tail)}"
    if isinstance(value, int | Fraction):
        shown = from_base(Fraction(value), unit) if unit else Fraction(value)
        text = turns(shown) if unit == "turn" else number(shown)
        return f"{text} {unit_word(unit, shown)}" if tail and unit else text
    return str(value)


def unit_word(unit: str, value: Fraction | None = None) -> str:
    """A unit beside a value or a row (None): `1/2 turn`, `2 turns`; only those that are counted have a plural."""
    many = value is None or value == 0 or abs(value) > 1
    return f"{unit}s" if unit in ("turn", "flat") and many else unit


def said(text: str, names: Names) -> str:
    """A text that holds no value of the run: only `{here}`, the place that it is about, and the file's words."""
    return _WORD.sub(lambda m: str(names.get(m.group(1), "")), text) if "{" in text else text


def render(template: Template | None, scope: Scope, only: Collection[Place] = ()) -> str:
    """A text with its places filled in; `only` keeps of each row the places that a finding concerns."""
    if template is None:
        return ""
    return "".join(p if isinstance(p, str) else _filled(p, scope, only) for p in template.parts).strip()


def _filled(part: tuple[Any, str | None], scope: Scope, only: Collection[Place]) -> str:
    guard, unit = part
    value = guard.run(scope.names)
    kind = guard.type
    if isinstance(value, tuple) and only:
        row = scope.file.plan.bank.places(kind.each, scope.here)
        kept = tuple(v for v, p in zip(value, row, strict=False) if p in only)
        value = kept if len(kept) > 1 else kept[0] if kept else value
    shown = unit if unit is not None else kind.unit
    return quantity(value, shown if shown in UNITS and shown else None)
