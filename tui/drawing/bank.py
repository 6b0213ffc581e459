"""The bank in plan, from above: bodies along the engine, each barrel a number and a bar against its band; pure.

Numbers come first and bars run sideways. A screw is a slotted head with its position. Two forms: close (a line a
barrel), and open (boxes, with each screw in its band) where there is room for it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from engine.evidence import Place
from engine.quantity import wording
from engine.session.view import Latest, ScrewRow, View
from tui.drawing import phrases
from tui.drawing.card import ARROW, HEAD
from tui.drawing.lines import Line, Lines, clean, cut, cut_line, fill, width, wrapped
from tui.drawing.step_lines import main_row
from tui.drawing.turns import either_way


@dataclass(frozen=True, slots=True)
class BankPlan:
    """What is drawn: the layout, the row of numbers with its band, and the screws. `values` by place, in `unit`."""

    carbs: int
    barrels: int
    terms: Mapping[str, str]
    values: Mapping[Place, Any]
    unit: str
    step: Fraction | None
    band: tuple[Fraction, Fraction] | None
    screws: tuple[ScrewRow, ...]
    #: Words under a place: its jet, "disturbed".
    marks: Mapping[Place, str]
    #: The screws to turn now, by name and place, and the way.
    lit: Mapping[tuple[str, Place], str] = field(default_factory=dict)
    #: Which cylinders a barrel feeds, where that is known.
    cylinders: Mapping[Place, str] = field(default_factory=dict)
    #: The numbers say no more how things stand: something was turned or changed since.
    old: bool = False


#: Where counting begins along a bank, unless its family says otherwise: body 1 stands there. [common practice]
FRONT = "front"


def cylinders_of(carbs: int, barrels: int, cylinders: int, separate: bool) -> dict[Place, str]:
    """Which cylinders each barrel feeds, counted along the bank; nothing where barrels share a manifold, or the counts
    don't go into each other."""
    count = carbs * barrels
    if not separate or not cylinders or cylinders % count:
        return {}
    each = cylinders // count
    places = [Place(c, b) for c in range(1, carbs + 1) for b in range(1, barrels + 1)]
    first = {p: n * each + 1 for n, p in enumerate(places)}
    return {p: f"{n}" if each == 1 else f"{n}-{n + each - 1}" for p, n in first.items()}


def plan(
    view: View,
    layout: tuple[int, int],
    marks: Mapping[Place, str] | None = None,
    cylinders: Mapping[Place, str] | None = None,
) -> BankPlan:
    """The plan of a view on a bank of `layout` (bodies, barrels in each)."""
    row = main_row(view)
    values = places_of(row, layout) if row else {}
    step = next((a.step for a in view.read if row and a.name == row.name), row.step if row else None)
    # One that has a band to rest in stands first; a screw keeps its place from step to step.
    screws = sorted(view.screws, key=lambda s: s.band is None)
    return BankPlan(
        layout[0],
        layout[1],
        view.terms,
        values,
        (row.unit or "") if row else "",
        step,
        band_of(view, row),
        tuple(screws),
        marks or {},
        {} if view.moves_made else {(m.screw, m.place): "" if either_way(view, m) else m.direction for m in view.moves},
        cylinders or {},
        bool(row and row.since),
    )


def places_of(row: Latest, layout: tuple[int, int]) -> dict[Place, Any]:
    """A row by place: over barrels, or over bodies (then barrel is None)."""
    carbs, barrels = layout
    if row.each == "barrel":
        places = [Place(c, b) for c in range(1, carbs + 1) for b in range(1, barrels + 1)]
    elif row.each in ("carb", "gap"):
        places = [Place(c, None) for c in range(1, carbs + 1)]
    else:
        return {}
    return dict(zip(places, row.row, strict=False))


