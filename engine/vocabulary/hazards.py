"""What the checks know of the trade, as data: which quantities need a running engine, what demands a caution; no logic.

Every entry is common practice [common practice]: a gauge on a dead engine reads nothing, a feeler gauge on a live
one takes fingers. A quantity that is not listed may be read either way. A family of another trade simply uses none
of these words."""

from __future__ import annotations

from collections.abc import Mapping

#: The key of `state` that says whether the engine runs, and its words.
ENGINE, RUNNING, STOPPED = "engine", "running", "stopped"

#: Quantities that are there only while the engine runs.
NEED_RUNNING = frozenset(
    {
        "airflow",
        "depression",
        "engine speed",
        "speed drop",
        "lambda",
        "CO",
        "HC",
        "CO2",
        "O2",
        "ignition timing",
        "dwell",
        "charging voltage",
    }
)

#: Quantities that are taken on a stopped engine (cranked on the starter at most).
NEED_STOPPED = frozenset(
    {
        "compression",
        "leak-down",
        "valve clearance",
        "throttle return",
        "full throttle",
        "linkage play",
        "piston fall",
        "idle jet size",
        "main jet size",
        "plug colour",
    }
)

#: States that kill by themselves, and with what: each demands a caution with the word `danger`.
DANGEROUS_STATES: Mapping[str, str] = {
    f"{ENGINE}: {RUNNING}": "exhaust gas and moving parts",
}

#: What a quantity is taken from, where that is a hazard: the step must name it.
HAZARDS_OF_QUANTITIES: Mapping[str, str] = {
    "fuel pressure": "fuel",
    "fuel level": "fuel",
    "float level": "fuel",
    "fuel in the bowl": "fuel",
    "spark": "high voltage",
}

#: Tools that are a hazard by themselves; each demands a caution of its own name or of one of these hazards.
DANGEROUS_TOOLS: Mapping[str, str] = {
    "starting fluid": "fire",
    "brake cleaner": "fire",
    "carburettor cleaner": "fire",
    "propane": "fire",
    "gas torch": "fire",
    "welding set": "fire",
    "auxiliary fuel tank": "fuel",
    "fuel pressure gauge": "fuel",
    "rolling road": "road load",
    "dynamometer": "road load",
    "vehicle lift": "lifted vehicle",
    "jack": "lifted vehicle",
}
