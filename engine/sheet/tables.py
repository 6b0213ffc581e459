"""The job sheet for other programs: as JSON with a published schema, and as CSV for a spreadsheet; it words nothing."""

from __future__ import annotations

import csv
import io
import json
import re
from typing import Any

from engine.sheet.document import Document, Fields, Findings, Items, Table

#: Columns of the CSV form.
COLUMNS = ("section", "under", "what", "first", "second")

_FIGURE = re.compile(r"-?\d+([.,]\d+)?")


def as_json(document: Document) -> str:
    """The document as JSON; `schema()` says what stands where."""
    from pydantic import TypeAdapter

    data = TypeAdapter(Document).dump_python(document, mode="json")
    return json.dumps(data, ensure_ascii=True, indent=2) + "\n"


def schema() -> dict[str, Any]:
    """The JSON Schema of `as_json`."""
    from pydantic import TypeAdapter

    found = TypeAdapter(Document).json_schema(mode="serialization")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:evendraw:sheet:1",
        **found,
        "title": "Evendraw job sheet",
    }


def as_csv(document: Document) -> str:
    """The document as CSV, a row a figure or sentence. A text that begins like a formula gets a `'` before it."""
    out = io.StringIO(newline="")
    write = csv.writer(out, lineterminator="\r\n")
    write.writerow(COLUMNS)
    rows: list[tuple[str, ...]] = [("SHEET", "", "number", str(document.number), document.run)]
    rows += [("SHEET", "", label, text, "") for label, text in document.top.rows]
    rows.append(("SHEET", "", "outcome", document.outcome, document.say))
    for section in document.sections:
        body = section.body
        if isinstance(body, Table):
            rows += [(section.title, r.under, r.label, *r.cells) for r in body.rows]
        elif isinstance(body, Fields):
            rows += [(section.title, "", label, text, "") for label, text in body.rows]
        elif isinstance(body, Items):
            rows += [(section.title, "", item, "", "") for item in body.items]
        elif isinstance(body, Findings):
            rows += [(section.title, f.severity, f.where, f.say, f"{f.do} {f.accepted}".strip()) for f in body.findings]
    rows.append(("SHEET", "", "seal", document.head, ""))
    for row in rows:
        write.writerow([safe_cell(cell) for cell in row])
    return out.getvalue()


def safe_cell(text: str) -> str:
    """A cell that no spreadsheet takes for a formula; plain figures stay figures, line breaks become spaces."""
    flat = "".join(c if c.isprintable() else " " for c in text)
    if flat.lstrip().startswith(("=", "+", "-", "@", "|", "%")) and flat != "-" and not _FIGURE.fullmatch(flat):
        return f"'{flat}"
    return flat
