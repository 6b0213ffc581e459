"""The card of a step: what to do, what to turn, what to mind, as large as there is room for; pure.

What to do and what to turn stand first, so that they are seen without scrolling; the rest follows and may scroll.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from engine.quantity import wording
from engine.session.view import View
from tui.drawing import big, step_lines, turns
from tui.drawing.lines import Line, Lines, beside, clean, cut_line, fill, width, wrapped
from tui.drawing.signs import SIGNAL_ROLE
from tui.drawing.turns import Turn

#: In is clockwise on every right-hand screw; the arrow says it without a word, the word without an arrow.
ARROW = {"IN": "↻", "OUT": "↺"}
#: A screw from above: a slotted head.
HEAD = "(/)"


@dataclass(frozen=True, slots=True)
class Stage:
    """How far the step in hand is. `made`: its moves and parts were done; `danger`: one is to be understood first;
    `otherwise`: the moves shown are those that were really made; `seen`: cautions that stood on an earlier step;
    `large`: moves may be drawn large, `tall` in six rows; `loud`: the instruction is the first aid of a symptom, and is
    drawn large too."""

    made: bool = False
    danger: bool = False
    otherwise: bool = False
    seen: frozenset[str] = frozenset()
    large: bool = True
    tall: bool = True
    loud: bool = False
    #: The step is words alone: its title is drawn large above them.
    headline: bool = False
    #: The sizes that are fitted, where the step speaks of them.
    fitted: str = ""


_NOTHING_YET = Stage()


def step(v: View, cells: int, rows: int, at: Stage = _NOTHING_YET) -> Lines:
    """The whole card; `rows` are those that can be seen at once."""
    if at.danger:
        # First aid is seen before the danger is read; any other instruction waits for it.
        do = wrapped(v.do, cells, "strong" if at.loud else "soft")
        if not at.loud:
            return do
        if v.caution:
            do += wrapped(v.caution, cells, "strong", head=("Caution: ", "amber"))
        return [*_loud(v, cells, rows - len(do), at), *do]
    if v.gate is not None:
        return stop(v, cells, at.large)
    done = at.made and bool(v.moves or v.fit)
    fresh = step_lines.cautions(v, cells, at.seen, fresh=True)
    known = step_lines.cautions(v, cells, at.seen, fresh=False)
    do = step_lines.instruction(v, cells, done)
    rest = step_lines.minding(v, cells, at.fitted)
    if at.loud and not v.moves:
        room = rows - len(fresh) - len(do) - len(rest)
        return [*_loud(v, cells, room, at), *fresh, *do, *known, *rest]
    if not (v.moves or v.fit) or at.made or v.moves_made:
        room = rows - len(fresh) - len(do) - len(known)
        return [
            *fresh,
            *(headline(v, cells) if at.headline else []),
            *do,
            *work(v, cells, room, room, at),
            *known,
            *rest,
        ]
    # What is to be turned stands above the words, and is large before a hint is there; a caution is never given up.
    aim = trial(v, cells)
    room = rows - len(fresh) - len(do) - len(known) - len(aim)
    return [*fresh, *work(v, cells, room, room, at), *aim, *do, *known, *rest]


def _loud(v: View, cells: int, rows: int, at: Stage) -> Lines:
    """The first sentence of an instruction in large letters; nothing where it has no room."""
    said = big.sentence(v.do.split(". ")[0].rstrip("."), cells, rows) if at.large else []
    return [((line, "red"),) for line in said]


def headline(v: View, cells: int) -> Lines:
    """What a step of words alone is about, in large letters: nothing is turned, fitted or read as a figure there.
    Nothing where it has no large form."""
    figures = any(not ask.choices for ask in v.read)
    if figures or v.moves or v.fit or v.gate is not None or v.wait is not None:
        return []
    return [*(((line, "mark"),) for line in big.sentence(v.title, cells, HIGHEST)), ()]


#: A headline takes no more lines than two of large letters.
HIGHEST = 7


def stop(v: View, cells: int, large: bool) -> Lines:
    """A stop: the word on its ground, then what was found and what to do."""
    drawn = big.figures("STOP") if large else None
    sign: Lines = [((f"  {line:^{len(drawn[0])}}  ", "danger"),) for line in ("", *drawn, "")] if drawn else []
    found = v.gate.findings if v.gate is not None else ()
    where = "; ".join(dict.fromkeys(wording.places(f.where, v.terms, each=f.each) for f in found if f.where))
    place = wrapped(f"{where[:1].upper()}{where[1:]}", cells, "mark") if where else []
    return [*sign, *place, *step_lines.instruction(v, cells), *step_lines.minding(v, cells)]


def trial(v: View, cells: int) -> Lines:
    """What a turn of the mixture search is for, and how much of the search is left; nothing where nobody says."""
    for advised in v.advice:
        barrels, left = advised.values.get("barrels"), advised.values.get("left")
        if advised.values.get("verdict") != "turn" or not isinstance(barrels, tuple):
            continue
        mine = [m for m in v.moves if turns.acts(v, m.screw) == "mixture"]
        if not mine or v.moves_made:
            return []
        rounds, open_ = _whole(advised.values.get("rounds")), _whole(left)
        more = f", about {wording.count(rounds, 'more reading')}" if rounds > 0 else ""
        still = f" Still sought: {open_} of {len(barrels)}{more}." if open_ > 0 else ""
        if len(mine) == 1:
            return wrapped(f"One screw, then a reading: it tells where its best lies.{still}", cells, "ink")
        return wrapped(f"Each goes where it is believed to belong, then it is read again.{still}", cells, "ink")
    return []


def _whole(value: object) -> int:
    return round(value) if isinstance(value, int | Fraction) and not isinstance(value, bool) else 0


def work(v: View, cells: int, rows: int, spare: int, at: Stage = _NOTHING_YET) -> Lines:
    """What to turn and to fit: in large figures where `spare` lines have room for them, else to be seen in `rows`; what
    was done is small, and can't be taken for an order."""
    these = turns.turns(v)
    if at.made:
        return done(v, these, cells, at.otherwise)
    out: Lines = []
    if these:
        title = "REALLY TURNED" if at.otherwise else "ALREADY TURNED" if v.moves_made else "TURN"
        undone = "The undo turned nothing back. " if v.can_redo else ""
        more = f"  {undone}F7 if a screw stands otherwise." if v.moves_made else ""
        one = {t.screw for t in these}
        alone = f"  {clean(one.pop())}" if len(one) == 1 and len(these) > 2 else ""
        if v.moves_made:
            return [*wrapped(more, cells, "soft", head=(f"{title} ", "soft"), indent=2), *done(v, these, cells, False)]
        both = "   IN is clockwise, OUT anticlockwise" if len(these) > 2 else ""
        out.append(cut_line(((f"{title}", "strong"), (alone, "strong"), (both, "soft")), cells))
    parts = turns.fits(v.fit, v.terms)
    used = len(out) + len(parts) + bool(parts)
    large = _all_large(these, cells, spare - used + (not at.otherwise), at.tall) if at.large else []
    if large:
        # What is drawn large needs no title.
        out = [*(out if at.otherwise else []), *large]
    elif these:
        out += _table(these, cells, rows - used)
    fitted = _fit_large(v, parts, cells) if at.large and not (these or at.otherwise) else []
    if fitted and len(fitted) <= spare:
        out += fitted
    elif parts:
        out.append((("REALLY FITTED" if at.otherwise else "FIT", "strong"),))
        out += [line for part in parts for line in wrapped(part, cells, "mark", head=("    ", "ink"), indent=6)]
    return out


