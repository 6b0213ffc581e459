"""The moves and parts of a step in words: which screw, how far, which way, to what effect; pure, it decides nothing.

Equal moves on every place of a screw become one, so that a whole bank reads at a glance. `tui.card` lays them out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from engine.evidence import Move, Part
from engine.quantity import wording
from engine.quantity.units import UNITS, from_base, to_base
from engine.session.view import ScrewRow, View
from tui.drawing import phrases

#: In is clockwise on every right-hand screw, seen on its head.
HANDS = {"IN": "clockwise", "OUT": "anticlockwise"}


@dataclass(frozen=True, slots=True)
class Turn:
    """One thing to turn. `far`: how far ("1/8 turn", "until it seats"); `short`: the same where room is scarce;
    `figure`: its number alone, if it has one; `then`: where it then stands; `gauge`: where the gauge sits
    meanwhile."""

    where: str
    screw: str
    direction: str
    far: str
    short: str
    figure: str
    effect: str
    then: str
    gauge: str = ""
    #: The figure is where to turn it to, not how far.
    to: bool = False

    @property
    def hand(self) -> str:
        """The way that the hand turns it, seen on the screw's head."""
        return HANDS.get(self.direction, "")

    @property
    def rest(self) -> str:
        """What is said after which screw, how far and which way."""
        return ", ".join(bit for bit in (self.hand, self.gauge, self.effect, self.then) if bit)

    @property
    def large(self) -> str:
        """What is drawn large: `OUT 1/8`, `IN TO 4.9`, `IN`; `SET` where nobody can know which way."""
        said = " ".join(bit for bit in (self.direction, "TO" if self.to and self.figure else "", self.figure) if bit)
        return said or "SET"


def screw_row(view: View, name: str) -> ScrewRow | None:
    """The row of a screw by its name, if the view has it."""
    return next((row for row in view.screws if row.name == name), None)


def acts(view: View, name: str) -> str:
    """What a screw acts on: "air", "mixture"; empty where the view has none of that name."""
    row = screw_row(view, name)
    return row.acts if row is not None else ""


def in_unit(turns_: Fraction, unit: str) -> Fraction:
    """Turns in a screw's own unit."""
    return from_base(turns_, unit) if unit in UNITS else turns_


def in_turns(value: Fraction, unit: str) -> Fraction:
    """A screw's own unit in turns."""
    return to_base(value, unit) if unit in UNITS else value


def _reading(view: View, name: str) -> tuple[str | None, Fraction | None]:
    """Unit and step of a reading by its name: of this step's questions, else of the newest rows."""
    for ask in view.read:
        if ask.name == name:
            return ask.unit, ask.step
    return next((row.unit for row in view.latest if row.name == name), None), None


def after(view: View, moves: Iterable[Move]) -> tuple[ScrewRow, ...]:
    """The screws as they stand once these moves are made, before an answer says so: `None` where nobody can know, as
    after one that was turned until a gauge showed a figure."""
    asked = {(m.screw, m.place): m for m in view.moves}
    found = {row.name: row for row in view.screws}
    for move in moves:
        row = found.get(move.screw)
        if row is None or move.place not in row.places:
            continue
        n, meant = row.places.index(move.place), asked.get((move.screw, move.place))
        old, new = row.positions[n], None
        if move.position is not None:
            new = in_unit(move.position, row.unit)
        elif move.turns is not None and old is not None and meant is not None and meant.position is not None:
            # What the asked move would have done to the count tells which way it counts.
            up = (in_unit(meant.position, row.unit) >= old) == (move.direction == meant.direction)
            new = old + (1 if up else -1) * in_unit(move.turns, row.unit)
        positions = (*row.positions[:n], new, *row.positions[n + 1 :])
        found[move.screw] = replace(row, positions=positions)
    return tuple(found[row.name] for row in view.screws)


