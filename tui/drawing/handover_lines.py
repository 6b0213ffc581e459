"""The hand-over as lines: as found and as left side by side, what was changed, not checked, stands, is to be ordered;
pure.

It shows the same data as the printed sheet (`engine.sheet`), and works nothing out itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from engine.evidence import Finding
from tui.drawing import phrases, step_lines
from tui.drawing.lines import Line, Lines, clean, cut_line, fill, wrapped

if TYPE_CHECKING:
    from engine.sheet.gather import Change, Compared, Sheet

#: How a run ended, in words, with its role.
OUTCOMES = {"ok": ("DONE", "good"), "failed": ("NOT DONE", "red"), "stopped": ("STOPPED", "amber")}


def head(sheet: Sheet, cells: int) -> Lines:
    """How it ended."""
    word, role = OUTCOMES.get(sheet.outcome, (sheet.outcome.upper(), "amber"))
    title: Line = ((f" {word} ", "key"), (f" {clean(sheet.title)}", "title"))
    return [cut_line(title, cells), *wrapped(sheet.say, cells, role)]


def page(sheet: Sheet, cells: int, beyond: Sequence[tuple[str, Sequence[str]]] = ()) -> Lines:
    """The whole hand-over. `beyond`: blocks of sentences that come first (what a rehearsal had hidden)."""
    out: Lines = []
    for title, sentences in beyond:
        out += _block(title, _listed(sentences, cells))
    out += _block("AS FOUND, AS LEFT", side_by_side(sheet.compared, cells), "Nothing was recorded.")
    changes = [*_changes(sheet.screws), *_changes(sheet.parts)]
    out += _block("CHANGED", _listed(changes, cells), "Nothing was changed.")
    skipped = [f"{n.what.rstrip('?')}: {n.reason}" for n in sheet.not_done]
    out += _block("NOT CHECKED", _listed(skipped, cells), "Everything that was asked was checked.")
    out += _block("FINDINGS THAT STAND", _findings(sheet.findings, cells), "None.")
    orders = [f"{o.count} x {o.part} {o.size}" for o in sheet.orders]
    out += _block("PARTS TO ORDER", _listed(orders, cells), "None.")
    return [*out, *_block("NOTES", _listed(sheet.notes, cells))] if sheet.notes else out


def _block(title: str, lines: Lines, none: str = "") -> Lines:
    return [((f" {title} ", "key"),), *(lines or [((f"  {none}", "soft"),)]), ()]


def _listed(sentences: Iterable[str], cells: int) -> Lines:
    return [line for s in sentences for line in wrapped(s, cells, "ink", head=("  - ", "soft"), indent=4)]


def _changes(changes: Iterable[Change]) -> list[str]:
    return [f"{c.what}{f', {c.place}' if c.place else ''}: {c.before} → {c.after}" for c in changes]


def side_by_side(compared: Sequence[Compared], cells: int) -> Lines:
    """A line a reading or screw and place: as found on the left, as left on the right."""
    if not compared:
        return []
    label = min(44, cells - 30)
    out: Lines = [(*fill((), label), *fill((("as found", "soft"),), 14), ("as left", "soft"))]
    for one in compared:
        alone = len(one.places) == 1
        title = clean(one.title) + (f", {phrases.unit_word(one.unit)}" if one.unit else "")
        if not alone:
            out.append(cut_line(((title, "ink"),), cells))
        for place, was, now in zip(one.places, one.found, one.left, strict=True):
            name = title if alone else f"  {clean(place)}"
            same = was == now
            row: Line = (
                *fill(((name, "ink" if alone else "soft"),), label - 1),
                (" ", "ink"),
                *fill(((_value(was, one.unit), "ink"),), 14),
                (_value(now, one.unit), "ink" if same else "strong"),
            )
            out.append(cut_line(row, cells))
    return out


def _value(value: Any, unit: str | None) -> str:
    if isinstance(value, Fraction) and unit not in ("turn", "flat") and value.denominator != 1:
        return phrases.decimal(value, Fraction(1, 100) if abs(value) < 1 else Fraction(1, 10))
    return clean(phrases.number(value, unit))


def _findings(findings: Iterable[tuple[Finding, str]], cells: int) -> Lines:
    out: Lines = []
    places = {id(f): where for f, where in findings}
    for finding in step_lines.ranked(f for f, _ in findings):
        out += step_lines.finding_lines(finding, places[id(finding)], cells, full=True)
    return out