def band_of(view: View, row: Latest | None) -> tuple[Fraction, Fraction] | None:
    """Where a reading of the row should lie: the allowed spread about its middle, else what a sound engine reads."""
    if row is None:
        return None
    numbers = [Fraction(v) for v in row.row if isinstance(v, Fraction | int | float) and not isinstance(v, bool)]
    if row.tolerance is not None and numbers:
        middle = (min(numbers) + max(numbers)) / 2
        return middle - row.tolerance / 2, middle + row.tolerance / 2
    ask = next((a for a in view.read if a.name == row.name), None)
    if ask is not None and isinstance(ask.healthy, tuple) and None not in ask.healthy:
        return ask.healthy[0], ask.healthy[1]  # type: ignore[return-value]
    return None


def bar(value: Fraction, band: tuple[Fraction, Fraction] | None, scale: tuple[Fraction, Fraction], cells: int) -> str:
    """A horizontal bar from the left end of the scale to the value, with the band's ends as `[` and `]`."""
    low, high = scale
    reach = high - low or Fraction(1)

    def at(x: Fraction) -> int:
        return max(0, min(cells - 1, round(float((x - low) / reach) * (cells - 1))))

    end = at(value)
    drawn = ["━" if c <= end else " " for c in range(cells)]
    if band is not None:
        left, right = at(band[0]), at(band[1])
        if right - left < 2:
            left, right = max(0, left - 1), min(cells - 1, right + 1)
        drawn[left], drawn[right] = "[", "]"
    return "".join(drawn)


def scale_of(values: Sequence[Fraction], band: tuple[Fraction, Fraction] | None) -> tuple[Fraction, Fraction]:
    """The scale of all bars of a row: from zero where nothing is negative, to a little past the largest."""
    ends = [*values, *(band or ())]
    low, high = min(ends, default=Fraction(0)), max(ends, default=Fraction(1))
    low = Fraction(0) if low >= 0 else low * Fraction(11, 10)
    return low, (high * Fraction(11, 10) if high > 0 else Fraction(0)) or Fraction(1)


def side(value: Fraction, band: tuple[Fraction, Fraction] | None) -> tuple[str, str]:
    """In or out of the band, as (sign, role): the sign says it without colour."""
    if band is None:
        return " ", "strong"
    if value < band[0]:
        return "▾", "amber"
    if value > band[1]:
        return "▴", "amber"
    return "=", "good"


def slot(row: ScrewRow, n: int) -> tuple[str, str]:
    """A screw and where it stands: `(/) 1 1/4`, with the role in or out of its band; `?` where nobody knows."""
    position = row.positions[n]
    if position is None:
        return f"{HEAD} ?", "amber"
    said = f"{HEAD} {wording.fraction(position)}"
    if row.band is None:
        return said, "ink"
    if position < row.band[0]:
        return f"{said} ▾", "amber"
    if position > row.band[1]:
        return f"{said} ▴", "amber"
    return said, "good"


def _slot(plan_: BankPlan, row: ScrewRow, n: int) -> tuple[str, str]:
    """A screw and where it stands; the one to turn now is pointed at and lit."""
    said, role = slot(row, n)
    way = plan_.lit.get((row.name, row.places[n]))
    if way is None:
        return said, role
    return f"{HEAD}{ARROW.get(way.upper(), '')}{said.removeprefix(HEAD)}◀", "mark"


def _numbers(plan_: BankPlan) -> list[Fraction]:
    return [Fraction(v) for v in plan_.values.values() if isinstance(v, Fraction | int | float)]


def _value(plan_: BankPlan, place: Place) -> Any:
    if place in plan_.values:
        return plan_.values[place]
    return plan_.values.get(Place(place.carb, None)) if plan_.barrels == 1 else None


def _of_body(plan_: BankPlan, carb: int) -> str:
    """A reading of the whole body, for its title where it has several barrels."""
    value = plan_.values.get(Place(carb, None))
    if value is None or plan_.barrels == 1:
        return ""
    return f" {clean(wording.with_unit(value, plan_.unit, plan_.step))} "


