"""What the guards and texts of one frame read at one moment: its names, and the screws where they stand then; it
decides nothing.

A name that was never given is absent, which a guard takes for missing, as it does a place that was not taken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from engine.evidence import Place

if TYPE_CHECKING:
    from engine.run.layout import FilePlan
    from engine.run.state import Frame, Positions

Names = dict[str, Any]


class Scope(NamedTuple):
    """`names` holds what the frame knows and, under the names that guards use for them, the positions of its screws."""

    file: FilePlan
    here: Place | None
    positions: Positions
    names: Names


def began(file: FilePlan, here: Place | None) -> Names:
    """The names that a frame begins with: facts, settings, parameters, and the place that is `here`, in words."""
    names = dict(file.base)
    if here is not None:
        names["here"] = file.place_words(here)
    return names


def scope(frame: Frame, positions: Positions) -> Scope:
    """What a frame reads with the screws at these positions; its names are a copy to work on."""
    file, here, names = frame.at.file, frame.here, frame.names.copy()
    for key, screw, places, single, (low, high) in file.position_keys(here):
        row = tuple([positions.get((screw, p)) for p in places])
        # What was counted on past its stop stands there.
        if positions and any(v is not None and not low <= v <= high for v in row):
            row = tuple([None if v is None else min(max(v, low), high) for v in row])
        # Of a screw that is not fitted nothing is known, as of one whose count is lost.
        names[key] = None if not row else row[0] if single else row
    return Scope(file, here, positions, names)
