"""The names that a guard reads, as one frame has them: readings, kept values, advice, facts, settings and positions.

They are a plain dict, changed only while a step is being worked out; afterwards shared and left alone. A name that was
never given is absent, which a guard takes for missing, as it does a place that was not taken.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from engine.evidence import Place

if TYPE_CHECKING:
    from engine.run.layout import FilePlan
    from engine.run.state import Positions

Names = dict[str, Any]

#: Under this name stand the file, the place that is `here`, and the positions that the names were last given.
GROUND = "#ground"


def named(file: FilePlan, here: Place | None, positions: Positions) -> Names:
    """The names that a frame begins with."""
    names = dict(file.base)
    names[GROUND] = (file, here, positions)
    if here is not None:
        names["here"] = file.place_words(here)
    _place_screws(names)
    return names


def again(names: Names, positions: Positions) -> Names:
    """A copy to work on, with the screws where they stand now."""
    copy = names.copy()
    file, here, known = names[GROUND]
    if known is not positions:
        copy[GROUND] = (file, here, positions)
        _place_screws(copy)
    return copy


def bound(names: Names, positions: Positions) -> Names:
    """The same names with the screws where they stand now: themselves, if nothing was turned since."""
    return names if names[GROUND][2] is positions else again(names, positions)


def file_of(names: Names) -> FilePlan:
    """The file that these are the names of."""
    return names[GROUND][0]


def here_of(names: Names) -> Place | None:
    """The place that their frame is about, where its file is called once a place."""
    return names[GROUND][1]


def _place_screws(names: Names) -> None:
    """Give each screw's position: a row, or one value for a bank's one screw and where the file works at one place."""
    file, here, positions = names[GROUND]
    for key, screw, places, single in file.position_keys(here):
        row = tuple([positions.get((screw, p)) for p in places])
        names[key] = row if not single else row[0] if row else None