def reading_line(plan_: BankPlan, place: Place, cells: int) -> Line:
    """One barrel: its number, the reading first, then the bar against its band."""
    label = f"{place.barrel} " if place.barrel is not None and plan_.barrels > 1 else ""
    if place in plan_.cylinders and cells >= 20:
        label += f"cyl {plan_.cylinders[place]} "
    elif place in plan_.cylinders and cells >= 13:
        # Which cylinder it feeds says more than which barrel of its body it is: they stand in their order.
        label = f"cyl {plan_.cylinders[place]} "
    value = _value(plan_, place)
    if value is None or isinstance(value, str | bool):
        said = "–" if value is None else clean(wording.number(value))
        return cut_line(((f"{label}", "soft"), (f"{said:>5} ", "soft")), cells)
    value = Fraction(value)
    if plan_.old:
        old = f"({wording.number(value, plan_.unit, plan_.step)})"
        return cut_line(((label, "soft"), (f"{old:>7}", "soft")), cells)
    sign, role = side(value, plan_.band)
    head = f"{wording.number(value, plan_.unit, plan_.step):>5}{sign}"
    room = cells - len(label) - len(head) - 1
    line: Line = ((label, "soft"), (head, role))
    if room >= 4:
        line += ((" ", "ink"), (bar(value, plan_.band, scale_of(_numbers(plan_), plan_.band), room), role))
    return cut_line(line, cells)


def _screws_at(plan_: BankPlan, place: Place, each: str) -> list[tuple[ScrewRow, int]]:
    return [(row, n) for row in plan_.screws if row.each == each for n, p in enumerate(row.places) if p == place]


