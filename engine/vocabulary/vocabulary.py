"""The vocabulary in force: the trade's words, and what a file, a kit or a shop's folder declares beside them.

It is data with look-ups. It reads no file and judges none; a word that is not in it was declared by nobody.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TypeVar

from engine.vocabulary.entries import (
    AirScrew,
    Band,
    Family,
    Hazard,
    Instrument,
    MixtureScrew,
    Quantity,
    StateKey,
)
from engine.vocabulary.families import FAMILIES
from engine.vocabulary.hazards import HAZARDS
from engine.vocabulary.instruments import INSTRUMENTS
from engine.vocabulary.quantities import QUANTITIES
from engine.vocabulary.screws import AIR_SCREWS, ALSO_CALLED, MIXTURE_SCREWS
from engine.vocabulary.states import STATES

E = TypeVar("E", StateKey, Quantity, Hazard, Family, MixtureScrew, AirScrew, Instrument)


def _named(entries: Iterable[E]) -> Mapping[str, E]:
    return {entry.name: entry for entry in entries}


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """Words by name: what is not here was declared by nobody."""

    states: Mapping[str, StateKey]
    quantities: Mapping[str, Quantity]
    hazards: Mapping[str, Hazard]
    families: Mapping[str, Family]
    mixture_screws: Mapping[str, MixtureScrew]
    air_screws: Mapping[str, AirScrew]
    instruments: Mapping[str, Instrument]

    @property
    def dangerous_tools(self) -> dict[str, str]:
        """Tools that are a hazard by themselves, and which."""
        return {tool: hazard.name for hazard in self.hazards.values() for tool in hazard.tools}

    @property
    def dangerous_states(self) -> dict[str, str]:
        """States that kill by themselves, as `key: word`, and with what."""
        return {f"{s.name}: {word}": what for s in self.states.values() for word, what in s.dangers.items()}

    def with_more(
        self,
        states: Iterable[StateKey] = (),
        quantities: Iterable[Quantity] = (),
        hazards: Iterable[Hazard] = (),
        families: Iterable[Family] = (),
        mixture_screws: Iterable[MixtureScrew] = (),
    ) -> Vocabulary:
        """This vocabulary with what is declared beside it. A declared word outranks one of the same name, but never
        takes away what that demands: its dangers, its tools, the state it needs, its hazard.
        """
        return replace(
            self,
            states={**self.states, **{s.name: _state(self.states.get(s.name), s) for s in states}},
            quantities={**self.quantities, **{q.name: _quantity(self.quantities.get(q.name), q) for q in quantities}},
            hazards={**self.hazards, **{h.name: _hazard(self.hazards.get(h.name), h) for h in hazards}},
            families={**self.families, **_named(families)},
            mixture_screws={**self.mixture_screws, **_named(mixture_screws)},
        )

    def band(self, screw: str | None) -> Band | None:
        """The band of a kind of mixture screw; None where the kind is not known or has none (a jet nut)."""
        found = self.mixture_screws.get(mixture_screw_name(screw or ""))
        return found.band if found is not None else None


def mixture_screw_name(said: str) -> str:
    """The vocabulary's name of a kind of mixture screw that is also called otherwise; any other word as it is."""
    word = " ".join(said.split())
    return ALSO_CALLED.get(word, word)


def _state(known: StateKey | None, declared: StateKey) -> StateKey:
    if known is None:
        return declared
    choices = tuple(dict.fromkeys((*known.choices, *declared.choices)))
    return replace(known, choices=choices, dangers={**declared.dangers, **known.dangers})


def _quantity(known: Quantity | None, declared: Quantity) -> Quantity:
    if known is None:
        return declared
    return replace(declared, needs=known.needs or declared.needs, hazard=known.hazard or declared.hazard)


def _hazard(known: Hazard | None, declared: Hazard) -> Hazard:
    return declared if known is None else replace(known, tools=(*known.tools, *declared.tools))


#: The trade's own words.
SHIPPED = Vocabulary(
    _named(STATES),
    _named(QUANTITIES),
    _named(HAZARDS),
    _named(FAMILIES),
    _named(MIXTURE_SCREWS),
    _named(AIR_SCREWS),
    _named(INSTRUMENTS),
)
