"""What a route is made of: stops, and the links between them; it draws nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Stop:
    """A step as it is drawn: `kind` says what leads on from it, `file` the file it calls, `outcome` how it ends."""

    name: str
    title: str
    kind: Literal["step", "call", "end"]
    file: str = ""
    outcome: str = ""
    visits: int | None = None


@dataclass(frozen=True, slots=True)
class Link:
    """A way on, with the words that stand on it: a guard, the end of a called file, `after n visits`."""

    source: str
    target: str
    label: str
    kind: Literal["way", "limit", "symptom"]


@dataclass(frozen=True, slots=True)
class Route:
    """A file as stops and links, the start first. `symptoms` are those of the whole file: where each leads, in
    words."""

    name: str
    title: str
    start: str
    stops: tuple[Stop, ...]
    links: tuple[Link, ...]
    symptoms: tuple[tuple[str, str], ...]
    #: The kits that it uses, each with the names that it takes from it.
    kits: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def out(self, name: str) -> list[Link]:
        """The links that leave a stop."""
        return [link for link in self.links if link.source == name]