def close(plan_: BankPlan, cells: int, across: int | None = None) -> Lines:
    """The close form: a header a body and a line a barrel; bodies side by side, in as many tiers as the width needs."""
    # A position is never cut: where the bodies don't fit side by side, they stand in tiers.
    need = _need(plan_)
    fits = (n for n in range(plan_.carbs, 0, -1) if need <= (cells - (n - 1)) // n)
    most = across or next(fits, 1)
    # Tiers of as many bodies as can be alike: four stand two by two, not three and one.
    across = -(-plan_.carbs // -(-plan_.carbs // most))
    out: Lines = []
    for first in range(1, plan_.carbs + 1, across):
        these = range(first, min(first + across, plan_.carbs + 1))
        room = (cells - (across - 1)) // across
        blocks = [_close_body(plan_, carb, room) for carb in these]
        for n in range(max(len(b) for b in blocks)):
            line: Line = ()
            for b in blocks:
                line += (*fill(b[n] if n < len(b) else (), room), (" ", "ink"))
            out.append(cut_line(line, cells))
    return out


def _need(plan_: BankPlan) -> int:
    """The fewest cells in which a body of the close form is whole."""
    most = 13
    for carb in range(1, plan_.carbs + 1):
        whole = [s for each in ("carb", "bank", "gap") for s in _screws_at(plan_, Place(carb, None), each)]
        name = f"╴{wording.term(plan_.terms, 'carb')} {carb}╶"
        used = sum(len(_slot(plan_, row, n)[0]) + 2 for row, n in whole)
        most = max(most, len(name) + len(_of_body(plan_, carb)) + 1 + used)
        for barrel in range(1, plan_.barrels + 1):
            mine = [_slot(plan_, row, n)[0] for row, n in _screws_at(plan_, Place(carb, barrel), "barrel")]
            most = max(most, 10 + sum(len(t) + 1 for t in mine))
    return most


def _close_body(plan_: BankPlan, carb: int, cells: int) -> Lines:
    name = f"{wording.term(plan_.terms, 'carb')} {carb}"
    screws = [
        _slot(plan_, row, n) for each in ("carb", "bank") for row, n in _screws_at(plan_, Place(carb, None), each)
    ]
    gap = [_slot(plan_, row, n) for row, n in _screws_at(plan_, Place(carb, None), "gap")]
    head: Line = ((f"╴{name}╶", "strong"), (_of_body(plan_, carb), "strong"))
    tail: Line = tuple((f"{said} ", role) for said, role in screws)
    tail += tuple(piece for said, role in gap for piece in (("→", "soft"), (f"{said}", role)))
    mine = [screw_name(row) for row, _ in _screws_at(plan_, Place(carb, None), "carb")]
    if len(mine) == 1 and cells - width(head) - 2 - sum(len(t) for t, _ in tail) > len(mine[0]) + 2:
        tail = ((f" {mine[0]} ", "soft"), *tail)
    room = cells - width(head) - sum(len(t) for t, _ in tail)
    end = wording.term(plan_.terms, FRONT).split()[0]
    if carb == 1 and plan_.carbs > 1 and room > len(end) + 2:
        head, room = (((end, "soft"), *head), room - len(end))
    elif carb == 1 and plan_.carbs > 1:
        # In the place of the word for a body, which its neighbours have.
        head = ((end, "soft"), (f"╴{carb}╶".ljust(len(name) + 2 - len(end), "─"), "strong"), *head[1:])
    out: Lines = [cut_line((*head, ("─" * max(1, room), "rule"), *tail), cells)]
    tails = {p: _tail(plan_, p, cells) for p in _barrels(plan_)}
    # As wide for every barrel of the bank, so that their bars can be compared.
    used = max(sum(len(t) for t, _ in line) for line in tails.values())
    for barrel in range(1, plan_.barrels + 1):
        place = Place(carb, barrel)
        reading = fill(reading_line(plan_, place, cells - used), cells - used)
        out.append(cut_line((*reading, *tails[place]), cells))
    return out


def _barrels(plan_: BankPlan) -> list[Place]:
    return [Place(c, b) for c in range(1, plan_.carbs + 1) for b in range(1, plan_.barrels + 1)]


def _tail(plan_: BankPlan, place: Place, cells: int) -> Line:
    """The screws of a barrel, as many as leave room for its reading: where only one has, that which is turned now."""
    these = _screws_at(plan_, place, "barrel")
    mine = [_slot(plan_, row, n) for row, n in these]
    if sum(len(t) + 1 for t, _ in mine) > cells - 10:
        lit = next((n for n, (row, _) in enumerate(these) if (row.name, place) in plan_.lit), 0)
        mine = mine[lit : lit + 1]
    tail: Line = tuple(piece for said, role in mine for piece in ((" ", "ink"), (said, role)))
    return tail if sum(len(t) for t, _ in tail) <= cells - 10 else tail[:2]


def opened(plan_: BankPlan, cells: int) -> Lines:
    """The open form: a box a body, each barrel's reading, and every screw in its band on a line of its own."""
    across = max(1, min(plan_.carbs, cells // 26))
    room = (cells - (across - 1)) // across
    out: Lines = []
    for first in range(1, plan_.carbs + 1, across):
        blocks = [_box(plan_, carb, room) for carb in range(first, min(first + across, plan_.carbs + 1))]
        tall = max(len(b) for b in blocks)
        for block in blocks:
            while len(block) < tall:
                block.insert(-1, (("│", "rule"), (" " * (room - 2), "ink"), ("│", "rule")))
        for n in range(tall):
            line: Line = ()
            for m, b in enumerate(blocks):
                line += (*b[n], ("═" if n == 0 and m + 1 < len(blocks) else " ", "rule"))
            out.append(cut_line(line, cells))
    return out


def _box(plan_: BankPlan, carb: int, cells: int) -> Lines:
    inner = cells - 4
    front = f" {wording.term(plan_.terms, FRONT).split()[0]}," if carb == 1 and plan_.carbs > 1 else ""
    title = f"{front} {wording.term(plan_.terms, 'carb')} {carb} {_of_body(plan_, carb).lstrip()}"
    unit = f" {plan_.unit} " if plan_.unit and plan_.values else ""
    rule = "─" * max(0, cells - 3 - len(title) - len(unit))
    out: Lines = [cut_line((("┌─", "rule"), (title, "strong"), (rule, "rule"), (unit, "soft"), ("┐", "rule")), cells)]

    def row(line: Line) -> None:
        out.append((("│ ", "rule"), *fill(line, inner), (" │", "rule")))

    for barrel in range(1, plan_.barrels + 1):
        place = Place(carb, barrel)
        row(reading_line(plan_, place, inner))
        for screw, n in _screws_at(plan_, place, "barrel"):
            row(screw_line(plan_, screw, n, inner, indent=2 if plan_.barrels > 1 else 0))
        if plan_.marks.get(place):
            for line in wrapped(plan_.marks[place], inner - 2, "soft"):
                row((("  ", "ink"), *line))
    for each in ("carb", "bank"):
        for screw, n in _screws_at(plan_, Place(carb, None), each):
            row(screw_line(plan_, screw, n, inner))
    for screw, n in _screws_at(plan_, Place(carb, None), "gap"):
        row(screw_line(plan_, screw, n, inner, to=f"→ {carb + 1}"))
    out.append((("└" + "─" * (cells - 2) + "┘", "rule"),))
    return out


def screw_name(row: ScrewRow) -> str:
    """A screw's name beside its drawn head, which says already that it is a screw."""
    return clean(phrases.plain(row.name)).removesuffix(" screw")


def screw_line(plan_: BankPlan, row: ScrewRow, n: int, cells: int, indent: int = 0, to: str = "") -> Line:
    """One screw: head, position, name, and a scale with its band and a mark where it stands."""
    said, role = _slot(plan_, row, n)
    name = cut(screw_name(row) + (f" {to}" if to else ""), max(6, cells - indent - 13))
    line: Line = ((" " * indent, "ink"), (f"{said:<11} ", role), (name, "soft"))
    room = cells - sum(len(t) for t, _ in line) - 1
    position = row.positions[n]
    if room >= 8 and position is not None:
        low, high = Fraction(0), max(row.band[1] * 2 if row.band else Fraction(0), position, row.step * 8)
        scale = min(room, 16)

        def at(x: Fraction) -> int:
            return max(0, min(scale - 1, round(float((x - low) / (high - low)) * (scale - 1))))

        drawn = ["·"] * scale
        if row.band is not None:
            drawn[at(row.band[0])], drawn[at(row.band[1])] = "[", "]"
        drawn[at(position)] = "◆"
        line += ((" ", "ink"), ("".join(drawn), role))
    return cut_line(line, cells)


def legend(plan_: BankPlan, cells: int) -> Lines:
    """Which of the screws of the close form is which, in their order; nothing where each is named where it stands."""
    body = wording.term(plan_.terms, "carb")
    where = (
        (("barrel",), f"{body if plan_.barrels == 1 else 'barrel'}: ", ""),
        (("carb", "bank"), f"{body}: ", ""),
        (("gap",), "→ ", f", to the next {body}"),
    )
    said = []
    for each, before, after in where:
        names = ", ".join(screw_name(row) for row in plan_.screws if row.each in each)
        said += [f"{before}{names}{after}"] if names else []
    return wrapped(f"{HEAD} {'; '.join(said)}", cells, "soft") if said else []


def tallest(plan_: BankPlan, cells: int) -> int:
    """How many rows the close form takes at a width."""
    return len(close(plan_, cells))


def draw(plan_: BankPlan, cells: int, rows: int) -> Lines:
    """The form that has room: open, else close, else only as many lines as there are."""
    wide = opened(plan_, cells) if cells // max(1, min(plan_.carbs, cells // 26 or 1)) >= 26 else []
    if wide and len(wide) <= rows:
        return wide
    drawn, told = close(plan_, cells), legend(plan_, cells)
    return [*drawn, *told] if len(drawn) + len(told) <= rows else drawn[: max(0, rows)]
