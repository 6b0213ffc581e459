"""The moves and parts of a step in words: which screw, how far, which way, to what effect; pure, it decides nothing.

Equal moves on every place of a screw become one line, so that a whole bank reads at a glance.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby

from engine.evidence import Move, Part
from engine.units import UNITS, from_base, to_base
from engine.view import ScrewRow, View
from tui import words
from tui.lines import Line, Lines, beside, clean, cut_line, fill, width

#: In is clockwise on every right-hand screw; the arrow says it without a word, the word without an arrow.
ARROW = {"in": "↻", "out": "↺"}
#: A screw from above: a slotted head.
HEAD = "(/)"


@dataclass(frozen=True, slots=True)
class Turn:
    """One line of what to turn. `far` is how far ("1/8 turn", "until it seats"), `then` where it then stands."""

    where: str
    screw: str
    direction: str
    far: str
    short: str
    effect: str
    then: str


def screw_row(view: View, name: str) -> ScrewRow | None:
    """The row of a screw by its name, if the view has it."""
    return next((row for row in view.screws if row.name == name), None)


def unit_of_reading(view: View, name: str) -> tuple[str | None, str, Fraction | None]:
    """Unit, words and step of a reading by its name: of this step's questions, else of the newest rows."""
    for ask in view.read:
        if ask.name == name:
            return ask.unit, words.plain(name), ask.step
    for row in view.latest:
        if row.name == name:
            return row.unit, words.plain(name), None
    return None, words.plain(name), None


def _amount(turns: Fraction, row: ScrewRow | None) -> str:
    unit = row.unit if row else "turn"
    value = from_base(turns, unit) if unit in UNITS else turns
    said = words.fraction(value)
    return f"{said} {unit if abs(value) <= 1 else unit + 's'}"


def turn(view: View, move: Move) -> Turn:
    """One move in words."""
    row = screw_row(view, move.screw)
    each = row.each if row else None
    where = words.place(move.place, view.terms, each)
    then = ""
    if move.position is not None:
        unit = row.unit if row else "turn"
        position = from_base(move.position, unit) if unit in UNITS else move.position
        then = f"then at {words.with_unit(position, unit)}"
    if move.aim is not None:
        unit, said, step = unit_of_reading(view, move.aim.reading)
        value = from_base(move.aim.value, unit) if unit in UNITS else move.aim.value
        far = f"until {said} shows {words.with_unit(value, unit, step)}"
        if move.aim.place is not None:
            far += f" at {words.place(move.aim.place, view.terms)}"
        short = f"to {words.with_unit(value, unit, step)}"
    elif move.turns is None and move.position == 0:
        zero = row.zero if row else ""
        far = "until it seats, light" if zero in ("seated", "seat", "") else f"to its zero: {words.plain(zero)}"
        short, then = ("seat it" if zero in ("seated", "seat", "") else words.plain(zero)), ""
    elif move.turns is None:
        far, short = then.removeprefix("then ") or "as told", then.removeprefix("then ") or "as told"
        then = ""
    else:
        far = short = _amount(move.turns, row)
    return Turn(where, words.plain(move.screw), move.direction.upper(), far, short, move.effect, then)


def turns(view: View) -> tuple[Turn, ...]:
    """Every move of the step in words; a screw's moves that are alike on all its places become one."""
    out: list[Turn] = []
    for screw, group in groupby(view.moves, key=lambda m: m.screw):
        moves = list(group)
        row = screw_row(view, screw)
        said = [turn(view, m) for m in moves]
        alike = len({(t.direction, t.far, t.effect, t.then) for t in said}) == 1
        if row and alike and len(moves) == len(row.places) > 1:
            one = said[0]
            every = {"gap": "every one", "cylinder": "every cylinder"}.get(
                row.each, f"every {words.term(view.terms, row.each)}")
            out.append(Turn(every, one.screw, one.direction, one.far, one.short, one.effect, one.then))
        else:
            out.extend(said)
    return tuple(out)


