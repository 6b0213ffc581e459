"""Settings that go in pairs, one never above the other: told by their names and by the bands of screws; it refuses
nothing itself."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from engine.procedure.language.expr import Name
from engine.procedure.program import Procedure, Setting

#: What the names of a pair end, or begin, in: the lesser first. Rich and lean turn round with what they are said of.
_ENDS = (("_low", "_high"), ("_least", "_most"), ("_min", "_max"), ("_from", "_to"), ("_rich", "_lean"))
_HEADS = (("least_", "most_"), ("min_", "max_"), ("low_", "high_"), ("lowest_", "highest_"))
#: Said of these, rich is more, not less.
_MORE_IS_RICH = frozenset({"%", "ppm"})


def pairs(procedure: Procedure) -> Iterator[tuple[Setting, Setting]]:
    """The settings of a file that belong in order, each lesser one with its greater one."""
    settings = procedure.settings
    found: dict[tuple[str, str], None] = {}
    for name, other in named(settings):
        turned = name.endswith("_rich") and settings[name].type.unit in _MORE_IS_RICH
        found[(other, name) if turned else (name, other)] = None
    for screw in procedure.screws.values():
        if screw.band and all(isinstance(end.node, Name) for end in screw.band):
            found[screw.band[0].text.strip(), screw.band[1].text.strip()] = None
    for advise in (a for step in procedure.steps.values() for a in step.advise):
        for low, high in named(advise.bindings):
            ends = [advise.bindings[n].guard for n in (low, high)]
            if all(end is not None and isinstance(end.node, Name) for end in ends):
                found[ends[0].text.strip(), ends[1].text.strip()] = None  # type: ignore[union-attr]
    for a, b in found:
        if a in settings and b in settings and settings[a].type.dimension == settings[b].type.dimension:
            yield settings[a], settings[b]


def named(names: Collection[str]) -> Iterator[tuple[str, str]]:
    """Those of some names that go in pairs by what they are called, each lesser one with its greater one."""
    for name in names:
        pairs = [(name, name.removesuffix(low) + high) for low, high in _ENDS if name.endswith(low)]
        pairs += [(name, high[1:]) for low, high in _ENDS if name == low[1:]]
        pairs += [(name, high + name.removeprefix(low)) for low, high in _HEADS if name.startswith(low)]
        yield from ((a, b) for a, b in pairs if b in names)
