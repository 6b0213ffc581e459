"""Looks, tests and mechanical measurements on a virtual engine, answered truthfully; it turns and advises nothing.

A check of choices is answered by what the words mean: choices are listed from healthy to worst, so a sound place gets
the healthy one, a faulty place the first that names the fault, else the next worse in the list. A quantity that nobody
knows here is answered as a sound engine would.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from engine.bench.plant import assumed, constant_depression, gauges
from engine.bench.plant.engine import VirtualEngine

#: What a place shows: None sound, else words that name the fault (the first choice holding one is the answer).
Look = Callable[[VirtualEngine, Sequence[int]], tuple[str, ...] | None]


def _any(engine: VirtualEngine, rows: Sequence[int], kinds: Sequence[str], least: float = 0.0) -> bool:
    return any(sum(engine.having(k, barrel=b) for k in kinds) > least for b in rows)


def _has(*kinds: str, words: tuple[str, ...], least: float = 0.0) -> Look:
    return lambda engine, rows: words if _any(engine, rows, kinds, least) else None


def _leak(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    kinds = ("manifold leak", "spindle leak", "worn spindle")
    return ("yes", "leak", "changes", "moves") if _any(engine, rows, kinds, assumed.LEAK_SEEN_MM2) else None


def _take_off(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """A take-off that spoils the reading and can't be plugged for a while."""
    there = any(engine.having("disturbed gauge point", barrel=b) for b in rows)
    return ("yes", "disturb") if there and not gauges.can_be_plugged(engine) else None


