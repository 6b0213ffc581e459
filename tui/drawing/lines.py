"""Lines of text with roles, before any widget: cleaning, cutting, wrapping and joining; it knows no theme and no
procedure.

A line is a tuple of (text, role) pieces. Foreign text (of a file, a person, a customer) is only ever a piece: it is
never parsed as markup, and its control characters become spaces. Widths are in terminal cells.
"""

from __future__ import annotations

from collections.abc import Iterable

from rich.cells import cell_len, set_cell_size

from engine.foreign import plain

Piece = tuple[str, str]
Line = tuple[Piece, ...]
Lines = list[Line]


def clean(text: object) -> str:
    """Foreign text without control characters: each becomes a space, so that nothing can move the cursor."""
    return plain(text)


def width(line: Line) -> int:
    """Cells that a line takes."""
    return sum(cell_len(text) for text, _ in line)


def cut(text: str, cells: int, tail: str = "…") -> str:
    """The text in at most `cells` cells; where it was shortened it ends in `…`."""
    if cell_len(text) <= cells:
        return text
    if cells <= 0:
        return ""
    if cells <= cell_len(tail):
        return set_cell_size(text, cells)
    return set_cell_size(text, cells - cell_len(tail)).rstrip() + tail


def cut_line(line: Line, cells: int) -> Line:
    """A line in at most `cells` cells, its last piece shortened."""
    out: list[Piece] = []
    left = cells
    for text, role in line:
        need = cell_len(text)
        if need > left:
            if left > 0:
                out.append((cut(text, left), role))
            return tuple(out)
        out.append((text, role))
        left -= need
    return tuple(out)


def fill(line: Line, cells: int, role: str = "ink") -> Line:
    """A line of exactly `cells` cells: cut, or filled with blanks."""
    line = cut_line(line, cells)
    gap = cells - width(line)
    return (*line, (" " * gap, role)) if gap > 0 else line


def wrap(text: str, cells: int, first: int | None = None) -> list[str]:
    """Foreign text in lines of at most `cells` cells (the first in `first`), broken between words.

    A word is broken only where it is longer than a line. Line breaks of the author are kept.
    """
    out: list[str] = []

    def room() -> int:
        return max(1, cells if out or first is None else first)

    for paragraph in str(text).strip().splitlines() or [""]:
        here = ""
        for word in clean(paragraph).split():
            joined = f"{here} {word}" if here else word
            if cell_len(joined) <= room():
                here = joined
                continue
            if here:
                out.append(here)
            while cell_len(word) > room():
                head = set_cell_size(word, room()).rstrip() or word[:1]
                out.append(head)
                word = word[len(head) :]
            here = word
        out.append(here)
    return out


def wrapped(text: str, cells: int, role: str = "ink", head: Piece | None = None, indent: int | None = None) -> Lines:
    """Foreign text as lines behind a head (`("why ", "soft")`), later lines indented by the head's width."""
    if not str(text).strip():
        return []
    before = cell_len(head[0]) if head else 0
    step = before if indent is None else indent
    rows = wrap(text, cells - step, cells - before)
    out: Lines = [(head, (rows[0], role)) if head else ((rows[0], role),)]
    return out + [((" " * step, role), (row, role)) if step else ((row, role),) for row in rows[1:]]


def titled(title: str, lines: Lines, cells: int) -> Lines:
    """A block under its title on a rule."""
    rule = "─" * max(0, cells - cell_len(title) - 4)
    return [cut_line((("── ", "rule"), (title, "soft"), (f" {rule}", "rule")), cells), *lines]


def beside(left: Lines, right: Lines, left_cells: int, gap: int = 1) -> Lines:
    """Two blocks side by side, the left one filled to its width."""
    out: Lines = []
    for n in range(max(len(left), len(right))):
        a = fill(left[n] if n < len(left) else (), left_cells)
        out.append((*a, (" " * gap, "ink"), *(right[n] if n < len(right) else ())))
    return out


def text_of(lines: Iterable[Line]) -> list[str]:
    """The bare text of lines, as tests and files read it."""
    return ["".join(text for text, _ in line).rstrip() for line in lines]
