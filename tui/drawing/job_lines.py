"""Jobs as lines of a list: registration, customer, what it is about, how it stands, when; and home's board. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from engine.quantity import wording
from tui.control.board import Board, Told
from tui.drawing.lines import Line, Lines, clean, cut, cut_line, fill, wrapped

if TYPE_CHECKING:
    from engine.job.model import Job

Columns = tuple[str, str, str, str, str]


def columns(told: Told) -> Columns:
    """The five columns of a line on a job."""
    return told.mark, told.customer, told.what, told.how, told.when


def row(said: Columns, cells: int, role: str = "ink", how_long: int = 99) -> Line:
    """Five columns in so many cells; what the job is about gives way first, then how it stands is cut. `how_long`: the
    longest of how they stand, so that its column takes no more."""
    mark, customer, what, how, when = (clean(text) for text in said)
    widths = [10, 12, 0, 23, 10]
    if cells < 64:
        widths[0], widths[1], widths[3] = 10, 10, max(8, cells - 36)
    elif cells >= 110:
        widths[0], widths[1], widths[3] = 14, 20, 30
    widths[3] = min(widths[3], max(4, how_long))
    widths[2] = max(0, cells - sum(widths) - 8)
    if widths[2] < 6:
        widths[3] += widths[2]
        widths[2] = 0
    out: list[tuple[str, str]] = []
    for text, room, its in zip(
        (mark, customer, what, how, when), widths, ("strong", role, "soft", role, "soft"), strict=True
    ):
        if room:
            out += [*fill(((cut(text, room), its),), room, its), ("  ", role)]
    return cut_line(tuple(out), cells)


def left_with(job: Job) -> str:
    """What a vehicle left with at its last visit, what was left open first."""
    last = job.last_visit
    said = []
    if last.idle_speed is not None:
        said.append(f"{round(last.idle_speed)} rpm")
    air = [v for v in last.airflow if v is not None]
    if len(air) > 1:
        said.append(f"{float(max(air) - min(air)):.2g} kg/h apart")
    if any(p is not None for p in last.mixture_screws):
        turns = ", ".join("?" if p is None else wording.fraction(p) for p in last.mixture_screws)
        said.append(f"mixture screws {turns} turns out")
    jets = job.row("idle_jet")
    if jets is not None:
        sizes = list(dict.fromkeys(map(wording.decimal, jets)))
        said.append(f"idle jets {sizes[0] if len(sizes) == 1 else ' '.join(map(wording.decimal, jets))}")
    left = f"It left with {'; '.join(said)}." if said else "Nothing was recorded as left."
    still = f" Left open: {' '.join(last.left_open)}" if last.left_open else ""
    return f"It comes back. Job {last.job} ({last.day}).{still} {left} Jets stand below as they were left."


#: Four trumpets at one level: an even draw.
TRUMPETS = ("╲▁╱  ╲▁╱  ╲▁╱  ╲▁╱", " ║    ║    ║    ║ ", "─╨────╨────╨────╨─")


def banner(cells: int, rows: int) -> Lines:
    """The name, what it is for, and its sign."""
    said = ("", "  Evendraw", "  an even draw of air through every barrel")
    roles = ("ink", "title", "soft")
    room = cells - len(TRUMPETS[0]) - 2
    out: Lines = []
    for n, text in enumerate(said):
        if room > len(said[2]) + 2:
            out.append((*fill(((text, roles[n]),), room), (TRUMPETS[n], "mark")))
        else:
            out.append(cut_line(((text, roles[n]),), cells))
    return [*out, (("─" * cells, "rule"),)]


def board_lines(board: Board | None, cells: int, rows: int) -> Lines:
    """What is on the shop's hands, in at most `rows` lines: each part keeps at least its newest line."""
    if board is None:
        return [(("  Looking into the job book ...", "soft"),)]
    if board.unread:
        return [(("  The job book can't be read: nothing is known of what stands open.", "amber"),)]
    parts = [
        ("STANDS OPEN", board.open, board.many_open),
        ("WAITS FOR PARTS", board.waiting, board.many_waiting),
        ("DUE TO BE CHECKED AGAIN", board.due, board.many_due),
        ("LATELY", board.lately, 0),
    ]
    parts = [p for p in parts if p[1]]
    if not parts:
        return [
            (),
            *wrapped(
                "Nothing stands open, and no work was begun yet. Take a job in, or rehearse without a car.",
                cells - 4,
                "soft",
                head=("  ", "ink"),
            ),
        ]
    how_long = max(len(clean(t.how)) for _, told, _ in parts for t in told)
    twice = sum(2 * len(told) + 1 for _, told, _ in parts) <= rows
    share = shares([len(told) for _, told, _ in parts], rows - len(parts))
    out: Lines = []
    for (title, told, many), room in zip(parts, share, strict=True):
        more = f"  {many}, the newest {room}" if many > room else ""
        if many > room and title.startswith("DUE"):
            more = f"  {many}, the first {room}"
        out.append(((f"  {title}", "strong"), (more, "soft")))
        for t in told[:room]:
            line: Line = (("    ", "ink"), *row(columns(t), cells - 6, how_long=how_long))
            if twice and any("…" in text for text, _ in line):
                # Where there is room, how it stands has a line of its own, and nothing is cut.
                line = (("    ", "ink"), *row(columns(replace(t, how="")), cells - 6, how_long=0))
                out += [line, cut_line((("      ", "ink"), (clean(t.how), "ink")), cells)]
            else:
                out.append(line)
    return out[:rows]


def shares(wanted: list[int], rows: int) -> list[int]:
    """How many lines each part gets of so many: one each first, then in turn while they want more."""
    given = [min(1, w) for w in wanted]
    while sum(given) < rows and given != wanted:
        for n, want in enumerate(wanted):
            if given[n] < want and sum(given) < rows:
                given[n] += 1
    return given