def _return(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    held = engine.state["pedal_link"] == "on" and _any(engine, rows, ("linkage preload",))
    return ("hang", "stick", "held", "slow") if held or _any(engine, rows, ("sticking plate",)) else None


def _preload(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    held = engine.state["pedal_link"] == "on" and _any(engine, rows, ("linkage preload",))
    return ("none", "tight", "holds", "no play", "yes") if held else None


def _hole(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    seen = {gauges.hole(engine, b) for b in rows}
    return ("uncovered", "open") if "uncovered" in seen else ("edge",) if "at the edge" in seen else None


def _timing(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    if engine.having("early advance"):
        return ("wander", "unsteady", "moves")
    return ("retard", "late") if engine.having("retarded ignition") else None


def _level(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    seen = gauges.one(engine, "fuel level", list(rows))
    return ("low",) if seen < -0.5 else ("high",) if seen > 0.5 else None


def _spits(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    lean = any(engine.now.lambdas[b] > assumed.SPIT_LAMBDA for b in rows)
    return ("yes", "spit", "steadily") if lean or _any(engine, rows, ("tight valve",)) else None


def _follows_the_jet(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """A jet that does not pass what the engine needs takes the fault with it; a leak or a weak cylinder stays."""
    wrong = any(abs(engine.jets[b] - engine.body.right_jet) > 1.0 or engine.dirt[b] < 1.0 for b in rows)
    return ("follow", "with the jet", "moved", "neighbour") if wrong else None


def _cleaned(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """Clean the jets of these barrels with air, and say whether it helped."""
    dirty = [b for b in rows if engine.dirt[b] < 1.0]
    for b in dirty:
        engine.dirt[b] = 1.0
        engine.reset()
    return ("cured", "better", "dirt", "yes") if dirty else None


def _smokes(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """What the common pipe shows: black where the cylinders together burn far too rich."""
    burning = [engine.now.lambdas[b] for b in rows if engine.body.feeds[b]]
    return ("black", "smoke") if burning and sum(burning) / len(burning) < assumed.SMOKE_LAMBDA else None


def _beat(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """How it idles as a whole: what is heard first is named."""
    burning = [b for b in rows if engine.body.feeds[b]]
    if any(engine.now.misfire[b] > assumed.MISS_HEARD for b in burning):
        return ("miss",)
    if any(engine.now.lambdas[b] > assumed.SPIT_LAMBDA for b in burning):
        return ("spit",)
    return ("hunt",) if engine.hunting > assumed.HUNTING_SEEN_RPM else None


def _hunts(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    if engine.hunting < assumed.HUNTING_SEEN_RPM:
        return None
    rich = min(engine.now.lambdas) < 0.75
    return ("slow", "rich") if rich and not engine.having("early advance") else ("quick", "lean")


def _answers(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """Shorting a plug: a weak or dead cylinder costs little speed."""
    drops = [speed_drop(engine, b) for b in range(engine.barrels)]
    mean = sum(drops) / len(drops)
    return ("little", "none", "less") if any(drops[b] < 0.7 * mean for b in rows) else None


def _lift(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """The lifting pin: up and stays is rich, a little is right, down or dying is weak."""
    heard = constant_depression.heard(engine, rows[0] // engine.per_carb)
    if heard > 0:
        return ("stays up", "rich", "rises and")
    return ("falls", "weak", "dies") if heard < 0 else None


def _answers_its_screw(engine: VirtualEngine, rows: Sequence[int]) -> tuple[str, ...] | None:
    """A quarter turn in and out: the beat of a sound cylinder changes, that of a dead screw or cylinder does not."""
    changed = []
    for b in [b for b in rows if engine.body.feeds[b]] or rows:  # a barrel that opens late has no mixture screw
        effect = [engine.body.needle.passes(engine.at["jet"][b] + way / 4, engine.body.rests[b]) for way in (-1, 1)]
        stuck = _any(engine, [b], ("dead mixture screw", "broken screw tip")) or not engine.body.feeds[b]
        burns = engine.now.misfire[b] < 0.95
        changed.append(not stuck and burns and abs(effect[1] - effect[0]) > assumed.QUARTER_HEARD)
    return None if all(changed) else ("no", "nothing", "same")


def _creep(engine: VirtualEngine) -> tuple[str, ...] | None:
    """From 1500 to 2500 at a creep: lambda over 1.0 by far is flat, near the lean limit it snatches."""
    leanest = max(max(engine.held_at(speed).lambdas) for speed in (1500.0, 1800.0, 2100.0, 2500.0))
    return ("snatch",) if leanest > assumed.CREEP_SNATCHES else ("flat",) if leanest > assumed.CREEP_FLAT else None


#: What is judged by ear, or by a small change of speed: it misses or cries wolf now and then.
BY_EAR = frozenset({"air leak", "nudge test", "plug short", "plug test", "jet swap", "progression", "screw answers"})

LOOKS: dict[str, Look] = {
    "air leak": _leak,
    "nudge test": _has("worn spindle", "spindle leak", words=("yes", "changes", "moves"), least=assumed.LEAK_SEEN_MM2),
    "throttle return": _return,
    "linkage play": _preload,
    "linkage free play": _preload,
    "linkage": _preload,
    "full throttle": lambda engine, rows: None,
    "starting device": _has("starter stuck open", words=("open", "not shut", "stuck", "leak")),
    "first progression hole": _hole,
    "ignition timing": _timing,
    "fuel level": _level,
    "float level": _level,
    "valve clearance": _has("tight valve", words=("tight", "none", "small")),
    "compression": _has("weak cylinder", "tight valve", words=("low", "weak")),
    "leak-down": _has("weak cylinder", words=("leak", "high", "bad")),
    "piston fall": _has("sticking piston", words=("slow", "stick", "soft")),
    "damper oil": _has("low damper oil", words=("low", "dry")),
    "piston lift": lambda engine, rows: _lift(engine, rows),
    "progression": lambda engine, rows: _creep(engine),
    "spit-back": _spits,
    "jet swap": _follows_the_jet,
    "jet clean": _cleaned,
    "plug short": _answers,
    "plug test": _answers,
    "hunting rhythm": _hunts,
    "exhaust smoke": _smokes,
    "idle beat": _beat,
    "screw answers": _answers_its_screw,
    "screw tip": _has("broken screw tip", words=("broken", "missing", "short")),
    "pump squirt": _has("weak pump", words=("weak", "short", "late", "none")),
    "take-off": _take_off,
}


def choose(
    engine: VirtualEngine,
    quantity: str,
    rows: Sequence[int],
    choices: Sequence[str],
    healthy: str | None,
    wolf: bool = False,
) -> str:
    """The choice that is true of the barrels `rows`, or what erring ears hear of it; `wolf`: they hear a fault."""
    sound = healthy if healthy is not None and healthy in choices else choices[0]
    look = LOOKS.get(quantity)
    words = look(engine, rows) if look else None
    if quantity in BY_EAR and engine.nature.ears:
        if words and engine.rng.random() < engine.nature.ears:
            return sound
        if wolf and not words:
            return next((c for c in choices if c != sound), sound)
    if words is None:
        return sound
    worse = [c for c in choices if c != sound]
    for word in words:
        for choice in worse:
            if word in choice.lower():
                return choice
    after = choices[choices.index(sound) + 1 :]
    return after[0] if after else sound


def cries_wolf(engine: VirtualEngine, quantity: str, places: int) -> int | None:
    """Which of so many places a test by ear accuses this time, sound or not; None mostly. A row is one test."""
    if quantity in BY_EAR and engine.nature.ears and engine.rng.random() < engine.nature.ears:
        return engine.rng.randrange(places)
    return None


def speed_drop(engine: VirtualEngine, barrel: int) -> float:
    """Speed lost with the plugs of one barrel shorted, rpm, without scatter."""
    return engine.now.speed - engine.without(barrel).speed


def measure(engine: VirtualEngine, quantity: str, rows: Sequence[int], low: float, high: float) -> float:
    """A mechanical measurement in the file's own unit, sound within [low, high]; faults move it out of there."""
    middle, width = 0.5 * (low + high), max(high - low, 1e-9)
    value = engine.rng.gauss(middle, 0.08 * width)
    weak = min((engine.having("weak cylinder", barrel=b) or 1.0) for b in rows)
    tight = min((engine.having("tight valve", barrel=b) or 1.0) for b in rows)
    if quantity == "compression":
        return value * (1.0 - assumed.WEAK_COMPRESSION * (1.0 - min(weak, tight)))
    if quantity == "leak-down":
        return value + 100.0 * (1.0 - weak)
    if quantity == "valve clearance" and tight < 1.0:
        return max(0.0, low - 0.1)
    if quantity == "ignition timing":
        return value - engine.having("retarded ignition")
    if quantity == "piston drop" and engine.having("sticking piston", barrel=rows[0]):
        return high + 2.0 * width
    if quantity == "float level":
        up, down = (engine.having(f"{way} fuel level", barrel=rows[0]) for way in ("high", "low"))
        return value + up - down
    return value


KNOWN_NUMBERS = frozenset(
    {
        "compression",
        "leak-down",
        "valve clearance",
        "ignition timing",
        "dwell",
        "fuel pressure",
        "float level",
        "piston drop",
    }
)
