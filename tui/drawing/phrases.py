"""Names, states and times in a technician's words; it lays nothing out. Numbers and places are said by `wording`."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from engine.quantity.wording import decimal, number

#: What is typed for a place that is not taken.
EN_DASH = "-"


def plain(name: str) -> str:
    """A name of a file as words: `air_balance` becomes `air balance`."""
    return str(name).replace("_", " ")


def state_words(state: Mapping[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """How things must stand, as (key, label, value): engine first, a speed to hold last; empty values are left out."""
    rows = []
    for key, value in state.items():
        if value is None or value == "" or value == "none":
            continue
        said = f"{decimal(Fraction(value))} rpm" if key == "hold" and not isinstance(value, str) else number(value)
        rows.append((key, plain(key), said))
    return tuple(sorted(rows, key=lambda row: {"engine": 0, "hold": 2}.get(row[0], 1)))


def clock(seconds: float) -> str:
    """A countdown: `1:05`, never negative."""
    left = max(0, int(-(-seconds // 1)))
    return f"{left // 60}:{left % 60:02d}"


#: The one order in which these two are offered, so that a digit always means the same of them.
NO_YES = ("no", "yes")


def offered(choices: tuple[str, ...]) -> tuple[str, ...]:
    """The answers of a question in the order of their digits: as the file lists them, no and yes always alike."""
    return NO_YES if set(choices) == set(NO_YES) else choices
