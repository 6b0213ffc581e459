"""Judges one trial by the truth of its engine: tolerance, mixture, jets and faults named; it runs nothing.

An initial jet is followed wherever it goes (a swap moves it). Its verdict is the last one given on the barrel where it
sat before it came out; a verdict of another size than the truth is wrong, none is withheld.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import KINDS, Fault
from engine.bench.terms import TOLERANCE
from engine.evidence import Advice, Finding

#: Adviser outputs that speak of jets, in their words: small, large, right; the rest is no verdict.
_SAID = {
    "too small": "small",
    "perhaps too small": "small",
    "too large": "large",
    "perhaps too large": "large",
    "right": "right",
}

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
    "broken screw tip": ("does-not-answer", "tip", "at-its-stop"),
    "starter stuck open": ("start",),
    "sticking piston": ("piston",),
    "low damper oil": ("damper",),
    "weak pump": ("pump",),
}


@dataclass(frozen=True, slots=True)
class State:
    """How an engine stands, judged hot with its links as left and nobody at the pedal."""

    in_tolerance: bool
    near_best: bool
    belongs: bool


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
    return State(even, all_in(TOLERANCE.near_best), all_in(TOLERANCE.belongs))


@dataclass(slots=True)
class JetWatch:
    """Listens to what is said of the jets while a run goes on, and knows which jet sat where."""

    engine: VirtualEngine
    truth: tuple[str, ...] = ()
    said: dict[int, str] = field(default_factory=dict)
    why: dict[int, bool] = field(default_factory=dict)
    needless: int = 0
    _seated: list[int] = field(default_factory=list)
    _stamps: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.truth = tuple(self._true(b) for b in range(self.engine.barrels))
        self._seated, self._stamps = list(self.engine.jet_ids), list(self.engine.stamps)

    def _true(self, barrel: int) -> str:
        off = self.engine.jets[barrel] * self.engine.dirt[barrel] ** 0.5 - self.engine.body.right_jet
        return "small" if off < -1.0 else "large" if off > 1.0 else "right"

    def heard(self, advice: Advice) -> None:
        """One advice on the jets: a verdict a barrel, and where there is none, whether its reason is true."""
        rows = advice.outputs.get("barrels")
        if not isinstance(rows, tuple | list) or len(rows) != self.engine.barrels:
            return
        reason = str(advice.outputs.get("reason", "none"))
        spoilt, untold = advice.outputs.get("verdict") == "withheld", advice.outputs.get("untold")
        for barrel, word in enumerate(rows):
            jet = self.engine.jet_ids[barrel]
            if jet >= self.engine.barrels:
                continue
            verdict = None if spoilt else _SAID.get(str(word))
            if verdict:
                self.said[jet] = verdict
            else:
                self.said.pop(jet, None)
                alone = isinstance(untold, tuple | list) and len(untold) == self.engine.barrels and not spoilt
                self.why[jet] = (
                    self._is_true(str(untold[barrel]), barrel, True) if alone else self._is_true(reason, barrel)
                )

    def _is_true(self, reason: str, barrel: int, alone: bool = False) -> bool:
        """Whether what is said to spoil the verdict is really so: on the engine, or at this barrel `alone`."""
        e, truth = self.engine, self.engine.truth()
        carb = barrel // e.per_carb
        leaks = ("manifold leak", "spindle leak", "worn spindle")
        if reason == "leak not excluded":
            return any(e.having(k, barrel=barrel if alone else None) for k in leaks)
        return {
            "air not even": not truth.spread_ok,
            "speed off": abs(e.now.speed - e.body.target) > TOLERANCE.idle,
            "hole uncovered": "uncovered" in (truth.hole[barrel : barrel + 1] if alone else truth.hole),
            "level off": bool(e.having("low fuel level", carb=carb) or e.having("high fuel level", carb=carb)),
            "mixture not found": not all(
                TOLERANCE.belongs[0] <= lam <= TOLERANCE.belongs[1]
                for lam in (truth.lambdas[barrel : barrel + 1] if alone else truth.lambdas)
            ),
        }.get(reason, False)

    def fitted(self) -> None:
        """Look at the jets after a step: a change says what is thought of the jet that came out; a right one costs."""
        now, count = self.engine.jet_ids, self.engine.barrels
        for barrel, (old, new) in enumerate(zip(self._seated, now, strict=True)):
            if old == new or old in now or old >= count:
                continue
            change = self.engine.stamps[barrel] - self._stamps[barrel]
            self.needless += self.truth[old] == "right"
            self.said.setdefault(old, "small" if change > 0 else "large" if change < 0 else self.truth[old])
        self._seated, self._stamps = list(now), list(self.engine.stamps)

    def verdicts(self) -> tuple[tuple[str, str], ...]:
        """(truth, verdict) of every initial jet; the verdict may be 'withheld'."""
        return tuple((true, self.said.get(jet, "withheld")) for jet, true in enumerate(self.truth))

    def named(self) -> tuple[int, int]:
        """Of the wrong jets: how many were named by barrel and direction or withheld for a true reason, of how many."""
        wrong = [j for j, true in enumerate(self.truth) if true != "right"]
        good = sum(self.said.get(j) == self.truth[j] or (j not in self.said and self.why.get(j, False)) for j in wrong)
        return good, len(wrong)


def names(engine: VirtualEngine, fault: Fault, findings: Iterable[Finding]) -> bool:
    """Whether one of the findings names this fault and its place."""
    words = NAMES.get(fault.kind, ())
    return any(any(w in f.code for w in words) and _there(engine, fault, f) for f in findings)


def _there(engine: VirtualEngine, fault: Fault, finding: Finding) -> bool:
    """Whether a finding points at a fault's place: no place (the engine), its carb, its barrel or its cylinder.

    A row over cylinders numbers them along the bank, where a row over carbs has the carb.
    """
    if fault.carb is None or not finding.where:
        return True
    per, shared = engine.per_carb, engine.job.bank.cylinders_per_barrel
    first = ((fault.carb - 1) * per + (fault.barrel or 1) - 1) * shared + 1
    for place in finding.where:
        if place.barrel is None and KINDS[fault.kind].at == "cylinder" and per * shared > 1:
            if first <= (place.carb or 0) < first + shared:
                return True
        elif place.carb in (None, fault.carb) and (fault.barrel is None or place.barrel in (None, fault.barrel)):
            return True
    return False


def found_faults(engine: VirtualEngine, findings: Sequence[Finding]) -> Mapping[str, tuple[int, int]]:
    """By kind: how many faults other than jets were named, of how many."""
    out: dict[str, tuple[int, int]] = {}
    for fault in engine.faults:
        if fault.kind in NAMES:
            good, of = out.get(fault.kind, (0, 0))
            out[fault.kind] = (good + names(engine, fault, findings), of + 1)
    return out
