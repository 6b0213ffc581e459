"""Operators on kits: a declaration taken out, misnamed or changed in a word, seen by whatever file takes it over."""

from __future__ import annotations

from mutant_operators import Made, anywhere
from mutant_text import Text
from mutant_work import finer, misworded, said_otherwise, too_mild, turned_round

from engine.procedure.source.tree import Map, Scalar, Seq
from engine.quantity.units import UNITS

#: The sections whose names files mention.
NAMED = ("facts", "settings", "readings", "values", "screws", "words", "cautions", "symptoms")


def _entries(t: Text, *sections: str) -> list[tuple[str, Scalar, Map]]:
    return [(s, name, entry) for s in sections for name, entry in (t.tree.get(s) or {}).items()]


def dropped(t: Text, steps: Map) -> Made:
    """A declaration taken out of a kit: who takes it over misses it."""
    for section, name, _ in _entries(t, *NAMED):
        codes = (
            "missing-key",
            "wrong-shape",
            "bad-placeholder",
            "missing-caution",
            "mild-caution",
            "unknown-word",
            "wrong-binding",
        )
        unknown = tuple(f"unknown-{w}" for w in ("name", "screw", "reading", "symptom", "caution", "finding"))
        new = t.without_key(t.tree[section], name) or t.without_key(t.tree, section)
        yield "kit: drop", name.span.line, new, anywhere(*codes, *unknown), False, f"{section}: {name}"


def misnamed(t: Text, steps: Map) -> Made:
    """A declaration whose name is misspelt in the kit."""
    for section, name, _ in _entries(t, "facts", "settings", "readings", "screws", "words"):
        right = anywhere("unknown-name", "unknown-screw", "unknown-reading", "bad-placeholder", "wrong-binding")
        yield "kit: misname", name.span.line, t.put(name.span, f"{name}z"), right, False, f"{section}: {name}"


def units(t: Text, steps: Map) -> Made:
    """A unit of a reading, screw or setting swapped for one of another kind."""
    for section, name, entry in _entries(t, "readings", "screws"):
        unit = entry.get("unit")
        if isinstance(unit, Scalar) and unit in UNITS:
            other = "mm" if UNITS[unit].dimension != "length" else "rpm"
            right = anywhere("unit-mismatch", "wrong-binding", "unknown-word")
            yield "kit: unit", unit.span.line, t.put(unit.span, other), right, False, f"{section}: {name}"


def answers(t: Text, steps: Map) -> Made:
    """An answer that files ask for, in other words."""
    for section, name, entry in _entries(t, "readings", "facts"):
        for choice in entry.get("choices") or Seq() if isinstance(entry, Map) else ():
            right = anywhere("unknown-choice", "never-true", "incomplete-table", "unknown-fact", "uncovered-reading")
            new = t.put(choice.span, f"{choice}s")
            yield "kit: answer", choice.span.line, new, right, False, f"{section}: {name}"


def rows(t: Text, steps: Map) -> Made:
    """A row laid out otherwise, and a row that may lack places where nobody has thought of it."""
    for section, name, entry in _entries(t, "readings", "screws"):
        each = entry.get("each")
        if isinstance(each, Scalar):
            other = "carb" if each == "barrel" else "barrel"
            right = anywhere(
                "wrong-binding",
                "missing-key",
                "rows-dont-fit",
                "place-mismatch",
                "screw-mismatch",
                "row-not-single",
                "single-not-row",
            )
            yield "kit: row", each.span.line, t.put(each.span, other), right, False, f"{section}: {name}"


KIT = (dropped, misnamed, units, answers, rows, said_otherwise, too_mild, finer, misworded, turned_round)
