"""Zone one, 'where am I': which job or that it is a rehearsal, which phase of the work, how much is left; pure."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from engine.quantity import wording
from engine.session.view import View
from engine.vocabulary.phases import PHASES
from tui.drawing.lines import Line, Lines, clean, cut, fill, width

#: Outputs under which an adviser says how many rounds it still expects.
_LEFT = ("rounds",)


@dataclass(frozen=True, slots=True)
class Whose:
    """Whose work it is: `job` as the technician knows it (registration, customer); `rehearsal`: nobody's."""

    job: str = ""
    rehearsal: bool = False
    #: A rehearsal that plays by itself: that it does, and how fast.
    plays: str = ""
    #: What it does next, in a sentence; empty where a person does it.
    doing: str = ""


def line(view: View, whose: Whose, cells: int) -> Lines:
    """One line: the job or REHEARSAL, the phases with the present one marked, about how much is left: what a search has
    still to set, and the fewest steps. A rehearsal that plays by itself has a second: what happens now."""
    role = "rehearsal" if whose.rehearsal else "place"
    if whose.rehearsal:
        who = "REHEARSAL, no car" if cells >= 70 and not whose.plays else "REHEARSAL"
        who = f"{who} {whose.plays}".strip()
    else:
        who = clean(whose.job) or "a job without a name"
    left = how_much(view)
    strip = phases(view.phase, cells - len(left) - min(len(who), cells // 3) - 6)
    end = "   ".join(bit for bit in (strip, left) if bit)
    room = max(0, cells - len(end) - 2)
    said: Line = ((f" {cut(who, max(0, room - 2))} ", role), (f" {end}" if end else "", role))
    gap = cells - width(said)
    if gap > 0:
        said = (said[0], (" " * gap, role), said[1])
    return [fill(said, cells, role), *([fill(((f" {clean(whose.doing)}", role),), cells, role)] if whose.doing else [])]


def phases(now: str, cells: int) -> str:
    """The phases as a strip, the present one in capitals behind a mark; by signs where the names have no room."""
    if not now:
        return ""
    if now not in PHASES:
        return cut(f"▸{clean(now).upper()}", cells)
    names = list(PHASES)
    here = names.index(now)
    long = " ".join(f"▸{n.upper()}" if n == now else n for n in names)
    if len(long) <= cells:
        return long
    short = f"{'▪' * here}▸{now.upper()} {'▫' * (len(names) - here - 1)}"
    return cut(short, cells)


def how_much(view: View) -> str:
    """What is left: the places that a search has still to set, and the steps; about so many where an adviser says how
    many rounds it expects, else the fewest that there can be. Empty where nobody knows."""
    rounds = next((n for a in view.advice for name in _LEFT if (n := _count(a.values.get(name)))), 0)
    still = next((n for a in view.advice if (n := _count(a.values.get("left")))), 0)
    said = [f"{still} to set"] if still else []
    if rounds and view.steps_left:
        # The search counts as one of the fewest steps.
        said.append(f"~{view.steps_left + rounds - 1} steps")
    elif rounds:
        said.append(f"~{wording.count(rounds, 'round')} left")
    elif view.steps_left:
        said.append(f"{view.steps_left}+ steps")
    return ", ".join(said)


def _count(value: object) -> int:
    return round(value) if isinstance(value, int | Fraction) and not isinstance(value, bool) else 0
