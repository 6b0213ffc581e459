"""The search for mixture screws as a plot each: what was read over where the screw stood, what is expected, and where
it is believed to belong; pure.

Signs tell without colour: ● read with all else as now, · read while other screws stood elsewhere, ○ expected, ◆ where
it is believed to belong, ═ its doubt, ▲ where the screw is to be turned, ▾ ▴ off the figures. Plots of several screws
stand beside each other on the same figures, so that they can be compared.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from engine.quantity import wording
from engine.session.view import Sweep, View
from tui.drawing import phrases
from tui.drawing.lines import Line, Lines, clean, fill, width, wrapped

#: The fewest lines of figures of a plot.
_FIGURES = 3
READ, OTHERWISE, EXPECTED, BELIEVED, AIM = "●", "·", "○", "◆", "▲"
BELOW, ABOVE = "▾", "▴"
#: The fewest cells of one of several plots.
NARROW = 34
_EIGHTH = Fraction(1, 8)
#: The column of a position.
At = Callable[[Fraction], int]


def plot(v: View, cells: int, rows: int) -> Lines:
    """The plots in at most `rows` lines; nothing where nothing is searched for, or where it has no room."""
    sweeps = v.sweeps
    if not sweeps or cells < 40:
        return []
    if len(sweeps) > 1 and (several := _several(v, cells, rows)):
        return several
    head, tail = _about(v, cells)
    room_ = min(12, rows - len(head) - len(tail) - 2)
    if room_ < _FIGURES:
        return []
    return [*head, *_grid(sweeps[0], cells, room_, _scale(sweeps[:1]), _span(sweeps[:1])), *tail]


def least(v: View, cells: int) -> int:
    """The fewest rows in which something is drawn at a width; 0 where nothing is searched for."""
    return sum(map(len, _about(v, cells))) + 2 + _FIGURES if v.sweeps and cells >= 40 else 0


def _about(v: View, cells: int) -> tuple[Lines, Lines]:
    """What stands above and below the plot of the first screw."""
    first = v.sweeps[0]
    tail = [*wrapped(belief(v, first), cells, "mark"), *wrapped(_signs(v, v.sweeps[:1]), cells, "soft")]
    if len(v.sweeps) > 1:
        more = f"{wording.count(len(v.sweeps) - 1, 'more screw')} searched with it: ? draws them."
        tail += wrapped(more, cells, "soft")
    return title(v, first, cells), tail


def room(v: View, cells: int) -> int:
    """The rows that all plots want at a width, on a page that scrolls."""
    most = max(1, (cells + 1) // (NARROW + 1))
    return 16 if len(v.sweeps) < 2 else 4 + 14 * -(-len(v.sweeps) // most)


def _several(v: View, cells: int, rows: int) -> Lines:
    """Every search beside the others, in tiers; nothing where one of them has no room."""
    sweeps = v.sweeps
    most = max(1, (cells + 1) // (NARROW + 1))
    tiers = -(-len(sweeps) // most)
    across = -(-len(sweeps) // tiers)
    wide = (cells - (across - 1)) // across
    first = sweeps[0]
    head = wrapped(f"{_axis_name(first).capitalize()}, of each", cells, "soft")
    tail = wrapped(_signs(v, sweeps), cells, "soft")
    names = [wrapped(wording.place(s.place, v.terms), wide, "strong") for s in sweeps]
    beliefs = [wrapped(belief(v, s), wide, "mark") for s in sweeps]
    spoken = max(map(len, names)) + max(map(len, beliefs))
    high = min(8, (rows - len(head) - len(tail)) // tiers - spoken - 2)
    if high < _FIGURES:
        return []
    scale, span = _scale(sweeps), _span(sweeps)
    out: Lines = [*head]
    for n in range(0, len(sweeps), across):
        these = range(n, min(n + across, len(sweeps)))
        blocks = [[*names[k], *_grid(sweeps[k], wide, high, scale, span), *beliefs[k]] for k in these]
        for row in range(max(map(len, blocks))):
            line: Line = ()
            for block in blocks:
                line = (*line, *fill(block[row] if row < len(block) else (), wide), (" ", "ink"))
            out.append(line[:-1])
    return [*out, *tail]


def title(v: View, sweep: Sweep, cells: int) -> Lines:
    """What is drawn: `body 2, barrel 1: engine speed, rpm, over turns out`."""
    what = f"{wording.place(sweep.place, v.terms)}, {phrases.plain(sweep.screw)}"
    axis = _axis_name(sweep)
    line: Line = ((clean(what), "strong"), (f": {clean(axis)}", "soft"))
    return [line] if width(line) <= cells else [*wrapped(what, cells, "strong"), *wrapped(axis, cells, "soft")]


def _axis_name(sweep: Sweep) -> str:
    unit = f", {sweep.value_unit}" if sweep.value_unit else ""
    return f"{phrases.plain(sweep.quantity)}{unit}, over {sweep.unit}s out"


def belief(v: View, sweep: Sweep) -> str:
    """Where the screw belongs as it is believed, with its doubt, or how sure it is that it stands near its best."""
    if sweep.best is not None:
        doubt = ""
        if sweep.low is not None and sweep.high is not None:
            doubt = f", between {_turns(sweep.low)} and {_turns(sweep.high)}"
        return f"Believed to belong near {_turns(sweep.best)}{doubt}."
    sure = _sure(v, sweep)
    if sure is not None:
        return f"That it stands near its best, as it stands: {wording.decimal(sure * 100, Fraction(1))} in 100."
    alone = len({spot.position for spot in sweep.spots if spot.alone})
    return "Where it belongs is not known yet." if alone < 2 else "How it answers shows; F3 says what is believed."


def _signs(v: View, sweeps: Sequence[Sweep]) -> str:
    """What the signs mean."""
    signs = [f"{READ} read"]
    if any(not spot.alone for sweep in sweeps for spot in sweep.spots):
        signs.append(f"{OTHERWISE} read, other screws elsewhere")
    low, high, _ = _scale(sweeps)
    if any(not low <= spot.value <= high for sweep in sweeps for spot in sweep.spots):
        signs.append(f"{BELOW} {ABOVE} off the figures")
    if any(sweep.to is not None for sweep in sweeps):
        # Once it is turned there is no move on the step, and it stands there.
        signs.append(f"{AIM} to turn to" if v.moves else f"{AIM} where it stands now")
    if any(sweep.best is not None for sweep in sweeps):
        signs.append(f"{BELIEVED} believed best")
    if any(sweep.expect is not None for sweep in sweeps):
        signs.append(f"{EXPECTED} expected")
    return ", ".join(signs)


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


#: Lower and upper end of the figures, and the step in which they are said.
Scale = tuple[Fraction, Fraction, Fraction]


def _span(sweeps: Sequence[Sweep]) -> tuple[Fraction, Fraction]:
    """The positions that all of these lie between."""
    places = [spot.position for sweep in sweeps for spot in sweep.spots]
    places += [p for s in sweeps for p in (s.to, s.best, s.low, s.high) if p is not None]
    left = Fraction((min(places) - Fraction(1, 4)) // Fraction(1, 2), 2)
    return left, max(left + 2, Fraction(-((-max(places) - Fraction(1, 4)) // Fraction(1, 2)), 2))


def _grid(sweep: Sweep, cells: int, rows: int, scale: Scale, span: tuple[Fraction, Fraction]) -> Lines:
    """The figures over the axis, `rows` lines, then the axis and its figures."""
    (low, high, step), (left, right) = scale, span
    gutter = max(len(_figure(low, step)), len(_figure(high, step)), 4)
    wide = cells - gutter - 3

    def x(position: Fraction) -> int:
        return max(0, min(wide - 1, round(float((position - left) / (right - left)) * (wide - 1))))

    def y(value: Fraction) -> int:
        return max(0, min(rows - 1, round(float((high - value) / (high - low)) * (rows - 1))))

    grid: list[list[tuple[str, str]]] = [[(" ", "ink")] * wide for _ in range(rows)]
    for spot in sorted(sweep.spots, key=lambda s: (s.alone, s.seq)):
        sign = (READ, "strong") if spot.alone else (OTHERWISE, "soft")
        if not low <= spot.value <= high:
            sign = (BELOW if spot.value < low else ABOVE, "soft")
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


#: How many times wider all figures may lie than those read with all else as now, before a far one is drawn at the edge.
_WIDER = 3


def _scale(sweeps: Sequence[Sweep]) -> Scale:
    """A little past both ends of what was read and is expected; a figure far from the rest, of a stall, does not press
    the others flat."""
    all_ = [spot.value for sweep in sweeps for spot in sweep.spots]
    expected = [sweep.expect for sweep in sweeps if sweep.expect is not None]
    alone = [spot.value for sweep in sweeps for spot in sweep.spots if spot.alone]
    values = [*all_, *expected]
    near = [*alone, *expected]
    if len(set(alone)) > 1 and max(values) - min(values) > _WIDER * (max(near) - min(near)):
        values = near
    low, high = min(values), max(values)
    reach = high - low
    step = next((s for s in (Fraction(10), Fraction(1), Fraction(1, 10), Fraction(1, 100)) if reach >= 4 * s), None)
    step = step or (Fraction(10) if high >= 100 else Fraction(1, 100))
    low, high = (low // step) * step, -(-high // step) * step
    return (low - step, high + step, step) if high - low < step * 2 else (low, high, step)


def _figure(value: Fraction, step: Fraction) -> str:
    return wording.decimal(round(value / step) * step, step)