def fits(view: View) -> tuple[str, ...]:
    """What to fit, a line a part; the same part and size everywhere is one line."""
    return tuple(fitted(view.fit, view.terms))


def fitted(parts: Iterable[Part], terms: Mapping[str, str]) -> list[str]:
    """Parts in words: `idle jet 55: body 1, barrel 1; body 1, barrel 2`."""
    by_size: dict[tuple[str, Fraction], list[Part]] = {}
    for part in parts:
        by_size.setdefault((part.part, part.size), []).append(part)
    return [
        f"{words.plain(name)} {words.decimal(size)}: {words.places([p.place for p in these], terms)}"
        for (name, size), these in by_size.items()
    ]


def _line(t: Turn, columns: tuple[int, int, int]) -> Line:
    way, far, where = columns
    head: Line = ((f"{HEAD}", "mark"), (ARROW.get(t.direction.lower(), " "), "mark"), (" ", "ink"),
                  (f"{t.direction:<{way}} ", "mark"))
    rest = ", ".join(bit for bit in (t.effect, t.then) if bit)
    return (*head, *fill(((clean(t.far), "mark"),), far), ("  ", "ink"),
            *fill(((clean(f"{t.where} · {t.screw}"), "strong"),), where), ("  ", "ink"), (clean(rest), "soft"))


def card(view: View, cells: int, rows: int = 99, otherwise: bool = False) -> Lines:
    """What to turn and fit, a line each; two columns of short lines where one column has no room.

    `otherwise`: the view holds what was really done instead of what was asked.
    """
    out: Lines = []
    these = turns(view)
    if these:
        title = "REALLY TURNED" if otherwise else "ALREADY TURNED" if view.moves_made else "TURN"
        more = "Not turned back by the undo. F7 if a screw stands otherwise." if view.moves_made else ""
        out.append(((f" {title} ", "key"), (f" {more}" if more else "", "amber")))
        columns = (3, max(len(t.far) for t in these), max(len(f"{t.where} · {t.screw}") for t in these))
        full = [_line(t, columns) for t in these]
        if len(full) + 1 > rows and len(full) > 2:
            out += _two_columns(these, cells)
        elif all(width(line) <= cells for line in full):
            out += full
        else:
            out += _narrow(these, cells, rows)
    parts = fits(view)
    if parts:
        out.append(((" REALLY FITTED " if otherwise else " FIT ", "key"),))
        out += [cut_line(((clean(part), "mark"),), cells) for part in parts]
    return out


def _narrow(these: tuple[Turn, ...], cells: int, rows: int) -> Lines:
    """Two lines a move where there is room for them, else the short form."""
    out: Lines = []
    for t in these:
        head = f"{HEAD}{ARROW.get(t.direction.lower(), ' ')} {t.direction} {t.far}"
        out.append(cut_line(((clean(head), "mark"), ("  ", "ink"), (clean(t.where), "strong")), cells))
        rest = ", ".join(bit for bit in (t.screw, t.effect, t.then) if bit)
        out.append(cut_line((("     ", "ink"), (clean(rest), "soft")), cells))
    return out if len(out) < rows else [out[n] for n in range(0, len(out), 2)]


def _two_columns(these: tuple[Turn, ...], cells: int) -> Lines:
    half = (cells - 2) // 2
    short = [
        cut_line(((f"{HEAD}{ARROW.get(t.direction.lower(), ' ')} {t.direction:<3} {clean(t.short)}  ", "mark"),
                  (clean(t.where), "strong")), half)
        for t in these
    ]
    middle = (len(short) + 1) // 2
    return beside(short[:middle], short[middle:], half, gap=2)


def in_unit(turns_: Fraction, unit: str) -> Fraction:
    """Turns in a screw's own unit."""
    return from_base(turns_, unit) if unit in UNITS else turns_


def in_turns(value: Fraction, unit: str) -> Fraction:
    """A screw's own unit in turns."""
    return to_base(value, unit) if unit in UNITS else value