def _fit_large(v: View, parts: Sequence[str], cells: int) -> Lines:
    """Parts in large figures, `FIT 50`, each with its words beside it; nothing where there are many, or no room."""
    sizes = list(dict.fromkeys((part.part, part.size) for part in v.fit))
    if not 0 < len(sizes) <= 2:
        return []
    out: Lines = []
    for (_, size), said in zip(sizes, parts, strict=True):
        drawn = big.figures(f"FIT {wording.decimal(size)}")
        room = cells - len(drawn[0]) - 6 if drawn is not None else 0
        if drawn is None or room < 22:
            return []
        words_ = wrapped(said, room, "strong")
        for n in range(max(3, len(words_))):
            sign = drawn[n] if n < 3 else " " * len(drawn[0])
            out.append((("  ", "ink"), (sign, "mark"), ("    ", "ink"), *(words_[n] if n < len(words_) else ())))
    return out


def done(v: View, these: tuple[Turn, ...], cells: int, otherwise: bool) -> Lines:
    """What was turned and fitted, small and quiet."""
    said = []
    for t in these:
        now = f" ({t.then.removeprefix('then ')})" if t.then else ""
        said.append(" ".join(bit for bit in (f"{t.where}, {t.screw}", t.direction.lower(), t.short) if bit) + now)
    title = "TURNED otherwise " if otherwise else "TURNED "
    out = wrapped("; ".join(said), cells, "soft", head=(title, "soft"), indent=2)
    fit = "; ".join(turns.fits(v.fit, v.terms))
    return out + wrapped(fit, cells, "soft", head=("FITTED ", "soft"), indent=2)


