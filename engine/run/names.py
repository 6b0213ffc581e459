"""The names that a guard reads, as one frame has them: readings, kept values, advice, facts, settings and positions."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from engine.evidence import Place

if TYPE_CHECKING:
    from engine.run.plan import FilePlan
    from engine.run.state import Positions


class Names(dict[str, Any]):
    """Names of one frame. Changed only while a step is being worked out; afterwards shared and left alone.

    A name that was never given is absent, which a guard takes for missing, as it does a place that was not taken.
    """

    __slots__ = ("ground",)

    #: The file, the place that is `here`, and where the screws stand.
    ground: tuple[FilePlan, Place | None, Positions]


def named(file: FilePlan, here: Place | None, positions: Positions) -> Names:
    """The names that a frame begins with."""
    names = Names(file.base)
    names.ground = (file, here, positions)
    if here is not None:
        names["here"] = file.place_words(here)
    _place_screws(names)
    return names


def again(names: Names, positions: Positions) -> Names:
    """A copy to work on, with the screws where they stand now."""
    copy = Names(names)
    ground = names.ground
    if ground[2] is positions:
        copy.ground = ground
    else:
        copy.ground = (ground[0], ground[1], positions)
        _place_screws(copy)
    return copy


def bound(names: Names, positions: Positions) -> Names:
    """The same names with the screws where they stand now: themselves, if nothing was turned since."""
    return names if names.ground[2] is positions else again(names, positions)


def _place_screws(names: Names) -> None:
    """Give each screw's position: a row, or a single value for a bank's one screw and where the file works at one place."""
    file, here, positions = names.ground
    for key, screw, places, single in file.position_keys(here):
        row = tuple([positions.get((screw, p)) for p in places])
        names[key] = row if not single else row[0] if row else None
