"""Large signs from blocks, to be read from two metres: how far, which way, what is read; pure, it lays nothing out.

Three sizes from one set of dots: three rows of half blocks, six rows of narrow dots, six rows of square dots.
"""

from __future__ import annotations

#: Six rows of dots a sign; `#` is ink.
_SIGNS = {
    "0": (".##.", "#..#", "#..#", "#..#", "#..#", ".##."),
    "1": ("..#.", ".##.", "..#.", "..#.", "..#.", ".###"),
    "2": (".##.", "#..#", "...#", "..#.", ".#..", "####"),
    "3": ("###.", "...#", ".##.", "...#", "...#", "###."),
    "4": ("#..#", "#..#", "#..#", "####", "...#", "...#"),
    "5": ("####", "#...", "###.", "...#", "...#", "###."),
    "6": (".##.", "#...", "###.", "#..#", "#..#", ".##."),
    "7": ("####", "...#", "..#.", "..#.", ".#..", ".#.."),
    "8": (".##.", "#..#", ".##.", "#..#", "#..#", ".##."),
    "9": (".##.", "#..#", "#..#", ".###", "...#", ".##."),
    "/": ("...#", "...#", "..#.", "..#.", ".#..", ".#.."),
    ".": ("..", "..", "..", "..", "..", "#."),
    ",": ("..", "..", "..", "..", "#.", "#."),
    ":": ("..", "#.", "..", "..", "#.", ".."),
    "-": ("...", "...", "###", "...", "...", "..."),
    "+": ("...", ".#.", "###", ".#.", "...", "..."),
    "%": ("#..#", "...#", "..#.", ".#..", "#...", "#..#"),
    "A": (".##.", "#..#", "#..#", "####", "#..#", "#..#"),
    "B": ("###.", "#..#", "###.", "#..#", "#..#", "###."),
    "C": (".###", "#...", "#...", "#...", "#...", ".###"),
    "D": ("###.", "#..#", "#..#", "#..#", "#..#", "###."),
    "E": ("####", "#...", "###.", "#...", "#...", "####"),
    "F": ("####", "#...", "###.", "#...", "#...", "#..."),
    "G": (".###", "#...", "#...", "#.##", "#..#", ".###"),
    "H": ("#..#", "#..#", "####", "#..#", "#..#", "#..#"),
    "I": ("###", ".#.", ".#.", ".#.", ".#.", "###"),
    "J": ("..##", "...#", "...#", "...#", "#..#", ".##."),
    "K": ("#..#", "#.#.", "##..", "##..", "#.#.", "#..#"),
    "L": ("#...", "#...", "#...", "#...", "#...", "####"),
    "M": ("#...#", "##.##", "#.#.#", "#...#", "#...#", "#...#"),
    "N": ("#..#", "##.#", "##.#", "#.##", "#.##", "#..#"),
    "O": (".##.", "#..#", "#..#", "#..#", "#..#", ".##."),
    "P": ("###.", "#..#", "#..#", "###.", "#...", "#..."),
    "Q": (".##.", "#..#", "#..#", "#..#", "#.#.", ".#.#"),
    "R": ("###.", "#..#", "#..#", "###.", "#.#.", "#..#"),
    "S": (".###", "#...", ".##.", "...#", "...#", "###."),
    "T": ("###", ".#.", ".#.", ".#.", ".#.", ".#."),
    "U": ("#..#", "#..#", "#..#", "#..#", "#..#", ".##."),
    "V": ("#...#", "#...#", "#...#", ".#.#.", ".#.#.", "..#.."),
    "W": ("#...#", "#...#", "#...#", "#.#.#", "##.##", "#...#"),
    "X": ("#..#", "#..#", ".##.", ".##.", "#..#", "#..#"),
    "Y": ("#.#", "#.#", "#.#", ".#.", ".#.", ".#."),
    "Z": ("####", "...#", "..#.", ".#..", "#...", "####"),
    " ": ("..",) * 6,
}
_HALVES = {("#", "#"): "█", ("#", "."): "▀", (".", "#"): "▄", (".", "."): " "}


def figures(text: str) -> tuple[str, str, str] | None:
    """A text in three lines of half blocks; None where it holds a sign that has no large form."""
    if not text or any(c not in _SIGNS for c in text):
        return None
    rows = []
    for top in (0, 2, 4):
        row = " ".join(
            "".join(_HALVES[a, b] for a, b in zip(_SIGNS[c][top], _SIGNS[c][top + 1], strict=True)) for c in text
        )
        rows.append(row)
    return rows[0], rows[1], rows[2]


def tall(text: str, cells: int) -> tuple[str, ...] | None:
    """A text in six lines within `cells`, of square dots where there is room, else of narrow ones; None where there is
    none, or where it holds a sign that has no large form."""
    if not text or any(c not in _SIGNS for c in text):
        return None
    return next((rows for dot in (2, 1) if len((rows := _dots(text, dot))[0]) <= cells), None)


def _dots(text: str, dot: int) -> tuple[str, ...]:
    """A text in six lines of dots so many cells wide."""
    return tuple(
        (" " * dot).join("".join(("█" if d == "#" else " ") * dot for d in _SIGNS[c][n]) for c in text)
        for n in range(6)
    )


def sentence(text: str, cells: int, rows: int, high: bool = False) -> list[str]:
    """A sentence in large letters within `rows` lines, three high or (`high`) six; empty where it has no room or holds
    a sign that has no large form."""
    said = "".join(c for c in text.upper().replace(";", ",") if c in _SIGNS or c.isspace())
    out: list[str] = []
    here = ""
    make = (lambda t: _dots(t, 1)) if high else figures
    for word in [*said.split(), None]:
        joined = f"{here} {word}".strip()
        drawn = make(joined) if word is not None else None
        if drawn is not None and len(drawn[0]) <= cells:
            here = joined
            continue
        line = make(here) if here else None
        if line is None or len(line[0]) > cells:
            return []
        out += [*([""] if out else []), *line]
        here = word or ""
    return out if out and len(out) <= rows else []
