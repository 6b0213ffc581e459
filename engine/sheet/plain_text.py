"""The job sheet as plain text, 80 columns wide: it prints the document and words nothing of its own."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from engine.foreign import plain
from engine.sheet.document import Document, Fields, Findings, Items, Section, Table, filled

WIDTH = 80
_RULE = "-" * WIDTH


def lines(document: Document) -> list[str]:
    """The sheet, no line wider than 80 columns."""
    title = f"JOB SHEET {document.number}"
    out = [line for text in document.shop for line in _wrapped(text)]
    out += [f"{title}{f'run {document.run}':>{WIDTH - len(title)}}", "=" * WIDTH, *_fields(document.top)]
    out += ["", *_wrapped(f"{document.outcome}. {document.say}".strip())]
    for section in document.sections:
        out += ["", section.title, _RULE, *_body(section)]
    out += ["", _RULE, *_wrapped(document.foot), f"Seal: {document.head}", "", "Signed: " + "_" * 40]
    return [plain(line) for line in out]


def _body(section: Section) -> list[str]:
    body = section.body
    if not filled(body):
        return _wrapped(section.none)
    if isinstance(body, Table):
        return _table(body)
    if isinstance(body, Fields):
        return _fields(body)
    if isinstance(body, Findings):
        return _findings(body)
    return _items(body)


def _fields(fields: Fields) -> list[str]:
    return [line for label, text in fields.rows for line in _wrapped(text, f"{label:<14}", " " * 14)]


def _items(items: Items) -> list[str]:
    return [line for item in items.items for line in _wrapped(item, "- ", "  ")]


def _wrapped(text: str, first: str = "", later: str = "") -> list[str]:
    flat = " ".join(text.split())
    return textwrap.wrap(flat, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=True) or [first]


def _table(table: Table) -> list[str]:
    out = [f"{'':<40}{table.columns[0]:>20}{table.columns[1]:>20}"]
    under = ""
    for row in table.rows:
        if row.under != under and row.under:
            out += _wrapped(row.under)
        under = row.under
        out += _row(f"  {row.label}" if row.under else row.label, row.cells, table.columns)
    return out


def _row(label: str, cells: Iterable[str], columns: tuple[str, ...]) -> list[str]:
    """One line of three columns; a long label or a long answer takes lines of its own."""
    was, now = cells
    out: list[str] = []
    if len(label) > 39:
        out, label = _wrapped(label), ""
    if max(len(was), len(now)) > 19:
        first, second = (f"    {column}: " for column in columns)
        return [
            *out,
            *([label] if label else []),
            *_wrapped(was, first, " " * 14),
            *_wrapped(now, f"{second:<{len(first)}}", " " * 14),
        ]
    return [*out, f"{label:<40}{was:>20}{now:>20}"]


def _findings(findings: Findings) -> list[str]:
    out: list[str] = []
    for told in findings.findings:
        sure = "" if told.sure is None else f" (sure to {told.sure}%)"
        where = f"{told.where}: " if told.where else ""
        out += _wrapped(f"{where}{told.say}{sure}", f"{told.severity.upper()}: ", "  ")
        if told.do:
            out += _wrapped(told.do, "  To do: ", "  ")
        if told.accepted:
            out += _wrapped(told.accepted, "  Gone on with knowingly, because: ", "  ")
    return out
