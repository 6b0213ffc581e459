"""What a shop mends on the spot when it is found, in a trial: leaks, levels, links, pistons, dead screws; never a jet,
a plate or a cylinder. It takes checks as they were heard and mends what is really there; it decides no way on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from engine.bench.plant import gauges, inspections
from engine.bench.plant.engine import VirtualEngine

_LEAKS = ("manifold leak", "spindle leak", "worn spindle")
_LEVELS = ("low fuel level", "high fuel level")
_DEAD = ("dead mixture screw", "broken screw tip")
#: A reading's quantity -> kinds of faults that are mended where it was not healthy.
BY_QUANTITY: Mapping[str, tuple[str, ...]] = {
    "air leak": _LEAKS,
    "nudge test": ("spindle leak", "worn spindle"),
    "fuel level": _LEVELS,
    "float level": _LEVELS,
    "damper oil": ("low damper oil",),
    "piston fall": ("sticking piston",),
    "piston drop": ("sticking piston",),
    "throttle return": ("sticking plate", "linkage preload"),
    "linkage play": ("linkage preload",),
    "linkage free play": ("linkage preload",),
    "linkage": ("linkage preload", "uneven linkage"),
    "starting device": ("starter stuck open",),
    "ignition timing": ("retarded ignition", "early advance"),
    "valve clearance": ("tight valve",),
    "screw tip": _DEAD,
    "screw answers": _DEAD,
}
#: What is put right in the same breath as it is seen: a dry damper is filled.
AT_ONCE = frozenset({"damper oil"})
#: A word in the code of a finding -> the same.
BY_CODE: Mapping[str, tuple[str, ...]] = {
    "leak": _LEAKS,
    "spindle-worn": _LEAKS,
    "worn-spindle": _LEAKS,
    "level": _LEVELS,
    "damper": ("low damper oil",),
    "piston": ("sticking piston",),
    "link": ("linkage preload", "uneven linkage"),
    "apart": ("uneven linkage",),
    "start": ("starter stuck open",),
    "ignition-retarded": ("retarded ignition",),
    "advance": ("early advance",),
    "tight-valve": ("tight valve",),
    "not-answer": _DEAD,
    "dead-screw": _DEAD,
}
#: Further off than this a level is set, mm [common practice: bodies alike within 1 mm].
LEVEL_OFF = 0.75


def at(engine: VirtualEngine, kinds: Sequence[str], rows: Sequence[int]) -> bool:
    """Mend the faults of these kinds that touch the barrels `rows` (indices); whether there was one."""
    found = False
    for fault in engine.faults:
        if fault.kind in kinds and fault not in engine.mended and any(engine.hits(fault, b) for b in rows):
            engine.mended.add(fault)
            found = True
    if found:
        engine.reset()
    return found


def of_findings(engine: VirtualEngine, findings: Sequence[Mapping[str, Any]]) -> bool:
    """Mend what these findings (of a step message) tell of, where it is really there; whether a shop mends such."""
    could = False
    for finding in findings:
        kinds = next((k for word, k in BY_CODE.items() if word in finding["code"]), None)
        if kinds is not None and finding["severity"] != "note":
            could = True
            at(engine, kinds, rows_of(engine, finding["where"]))
    return could


def rows_of(engine: VirtualEngine, where: Sequence[Mapping[str, Any]]) -> list[int]:
    """The barrels (row indices) of the places of a finding; all where it has none."""
    per, shared = engine.per_carb, engine.job.bank.cylinders_per_barrel
    rows: list[int] = []
    for place in where:
        if place.get("cylinder"):
            rows.append(min((place["cylinder"] - 1) // shared, engine.barrels - 1))
        elif place.get("carb"):
            first = (place["carb"] - 1) * per
            rows += [first + place["barrel"] - 1] if place.get("barrel") else range(first, first + per)
    return rows or list(range(engine.barrels))


def look_over(engine: VirtualEngine) -> None:
    """What anybody does before he tunes: mist the joints, measure levels, try the pistons; what he finds, he mends."""
    was = dict(engine.state)
    engine.set_state({"engine": "running", "hold": engine.body.target})
    wolf = inspections.cries_wolf(engine, "air leak", engine.barrels)
    for b in range(engine.barrels):
        if inspections.choose(engine, "air leak", [b], ("no", "yes"), "no", wolf == b) == "yes":
            at(engine, _LEAKS, [b])
    for carb in range(engine.carbs):
        rows = list(range(carb * engine.per_carb, (carb + 1) * engine.per_carb))
        if abs(gauges.one(engine, "fuel level", rows)) > LEVEL_OFF:
            at(engine, _LEVELS, rows)
        at(engine, ("low damper oil", "sticking piston"), rows)
    engine.set_state(was)