def _all_large(these: tuple[Turn, ...], cells: int, spare: int, tall: bool = True) -> Lines:
    """Every move in figures, the largest that have room; nothing where one has none, or no figure."""
    sizes = ("square", "narrow", "half") if len(these) == 1 and tall else ("half",)
    for size in sizes:
        blocks = [_large(t, cells, size) for t in these]
        if blocks and all(blocks):
            out = [line for n, block in enumerate(blocks) for line in (*([()] if n else []), *block)]
            if len(out) <= spare:
                return out
    return []


def _large(t: Turn, cells: int, size: str) -> Lines:
    """A move in large figures with its words beside them; nothing where it has no figure or no room."""
    narrow = 5 * len(t.large) + 1
    drawn = big.figures(t.large) if size == "half" else big.tall(t.large, cells if size == "square" else narrow)
    if drawn is None or (size == "square" and len(drawn[0]) <= narrow):
        return []
    tall, wide = len(drawn), len(drawn[0])
    room = cells - wide - 9
    if room < 22:
        return _stacked(t, drawn, cells) if wide + 7 <= cells else []
    words_: Lines = [
        *wrapped(t.where, room, "strong"),
        *wrapped(t.screw, room, "strong"),
        *wrapped(t.far, room, "mark"),
        *wrapped(t.hand, room, "mark"),
        *wrapped(", ".join(bit for bit in (t.gauge, t.effect, t.then) if bit), room, "ink"),
    ]
    if size == "half" and len(words_) > 4:
        words_ = [
            *wrapped(f"{t.where}, {t.screw}", room, "strong"),
            *wrapped(f"{t.far}, {t.hand}" if t.hand else t.far, room, "mark"),
            *wrapped(", ".join(bit for bit in (t.gauge, t.effect, t.then) if bit), room, "ink"),
        ]
    if len(words_) > tall + 1:
        return []
    middle = tall // 2
    out: Lines = []
    for n in range(max(tall, len(words_))):
        head = HEAD if n == middle else "   "
        arrow = ARROW.get(t.direction, " ") if n == middle else " "
        sign = drawn[n] if n < tall else " " * wide
        left: Line = ((f" {head}{arrow}  ", "mark"), (sign, "mark"), ("  ", "ink"))
        out.append((*left, *(words_[n] if n < len(words_) else ())))
    return out


