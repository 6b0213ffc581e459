"""Large figures from half blocks, three lines high, to be read from two metres: how far and which way; pure."""

from __future__ import annotations

#: Four by six points a sign; `#` is ink. Only what a move needs: digits, a stroke, a point, IN, OUT.
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
    ".": ("....", "....", "....", "....", "....", ".#.."),
    "-": ("....", "....", "####", "....", "....", "...."),
    "I": ("###.", ".#..", ".#..", ".#..", ".#..", "###."),
    "N": ("#..#", "##.#", "##.#", "#.##", "#.##", "#..#"),
    "O": (".##.", "#..#", "#..#", "#..#", "#..#", ".##."),
    "U": ("#..#", "#..#", "#..#", "#..#", "#..#", ".##."),
    "T": ("###.", ".#..", ".#..", ".#..", ".#..", ".#.."),
    " ": ("....", "....", "....", "....", "....", "...."),
}
_BLOCK = {("#", "#"): "█", ("#", "."): "▀", (".", "#"): "▄", (".", "."): " "}


def figures(text: str) -> tuple[str, str, str] | None:
    """A text in three lines, four cells a sign and one of air; None where it holds a sign that has no large form."""
    if not text or any(c not in _SIGNS for c in text):
        return None
    rows = []
    for top in (0, 2, 4):
        row = ""
        for c in text:
            sign = _SIGNS[c]
            cells = "".join(_BLOCK[a, b] for a, b in zip(sign[top], sign[top + 1], strict=True))
            row += (cells if c != " " else "  ") + " "
        rows.append(row.rstrip().ljust(len(row) - 1))
    return rows[0], rows[1], rows[2]
