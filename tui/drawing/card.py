"""The card of a step: what to do, what to turn, what to mind, as large as there is room for; pure.

What to do and what to turn stand first, so that they are seen without scrolling; the rest follows and may scroll.
"""

from __future__ import annotations

from engine.session.view import View
from tui.drawing import big, step_lines, turns
from tui.drawing.lines import Line, Lines, beside, clean, cut_line, fill, width, wrapped
from tui.drawing.turns import Turn

#: In is clockwise on every right-hand screw; the arrow says it without a word, the word without an arrow.
ARROW = {"IN": "↻", "OUT": "↺"}
#: A screw from above: a slotted head.
HEAD = "(/)"


def step(v: View, cells: int, rows: int, otherwise: bool = False) -> Lines:
    """The whole card; `rows` are those that can be seen at once. `otherwise`: it holds what was really done."""
    first = step_lines.instruction(v, cells)
    rest = [*step_lines.minding(v, cells), *step_lines.cautions(v, cells)]
    room = rows - len(first)
    return [*first, *work(v, cells, room, room - len(rest), otherwise), *rest]


def work(v: View, cells: int, rows: int, spare: int, otherwise: bool = False) -> Lines:
    """What to turn and to fit: in large figures where `spare` lines have room for them, else to be seen in `rows`."""
    these = turns.turns(v)
    out: Lines = []
    if these:
        title = "REALLY TURNED" if otherwise else "ALREADY TURNED" if v.moves_made else "TURN"
        undone = "The undo turned nothing back. " if v.can_redo else ""
        more = f"  {undone}F7 if a screw stands otherwise." if v.moves_made else ""
        one = {t.screw for t in these}
        alone = f"  {clean(one.pop())}" if len(one) == 1 and len(these) > 2 else ""
        out.append(cut_line(((f" {title} ", "key"), (alone, "strong"), (more, "amber")), cells))
    parts = turns.fits(v.fit, v.terms)
    used = len(out) + len(parts) + bool(parts)
    large = [line for t in these for line in _large(t, cells)] if these else []
    if large and len(large) <= spare - used and all(_large(t, cells) for t in these):
        out += large
    elif these:
        out += _table(these, cells, rows - used)
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
    words_: Lines = [
        ((clean(t.where), "strong"),),
        ((clean(t.screw), "strong"), ("  ", "ink"), (clean(t.far), "mark")),
        ((clean(t.rest), "soft"),),
    ]
    if any(width(line) > room for line in words_):
        return []
    heads = ("   ", HEAD, "   ")
    arrows = (" ", ARROW.get(t.direction, " "), " ")
    out: Lines = [((" ", "ink"),)]
    for n in range(3):
        left: Line = ((f" {heads[n]}{arrows[n]}  ", "mark"), (drawn[n], "mark"), ("  ", "ink"))
        out.append((*left, *words_[n]))
    return out


def _table(these: tuple[Turn, ...], cells: int, rows: int) -> Lines:
    """A line a move, its last words on a second line where they don't fit; two columns where that is too many."""
    far = max(len(t.far) for t in these)
    one = len({t.screw for t in these}) == 1 and len(these) > 2
    named = {id(t): t.where if one else f"{t.where} · {t.screw}" for t in these}
    where = max(len(name) for name in named.values())
    fits_ = 9 + far + 2 + where <= cells
    if len(these) > rows and len(these) > 2:
        return _columns(these, cells)
    first: Lines = []
    for t in these:
        head = (f"{HEAD}{ARROW.get(t.direction, ' ')} {t.direction:<3} ", "mark")
        way, which = (clean(t.far), "mark"), (clean(named[id(t)]), "strong")
        if fits_:
            first.append((head, *fill((way,), far), ("  ", "ink"), *fill((which,), where)))
        else:
            first.append((head, way, ("  ", "ink"), which))
    beside_ = [width(line) + 2 + len(t.rest) <= cells for line, t in zip(first, these, strict=True)]
    below = sum(bool(t.rest) and not fit for t, fit in zip(these, beside_, strict=True))
    out: Lines = []
    for line, t, fit in zip(first, these, beside_, strict=True):
        out.append(cut_line((*line, ("  ", "ink"), (clean(t.rest), "soft")) if fit and t.rest else line, cells))
        # The rest below each, or below none: half of them would read as if the others had none.
        if t.rest and not fit and len(these) + below <= rows:
            out.append(cut_line((("         ", "ink"), (clean(t.rest), "soft")), cells))
    return out


def _columns(these: tuple[Turn, ...], cells: int) -> Lines:
    half = (cells - 2) // 2
    short = [
        cut_line(
            (
                (f"{HEAD}{ARROW.get(t.direction, ' ')} {t.direction:<3} {clean(t.short)}  ", "mark"),
                (clean(t.where), "strong"),
            ),
            half,
        )
        for t in these
    ]
    middle = (len(short) + 1) // 2
    return beside(short[:middle], short[middle:], half, gap=2)
