"""The card of a step: what to do, what to turn, what to mind, as large as there is room for; pure.

What to do and what to turn stand first, so that they are seen without scrolling; the rest follows and may scroll.
"""

from __future__ import annotations

from engine.view import View
from tui import big, turns, view
from tui.lines import Line, Lines, beside, clean, cut_line, fill, width, wrapped
from tui.turns import Turn

#: In is clockwise on every right-hand screw; the arrow says it without a word, the word without an arrow.
ARROW = {"IN": "↻", "OUT": "↺"}
#: A screw from above: a slotted head.
HEAD = "(/)"


def step(v: View, cells: int, rows: int, otherwise: bool = False) -> Lines:
    """The whole card; `rows` are those that can be seen at once. `otherwise`: it holds what was really done."""
    first = view.instruction(v, cells)
    rest = [*view.minding(v, cells), *view.cautions(v, cells)]
    room = rows - len(first) - len(rest)
    return [*first, *work(v, cells, room, otherwise), *rest]


def work(v: View, cells: int, rows: int, otherwise: bool = False) -> Lines:
    """What to turn and to fit, in the largest form that has room."""
    these = turns.turns(v)
    out: Lines = []
    if these:
        title = "REALLY TURNED" if otherwise else "ALREADY TURNED" if v.moves_made else "TURN"
        more = "  The undo turned nothing back. F7 if a screw stands otherwise." if v.moves_made else ""
        one = {t.screw for t in these}
        alone = f"  {clean(one.pop())}" if len(one) == 1 and len(these) > 2 else ""
        out.append(cut_line(((f" {title} ", "key"), (alone, "strong"), (more, "amber")), cells))
    parts = turns.fits(v.fit, v.terms)
    left = rows - len(out) - len(parts) - bool(parts)
    large = [line for t in these for line in _large(t, cells)] if these else []
    if large and len(large) <= left and all(_large(t, cells) for t in these):
        out += large
    elif these:
        out += _table(these, cells, left)
    if parts:
        out.append(((" REALLY FITTED " if otherwise else " FIT ", "key"),))
        out += [line for part in parts for line in wrapped(part, cells, "mark", head=("    ", "ink"), indent=6)]
    return out


def _large(t: Turn, cells: int) -> Lines:
    """A move in figures three lines high, with its words beside them; nothing where it has no figure or no room."""
    drawn = big.figures(f"{t.direction} {t.figure}" if t.figure else t.direction)
    if drawn is None:
        return []
    wide = len(drawn[0])
    room = cells - wide - 9
    if room < 18:
        return []
    words_: Lines = [
        ((clean(t.where), "strong"),),
        ((clean(t.screw), "strong"), ("  ", "ink"), (clean(t.far), "mark")),
        ((clean(t.rest), "soft"),),
    ]
    heads = ("   ", HEAD, "   ")
    arrows = (" ", ARROW.get(t.direction, " "), " ")
    out: Lines = [((" ", "ink"),)]
    for n in range(3):
        left: Line = ((f" {heads[n]}{arrows[n]}  ", "mark"), (drawn[n], "mark"), ("  ", "ink"))
        out.append((*left, *cut_line(words_[n], room)))
    return out


def _table(these: tuple[Turn, ...], cells: int, rows: int) -> Lines:
    """A line a move, its last words on a second line where they don't fit; two columns where that is too many."""
    far = max(len(t.far) for t in these)
    where = max(len(f"{t.where} · {t.screw}") for t in these)
    fits_ = 9 + far + 2 + where <= cells
    if len(these) > rows and len(these) > 2:
        return _columns(these, cells)
    out: Lines = []
    room = rows - len(these)
    for t in these:
        head = (f"{HEAD}{ARROW.get(t.direction, ' ')} {t.direction:<3} ", "mark")
        way, which = (clean(t.far), "mark"), (clean(f"{t.where} · {t.screw}"), "strong")
        if fits_:
            line: Line = (head, *fill((way,), far), ("  ", "ink"), *fill((which,), where))
        else:
            line = (head, way, ("  ", "ink"), which)
        if t.rest and width(line) + 2 + len(t.rest) <= cells:
            out.append((*line, ("  ", "ink"), (clean(t.rest), "soft")))
        else:
            out.append(cut_line(line, cells))
            if t.rest and room > 0:
                out.append(cut_line((("         ", "ink"), (clean(t.rest), "soft")), cells))
                room -= 1
    return out


def _columns(these: tuple[Turn, ...], cells: int) -> Lines:
    half = (cells - 2) // 2
    short = [
        cut_line(((f"{HEAD}{ARROW.get(t.direction, ' ')} {t.direction:<3} {clean(t.short)}  ", "mark"),
                  (clean(t.where), "strong")), half)
        for t in these
    ]
    middle = (len(short) + 1) // 2
    return beside(short[:middle], short[middle:], half, gap=2)
