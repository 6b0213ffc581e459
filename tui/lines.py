"""Lines of text with roles, before any widget: cleaning, cutting, wrapping and joining; it knows no theme and no
procedure.

A line is a tuple of (text, role) pieces. Foreign text (of a file, a person, a customer) is only ever a piece: it is
never parsed as markup, and its control characters become spaces. Widths are in terminal cells.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from rich.cells import cell_len, set_cell_size

Piece = tuple[str, str]
Line = tuple[Piece, ...]
Lines = list[Line]


def clean(text: object) -> str:
    """Foreign text without control characters: each becomes a space, so that nothing can move the cursor."""
    return "".join(" " if unicodedata.category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp") else c for c in str(text))


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


def wrap(text: str, cells: int) -> list[str]:
    """Foreign text in lines of at most `cells` cells, broken between words (and inside one only where it is too long).

    Line breaks of the author are kept.
    """
    out: list[str] = []
    for paragraph in str(text).strip().splitlines() or [""]:
        here = ""
        for word in clean(paragraph).split():
            while cell_len(word) > cells > 0:
                room = cells - cell_len(here) - (1 if here else 0)
                if here and room < 4:
                    out.append(here)
                    here, room = "", cells
                head = set_cell_size(word, room).rstrip()
                out.append(f"{here} {head}".strip())
                here, word = "", word[len(head):]
            joined = f"{here} {word}" if here else word
            if cell_len(joined) > cells:
                out.append(here)
                here = word
            else:
                here = joined
        out.append(here)
    return out


def wrapped(text: str, cells: int, role: str = "ink", head: Piece | None = None, indent: int | None = None) -> Lines:
    """Foreign text as lines behind a head (`("why ", "soft")`), later lines indented by the head's width."""
    if not str(text).strip():
        return []
    step = cell_len(head[0]) if head and indent is None else indent or 0
    rows = wrap(text, max(1, cells - step))
    out: Lines = []
    for n, row in enumerate(rows):
        first = head if n == 0 and head else (" " * step, role)
        out.append((first, (row, role)) if step or head else ((row, role),))
    return out


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
