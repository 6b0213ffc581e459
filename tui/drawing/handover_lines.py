"""The hand-over as lines: the job sheet's document printed for the screen; pure, it words nothing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from tui.drawing.lines import Line, Lines, clean, cut_line, fill, wrapped
from tui.drawing.signs import SEVERITY_ROLE, SIGNS

if TYPE_CHECKING:
    from engine.sheet.document import Document, Findings, Section, Table

#: How good an outcome is, as a role of text.
_MOODS = {"good": "good", "bad": "red", "open": "amber"}


def head(document: Document, cells: int) -> Lines:
    """How it ended."""
    title: Line = ((f" {document.outcome} ", "key"), (f" {clean(document.title)}", "title"))
    return [cut_line(title, cells), *wrapped(document.say, cells, _MOODS[document.mood])]


def page(document: Document, cells: int, beyond: Sequence[tuple[str, Sequence[str]]] = ()) -> Lines:
    """The whole hand-over. `beyond`: blocks of sentences that come first (what a rehearsal had hidden)."""
    out: Lines = []
    for title, sentences in beyond:
        out += [*_title(title), *_listed(sentences, cells), ()]
    for section in document.sections:
        out += [*_title(section.title), *_body(section, cells), ()]
    return [*out, *wrapped(document.foot, cells, "soft"), *wrapped(f"Seal: {document.head}", cells, "soft")]


def _title(title: str) -> Lines:
    return [((f" {title} ", "key"),)]


def _body(section: Section, cells: int) -> Lines:
    from engine.sheet.document import Fields, Findings, Table, filled

    body = section.body
    if not filled(body):
        return [((f"  {section.none}", "soft"),)]
    if isinstance(body, Table):
        return _table(body, cells)
    if isinstance(body, Findings):
        return _findings(body, cells)
    if isinstance(body, Fields):
        return _listed((f"{label}: {text}" for label, text in body.rows), cells)
    return _listed(body.items, cells)


def _listed(sentences: Iterable[str], cells: int) -> Lines:
    return [line for s in sentences for line in wrapped(s, cells, "ink", head=("  - ", "soft"), indent=4)]


def _table(table: Table, cells: int) -> Lines:
    """A line a row; a cell too long for its column goes on below."""
    label = min(44, cells - 36)
    width = (cells - label) // 2
    first, second = table.columns
    out: Lines = [(*fill((), label), *fill(((first, "soft"),), width), (second, "soft"))]
    under = ""
    for row in table.rows:
        if row.under != under and row.under:
            out += wrapped(row.under, cells, "ink")
        under = row.under
        name = clean(row.label)
        before = ("  ", "soft") if row.under else None
        names = wrapped(name, label - 1, "soft" if row.under else "ink", head=before, indent=2)
        columns = [names, *(wrapped(c, width - 1, "ink") for c in row.cells)]
        if row.changed:
            columns[2] = wrapped(row.cells[1], width - 1, "strong")
        for at in range(max(map(len, columns))):
            parts = [column[at] if at < len(column) else () for column in columns]
            out.append(cut_line((*fill(parts[0], label), *fill(parts[1], width), *parts[2]), cells))
    return out


def _findings(findings: Findings, cells: int) -> Lines:
    out: Lines = []
    for told in findings.findings:
        sign = f"{SIGNS.get(told.severity, '?')} {told.severity.upper()} "
        role = SEVERITY_ROLE.get(told.severity, "soft")
        out += wrapped(told.where, cells, "strong", head=(sign, role)) if told.where else [((sign, role),)]
        sure = "" if told.sure is None else f" (sure to {told.sure}%)"
        out += wrapped(f"{told.say}{sure}", cells - 2, "ink", head=("  ", "ink"), indent=2)
        out += wrapped(told.do, cells - 2, "ink", head=("  To do: ", "soft"), indent=2) if told.do else []
        why = ("  Gone on with knowingly, because: ", "soft")
        out += wrapped(told.accepted, cells - 2, "ink", head=why, indent=2) if told.accepted else []
    return out
