"""The key bar: what can be pressed now, made from the registry of actions; it takes no key itself."""

from __future__ import annotations

from collections.abc import Callable

from tui.control import actions
from tui.drawing.lines import Line, Lines
from tui.widgets.painted import Drawn


class KeyBar(Drawn):
    """Whole entries only: none is ever cut off; what has no room is in the menu and in the help. It is quiet."""

    DEFAULT_CSS = "KeyBar { height: auto; max-height: 2; }"

    def offer(self, screen: str, allowed: Callable[[str], bool], labels: dict[str, str] | None = None) -> None:
        """Show the actions of a screen that are allowed now."""
        these = actions.shown(screen, allowed)

        def draw(cells: int, rows: int) -> Lines:
            return [_row(row) for row in actions.bar(these, cells, max(1, rows), labels)]

        self.show(draw)


def _row(entries: list[tuple[str, str]]) -> Line:
    pieces: list[tuple[str, str]] = []
    for n, (cap, label) in enumerate(entries):
        pieces += [("  " if n else "", "ink"), (f" {cap} ", "cap"), (f" {label}", "soft")]
    return tuple(pieces)
