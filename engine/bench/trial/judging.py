"""Judges one trial by the truth of its engine: tolerance, mixture, faults named or mended; it runs nothing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from engine.bench.plant import physics
from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import Fault
from engine.bench.terms import TOLERANCE
from engine.bench.trial.places import points_at, there
from engine.evidence import Finding

#: Fault kinds -> words of which a finding's code must hold one to name it.
NAMES: dict[str, tuple[str, ...]] = {
    "plate out of step": ("out-of-step", "slightly-out", "plate", "twisted"),
    "twisted spindle": ("twisted", "out-of-step", "slightly-out"),
    "manifold leak": ("air-leak",),
    "spindle leak": ("air-leak", "spindle"),
    "worn spindle": ("spindle", "air-leak"),
    "low fuel level": ("level",),
    "high fuel level": ("level",),
    "weak cylinder": ("weak-cylinder",),
    "tight valve": ("tight-valve",),
    "disturbed gauge point": ("disturbed",),
    "retarded ignition": ("ignition", "retarded"),
    "early advance": ("advance",),
    "linkage preload": ("link", "holds"),
    "uneven linkage": ("apart", "link"),
    "sticking plate": ("hang", "plate", "throttle"),
    "dead speed screw": ("does-nothing",),
    "dead mixture screw": ("not-answer", "dead-screw", "tip"),
    "broken screw tip": ("not-answer", "dead-screw", "tip"),
    "starter stuck open": ("start",),
    "sticking piston": ("piston",),
    "low damper oil": ("damper",),
    "weak pump": ("pump",),
}


@dataclass(frozen=True, slots=True)
class State:
    """How an engine stands, judged hot with its links as left and nobody at the pedal.

    `near_best`, `belongs`: every cylinder's lambda within those ends. `lean_best`: every cylinder within so much of its
    own engine's best torque, and on the lean side of it.
    """

    in_tolerance: bool
    near_best: bool
    belongs: bool
    lean_best: bool


def judged(engine: VirtualEngine) -> State:
    """The state of an engine by the fixed tolerances. It is left hot, running and let go."""
    engine.warm()
    engine.set_state({"engine": "running", "hold": None})
    truth = engine.truth()
    runs = engine.settle() is None
    lambdas = [lam for lam, feeds in zip(truth.lambdas, truth.feeds, strict=True) if feeds]

    def all_in(ends: tuple[float, float]) -> bool:
        return runs and all(ends[0] <= lam <= ends[1] for lam in lambdas)

    even = runs and truth.spread_ok and abs(truth.speed - engine.body.target) <= TOLERANCE.idle
    lean_best = runs and all(_lean_best(engine, lam) for lam in lambdas)
    return State(even, all_in(TOLERANCE.near_best), all_in(TOLERANCE.belongs), lean_best)


def _lean_best(engine: VirtualEngine, lam: float) -> bool:
    """Whether a cylinder at `lam` gives nearly the best torque of this engine, from the lean side of it."""
    burning = engine.body.build.burning
    crest = 1.0 / burning.crest
    share, best = physics.burn(burning, lam)[0], physics.burn(burning, crest)[0]
    return share >= (1.0 - TOLERANCE.torque) * best and lam >= crest - TOLERANCE.lean_side


def names(engine: VirtualEngine, fault: Fault, findings: Iterable[Finding]) -> bool:
    """Whether one of the findings names this fault and its place."""
    words = NAMES.get(fault.kind, ())
    return any(any(w in f.code for w in words) and there(engine, fault, f) for f in findings)


def found_faults(engine: VirtualEngine, findings: Sequence[Finding]) -> Mapping[str, tuple[int, int]]:
    """By kind: how many faults other than jets were named, or found and mended, of how many."""
    out: dict[str, tuple[int, int]] = {}
    for fault in engine.faults:
        if fault.kind in NAMES:
            good, of = out.get(fault.kind, (0, 0))
            out[fault.kind] = (good + (fault in engine.mended or names(engine, fault, findings)), of + 1)
    return out


def said_mute(engine: VirtualEngine, findings: Iterable[Finding]) -> tuple[int, int]:
    """Of the barrels whose screw works and whose cylinder burns: how many were said not to answer, of how many.

    A finding without a place accuses nobody.
    """
    mute = [f for f in findings if "not-answer" in f.code and f.where]
    feeding = [b for b in range(engine.barrels) if engine.body.feeds[b]]
    dead = ("dead mixture screw", "broken screw tip", "weak cylinder", "dirty jet")
    sound = [b for b in feeding if not any(f.kind in dead and engine.hits(f, b) for f in engine.faults)]
    return sum(any(points_at(engine, f, b) for f in mute) for b in sound), len(sound)
