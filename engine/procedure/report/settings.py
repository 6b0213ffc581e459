"""Every setting of a set of files, with what is in force and where that comes from; it prints nothing and runs none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from engine.contract import Registry
from engine.job.model import Job
from engine.procedure.build.facts import value_of
from engine.procedure.build.load import load
from engine.procedure.program import Procedure, Setting
from engine.quantity.chosen import CHOOSABLE, ChosenUnits
from engine.quantity.measure import of_base
from engine.quantity.units import UNITS, NotAQuantity, from_base
from engine.quantity.wording import with_unit
from engine.vocabulary.sources import cited
from engine.vocabulary.vocabulary import SHIPPED


@dataclass(frozen=True, slots=True)
class Row:
    """One setting: `values` by the choice of a fact ("" for a single one), in words, each with who gave it."""

    file: str
    name: str
    unit: str
    range: str
    values: tuple[tuple[str, str, str], ...]
    source: str


def files_of(paths: Iterable[Path], search: Sequence[Path], advisers: Registry) -> dict[str, Procedure]:
    """Every sound file among paths, with all that they call, by name."""
    found: dict[str, Procedure] = {}
    for path in paths:
        if path.stem not in found:
            program = load(path, search, advisers).program
            for name, procedure in program.files.items() if program is not None else ():
                found.setdefault(name, procedure)
    return found


def rows(files: Mapping[str, Procedure], shop: Mapping[str, Any], job: Job | None = None) -> list[Row]:
    """The settings of files by file and name. `shop` and the job outrank the file, in that order."""
    layers = (("shop", shop), ("job", job.settings if job is not None else {}))
    return [_row(p, s, layers, job) for _, p in sorted(files.items()) for _, s in sorted(p.settings.items())]


def _row(
    procedure: Procedure, setting: Setting, layers: Sequence[tuple[str, Mapping[str, Any]]], job: Job | None
) -> Row:
    kind = setting.type
    measure = of_base(kind.unit, kind.low, kind.high)
    values = tuple((choice, with_unit(from_base(v, measure.unit), measure.unit), "file") for choice, v in _own(setting))
    fact = procedure.facts.get(setting.by or "")
    if job is not None and fact is not None:
        known = value_of(fact, job, judged=False)
        chosen = {True: "holds", False: "holds_not"}.get(known, known) if isinstance(known, bool) else known
        values = tuple(v for v in values if v[0] == chosen) or values
    for origin, layer in layers:
        for key in (setting.name, f"{procedure.name}.{setting.name}"):
            if key in layer:
                try:
                    said = with_unit(measure.typed(str(layer[key])), measure.unit)
                except NotAQuantity as fault:
                    said = f"{layer[key]}: can't be used. {fault}"
                values = (("", said, origin),)
    return Row(procedure.name, setting.name, measure.unit, measure.span(), values, cited(setting.source))


def _own(setting: Setting) -> list[tuple[str, Fraction]]:
    if setting.by is None:
        assert setting.value is not None
        return [("", setting.value)]
    return list(setting.table.items())


def as_text(found: Iterable[Row]) -> str:
    """The settings as lines: value, who gave it, what it may be, and the source of the file's own."""
    lines: list[str] = []
    file = ""
    for row in found:
        if row.file != file:
            file = row.file
            lines += ["", f"{file}:"] if lines else [f"{file}:"]
        for choice, said, origin in row.values:
            name = f"{row.name} ({choice})" if choice else row.name
            lines.append(f"  {name:<32} {said:<14} from the {origin:<5} {row.range:<20} {row.source}".rstrip())
    return "\n".join(lines) + "\n"


def units_as_text(chosen: ChosenUnits) -> str:
    """The units that are shown and typed, as lines: what is chosen for, which unit, who says so, what it may be."""
    lines = ["units:"]
    for name in (*CHOOSABLE, *(n for n in chosen.by if n not in CHOOSABLE)):
        quantity = SHIPPED.quantities.get(name)
        dimension = UNITS[quantity.unit].dimension if quantity is not None and quantity.unit else name
        said = chosen.by.get(name, "as the file says")
        origin = "shop" if name in chosen.by else "file"
        lines.append(f"  {name:<32} {said:<14} from the {origin:<5} {', '.join(CHOOSABLE[dimension])}")
    return "\n".join([*lines, ""])


def schema(files: Mapping[str, Procedure]) -> dict[str, Any]:
    """The JSON Schema of a shop's `settings.yaml`: every name, with what it may be and where the file's own is from."""
    entries: dict[str, Any] = {}
    for name, procedure in sorted(files.items()):
        for key, setting in sorted(procedure.settings.items()):
            kind = setting.type
            span = of_base(kind.unit, kind.low, kind.high).span()
            about = {"type": ["string", "number"], "description": f"{span}. {cited(setting.source)}"}
            entries.setdefault(key, about)
            entries[f"{name}.{key}"] = {**about, "description": f"For {name} alone: {about['description']}"}
    return {
        "$schema": "http://json-schema.org/draft-07/schema#",
        "title": "Evendraw settings of a shop",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            "shop": {"type": "object", "description": "What the shop says of itself."},
            "units": _units(),
            **entries,
        },
    }


def _units() -> dict[str, Any]:
    """The schema of `units`: by dimension, or by quantity, which outranks it."""
    by = {name: list(units) for name, units in CHOOSABLE.items()}
    for quantity in SHIPPED.quantities.values():
        if quantity.unit and (dimension := UNITS[quantity.unit].dimension) in CHOOSABLE:
            by[quantity.name] = list(CHOOSABLE[dimension])
    return {
        "type": "object",
        "description": "The units that are shown and typed, by dimension or by quantity, which outranks it.",
        "additionalProperties": False,
        "properties": {name: {"enum": units} for name, units in by.items()},
    }
