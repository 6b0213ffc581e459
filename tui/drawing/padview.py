"""The answering place as lines: fields laid out as the bank, lists with digits, countdowns; pure, it takes no key.

Whatever is asked, it looks the same: a label and the question, what may be given, and a line that says what was
understood or why it was refused. The field in hand is marked by `>` and a caret as well as by its ground.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import groupby

from rich.cells import cell_len

from engine.quantity import wording
from engine.quantity.values import OVER_RANGE
from tui.control.entry import Cell, Fields, Refusal, Row, read
from tui.control.questions import Countdown, Find, Option, Pick, Press
from tui.control.questions import Line as TextLine
from tui.drawing import big, job_lines, phrases
from tui.drawing.lines import Line, Lines, Piece, clean, cut, cut_line, fill, width, wrapped
from tui.drawing.signs import SIGNAL_ROLE

Question = Fields | Press | Pick | Find | TextLine | Countdown


def draw(
    question: Question,
    cells: int,
    rows: int,
    terms: dict[str, str],
    cue: str = "",
    refused: bool = True,
    large: bool = True,
) -> Lines:
    """The question in at most `rows` lines; `cue` is a refusal or news that must be seen, and always has room. `large`:
    what is typed and the seconds of a wait in large figures, where there is room."""
    said = told(cue, cells, refused)[: max(1, rows - (1 if isinstance(question, Press) else 2))]
    room = rows - len(said)
    if isinstance(question, Fields):
        body = fields(question, cells, room, terms, echo=not said, large=large)
    elif isinstance(question, Pick):
        body = pick(question, cells, room)
    elif isinstance(question, Find):
        body = find(question, cells, room)
    elif isinstance(question, TextLine):
        body = line(question, cells, room)
    elif isinstance(question, Countdown):
        body = countdown(question, cells, room, large)
    else:
        body = press(question, cells, room, large)
    return [cut_line(each, cells) for each in (*body[:room], *said)]


def told(cue: str, cells: int, refused: bool) -> Lines:
    """A refusal or news as lines, whole."""
    sign, role = (" ! ", "amber") if refused else (" i ", "good")
    return wrapped(cue, cells - 3, role, head=(sign, role)) if cue else []


#: Where a list of choices has no room.
ALL_CHOICES = "and more: F2 lists them all, each with its digit"


def limits(cell: Cell) -> str:
    """What may be given here: `0 to 20 kg/h`."""
    if cell.kind == "choice":
        return ""
    if cell.kind == "text":
        return "may stay empty" if cell.optional else ""
    said = wording.unit_word(cell.unit)
    if cell.low is not None and cell.high is not None:
        said = f"{wording.number(cell.low, cell.unit)} to {wording.number(cell.high, cell.unit)} {said}".strip()
    said = f"{said}, or over" if cell.over else said
    return f"{said}, may stay empty" if cell.optional else said


def fields(
    question: Fields, cells: int, rows: int, terms: dict[str, str], echo: bool = True, large: bool = False
) -> Lines:
    """Rows of fields: those done on a line each, the one in hand in full, those to come by name."""
    row = question.row
    here = question.rows.index(row)
    tag = f" {question.title or 'READ'} "
    many = f"{here + 1} of {len(question.rows)}" if len(question.rows) > 1 else ""
    more = ", ".join(bit for bit in (limits(row.cells[question.index]), row.hint) if bit)
    asked: Line = ((tag, "key"), (" ", "ink"), (clean(row.ask), "strong"), (f"  {more}" if more else "", "soft"))
    below = width(asked) > cells - len(many) - 1 >= width(asked[:3])
    out: Lines = [(*fill(asked[:3] if below else asked, cells - len(many) - 1), (f" {many}", "soft"))]
    if below:
        out += wrapped(more, cells, "soft", head=("  ", "soft"))
    if width(asked[:3]) > cells - len(many) - 1:
        # A question is never cut: what may be given stands behind it, on lines of their own.
        out = wrapped(f"{row.ask}  {many}", cells, "strong", head=(tag, "key"), indent=2)
        out += wrapped(more, cells, "soft", head=("  ", "soft"))
    if row.cells[0].kind == "choice":
        listed, space = _choices(question, cells), max(1, rows - len(out) - 1 - (1 if echo else 0))
        # The field and what was understood are never pushed out by a long list.
        out += listed if len(listed) <= space else [*listed[: space - 1], ((f"  {ALL_CHOICES}", "soft"),)]
    figures_ = _figures(question, cells) if large and row.cells[0].kind == "number" else []
    boxes = _cells(question, row, cells, terms)
    to_come = 1 if len(question.rows) > 1 and not question.listed else 0
    if figures_ and rows < len(out) + len(boxes) + len(figures_) + (1 if echo else 0) + to_come:
        figures_ = []
    tail: Lines = [_echo(question, cells, not figures_)] if echo else []
    out += _about(boxes, rows - len(out) - len(tail)) + figures_
    room = rows - len(out) - len(tail)
    if room > 0 and len(question.rows) > 1 and not question.listed:
        tail += _others(question, here, cells, room)
    return out + tail


def _figures(question: Fields, cells: int) -> Lines:
    """What is typed in the field in hand, in large figures, and beside it what it is measured against."""
    cell = question.cell
    text = question.texts[question.at].strip()
    drawn = big.figures(text or "-")
    if drawn is None or len(drawn[0]) > cells - 34:
        drawn = big.figures("-")
    if drawn is None:
        return []
    unit = wording.unit_word(cell.unit)
    aims = _aims(question)[:3]
    wide, beside = max(22, len(drawn[0])), max((len(aim) for aim in aims), default=0)
    target = big.figures(_target(question))
    out: Lines = []
    for n in range(3):
        # Who types another unit with it sees his own.
        said = f" {unit}" if n == 2 and text and not any(c.isalpha() or c == "°" for c in text) else ""
        left = fill((("    ", "ink"), (drawn[n], "mark" if text else "soft"), (clean(said), "strong")), wide + 10)
        aim: Line = ((aims[n] if n < len(aims) else "", "strong" if n == 0 else "soft"),)
        if target is not None and len(target[0]) + beside + 3 <= cells - wide - 10:
            aim = (*fill(aim, beside), ("   ", "ink"), (target[n], "soft"))
        out.append(cut_line((*left, *aim), cells))
    return out


def _target(question: Fields) -> str:
    """The figure that a reading is measured against: what is expected, else what is right; empty where nobody says."""
    row, cell, n = question.row, question.cell, question.index
    if row.expect is not None and n < len(row.expect) and row.expect[n] is not None:
        return wording.number(row.expect[n], cell.unit, cell.step)
    if isinstance(row.healthy, tuple) and None not in row.healthy:
        return "-".join(wording.number(end, cell.unit, cell.step) for end in row.healthy)
    return ""


def _aims(question: Fields) -> list[str]:
    """What the field in hand is measured against: what is expected, what it was, what a sound engine reads."""
    row, cell, n = question.row, question.cell, question.index
    out = []
    if row.expect is not None and n < len(row.expect) and row.expect[n] is not None:
        out.append(f"expected {wording.with_unit(row.expect[n], cell.unit, cell.step)}")
    if row.last is not None and n < len(row.last) and isinstance(row.last[n], Fraction):
        out.append(f"was {wording.with_unit(row.last[n], cell.unit, cell.step)}")
    # Of a list of answers none is called the right one: it would be the one that is typed.
    if (sound := healthy(row, cell)) and cell.kind != "choice":
        out.append(f"right: {sound}")
    return [clean(each) for each in out]


def at_a_glance(question: Question) -> tuple[str, str]:
    """What the answering place shows from afar: what is typed or the seconds, and in words what it is about."""
    if isinstance(question, Countdown):
        return phrases.clock(question.left), f"wait: {question.until or question.why or question.title}"
    if isinstance(question, Fields):
        cell = question.cell
        text = question.texts[question.at].strip()
        about = ", ".join((question.row.ask, *([cell.label] if cell.label else []), *_aims(question)[:1]))
        return (text or "READ") if cell.kind == "number" else "", about
    return "", ""


def _about(lines: Lines, room: int) -> Lines:
    """As many lines as have room, the one with the field in hand among them."""
    room = max(1, room)
    here = next((n for n, line_ in enumerate(lines) if any(role == "field-on" for _, role in line_)), 0)
    first = max(0, min(here - room // 2, len(lines) - room))
    return lines[first : first + room]


def shown(cell: Cell, text: str) -> str:
    """What stands in a field, a choice in its own words."""
    if cell.kind == "choice" and text:
        try:
            return str(read(cell, text))
        except Refusal:
            return text
    return text


def _wide(row: Row, cells: int) -> int:
    # One cell more than the text: the caret stands behind it.
    if row.cells[0].kind == "choice":
        return min(max(len(c) for c in row.cells[0].choices) + 1, 24 if len(row.cells) > 1 else cells - 8)
    if row.cells[0].kind == "text":
        return max(10, cells - 10 - max(len(c.label) for c in row.cells))
    return 8 if len(row.cells) > 1 else 10


def _cells(question: Fields, row: Row, cells: int, terms: dict[str, str]) -> Lines:
    """The fields of a row, body by body, as many to a line as have room."""
    wide = _wide(row, cells)
    first = question.start_of(row)
    boxes: list[tuple[str, Line]] = []
    for carb, group in groupby(enumerate(row.cells), key=lambda p: p[1].place.carb if p[1].place else None):
        these = list(group)
        inner = len(these) > 1
        head = f"{wording.term(terms, 'carb')} {carb} " if inner and carb is not None else ""
        for k, (n, cell) in enumerate(these):
            on = first + n == question.at
            text = shown(cell, question.texts[first + n])
            said = cut(clean(text), wide - (1 if on else 0))
            body = (said + ("▏" if on else "")).ljust(wide - (cell_len(said) - len(said)))
            label = f"{cell.label} " if cell.label else ""
            box: Line = (
                ((">" if on else " "), "mark"),
                (label, "strong" if on else "soft"),
                (f"[{body}]", "field-on" if on else "field"),
            )
            boxes.append((head if k == 0 else "", box))
    out: Lines = []
    here: list[Piece] = [("  ", "ink")]
    for head, box in boxes:
        need = len(head) + width(box) + 2
        if width(tuple(here)) + need > cells and len(here) > 1:
            out.append(tuple(here))
            here = [("  ", "ink")]
        here += [(head, "ink"), *box, (" ", "ink")]
    return [*out, tuple(here)]


def _choices(question: Fields, cells: int) -> Lines:
    """The choices of the field in hand, each with its digit, as many to a line as have room."""
    cell = question.cell
    text = question.texts[question.at]
    try:
        chosen = read(cell, text) if text else None
    except Refusal:
        chosen = None
    out: Lines = []
    here: Line = ()
    for n, choice in enumerate(cell.choices, 1):
        on = choice == chosen
        said = f"{'›' if on else ' '}{clean(choice)}"
        piece: Line = ((f" {n} ", "key"), (said, "mark" if on else "ink"), ("  ", "ink"))
        if width(here) + width(piece) > cells - 2 and here:
            out.append((("  ", "ink"), *here))
            here = ()
        here += piece
    return [*out, (("  ", "ink"), *here)]


def _echo(question: Fields, cells: int, aims: bool = True) -> Line:
    """What was understood of the field in hand, beside what it is measured against (`aims`)."""
    row, cell = question.row, question.cell
    text = question.texts[question.at].strip()
    aims_ = _aims(question) if aims else []

    def beside(said: Line) -> Line:
        """As many of the aims behind it as have room whole."""
        for many in range(len(aims_), 0, -1):
            line: Line = (*said, (f"   {', '.join(aims_[:many])}", "soft"))
            if width(line) <= cells:
                return line
        return said

    if not text:
        way = "A digit, then Enter." if cell.kind == "choice" else "Type it, then Enter."
        way = "Enter leaves it empty." if cell.optional else way
        why = "" if row.reasoned else " - and Enter: with its reason."
        dash = f" Enter alone: left out.{why}" if row.may_lack else ""
        return beside(((f"  {way}{dash}", "soft"),))
    if text in ("-", "–") and (row.may_lack or cell.optional):
        return beside((("  = not taken", "amber"),))
    try:
        value = read(cell, text)
    except Refusal as fault:
        # Half typed is not wrong yet: Enter says so in full.
        return ((f"  {fault}", "soft"),)
    if cell.kind == "text":
        return (("  Enter keeps it.", "soft"),)
    if value == OVER_RANGE:
        said = f"beyond the scale; it counts as {wording.with_unit(cell.high, cell.unit, cell.step)}"
        return beside(((f"  = {clean(said)}", "amber"),))
    said = wording.with_unit(value, cell.unit, cell.step)
    out = _outside(row, value)
    if cell.rounds and isinstance(value, Fraction) and read(replace(cell, rounds=False), text) != value:
        out = f"rounded {out}".strip()
    return beside(((f"  = {clean(said)}", "amber" if out else "good"), (f"  {out}" if out else "", "amber")))


def healthy(row: Row, cell: Cell) -> str:
    """What a sound engine gives, in words."""
    if row.healthy is None:
        return ""
    if isinstance(row.healthy, str):
        return clean(row.healthy)
    low, high = row.healthy
    if low is None or high is None:
        if low is None and high is None:
            return ""
        way, one = ("from", low) if high is None else ("up to", high)
        return f"{way} {wording.with_unit(one, cell.unit, cell.step)}"
    return f"{wording.number(low, cell.unit, cell.step)} to {wording.with_unit(high, cell.unit, cell.step)}"


def _outside(row: Row, value: object) -> str:
    if isinstance(row.healthy, tuple) and isinstance(value, Fraction):
        low, high = row.healthy
        if low is not None and value < low:
            return "▾ low"
        if high is not None and value > high:
            return "▴ high"
    return ""


def _others(question: Fields, here: int, cells: int, room: int) -> Lines:
    """The rows that are done, as many as have room, and the names of those to come."""
    coming = [row.ask for row in question.rows[here + 1 :]]
    last: Lines = wrapped("; ".join(coming), cells - 2, "soft", head=("  then: ", "soft")) if coming else []
    if len(last) > room:
        last = [cut_line((("  then: ", "soft"), (clean("; ".join(coming)), "soft")), cells)]
    done: Lines = []
    for row in question.rows[:here]:
        said = "  ".join(shown(c, t) or "–" for c, t in zip(row.cells, question.typed(row), strict=True))
        unit = wording.unit_word(row.cells[0].unit)
        said = cut(f"{clean(said)} {unit}", cells - 12)
        asked = cut(clean(row.ask), cells - cell_len(said) - 6)
        done.append((("  · ", "soft"), (f"{asked}: ", "soft"), (said, "ink")))
    free = room - len(last)
    return [*(done[-free:] if free > 0 else []), *last]


def pick(question: Pick, cells: int, rows: int) -> Lines:
    """A list with digits; the one in hand is pointed at."""
    page = question.page
    more = f"  0: more ({len(question.options)})" if len(question.options) > 9 else ""
    out: Lines = [((f" {clean(question.title)} ", "key"), (more, "soft"))]
    out += wrapped(question.detail, cells - 2, "ink", head=("  ", "ink")) if question.detail else []
    room = max(1, rows - len(out))
    first = max(page.start, min(question.at - room // 2, page.stop - room)) if len(page) > room else page.start
    for n in range(first, min(page.stop, first + room)):
        on = n == question.at
        sign = f" {question.digit(n)} "
        head: Line = (("›" if on else " ", "mark"), (sign, "key" if sign.strip() else "ink"), (" ", "ink"))
        out.append(cut_line((*head, *_option(question.options[n], on, cells - len(sign) - 2)), cells))
    if not question.options:
        out.append((("  Nothing here.", "soft"),))
    return out


def _option(option: Option, on: bool, cells: int) -> Line:
    if option.columns is not None:
        return job_lines.row(option.columns, cells, "mark" if on else "ink")
    hint = f"  {clean(option.hint)}" if option.hint else ""
    return ((clean(option.label), "mark" if on else "ink"), (hint, "soft"))


def find(question: Find, cells: int, rows: int) -> Lines:
    """What is typed with its caret, and what holds it, the one that Enter takes pointed at."""
    out: Lines = [
        cut_line(
            (
                (f" {clean(question.title)} ", "key"),
                (" ", "ink"),
                (f"[{clean(question.text)}▏]", "field-on"),
                ("  type any of it; arrows and Enter choose, Esc leaves", "soft"),
            ),
            cells,
        )
    ]
    room = max(1, rows - 1)
    first = max(0, min(question.at - room // 2, len(question.options) - room))
    for n in range(first, min(len(question.options), first + room)):
        on = n == question.at
        out.append(cut_line((("› " if on else "  ", "mark"), *_option(question.options[n], on, cells - 2)), cells))
    if not question.options:
        out.append(((f"  {question.nothing}", "soft"),))
    return out


def line(question: TextLine, cells: int, rows: int) -> Lines:
    """A line of text with its caret; its end is shown where it is longer than the screen."""
    out: Lines = [((f" {clean(question.title)} ", "key"), ("  Enter keeps it, Esc leaves it.", "soft"))]
    out += wrapped(question.detail, cells - 2, "ink", head=("  ", "ink"))[: max(0, rows - 2)] if question.detail else []
    room = cells - 6
    before, after = clean(question.text[: question.caret]), clean(question.text[question.caret :])
    while cell_len(before) > room - 1:
        before = before[1:]
    body = cut(f"{before}▏{after}", room)
    out.append((("  ", "ink"), (f"[{body}{' ' * (room - cell_len(body))}]", "field-on")))
    return out


def countdown(question: Countdown, cells: int, rows: int, large: bool = False) -> Lines:
    """The time that is left, as a figure and a bar, and why."""
    left, whole = question.left, max(question.seconds, 1)
    label = f"at most, until {question.until}" if question.until else question.title
    done = round((cells - 6) * (1 - left / whole))
    way = "It is so, go on" if question.until else "Cut it short" if question.cut else ""
    end: Line = ((" Enter ", "key"), (f"  {way}", "mark")) if way else (("  It is not to be cut short.", "soft"),)
    bar: Line = (("  ", "ink"), ("━" * done, "mark"), ("·" * (cells - 6 - done), "rule"))
    time = phrases.clock(left)
    drawn = big.figures(time) if large and rows >= 5 else None
    if drawn is None:
        why = wrapped(question.why, cells - 2, "ink", head=("  ", "ink"))[: max(0, rows - 3)]
        # The key that goes on is there however few the lines are.
        bars = [bar] if rows >= 3 else []
        return [(("WAIT ", "strong"), (f" {time} ", "mark"), (f" {clean(label)}", "strong")), *bars, *why, end]
    room = cells - len(drawn[0]) - 6
    words = [*wrapped(f"WAIT {label}", room, "strong"), *wrapped(question.why, room, "ink")][:3]
    out: Lines = [
        (("  ", "ink"), (drawn[n], "mark"), ("   ", "ink"), *(words[n] if n < len(words) else ())) for n in range(3)
    ]
    return [*out, bar, end]


def press(question: Press, cells: int, rows: int, large: bool = False) -> Lines:
    """The one key that goes on; a signal word stands on its own ground in front of what is to be understood, `large`
    above it where there is room."""
    role = SIGNAL_ROLE.get(question.word, "amber")
    drawn = big.figures(question.word.upper()) if large and question.word else None
    if drawn is not None and len(drawn[0]) + 4 <= cells:
        blank = " " * (len(drawn[0]) + 4)
        sign: Lines = [((f"{line:^{len(blank)}}", role),) for line in ("", *drawn, "")]
        text = wrapped(question.detail, cells - 2, "strong", head=("  ", "ink"))
        if len(sign) + len(text) + 3 <= rows:
            return [*sign, (), *text, (), ((f" {question.cap} ", "key"), (f"  {clean(question.title)}", question.role))]
    head = (f" {question.word.upper()} ", role) if question.word else ("  ", "ink")
    out: Lines = wrapped(question.detail, cells - 2, "strong", head=head, indent=2)[: max(0, rows - 1)]
    return [*out, ((f" {question.cap} ", "key"), (f"  {clean(question.title)}", question.role))]