def _stacked(t: Turn, drawn: Sequence[str], cells: int) -> Lines:
    """A move in large figures with its words below them, where they have no room beside."""
    out: Lines = []
    for n, sign in enumerate(drawn):
        here = n == len(drawn) // 2
        head = f" {HEAD}{ARROW.get(t.direction, ' ')}  " if here else "       "
        out.append(((head, "mark"), (sign, "mark")))
    out += wrapped(f"{t.where}, {t.screw}", cells - 2, "strong", head=("  ", "ink"))
    rest = ", ".join(bit for bit in (t.far, t.hand, t.gauge, t.effect, t.then) if bit)
    return out + wrapped(rest, cells - 2, "mark", head=("  ", "ink"))


def _table(these: tuple[Turn, ...], cells: int, rows: int) -> Lines:
    """A line a move, its last words on a second line where they don't fit; two columns where that is too many."""
    far = max(len(t.far) for t in these)
    # Of many, which way the hand turns is said once, above them.
    said = {id(t): t.rest if len(these) < 3 else t.rest.removeprefix(f"{t.hand}, ") for t in these}
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
    beside_ = [width(line) + 2 + len(said[id(t)]) <= cells for line, t in zip(first, these, strict=True)]
    below = sum(bool(said[id(t)]) and not fit for t, fit in zip(these, beside_, strict=True))
    out: Lines = []
    for line, t, fit in zip(first, these, beside_, strict=True):
        if width(line) > cells:
            # Which screw it is, is never cut: that goes below how far.
            out.append(line[:2])
            words_ = ", ".join(bit for bit in (named[id(t)].replace(" · ", ", "), said[id(t)]) if bit)
            out += wrapped(words_, cells, "strong", head=("         ", "ink"))
            continue
        out.append(
            cut_line((*line, ("  ", "ink"), (clean(said[id(t)]), "soft")) if fit and said[id(t)] else line, cells)
        )
        # The rest below each, or below none: half of them would read as if the others had none.
        if said[id(t)] and not fit and len(these) + below <= rows:
            out.append(cut_line((("         ", "ink"), (clean(said[id(t)]), "soft")), cells))
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


def far(v: View, cells: int, rows: int, at: Stage, asked: str = "", aim: str = "") -> Lines:
    """The far view: one line of where, and the one thing to do in signs of six rows. `asked`: what is typed or counted
    in the answering place, large; `aim`: what it is measured against, in words."""
    these = () if at.made or v.moves_made else turns.turns(v)
    where = f"{these[0].where}, {these[0].screw}" if these else v.title
    more = f"  ({len(these)} to turn)" if len(these) > 1 else ""
    out: Lines = wrapped(where + more, cells, "strong")
    open_ = next((c for c in v.cautions if c.understand), None) if at.danger else None
    if open_ is not None and not at.loud:
        # A danger that is to be understood has the view for itself; its words stand in the answering place.
        role = SIGNAL_ROLE.get(open_.word, "amber")
        return [*out, (), *(((f"  {line}  ", role),) for line in big.tall(open_.word.upper(), cells - 4) or ())]
    text = these[0].large if these else asked
    drawn: list[str] = list(big.tall(text, cells) or ()) if text else []
    first = v.do.split(". ")[0].rstrip(".")
    for said, high in ((first, True), (v.title, True), (first, False), (v.title, False)):
        drawn = drawn or big.sentence(said, cells, rows - 3, high=high)
    out += [(), *(((line, "mark"),) for line in drawn)]
    if these:
        t = these[0]
        out += [(), *wrapped(f"{ARROW.get(t.direction, '')} {t.hand}, {t.far}", cells, "strong")]
        out += wrapped(", ".join(bit for bit in (t.gauge, t.effect, t.then) if bit), cells, "ink")
    elif text and drawn and aim:
        out += [(), *wrapped(aim, cells, "strong")]
    elif not text:
        # The one thing to do, in words too.
        out += [(), *wrapped(v.do, cells, "strong")]
    return out
