"""What a reading is to a machine: each quantity with its unit, what is possible, the state it needs and its hazard.

A gauge on a dead engine reads nothing, a feeler gauge on a live one takes fingers [common practice]. The limits are of
what an instrument could show at all, wide on purpose [assumed]: outside them a file has the unit or the quantity wrong.
"""

from __future__ import annotations

from fractions import Fraction

from engine.vocabulary.entries import Quantity
from engine.vocabulary.states import ENGINE, RUNNING, STOPPED

_RUNS, _STANDS = (ENGINE, RUNNING), (ENGINE, STOPPED)
_LIMITS = "assumed: what an instrument could show"
_PRACTICE = "common practice"

#: A reading that no machine knows.
OTHER = "other"
#: What the technician decides: nothing is looked at for it, and no key that takes readings answers it.
DECISION = "decision"


def _number(
    name: str,
    unit: str,
    low: int,
    high: int,
    needs: tuple[str, str] | None = None,
    hazard: str | None = None,
    about: str = "",
) -> Quantity:
    return Quantity(name, unit, Fraction(low), Fraction(high), needs, hazard, about, _LIMITS)


def _look(name: str, needs: tuple[str, str] | None = None, hazard: str | None = None, about: str = "") -> Quantity:
    return Quantity(name, None, None, None, needs, hazard, about, _PRACTICE)


_NUMBERS = (
    _number("airflow", "kg/h", 0, 200, _RUNS, about="At the mouth of a barrel."),
    _number("depression", "kPa", 0, 105, _RUNS, about="Below the plate, against the air outside."),
    _number("engine speed", "rpm", 0, 20000, _RUNS),
    _number("speed drop", "rpm", -5000, 20000, _RUNS, about="With one plug shorted."),
    _number("lambda", "", 0, 3, _RUNS),
    _number("CO", "%", 0, 20, _RUNS),
    _number("HC", "ppm", 0, 100000, _RUNS),
    _number("CO2", "%", 0, 25, _RUNS),
    _number("O2", "%", 0, 25, _RUNS),
    _number("ignition timing", "deg", -90, 90, _RUNS, about="Before top dead centre."),
    _number("dwell", "deg", 0, 180, _RUNS),
    _number("charging voltage", "V", 0, 60, _RUNS),
    _number("mixture screw position", "turn", -30, 30),
    _number("speed screw position", "turn", -30, 30),
    _number("bypass screw position", "turn", -30, 30),
    _number("coupling screw position", "turn", -30, 30),
    _number("coolant temperature", "degC", -60, 200),
    _number("oil temperature", "degC", -60, 250),
    _number("fuel pressure", "bar", 0, 10, None, "fuel"),
    _number("fuel level", "mm", -100, 100, None, "fuel", "Against the specified level, negative when low."),
    _number("float level", "mm", -100, 100, None, "fuel"),
    _number("compression", "bar", 0, 40, _STANDS),
    _number("leak-down", "%", 0, 100, _STANDS),
    _number("valve clearance", "mm", 0, 5, _STANDS),
    _number("piston drop", "s", 0, 60),
    _number("idle jet size", "", 1, 1000, _STANDS),
    _number("main jet size", "", 1, 1000, _STANDS),
)

_LOOKS = (
    _look("throttle return", _STANDS),
    _look("full throttle", _STANDS),
    _look("linkage play", _STANDS),
    _look("linkage free play", _STANDS),
    _look("linkage", _STANDS),
    _look("piston fall", _STANDS),
    _look("plug colour", _STANDS),
    _look("fuel in the bowl", None, "fuel"),
    _look("fuel leak"),
    _look("spark", None, "high voltage"),
    _look("air leak", about="With mist or by a nudged spindle."),
    _look("nudge test", about="Whether a nudged spindle changes the speed."),
    _look("take-off", about="Whether plugging it changes the reading."),
    _look("first progression hole", about="Covered by the plate at idle, at its edge, or uncovered."),
    _look("progression", about="How it takes up from idle."),
    _look("spit-back"),
    _look("hunting rhythm"),
    _look("exhaust smoke"),
    _look("idle beat", _RUNS, about="Whether all cylinders work at idle, by ear at the tailpipe."),
    _look("starting device"),
    _look("second barrel", about="Whether the second barrel shuts."),
    _look("pump squirt"),
    _look("piston lift"),
    _look("damper oil"),
    _look("cap vent"),
    _look("screw tip"),
    _look("screw answers", _RUNS, about="Whether the beat changes as this mixture screw goes a quarter in and out."),
    _look("jet swap", about="Whether the fault follows the jet."),
    _look("jet clean"),
    _look("plug short"),
    _look("plug test"),
    _look(DECISION, about="What the technician decides; nothing is looked at for it."),
    _look(OTHER, about="What no machine knows."),
)

QUANTITIES: tuple[Quantity, ...] = _NUMBERS + _LOOKS

#: Read of a running engine, and not changed by what is turned or fitted at a carburettor [common practice].
UNTURNED = frozenset({"ignition timing", "dwell", "charging voltage"})
