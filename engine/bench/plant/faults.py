"""The hidden faults of a virtual engine by their plain names: what each is, where it sits and how big it may be."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Fault:
    """One hidden fault. `carb` from 1 along the bank, `barrel` from 1 within its carb, None for the whole of it.

    `size` is in the unit of its kind: jet sizes of 5, degrees, mm2, mm, a share of torque or of a reading.
    """

    kind: str
    carb: int | None = None
    barrel: int | None = None
    size: float = 0.0


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of fault: the place it sits at, the sizes a draw may give, and what it is in words, after its place."""

    at: Literal["engine", "carb", "barrel", "cylinder", "gap"]
    low: float
    high: float
    unit: str
    says: str
    either_way: bool = False


KINDS: dict[str, Kind] = {
    "wrong jets": Kind("engine", 1, 1, "sizes", "the idle jets are a size wrong on every barrel", True),
    "wrong jet": Kind("barrel", 1, 2, "sizes", "the idle jet is the wrong size", True),
    "mis-drilled jet": Kind("barrel", 1, 2, "sizes", "the idle jet passes other fuel than its number says", True),
    "dirty jet": Kind("barrel", 0.62, 0.80, "share let through", "the idle jet is dirty"),
    "plate out of step": Kind("carb", 0.1, 0.3, "deg", "the second plate is out of step", True),
    "twisted spindle": Kind("carb", 0.3, 0.6, "deg", "the throttle spindle is twisted", True),
    "manifold leak": Kind("barrel", 0.1, 0.5, "mm2", "air leaks in at the manifold joint"),
    "spindle leak": Kind("barrel", 0.05, 0.3, "mm2", "air leaks in past the throttle spindle"),
    "worn spindle": Kind("carb", 0.1, 0.3, "mm2", "the spindle bearings are worn, so it leaks and shifts when nudged"),
    "low fuel level": Kind("carb", 1, 4, "mm", "the fuel stands too low"),
    "high fuel level": Kind("carb", 1, 4, "mm", "the fuel stands too high"),
    "weak cylinder": Kind("cylinder", 0.75, 0.93, "share of torque", "its cylinder gives less than its torque"),
    "tight valve": Kind("cylinder", 0.80, 0.92, "share of torque", "an inlet valve of its cylinder has no clearance"),
    "retarded ignition": Kind("engine", 6, 12, "deg", "the ignition is retarded at idle"),
    "early advance": Kind("engine", 4, 8, "deg", "the advance comes in at idle, so the speed hunts"),
    "disturbed gauge point": Kind("barrel", 0.06, 0.14, "share", "a take-off beside it spoils its reading", True),
    "linkage preload": Kind("carb", 0.35, 0.8, "deg", "the pedal link holds it off its stop"),
    "uneven linkage": Kind("carb", 0.2, 0.5, "deg", "it picks up late when the pedal opens"),
    "sticking plate": Kind("carb", 0.3, 0.7, "deg", "the plates do not snap shut"),
    "dead speed screw": Kind("carb", 1, 1, "", "the speed screw turns and does nothing"),
    "broken screw tip": Kind("barrel", 1, 1, "", "the tip of the mixture screw has broken off in its seat"),
    "dead mixture screw": Kind("barrel", 0.75, 1.15, "share of fuel", "the mixture screw turns and changes nothing"),
    "starter stuck open": Kind("carb", 0.3, 0.6, "share of fuel", "the starting device does not shut"),
    "sticking piston": Kind("carb", 1, 1, "", "the piston hangs"),
    "low damper oil": Kind("carb", 1, 1, "", "the damper is dry"),
    "weak pump": Kind("barrel", 0.3, 0.6, "share of stroke", "the acceleration pump delivers too little"),
}

#: Wider spellings that a person may type for the same fault.
OTHER_NAMES = {
    "wrong idle jets": "wrong jets",
    "wrong idle jet": "wrong jet",
    "air leak": "manifold leak",
    "leak": "manifold leak",
    "weak": "weak cylinder",
    "retarded": "retarded ignition",
    "low level": "low fuel level",
    "high level": "high fuel level",
    "dirty idle jet": "dirty jet",
    "sticky plate": "sticking plate",
    "retarded timing": "retarded ignition",
    "disturbed point": "disturbed gauge point",
}


class NoSuchFault(ValueError):
    """A fault name that nobody knows; the message is a sentence with the nearest names."""


def kind_named(name: str) -> str:
    """The plain name of a fault as typed (`Low-Fuel-Level` counts), or `NoSuchFault` with the nearest names."""
    plain = " ".join(name.lower().replace("-", " ").replace("_", " ").split()).replace("mis drilled", "mis-drilled")
    plain = OTHER_NAMES.get(plain, plain)
    if plain in KINDS:
        return plain
    close = difflib.get_close_matches(plain, [*KINDS, *OTHER_NAMES], n=4, cutoff=0.5)
    near = list(dict.fromkeys(OTHER_NAMES.get(n, n) for n in close))[:2]
    hint = f" Did you mean {' or '.join(map(repr, near))}?" if near else ""
    raise NoSuchFault(f"No fault is called '{name}'.{hint} Known faults: {', '.join(sorted(KINDS))}.")
