"""The phases of the work, in their order, as data: where in a routine a step belongs; no logic.

A family of another trade may name its own."""

from __future__ import annotations

#: Phase -> one line on what belongs there.
PHASES: dict[str, str] = {
    "as found": "hot, nothing touched: what the engine does as it came in",
    "checks": "what must be sound before a screw is turned: valves, compression, ignition, fuel, leaks",
    "preset": "zero and starting positions, engine off",
    "air": "the same air through every barrel, and the speed",
    "mixture": "the mixture of every barrel, and the air again where it moved",
    "jets": "what the screws' resting places say of the jets",
    "linkage": "the linkage coupled, full throttle full, home by its own spring",
    "beyond idle": "progression, pump, main circuit under load",
    "hand-over": "lock nuts, last readings, what was done and what was not",
}
