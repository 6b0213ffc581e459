"""Dangers of the work and the tools that bring them: each demands its caution; whoever meets another declares it."""

from __future__ import annotations

from engine.vocabulary.entries import Hazard

_PRACTICE = "common practice"

HAZARDS: tuple[Hazard, ...] = (
    Hazard(
        "fuel",
        "Petrol and its vapour.",
        ("auxiliary fuel tank", "fuel pressure gauge", "fuel drain"),
        _PRACTICE,
        "danger",
    ),
    Hazard(
        "fire",
        "What lights without petrol: sprays, gas, a backfire.",
        ("starting fluid", "brake cleaner", "carburettor cleaner", "propane", "gas torch", "welding set"),
        _PRACTICE,
        "warning",
    ),
    Hazard("hot", "Exhaust, coolant and metal that burn.", source=_PRACTICE),
    Hazard("high voltage", "The ignition's secondary side.", (), _PRACTICE, "warning"),
    Hazard("road load", "Driving, on a road or a dynamometer.", ("rolling road", "dynamometer"), _PRACTICE, "danger"),
    Hazard("lifted vehicle", "Work beneath what could come down.", ("vehicle lift", "jack"), _PRACTICE, "danger"),
)
