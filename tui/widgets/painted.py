"""A widget that paints lines made by a pure function; it holds no data of its own and takes no key.

The function gets the width and the most lines that there is room for, and gives lines of (text, role) pieces. Nothing
is parsed as markup, so `[mbar]` stays `[mbar]`.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from rich.color import Color as RichColor
from rich.segment import Segment
from rich.style import Style
from textual.containers import VerticalScroll
from textual.geometry import Size
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from tui.drawing.lines import Lines
from tui.styles.themes import DEFAULTS, ROLES, THEMES

Draw = Callable[[int, int], Lines]
_MANY = 400


@lru_cache(maxsize=256)
def _style(theme: str, role: str, ground: RichColor | None, plain: bool) -> Style:
    look = ROLES.get(role, ROLES["ink"])
    if plain:
        return Style(bold=look.bold, underline=look.underline, reverse=look.ground is not None)
    colours = THEMES[theme].variables if theme in THEMES else DEFAULTS
    back = RichColor.parse(colours[look.ground]) if look.ground else ground
    return Style(color=RichColor.parse(colours[look.ink]), bgcolor=back, bold=look.bold, underline=look.underline)


class Page(VerticalScroll):
    """A part that scrolls where its drawing is longer than it; it says so, and takes no key itself."""

    class Scrolling(Message):
        """There is more than shows, or there is no longer."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id, can_focus=False)

    def watch_show_vertical_scrollbar(self) -> None:
        """The scroll bar came or went."""
        self.post_message(self.Scrolling())


class Drawn(Widget):
    """Paints what `show` was given last."""

    DEFAULT_CSS = "Drawn { height: auto; width: 1fr; }"

    def __init__(self, draw: Draw | None = None, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._draw = draw
        self._lines: Lines = []
        self._for: tuple[int, int] | None = None
        self._seen = _MANY

    def show(self, draw: Draw | None) -> None:
        """Paint another drawing from now on."""
        self._draw = draw
        self.redraw()

    def redraw(self) -> None:
        """Make the drawing again: what it shows has changed."""
        self._for = None
        self.refresh(layout=True)

    def lines(self, cells: int, rows: int) -> Lines:
        """The drawing at a size, kept until it changes."""
        if self._for != (cells, rows):
            self._lines = self._draw(cells, rows) if self._draw is not None and cells > 0 else []
            self._for = (cells, rows)
        return self._lines

    @property
    def most(self) -> int:
        """The most lines that the stylesheet gives it."""
        limit = self.styles.max_height
        if limit is not None and limit.cells is not None:
            return max(0, limit.cells - self.gutter.height)
        return _MANY

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """As many lines as the drawing has, where the height is automatic; in a box that scrolls, as many as it
        needs."""
        self._seen = container.height if self._scrolled else self.most
        return min(len(self.lines(width, self._seen)), self.most)

    @property
    def _scrolled(self) -> bool:
        return isinstance(self.parent, VerticalScroll)

    def _rows(self) -> int:
        """The lines that can be seen at once."""
        auto = self.styles.height is not None and self.styles.height.is_auto
        return self._seen if auto else self.content_size.height

    def render_line(self, y: int) -> Strip:
        """One line of the drawing, filled to the width."""
        cells = self.content_size.width
        plain = self.app.no_color
        ground = None if plain else self.rich_style.bgcolor
        blank = Style(bgcolor=ground)
        lines = self.lines(cells, self._rows())
        if y >= len(lines):
            return Strip.blank(cells, blank)
        theme = self.app.theme
        segments = [Segment(text, _style(theme, role, ground, plain)) for text, role in lines[y] if text]
        return Strip(segments).adjust_cell_length(cells, blank)

    def notify_style_update(self) -> None:
        """A theme was changed: the pieces are painted anew."""
        super().notify_style_update()
        self.refresh()
