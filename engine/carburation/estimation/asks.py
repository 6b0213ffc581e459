"""What the estimation and the policy take of an adviser's typed inputs, so that a type checker holds both to it; it
reads nothing.

An adviser's own class of inputs has these fields, and what it doesn't declare can't be asked for here.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Protocol

from engine.evidence import Place, ReadingView, ScrewView


class Here(Protocol):
    """The place that a file is called for."""

    @property
    def here(self) -> Place | None: ...


class Least(Protocol):
    """Differences within which everything is good, by quantity."""

    @property
    def least_flow(self) -> Fraction | None: ...
    @property
    def least_depression(self) -> Fraction | None: ...


class Tolerances(Least, Protocol):
    """How far a place may lie from the mean."""

    @property
    def tolerance(self) -> Fraction: ...


class AirOfBank(Here, Tolerances, Protocol):
    """A row of the gauge, and the air screws of the whole bank."""

    @property
    def flow(self) -> ReadingView: ...
    @property
    def speed(self) -> ReadingView | None: ...
    @property
    def screw(self) -> ScrewView | None: ...
    @property
    def coupling(self) -> ScrewView | None: ...
    @property
    def bypass(self) -> ScrewView | None: ...
    @property
    def master(self) -> Fraction | None: ...


class AirMoved(Here, Protocol):
    """The air screws whose turns lean or enrich a barrel."""

    @property
    def air(self) -> ScrewView | None: ...
    @property
    def coupling(self) -> ScrewView | None: ...
    @property
    def bypass(self) -> ScrewView | None: ...


class MixtureScrews(AirMoved, Protocol):
    """The mixture screws, and what moved the air."""

    @property
    def screw(self) -> ScrewView: ...


class MixtureMoves(MixtureScrews, Protocol):
    """What bounds the moves of the mixture screws."""

    @property
    def high(self) -> Fraction | None: ...
    @property
    def sweep(self) -> Fraction | None: ...
    @property
    def target(self) -> Fraction | None: ...


class Checked(Protocol):
    """What was looked into, barrel by barrel."""

    @property
    def leak(self) -> tuple[bool | None, ...] | None: ...
    @property
    def hole_uncovered(self) -> tuple[bool | None, ...] | None: ...
    @property
    def level(self) -> ReadingView | None: ...
