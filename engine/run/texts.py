"""A file's texts with their places filled in; it knows no screen and no file format."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import Any

from engine.evidence import Place
from engine.procedure.program import Template
from engine.quantity.chosen import ChosenUnits
from engine.quantity.units import UNITS
from engine.quantity.wording import quantity
from engine.run.scope import Names, Scope

_WORD = re.compile(r"\{(\w+)\}")


def said(text: str, names: Names) -> str:
    """A text that holds no value of the run: only `{here}`, the place that it is about, and the file's words."""
    return _WORD.sub(lambda m: str(names.get(m.group(1), "")), text) if "{" in text else text


def render(
    template: Template | None, scope: Scope, only: Collection[Place] = (), chosen: ChosenUnits | None = None
) -> str:
    """A text with its places filled in; `only` keeps of each row the places that a finding concerns; `chosen`: the
    units that a shop is shown."""
    if template is None:
        return ""
    return "".join(p if isinstance(p, str) else _filled(p, scope, only, chosen) for p in template.parts).strip()


def _filled(part: tuple[Any, str | None], scope: Scope, only: Collection[Place], chosen: ChosenUnits | None) -> str:
    guard, unit = part
    value = guard.run(scope.names)
    kind = guard.type
    if isinstance(value, tuple) and only:
        row = scope.file.plan.bank.places(kind.each, scope.here)
        kept = tuple(v for v, p in zip(value, row, strict=False) if p in only)
        value = kept if len(kept) > 1 else kept[0] if kept else value
    shown = unit if unit is not None else kind.unit
    known = shown if shown in UNITS and shown else None
    return quantity(value, known if chosen is None else chosen.unit(known))
