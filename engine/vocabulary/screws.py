"""Kinds of mixture and air screws: what turning them does, where they start and where they come to rest.

A band belongs to the kind of screw, never to all screws: taper and thread differ. The numbers are starting values that
a shop may change in its procedures; the shipped procedures' settings agree with them, and a test compares the two.
"""

from __future__ import annotations

from fractions import Fraction

from engine.vocabulary.entries import AirScrew, Band, MixtureScrew


def _band(start: str, rest: tuple[str, str], doubt: tuple[str, str], below: str = "large") -> Band:
    low, high = (Fraction(v) for v in rest)
    return Band(Fraction(start), (low, high), (Fraction(doubt[0]), Fraction(doubt[1])), below)  # type: ignore[arg-type]


MIXTURE_SCREWS: tuple[MixtureScrew, ...] = (
    MixtureScrew(
        "short taper",
        "richer",
        _band("1", ("1", "1.5"), ("0.5", "2")),
        about="The coarse screw of older bodies.",
        source="common practice; 0.25 to 1 in an older guide (published: S4, club)",
    ),
    MixtureScrew(
        "long taper",
        "richer",
        _band("2.5", ("2", "3"), ("1.5", "3")),
        about="The fine screw of newer bodies.",
        source="common practice (2 to 3); start 2.5 and lower doubt 1.5 from memory",
    ),
    MixtureScrew(
        "fuel screw",
        "richer",
        _band("2", ("1", "3"), ("1", "3")),
        about="On the engine's side of the plate, feeding mixture: of motorcycle banks and downdraughts.",
        source="limits published: S10, club; start published: S7, a maker; direction derived",
    ),
    MixtureScrew(
        "air screw",
        "leaner",
        _band("1.5", ("1", "2.5"), ("1", "2.5"), "small"),
        about="On the filter's side, feeding air.",
        source="sign reversal published: S10, club; start published: S8, club; band from memory",
    ),
    MixtureScrew(
        "jet nut",
        "richer",
        None,
        unit="flat",
        about="Below a constant-depression body, lowering the jet: there is no idle jet to judge by it.",
        source="published: S24, S26; a flat is a sixth of a turn, exact geometry",
    ),
)

#: What is also said for a kind of mixture screw.
ALSO_CALLED = {
    "pilot screw": "fuel screw",
    "volume screw": "fuel screw",
    "mixture screw, short taper": "short taper",
    "mixture screw, long taper": "long taper",
    "pilot air screw": "air screw",
    "idle air screw": "air screw",
    "mixture nut": "jet nut",
}

#: The jet nut of a constant-depression body: a flat is a sixth of a turn, exact geometry.
FLATS_PER_TURN = 6
#: Flats down from flush with the bridge: the first setting. [published: S24, club]
JET_NUT_START = 12
#: Bodies that end further apart than this, in flats: an air leak or spindle wear on the one needing more. [S24]
JET_NUT_SPREAD = 3

AIR_SCREWS: tuple[AirScrew, ...] = (
    AirScrew("speed screw", "plate", "more air", ("carb",), "Opens the plates of one body.", "common practice"),
    AirScrew(
        "bypass screw", "bypass", "less air", ("barrel",), "Lets air past one plate as it goes out.", "common practice"
    ),
    AirScrew(
        "balance screw",
        "coupling",
        "more air",
        ("gap", "carb"),
        "In the coupling between two bodies: opens the later one.",
        "common practice",
    ),
    AirScrew("idle knob", "plate", "more air", ("bank",), "Opens every plate of a coupled bank.", "common practice"),
)
