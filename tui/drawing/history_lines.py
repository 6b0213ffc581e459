"""A vehicle's visits as lines: what was measured plotted from visit to visit, and the figures side by side. Pure."""

from __future__ import annotations

from fractions import Fraction

from engine.quantity import wording
from engine.sheet.history import Measured, Visit
from tui.drawing.lines import Line, Lines, clean, cut, cut_line, fill, width, wrapped

#: Found, left, and both at one spot.
FOUND, LEFT, BOTH = "○", "●", "◉"


def titles(visits: list[Visit]) -> list[str]:
    """What was measured at any visit, that which tells most of the bank first."""
    every = dict.fromkeys(m.title for v in visits for m in v.measured)
    return sorted(every, key=lambda t: ("apart" not in t, t.startswith(("main jet", "air corrector", "pump jet"))))


def measured(visit: Visit, title: str) -> Measured | None:
    """What a visit measured of this."""
    return next((m for m in visit.measured if m.title == title), None)


def page(visits: list[Visit], title: str, cells: int) -> Lines:
    """The plot and the figures of one thing, and under it how each visit ended."""
    if not visits:
        return wrapped("Nothing was recorded of this vehicle yet.", cells, "soft")
    out = [*plot(visits, title, cells), (), *table(visits, title, cells), ()] if title else []
    for v in reversed(visits):
        head: Line = ((f"{v.day}  job {v.run}  ", "strong"), (f"{clean(v.outcome)}  ", "ink"))
        out.append(cut_line((*head, (clean(v.complaint), "soft")), cells))
        if v.problem:
            out += wrapped(v.problem, cells - 4, "amber", head=("    ", "ink"))
    return out


def plot(visits: list[Visit], title: str, cells: int, rows: int = 8) -> Lines:
    """One thing from visit to visit: one place as found and as left; several as left, each by its number."""
    per = 12
    shown = visits[-max(1, (cells - 12) // per) :]
    its = [measured(v, title) for v in shown]
    known = [m for m in its if m is not None]
    if not known:
        return []
    single = all(len(m.places) == 1 for m in known)
    values = [v for m in known for v in (*m.left, *(m.found if single else ())) if v is not None]
    if not values:
        return []
    unit = known[0].unit
    low, high = _scale(values)
    grid = [[" "] * (per * len(shown)) for _ in range(rows)]

    def put(column: int, value: float | None, sign: str) -> None:
        if value is None:
            return
        row = round((high - value) / (high - low) * (rows - 1))
        there = grid[row][column]
        grid[row][column] = sign if there in (" ", sign) else BOTH if sign in (FOUND, LEFT) else "*"

    for n, m in enumerate(its):
        if m is None:
            continue
        if single:
            put(n * per + 4, m.found[0], FOUND)
            put(n * per + 4 + (m.found[0] != m.left[0]), m.left[0], LEFT)
        else:
            for k, value in enumerate(m.left):
                put(n * per + 3 + k % 8, value, str((k + 1) % 10))
    said = f"{FOUND} found  {LEFT} left" if single else "as left, each place by its number"
    out: Lines = [cut_line(((f" {clean(title)}{f', {unit}' if unit else ''} ", "key"), (f"  {said}", "soft")), cells)]
    for row, line in enumerate(grid):
        edge = high if row == 0 else low if row == rows - 1 else None
        label = "" if edge is None else short(edge, unit)
        out.append(((f"{label:>8} ┤", "soft"), ("".join(line), "mark")))
    days = "".join(f"{v.day:<{per}}" for v in shown)
    out += [((" " * 9 + "└" + "─" * (per * len(shown)), "rule"),), ((" " * 10 + days, "soft"),)]
    if len(visits) > len(shown):
        out.append(((f"{len(visits) - len(shown)} earlier visits have no room here.", "soft"),))
    return [cut_line(line, cells) for line in out]


def _scale(values: list[float]) -> tuple[float, float]:
    """From the least to the most, with a little air; never a scale without height."""
    low, high = min(values), max(values)
    air = (high - low) * 0.1 or max(abs(high) * 0.05, 0.5)
    return max(0.0, low - air) if low >= 0 else low - air, high + air


def table(visits: list[Visit], title: str, cells: int) -> Lines:
    """The figures of one thing, a row a place, a column a visit: found > left."""
    per = 16
    shown = visits[-max(1, (cells - 24) // per) :]
    places = list(dict.fromkeys(p for v in shown if (m := measured(v, title)) for p in m.places))
    head: Line = (("found > left", "soft"),)
    out: Lines = [(*fill(head, 24), *((f"{v.day:>{per}}", "soft") for v in shown))]
    for n, place in enumerate(places):
        name = f"{n + 1}  {place}" if len(places) > 1 else place or clean(title)
        line: Line = fill(((cut(clean(name), 23), "ink"),), 24)
        for v in shown:
            m = measured(v, title)
            at = m.places.index(place) if m is not None and place in m.places else None
            was, now = (None, None) if m is None or at is None else (m.found[at], m.left[at])
            unit = m.unit if m is not None else ""
            text = f"{_number(was, unit)} > {_number(now, unit)}"
            line = (*line, (f"{text:>{per}}", "strong" if was != now and None not in (was, now) else "ink"))
        out.append(line)
    return [each if width(each) <= cells else cut_line(each, cells) for each in out]


def _number(value: float | None, unit: str) -> str:
    return "-" if value is None else short(value, unit)


def short(value: float, unit: str) -> str:
    """A number as one reads it at a glance: turns in fractions, rpm whole, the rest to three figures."""
    if unit == "turn":
        return wording.fraction(Fraction(round(value * 32), 32))
    if unit == "rpm" or abs(value) >= 100:
        return str(round(value))
    return f"{value:.3g}"
