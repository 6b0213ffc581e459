"""The job sheet as plain text, 80 columns wide: it gathers nothing, and every figure on it comes from the data."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Any

from engine.run.texts import quantity, turns, unit_word
from engine.sheet.gather import Change, Compared, Sheet

WIDTH = 80
_RULE = "-" * WIDTH
_OUTCOMES = {"ok": "DONE", "failed": "NOT DONE", "stopped": "STOPPED", "not finished": "NOT FINISHED"}


def lines(sheet: Sheet) -> list[str]:
    """The sheet, no line wider than 80 columns."""
    out = [*_head(sheet), *_outcome(sheet)]
    out += _section("AS FOUND AND AS LEFT", _tables(sheet.compared))
    out += _section("SCREWS TURNED, counted from the zero of each", _changes(sheet.screws))
    out += _section("PARTS CHANGED", _changes(sheet.parts))
    out += _section("NOT CHECKED", _listed(f"{n.what.rstrip('?')}: {n.reason}" for n in sheet.not_done))
    out += _section("FINDINGS THAT STAND", _findings(sheet))
    out += _section("TO ORDER", _listed(f"{o.count} x {o.part} {o.size}" for o in sheet.orders))
    out += _section(
        "SEEN DURING THE WORK",
        _listed(f"{ask}, {count} times" if count > 1 else f"{ask}, once" for ask, count in sheet.symptoms),
    )
    out += _section("SETTINGS OF THIS SHOP OR JOB", _listed(f"{n}: {v} ({who})" for n, v, who in sheet.settings))
    out += _section("NOTES", _listed(sheet.notes))
    return [*out, *_foot(sheet)]


def _head(sheet: Sheet) -> list[str]:
    job = sheet.job
    engine, bank = job.engine, job.bank
    rows = [
        ("Customer", job.customer),
        ("Vehicle", job.vehicle.description),
        ("Registration", job.vehicle.registration),
        ("Odometer", str(job.vehicle.odometer)),
        ("Complaint", job.title),
        ("Engine", f"{engine.cylinders} cylinders, {quantity(engine.displacement, None)} cc"),
        (
            "Carburettors",
            f"{bank.carbs} x {bank.barrels_per_carb} barrels, {bank.family}"
            if bank.barrels_per_carb > 1
            else f"{bank.carbs}, {bank.family}",
        ),
        ("Procedure", f"{sheet.title} ({sheet.procedure}, revision {sheet.revision})"),
        ("Work", f"{_day(sheet.started)} to {_day(sheet.ended)}" if sheet.ended else f"begun {_day(sheet.started)}"),
    ]
    title = f"JOB SHEET {sheet.job_number}"
    out = [f"{title}{f'run {sheet.run}':>{WIDTH - len(title)}}", "=" * WIDTH]
    for label, text in rows:
        if text:
            out += _wrapped(text, f"{label:<14}", " " * 14)
    return out


def _day(clock: str) -> str:
    return clock[:16].replace("T", " ")


def _outcome(sheet: Sheet) -> list[str]:
    return ["", *_wrapped(f"{_OUTCOMES.get(sheet.outcome, sheet.outcome.upper())}. {sheet.say}".strip())]


def _section(title: str, body: list[str]) -> list[str]:
    return ["", title, _RULE, *body] if body else []


def _listed(items: Iterable[str]) -> list[str]:
    return [line for item in items for line in _wrapped(item, "- ", "  ")]


def _wrapped(text: str, first: str = "", later: str = "") -> list[str]:
    flat = " ".join(text.split())
    return textwrap.wrap(flat, WIDTH, initial_indent=first, subsequent_indent=later, break_long_words=True) or [first]


def _tables(compared: Iterable[Compared]) -> list[str]:
    out: list[str] = []
    for line in compared:
        unit = f", {unit_word(line.unit)}" if line.unit else ""
        if len(line.places) == 1 and not line.places[0]:
            was, now = (_value(v[0], line.unit) for v in (line.found, line.left))
            out += _row(f"{line.title}{unit}", was, now)
            continue
        out += _wrapped(f"{line.title}{unit}")
        for place, was, now in zip(line.places, line.found, line.left, strict=True):
            out += _row(f"  {place}", _value(was, line.unit), _value(now, line.unit))
    return [f"{'':<40}{'as found':>20}{'as left':>20}", *out] if out else []


def _row(label: str, was: str, now: str) -> list[str]:
    """One line of three columns; a long label or a long answer takes lines of its own."""
    out: list[str] = []
    if len(label) > 39:
        out, label = _wrapped(label), ""
    if max(len(was), len(now)) > 19:
        return [
            *out,
            *([label] if label else []),
            *_wrapped(was, "    as found: ", " " * 14),
            *_wrapped(now, "    as left:  ", " " * 14),
        ]
    return [*out, f"{label:<40}{was:>20}{now:>20}"]


def _value(value: Any, unit: str | None) -> str:
    if value is None:
        return "-"
    if isinstance(value, str | bool):
        return quantity(value, None)
    return turns(value) if unit == "turn" else quantity(value, None)


def _changes(changes: Iterable[Change]) -> list[str]:
    out: list[str] = []
    for change in changes:
        label = f"{change.what}, {change.place}" if change.place else change.what
        out += _row(label, change.before, change.after)
    return [f"{'':<40}{'before':>20}{'after':>20}", *out] if out else []


def _findings(sheet: Sheet) -> list[str]:
    out: list[str] = []
    for finding, places in sheet.findings:
        sure = "" if finding.sureness is None else f" (sure to {finding.sureness:.0%})"
        twice = finding.say.casefold().startswith(places.casefold())
        where = f"{places}: " if places and not twice else ""
        out += _wrapped(f"{where}{finding.say}{sure}", f"{finding.severity.upper()}: ", "  ")
        if finding.do:
            out += _wrapped(finding.do, "  To do: ", "  ")
        if finding.accepted:
            out += _wrapped(finding.accepted, "  Gone on with knowingly, because: ", "  ")
    return out


def _foot(sheet: Sheet) -> list[str]:
    struck = f" {sheet.struck} answers were struck by undo and stay in the record." if sheet.struck > 0 else ""
    said = f"Evendraw {sheet.version}. {sheet.events} events.{struck} The maker's data and local rules come first."
    return ["", _RULE, *_wrapped(said), f"Seal: {sheet.head}"]
