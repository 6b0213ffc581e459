"""The job sheet as one HTML file that needs nothing else and prints on A4 or Letter; it words nothing of its own."""

from __future__ import annotations

import unicodedata
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any, Literal

from engine.sheet.document import Document, Measure, Section, Spread, filled

Paper = Literal["A4", "Letter"]

#: Bodies side by side before the drawing goes on in another row.
_PER_ROW = 4


def page(document: Document, paper: Paper = "A4") -> str:
    """The sheet as HTML. Every text of it is escaped; characters that HTML can't hold are left out."""
    # 40 ms, and only where a page is wanted.
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    env = Environment(autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=StrictUndefined)
    template = env.from_string(Path(__file__).with_name("sheet.html.j2").read_text(encoding="utf-8"))
    return template.render(
        d=_printable(document),
        paper=paper,
        per_row=_PER_ROW,
        filled=filled,
        small=_small,
        band=lambda m: Markup(_band(m)),
        spread=lambda s: Markup(_spread(s)),
        figure=_figure,
    )


def _printable(value: Any) -> Any:
    """The same data without control characters, lone halves and marks that turn a line round."""
    if isinstance(value, str):
        return "".join(c for c in value if c == "\n" or unicodedata.category(c) not in ("Cc", "Cf", "Cs"))
    if isinstance(value, tuple):
        return tuple(map(_printable, value))
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: _printable(getattr(value, f.name)) for f in fields(value)})
    return value


def _small(section: Section) -> bool:
    """Whether a section is short enough to stay on one page."""
    body = section.body
    return len(getattr(body, "rows", getattr(body, "items", getattr(body, "findings", ())))) <= 14


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:.3g}"


def _band(m: Measure) -> str:
    """A screw's position in its band, drawn: the band as a bar, the position as a mark. Only numbers go in."""
    if m.low is None or m.high is None:
        return ""
    end = max(m.high * 1.5, (m.position or 0) * 1.1, 0.1)
    x = [2 + 116 * max(0.0, min(1.0, v / end)) for v in (m.low, m.high)]
    mark = ""
    if m.position is not None:
        at = 2 + 116 * max(0.0, min(1.0, m.position / end))
        mark = f'<path d="M{at:.1f} 1 l3 4 l-3 4 l-3 -4 z" fill="#15181c"/>'
    return (
        '<svg viewBox="0 0 120 10" width="100%" height="9" role="img" aria-label="position in its band">'
        '<line x1="2" y1="5" x2="118" y2="5" stroke="#a9b0b8"/>'
        f'<rect x="{x[0]:.1f}" y="3" width="{x[1] - x[0]:.1f}" height="4" fill="#9cc3a8"/>{mark}</svg>'
    )


def _spread(s: Spread) -> str:
    """Two rows of marks on one scale: how far apart before, how far after. Only numbers go in."""
    rows = [[v for v in row if v is not None] for row in (s.found_row, s.left_row)]
    every = [v for row in rows for v in row]
    low, high = (min(every), max(every)) if every else (0.0, 1.0)
    room = (high - low) * 0.08 or 0.5
    low, high = low - room, high + room
    out = ['<svg viewBox="0 0 250 42" width="66mm" role="img" aria-label="how far apart, before and after">']
    for y, word, row in ((11, "found", rows[0]), (29, "left", rows[1])):
        out.append(f'<text x="0" y="{y + 3}">{word}</text><line x1="34" y1="{y}" x2="246" y2="{y}" stroke="#a9b0b8"/>')
        at = [34 + 212 * (v - low) / (high - low) for v in row]
        if at:
            ends = f'x1="{min(at):.1f}" x2="{max(at):.1f}"'
            out.append(f'<line {ends} y1="{y}" y2="{y}" stroke="#15181c" stroke-width="3"/>')
        out += [f'<circle cx="{x:.1f}" cy="{y}" r="3.2" fill="#fff" stroke="#15181c" stroke-width="1.4"/>' for x in at]
    out.append(f'<text x="34" y="42">{low + room:.3g}</text>')
    out.append(f'<text x="246" y="42" text-anchor="end">{high - room:.3g}</text>')
    return "".join([*out, "</svg>"])
