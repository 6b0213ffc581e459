"""The hand-over as lines: as found and as left side by side, what was changed, not checked, stands, is to be ordered;
pure."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from engine.view import Line as Row
from engine.view import View
from tui import turns, view, words
from tui.lines import Line, Lines, clean, cut_line, fill, wrapped

#: How a run ended, in words, with its role.
OUTCOMES = {"ok": ("DONE", "good"), "failed": ("NOT DONE", "red"), "stopped": ("STOPPED", "amber")}


def head(v: View, title: str, cells: int) -> Lines:
    """How it ended."""
    if v.end is None:
        return []
    word, role = OUTCOMES.get(v.end.outcome, (v.end.outcome.upper(), "amber"))
    return [cut_line(((f" {word} ", "key"), (f" {clean(title)}", "title")), cells), *wrapped(v.end.say, cells, role)]


def page(v: View, cells: int, unchecked: Sequence[str] = (), beyond: Sequence[tuple[str, Sequence[str]]] = ()) -> Lines:
    """The whole hand-over. `unchecked`: what was not checked, with the reason. `beyond`: further blocks (a
    rehearsal's)."""
    if v.end is None:
        return []
    out: Lines = []
    for title, sentences in beyond:
        out += [((f" {title} ", "key"),), *_listed(sentences, cells), ()]
    out += [((" AS FOUND, AS LEFT ", "key"),), *side_by_side(v, cells), ()]
    out += [((" CHANGED ", "key"),), *_listed(changed(v), cells, "Nothing was changed."), ()]
    out += [((" NOT CHECKED ", "key"),), *_listed(unchecked, cells, "Everything that was asked was checked."), ()]
    out += [((" FINDINGS THAT STAND ", "key"),), *view.findings(v, cells, 400, full=True), ()]
    out += [((" PARTS TO ORDER ", "key"),), *_listed(parts(v), cells, "None.")]
    return out


def _listed(sentences: Sequence[str], cells: int, none: str = "") -> Lines:
    if not sentences:
        return [((f"  {none}", "soft"),)]
    return [line for s in sentences for line in wrapped(s, cells, "ink", head=("  - ", "soft"), indent=4)]


def side_by_side(v: View, cells: int) -> Lines:
    """A line a reading or screw: as found on the left, as left on the right, place by place."""
    if v.end is None:
        return []
    names = [*v.end.as_found, *(n for n in v.end.as_left if n not in v.end.as_found)]
    if not names:
        return [(("  Nothing was recorded.", "soft"),)]
    label = min(24, max(len(words.plain(n)) for n in names) + 2)
    half = (cells - label - 4) // 2
    out: Lines = [(*fill((), label), *fill((("as found", "soft"),), half), ("  ", "ink"), ("as left", "soft"))]
    for name in names:
        found, left = v.end.as_found.get(name), v.end.as_left.get(name)
        a, b = _row(found), _row(left)
        unit = words.unit_word((left or found).unit) if (left or found) else ""
        alike = found is not None and left is not None and found.row == left.row
        left_side: Line = (*fill(((clean(words.plain(name)), "soft"),), label), *fill(((clean(a), "ink"),), half))
        right_side = fill(((clean(b), "ink" if alike else "strong"),), max(0, half - len(unit)))
        out.append(cut_line((*left_side, ("  ", "ink"), *right_side, (f" {unit}", "soft")), cells))
    return out


def _row(line: Row | None) -> str:
    if line is None:
        return "–"
    return "  ".join(_short(value, line.unit) for value in line.row)


def _short(value: Any, unit: str | None) -> str:
    if isinstance(value, Fraction) and unit not in ("turn", "flat"):
        return words.decimal(value, Fraction(1, 10) if abs(value) < 100 and value.denominator != 1 else None)
    return words.number(value, unit)


def changed(v: View) -> list[str]:
    """Parts that were fitted, and screws that stand elsewhere than they were found."""
    if v.end is None:
        return []
    out = []
    for row in v.screws:
        found, left = v.end.as_found.get(row.name), v.end.as_left.get(row.name)
        if found is None or left is None:
            continue
        before = dict(zip(found.places, found.row, strict=False))
        moved = [(p, before.get(p), value) for p, value in zip(left.places, left.row, strict=False)
                 if before.get(p) is not None and value is not None and before.get(p) != value]
        for place, old, new in moved:
            where = words.place(place, v.terms, row.each)
            out.append(f"{words.plain(row.name)}, {where}: from {words.number(old, row.unit)} to "
                       f"{words.with_unit(new, row.unit)}")
    fitted = [turns.Part(name, place, size) for (name, place), size in v.parts.items()]
    return [*(f"fitted {line}" for line in turns.fits(fitted, v.terms)), *out]


def parts(v: View) -> list[str]:
    """What the findings say is to be fitted, and where."""
    return [f"{view.suggestion(f)}: {words.places(f.where, v.terms)}" for f in v.findings if f.suggest is not None]


def unchecked(v: View) -> list[str]:
    """What was answered `not done ...` or not taken, as the trail has it."""
    out = []
    for mark in v.trail:
        for said in mark.said.split("; "):
            if said.startswith("not done"):
                out.append(f"{mark.title}: {said}")
    return out