def stands(position: Fraction, row: ScrewRow | None) -> str:
    """Where a screw stands: `1 1/4 turns` from its seat; on the other side of a contact `2 turns clear of contact`."""
    unit = row.unit if row else "turn"
    if position < 0 and row is not None:
        return f"{wording.with_unit(-position, unit)} clear of {phrases.plain(row.zero)}"
    return wording.with_unit(position, unit)


def turn(view: View, move: Move) -> Turn:
    """One move in words."""
    row = screw_row(view, move.screw)
    unit = row.unit if row else "turn"
    seated = row is None or row.zero in ("seated", "seat", "")
    then = gauge = figure = ""
    to = move.aim is not None or move.turns is None
    if move.position is not None:
        then = f"then at {stands(in_unit(move.position, unit), row)}"
    if move.aim is not None:
        of, step = _reading(view, move.aim.reading)
        value = move.aim.value  # in the unit of its reading
        figure = wording.number(value, of, step)
        far = f"until {phrases.plain(move.aim.reading)} is {wording.with_unit(value, of, step)}"
        short = f"to {figure} {of or ''}"
        if move.aim.place is not None:
            gauge = f"gauge on {wording.place(move.aim.place, view.terms)}"
    elif move.position == 0 and (seated or move.turns is None):
        # A seat is felt, not counted: how far it stood from it is on the bank.
        far = "until it just seats" if seated else f"to {phrases.plain(row.zero if row else '')}"
        short, then = ("to its seat" if seated else far), ""
    elif move.turns is None:
        # Nobody knows where it stands: how far it goes is counted from its seat, and is no way from here.
        from_zero = then.removeprefix("then at ")
        far = f"in until it just seats, then out {from_zero}" if from_zero and seated else from_zero or "as told"
        short = f"to {from_zero}" if from_zero and seated else far
        figure, then = wording.fraction(abs(in_unit(move.position, unit))) if move.position is not None else "", ""
    else:
        amount = in_unit(move.turns, unit)
        figure = wording.fraction(amount)
        far = short = f"{figure} {unit if abs(amount) <= 1 else unit + 's'}"
    where = wording.place(move.place, view.terms, row.each if row else None)
    name, way, effect = phrases.plain(move.screw), move.direction.upper(), move.effect
    if either_way(view, move):
        way, effect = "", "in or out"
    return Turn(where, name, way, far, short, figure, effect, then, gauge, to)


def either_way(view: View, move: Move) -> bool:
    """Whether nobody knows which way the screw goes: to a zero that is felt on both sides, from a place not known."""
    row = screw_row(view, move.screw)
    felt = row is not None and row.zero not in ("seated", "seat", "")
    return felt and move.position == 0 and move.turns is None and move.aim is None


def turns(view: View) -> tuple[Turn, ...]:
    """Every move of the step in words; a screw's moves that are alike on all its places become one."""
    out: list[Turn] = []
    for screw, group in groupby(view.moves, key=lambda m: m.screw):
        moves = list(group)
        row = screw_row(view, screw)
        said = [turn(view, m) for m in moves]
        alike = len({(t.direction, t.far, t.rest) for t in said}) == 1
        if row and alike and len(moves) == len(row.places) > 1:
            every = "every one" if row.each == "gap" else f"every {wording.term(view.terms, row.each)}"
            out.append(replace(said[0], where=every))
        else:
            out.extend(said)
    return tuple(out)


def fits(parts: Iterable[Part], terms: Mapping[str, str]) -> list[str]:
    """Parts in words, a line a part and size: `idle jet 55: body 1, barrel 1; body 1, barrel 2`."""
    by_size: dict[tuple[str, Fraction], list[Part]] = {}
    for part in parts:
        by_size.setdefault((part.part, part.size), []).append(part)
    return [
        f"{phrases.plain(name)} {wording.decimal(size)}: {wording.places([p.place for p in these], terms)}"
        for (name, size), these in by_size.items()
    ]
