"""Long pages of lines: the record of a run so far, and the keys; pure, they scroll where they don't fit."""

from __future__ import annotations

from engine.quantity import wording
from engine.session.view import View
from tui.control import actions
from tui.drawing import bank, glossary, phrases, plot, step_lines
from tui.drawing.lines import Line, Lines, clean, cut_line, wrapped


def record(v: View, cells: int) -> Lines:
    """Findings in full, the spread by round, how every screw stands, the cautions in full, and the trail."""
    out: Lines = [((" FINDINGS THAT STAND ", "key"),), *step_lines.findings(v, cells, 400, full=True)]
    if v.state:
        out += [(), ((" HOW THINGS MUST STAND ", "key"),), *step_lines.stands(v, cells)]
    if v.sweeps:
        out += [(), ((" THE MIXTURE ", "key"),), *plot.plot(v, cells, plot.room(v, cells))]
    spreads = step_lines.trend(v, cells, 40)
    if spreads:
        out += [(), ((" SPREAD ", "key"),), *spreads]
    if v.screws:
        out += [(), ((" SCREWS ", "key"),), *screws(v, cells)]
    standing = [*v.cautions, *v.standing]
    if standing:
        out += [(), ((" CAUTIONS ", "key"),)]
        for caution in standing:
            out += step_lines.signal(caution, cells)
    out += [(), ((" TRAIL ", "key"),), *step_lines.trail(v, cells, 400)]
    return out


def drawing(v: View, plan: bank.BankPlan, cells: int) -> Lines:
    """What is what: the bank drawn large with every screw in its band, the search of the mixture, and the parts and
    words."""
    first, end = f"{wording.term(v.terms, 'carb')} 1", wording.term(v.terms, bank.FRONT)
    out: Lines = [((" THE BANK ", "key"), (f"  seen from above; {first} is at the {end}", "soft"))]
    out += step_lines.spread_line(v, cells)
    out += bank.opened(plan, cells) if cells >= 26 else bank.close(plan, cells)
    signs = "(/) a screw's slotted head, ◀ the one to turn, [ ] its band, ▾ ▴ below, above it, (4.8) old"
    out += wrapped(signs, cells, "soft")
    if v.sweeps:
        out += [(), ((" THE MIXTURE ", "key"),), *plot.plot(v, cells, plot.room(v, cells))]
    return [cut_line(line, cells) for line in (*out, (), *glossary.lines(cells))]


def screws(v: View, cells: int) -> Lines:
    """Every screw's position by place, with its band."""
    out: Lines = []
    for row in v.screws:
        band = f"  band {wording.fraction(row.band[0])} to {wording.fraction(row.band[1])}" if row.band else ""
        unit = f", {row.unit}s from {phrases.plain(row.zero)}{band}"
        out.append(cut_line(((clean(phrases.plain(row.name)), "strong"), (unit, "soft")), cells))
        line: Line = (("  ", "ink"),)
        for n, place in enumerate(row.places):
            said, role = bank.slot(row, n)
            piece: Line = ((f"{wording.place(place, v.terms, row.each)} ", "soft"), (f"{said}   ", role))
            if sum(len(t) for t, _ in (*line, *piece)) > cells and len(line) > 1:
                out.append(line)
                line = (("  ", "ink"),)
            line += piece
        out.append(cut_line(line, cells))
    return out


NUMBERS = (
    "Numbers: 4.8 or 4,8. Turns: 1 1/4, 1.25 or, on the number pad, 1+1/4.",
    "A unit may follow the number: 180 mbar where kPa is asked, 195 F, 1 1/4 turns.",
    "What can't be told from a slip is asked about once: Enter again says that it is so.",
    "over: the needle stands beyond the scale, where the limits say that this may be.",
    "- and Enter: not taken, where a place may be left out. The reason is asked.",
    "Arrows go back to a place; what you type there replaces it.",
    "Every answer is on the disk before the next step shows. A power cut loses nothing that was answered.",
)


def keys(screen: str, cells: int) -> Lines:
    """The keys of a screen by group, and how numbers are typed: made from the registry."""
    out: Lines = []
    groups: dict[str, list[actions.Action]] = {}
    for action in actions.of(screen):
        groups.setdefault(action.group, []).append(action)
    for group, these in groups.items():
        out.append(((f" {group.upper()} ", "key"),))
        for action in these:
            out += wrapped(action.help, cells, "ink", head=(f"  {action.cap:<7} {action.label:<20} ", "strong"))
        out.append(())
    if screen in ("run", "intake"):
        out.append(((" NUMBERS ", "key"),))
        for sentence in NUMBERS:
            out += wrapped(sentence, cells, "ink", head=("  ", "ink"))
    return out
