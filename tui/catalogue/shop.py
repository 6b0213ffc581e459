"""Where a shop keeps things, as the screen needs to know it; it opens nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from engine.quantity.chosen import ChosenUnits


@dataclass(frozen=True)
class Shop:
    """Where this shop keeps things. `procedures` are folders searched in order: the shop's own outrank the shipped
    ones.

    `book`: the job book. `jobs`: where job files are written. `settings`: the shop's values of procedure settings.
    """

    book: Path
    procedures: tuple[Path, ...] = ()
    jobs: Path = Path("jobs")
    settings: Mapping[str, Any] = field(default_factory=dict)
    #: What the shop says of itself: name, address, telephone, note, paper, whether the bell rings, and how often
    #: a danger is asked.
    header: Mapping[str, str] = field(default_factory=dict)
    #: The units that it is shown and types.
    units: ChosenUnits = field(default_factory=ChosenUnits)
