"""Screw bands: where a mixture screw of each kind comes to rest with the right idle jet; labelled data and one look-up.

A band belongs to the screw, never to all screws: taper and thread differ. The numbers are starting values that a shop
may change in its procedures; the shipped procedures' settings agree with them, and a test compares the two.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

Size = Literal["large", "small"]
Verdict = Literal["too large", "perhaps too large", "right", "perhaps too small", "too small"]


@dataclass(frozen=True, slots=True)
class Band:
    """A kind of mixture screw, in turns out from its seat.

    The screw rests at `rest` with the right jet; outside `doubt` the idle jet is the wrong size; between the two it may
    be. `below` is what the jet is where the screw rests below its band: the sign turns round for an air screw.
    `start` is where the screw is first set. `out` is what turning it out does.
    """

    screw: str
    out: Literal["richer", "leaner"]
    start: Fraction
    rest: tuple[Fraction, Fraction]
    doubt: tuple[Fraction, Fraction]
    below: Size
    source: str

    def jet(self, turns: Fraction | float) -> Verdict:
        """What the idle jet is by a screw resting at `turns`: one barrel's evidence, until progression agrees.

        A screw on a limit counts as inside it.
        """
        low, high = self.rest
        if low <= turns <= high:
            return "right"
        above: Size = "small" if self.below == "large" else "large"
        size = self.below if turns < low else above
        sure = not self.doubt[0] <= turns <= self.doubt[1]
        return f"{'' if sure else 'perhaps '}too {size}"  # type: ignore[return-value]


def _band(
    screw: str,
    out: Literal["richer", "leaner"],
    start: str,
    rest: tuple[str, str],
    doubt: tuple[str, str],
    below: Size,
    source: str,
) -> Band:
    pair = (Fraction(rest[0]), Fraction(rest[1])), (Fraction(doubt[0]), Fraction(doubt[1]))
    return Band(screw, out, Fraction(start), *pair, below, source)


#: By the name that a job gives its screw (`bank.mixture_screw`; `bank.pilot_screw` of a motorcycle bank).
BANDS: dict[str, Band] = {
    b.screw: b
    for b in (
        _band(
            "short taper",
            "richer",
            "1",
            ("1", "1.5"),
            ("0.5", "2"),
            "large",
            "common practice; 0.25 to 1 in an older guide (source S4)",
        ),
        _band(
            "long taper",
            "richer",
            "2.5",
            ("2", "3"),
            ("1.5", "3"),
            "large",
            "common practice (2 to 3); start 2.5 and lower doubt 1.5 from memory",
        ),
        _band(
            "fuel screw",
            "richer",
            "2",
            ("1", "3"),
            ("1", "3"),
            "large",
            "limits source S10, start source S7; direction derived",
        ),
        _band(
            "air screw",
            "leaner",
            "1.5",
            ("1", "2.5"),
            ("1", "2.5"),
            "small",
            "sign reversal source S10, start source S8; band from memory",
        ),
    )
}

#: The jet nut of a constant-depression body: a flat is a sixth of a turn, exact geometry. It has no idle jet to judge.
FLATS_PER_TURN = 6
#: Flats down from flush with the bridge: the first setting. [published: source S24, club]
JET_NUT_START = 12
#: Bodies that end further apart than this, in flats: an air leak or spindle wear on the one needing more. [source S24]
JET_NUT_SPREAD = 3


def band(screw: str | None) -> Band | None:
    """The band of a kind of screw, or None where the job does not say, or the kind has none (a jet nut)."""
    return BANDS.get(screw or "")
