"""Numbers and places in a technician's words, and floats brought back to exact figures; it decides nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from engine.evidence import Because, Move, Place, ScrewView

_PARTS = {
    1: "1/32",
    2: "1/16",
    3: "3/32",
    4: "1/8",
    6: "3/16",
    8: "1/4",
    12: "3/8",
    16: "1/2",
    20: "5/8",
    24: "3/4",
    28: "7/8",
}


def exact(value: float, places: int = 4) -> Fraction:
    """A float rounded once to so many decimals, as an exact fraction."""
    return Fraction(round(value * 10**places), 10**places)


def to_step(value: float, step: Fraction) -> Fraction:
    """The nearest multiple of a screw's step."""
    return round(value / float(step)) * step


def turns(value: float | Fraction) -> str:
    """1 1/4 turns, 1/8 turn; to a thirty-second."""
    n = round(abs(float(value)) * 32)
    whole, rest = divmod(n, 32)
    part = _PARTS.get(rest, f"{rest}/32") if rest else ""
    text = " ".join(x for x in (str(whole) if whole or not rest else "", part) if x)
    return f"{text} turn{'s' if n > 32 else ''}"


def place(p: Place) -> str:
    """carb 2 barrel 1."""
    if p.carb is None:
        return "the engine"
    return f"carb {p.carb}" + (f" barrel {p.barrel}" if p.barrel is not None else "")


def listed(items: Iterable[str], last: str = "and") -> str:
    """a, b and c."""
    rows = list(items)
    return rows[0] if len(rows) == 1 else f"{', '.join(rows[:-1])} {last} {rows[-1]}" if rows else "none"


def count(n: int, thing: str) -> str:
    """1 row, 2 rows."""
    return f"{n} {thing}{'' if n == 1 else 's'}"


def figures(row: Iterable[float | None], unit: str = "", digits: int = 1) -> str:
    """4.5, 4.2, -, 4.4 kg/h."""
    text = ", ".join("-" if v is None else f"{v:.{digits}f}" for v in row)
    return f"{text} {unit}".strip()


def percent(p: float) -> str:
    """A sureness in words: 97 in 100, never certain."""
    return f"{min(99, max(1, round(100 * p)))} in 100"


def turn(screw: ScrewView, where: Place, stands: Fraction | None, by: Fraction) -> Move:
    """A move of one screw by so many turns in the way its position grows (negative: back)."""
    outward = (by > 0) == (screw.counts == "out")
    return Move(
        screw.name,
        where,
        "out" if outward else "in",
        screw.outward if outward else screw.inward,
        turns=abs(by),
        position=None if stands is None else stands + by,
    )


def because(used: str, concluded: str, sure: str, would_change: str) -> Because:
    """The four short paragraphs behind an advice."""
    return Because(used, concluded, sure, would_change)


def outputs(**values: Any) -> Mapping[str, Any]:
    """Outputs with floats brought to exact figures; words and rows of words stay."""
    return {
        k: exact(v) if isinstance(v, float) else Fraction(v) if isinstance(v, int) and not isinstance(v, bool) else v
        for k, v in values.items()
    }


def clamp(value: float, low: float, high: float) -> float:
    """Keep an output inside its declared range."""
    return min(high, max(low, value))
