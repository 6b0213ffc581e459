"""The forms in which a job sheet can be had: which printer makes which; it gathers and words nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

from engine.quantity.chosen import ChosenUnits
from engine.session.in_units import findings_in, units_of
from engine.sheet.document import Document, document
from engine.sheet.gather import Sheet, in_chosen

Form = Literal["text", "html", "csv", "json"]
FORMS: tuple[Form, ...] = ("text", "html", "csv", "json")

#: The ending of a file of each form.
ENDINGS: Mapping[Form, str] = {"text": ".txt", "html": ".html", "csv": ".csv", "json": ".json"}


def headed(sheet: Sheet, shop: Mapping[str, str], units: ChosenUnits | None = None) -> Document:
    """The document with the shop's header: name, address, telephone and note, as its settings say; its readings in the
    units that the shop chose."""
    lines = [line.strip() for key in ("name", "address", "telephone", "note") for line in shop.get(key, "").split("\n")]
    chosen = units_of(sheet.job, units or ChosenUnits())
    return document(_in_units(sheet, chosen) if chosen else sheet, tuple(filter(None, lines)))


def _in_units(sheet: Sheet, chosen: ChosenUnits) -> Sheet:
    """A sheet with its readings, and what its findings say of them, in the units that the shop chose."""
    seen = [(line.quantity, line.unit) for line in sheet.compared if line.unit]

    def said(text: str) -> str:
        return chosen.in_text(text, seen)

    findings = findings_in((f for f, _ in sheet.findings), said)
    return replace(
        sheet,
        say=said(sheet.say),
        compared=in_chosen(sheet.compared, chosen),
        findings=tuple((f, places) for f, (_, places) in zip(findings, sheet.findings, strict=True)),
    )


def printed(made: Document, form: Form, paper: str = "A4") -> str:
    """The document in a form, as one text that ends with a line break."""
    if form == "html":
        from engine.sheet.html import page

        return page(made, "Letter" if paper == "Letter" else "A4") + "\n"
    if form in ("csv", "json"):
        from engine.sheet import tables

        return tables.as_csv(made) if form == "csv" else tables.as_json(made)
    from engine.sheet.plain_text import lines

    return "\n".join(lines(made)) + "\n"
