"""The search for one mixture screw as a plot: what was read over where the screw stood, what is expected, and where it
is believed to belong; pure.

Signs tell without colour: ● read with all else as now, · read while other screws stood elsewhere, ○ expected, ◆ where
it is believed to belong, ═ its doubt, ▲ where the screw is to be turned.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from engine.quantity import wording
from engine.session.view import Sweep, View
from tui.drawing import phrases
from tui.drawing.lines import Line, Lines, clean, width, wrapped

#: The fewest lines that a plot needs: a title, four of figures, the axis, its figures, the belief.
LEAST = 8
READ, OTHERWISE, EXPECTED, BELIEVED, AIM = "●", "·", "○", "◆", "▲"
_EIGHTH = Fraction(1, 8)
#: The column of a position.
At = Callable[[Fraction], int]


def plot(v: View, cells: int, rows: int) -> Lines:
    """The plot in at most `rows` lines; nothing where nothing is searched for, or where it has no room."""
    sweep = v.sweep
    if sweep is None or rows < LEAST or cells < 40:
        return []
    head = title(v, sweep, cells)
    tail = belief(v, sweep, cells)
    room = min(12, rows - len(head) - len(tail) - 2)
    if room < 3:
        return []
    return [*head, *_grid(sweep, cells, room), *tail]


def title(v: View, sweep: Sweep, cells: int) -> Lines:
    """What is drawn: `body 2, barrel 1: engine speed, rpm, over turns out`."""
    unit = f", {sweep.value_unit}" if sweep.value_unit else ""
    what = f"{wording.place(sweep.place, v.terms)}, {phrases.plain(sweep.screw)}"
    axis = f"{phrases.plain(sweep.quantity)}{unit}, over {sweep.unit}s out"
    line: Line = ((clean(what), "strong"), (f": {clean(axis)}", "soft"))
    return [line] if width(line) <= cells else [*wrapped(what, cells, "strong"), *wrapped(axis, cells, "soft")]


def belief(v: View, sweep: Sweep, cells: int) -> Lines:
    """Where the screw belongs as it is believed, with its doubt, or how sure it is that it stands near its best; and
    what the signs mean."""
    sure = _sure(v, sweep)
    if sweep.best is not None:
        doubt = ""
        if sweep.low is not None and sweep.high is not None:
            doubt = f", between {_turns(sweep.low)} and {_turns(sweep.high)}"
        said = f"Believed to belong near {_turns(sweep.best)}{doubt}."
    else:
        alone = len({spot.position for spot in sweep.spots if spot.alone})
        said = "Where it belongs is not known yet." if alone < 2 else "How it answers shows; F3 says what is believed."
        if sure is not None:
            said = f"That it stands near its best, as it stands: {wording.decimal(sure * 100, Fraction(1))} in 100."
    signs = [f"{READ} read"]
    if any(not spot.alone for spot in sweep.spots):
        signs.append(f"{OTHERWISE} read, other screws elsewhere")
    if sweep.to is not None:
        signs.append(f"{AIM} to turn to")
    if sweep.expect is not None:
        signs.append(f"{EXPECTED} expected")
    return [*wrapped(said, cells, "mark"), *wrapped("  ".join(signs), cells, "soft")]


def _sure(v: View, sweep: Sweep) -> Fraction | None:
    """How likely the screw in hand is near its best as it stands, where an adviser says so of each barrel."""
    barrels = [row.places for row in v.screws if row.name == sweep.screw]
    for advised in v.advice:
        row = advised.values.get("sure")
        if isinstance(row, tuple) and barrels and len(row) == len(barrels[0]) and sweep.place in barrels[0]:
            value = row[barrels[0].index(sweep.place)]
            return Fraction(value) if isinstance(value, Fraction | int) else None
    return None


def _turns(position: Fraction) -> str:
    return wording.fraction(round(position / _EIGHTH) * _EIGHTH)


def _grid(sweep: Sweep, cells: int, rows: int) -> Lines:
    """The figures over the axis, `rows` lines, then the axis and its figures."""
    values = [spot.value for spot in sweep.spots] + ([sweep.expect] if sweep.expect is not None else [])
    low, high, step = _scale(values, rows)
    places = [spot.position for spot in sweep.spots]
    places += [p for p in (sweep.to, sweep.best, sweep.low, sweep.high) if p is not None]
    left = Fraction((min(places) - Fraction(1, 4)) // Fraction(1, 2), 2)
    right = max(left + 2, Fraction(-((-max(places) - Fraction(1, 4)) // Fraction(1, 2)), 2))
    gutter = max(len(_figure(low, step)), len(_figure(high, step)), 4)
    wide = cells - gutter - 3

    def x(position: Fraction) -> int:
        return max(0, min(wide - 1, round(float((position - left) / (right - left)) * (wide - 1))))

    def y(value: Fraction) -> int:
        return max(0, min(rows - 1, round(float((high - value) / (high - low)) * (rows - 1))))

    grid: list[list[tuple[str, str]]] = [[(" ", "ink")] * wide for _ in range(rows)]
    for spot in sorted(sweep.spots, key=lambda s: (s.alone, s.seq)):
        sign = (READ, "strong") if spot.alone else (OTHERWISE, "soft")
        grid[y(spot.value)][x(spot.position)] = sign
    if sweep.to is not None and sweep.expect is not None:
        grid[y(sweep.expect)][x(sweep.to)] = (EXPECTED, "mark")
    out: Lines = []
    for n, line in enumerate(grid):
        value = high - (high - low) * Fraction(n, max(1, rows - 1))
        named = n in (0, rows - 1) or (rows > 5 and n == rows // 2)
        head = _figure(value, step) if named else ""
        out.append(((f"{head:>{gutter}} {'┤' if named else '│'}", "soft"), *_pieces(line)))
    return [*out, _axis(sweep, x, wide, gutter), _ticks(left, right, x, wide, gutter)]


def _axis(sweep: Sweep, at: At, wide: int, gutter: int) -> Line:
    drawn = [("─", "rule")] * wide
    if sweep.low is not None and sweep.high is not None:
        for n in range(at(sweep.low), at(sweep.high) + 1):
            drawn[n] = ("═", "mark")
    if sweep.best is not None:
        drawn[at(sweep.best)] = (BELIEVED, "mark")
    if sweep.to is not None:
        drawn[at(sweep.to)] = (AIM, "mark")
    return ((" " * gutter + " └", "soft"), *_pieces(drawn))


def _ticks(left: Fraction, right: Fraction, at: At, wide: int, gutter: int) -> Line:
    """Positions under the axis, each half turn where there is room, else each whole one."""
    step = Fraction(1, 2) if (right - left) * 2 * 6 <= wide else Fraction(1)
    said = [" "] * (wide + 6)
    position = -(-left // step) * step
    while position <= right:
        text = wording.fraction(position)
        start = max(0, min(wide - len(text), at(position) - len(text) // 2))
        if not "".join(said[max(0, start - 1) : start + len(text) + 1]).strip():
            said[start : start + len(text)] = list(text)
        position += step
    return ((" " * gutter + "  ", "soft"), ("".join(said)[:wide].rstrip(), "soft"))


def _pieces(signs: Sequence[tuple[str, str]]) -> Line:
    """Neighbours of one role as one piece."""
    out: list[tuple[str, str]] = []
    for sign, role in signs:
        if out and out[-1][1] == role:
            out[-1] = (out[-1][0] + sign, role)
        else:
            out.append((sign, role))
    return tuple(out)


def _scale(values: Sequence[Fraction], rows: int) -> tuple[Fraction, Fraction, Fraction]:
    """Lower and upper end of the figures, and the step in which they are said: a little past both."""
    low, high = min(values), max(values)
    reach = high - low
    step = next((s for s in (Fraction(10), Fraction(1), Fraction(1, 10), Fraction(1, 100)) if reach >= 4 * s), None)
    step = step or (Fraction(10) if high >= 100 else Fraction(1, 100))
    low, high = (low // step) * step, -(-high // step) * step
    return (low - step, high + step, step) if high - low < step * 2 else (low, high, step)


def _figure(value: Fraction, step: Fraction) -> str:
    return wording.decimal(round(value / step) * step, step)
