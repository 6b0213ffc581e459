"""How things may stand at an engine: the keys of `state` with their words; whoever needs another declares it."""

from __future__ import annotations

from engine.vocabulary.entries import StateKey

#: The key that says whether the engine runs, its words, and the key that takes a speed to hold.
ENGINE, RUNNING, STOPPED = "engine", "running", "stopped"
HOLD, NONE = "hold", "none"

_PRACTICE = "common practice"

STATES: tuple[StateKey, ...] = (
    StateKey(
        ENGINE,
        (RUNNING, STOPPED),
        "Whether the engine runs.",
        {RUNNING: "exhaust gas and moving parts"},
        source=_PRACTICE,
    ),
    StateKey("pedal_link", ("on", "off"), "The rod or cable from the pedal to the bank.", source=_PRACTICE),
    StateKey("coupling", ("on", "off"), "What couples the spindles of the bodies.", source=_PRACTICE),
    StateKey("starter", ("shut", "open"), "The starting device of every body.", source=_PRACTICE),
    StateKey(
        "take_offs",
        ("refitted", "plugged", "pinched"),
        "The vacuum take-offs that spoil a gauge reading.",
        source=_PRACTICE,
    ),
    StateKey(HOLD, (NONE,), "A speed held by hand at the pedal or cross-shaft.", unit="rpm", source=_PRACTICE),
)
