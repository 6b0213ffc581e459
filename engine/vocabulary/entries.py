"""What kinds of word the trade's vocabulary has, as frozen data; it holds no word itself and decides nothing.

Each entry says where its figures come from: `source` carries the label (published source, from memory, common
practice, derived, assumed). A word that nobody has entered is a slip; whoever needs one declares it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

#: What holds where the program's own tables are silent: the word comes from a file, a kit or a shop's folder.
DECLARED = "declared by a file or shop"


@dataclass(frozen=True, slots=True)
class StateKey:
    """How things may stand. `dangers` are choices that kill by themselves, and with what. A key with a `unit` takes a
    number to be held as well as its choices."""

    name: str
    choices: tuple[str, ...]
    about: str = ""
    dangers: Mapping[str, str] = field(default_factory=dict)
    unit: str | None = None
    source: str = DECLARED


@dataclass(frozen=True, slots=True)
class Quantity:
    """What a reading is to a machine. A number has a `unit` and what is possible at all, `low` to `high` in it; a look
    (unit None) has choices of the file's own. `needs` is the state, key and word, without which there is nothing to
    read. `hazard` is what it is taken from, where that is one."""

    name: str
    unit: str | None = None
    low: Fraction | None = None
    high: Fraction | None = None
    needs: tuple[str, str] | None = None
    hazard: str | None = None
    about: str = ""
    source: str = DECLARED


@dataclass(frozen=True, slots=True)
class Hazard:
    """A danger that a step may name; each demands its caution, in no milder a word than `least`. `tools` bring it with
    them."""

    name: str
    about: str = ""
    tools: tuple[str, ...] = ()
    source: str = DECLARED
    least: Literal["danger", "warning", "caution"] = "caution"


@dataclass(frozen=True, slots=True)
class Family:
    """A family of carburettor banks."""

    name: str
    about: str = ""
    source: str = DECLARED


Size = Literal["large", "small"]
Verdict = Literal["too large", "perhaps too large", "right", "perhaps too small", "too small"]


@dataclass(frozen=True, slots=True)
class Band:
    """Where a kind of mixture screw belongs, in turns out from its seat.

    The screw is first set at `start` and rests within `rest` with the right jet; outside `doubt` the idle jet is the
    wrong size, between the two it may be. `below` is what the jet is where the screw rests below its band: the sign
    turns round for a screw that leans as it goes out.
    """

    start: Fraction
    rest: tuple[Fraction, Fraction]
    doubt: tuple[Fraction, Fraction]
    below: Size

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


@dataclass(frozen=True, slots=True)
class MixtureScrew:
    """A kind of mixture screw. `out` is what turning it out does. `band` None: there is no idle jet to judge by it."""

    name: str
    out: Literal["richer", "leaner"]
    band: Band | None
    unit: Literal["turn", "flat"] = "turn"
    about: str = ""
    source: str = DECLARED


@dataclass(frozen=True, slots=True)
class AirScrew:
    """A kind of air screw: `at` where it works, what turning it `inward` does, and what it is there for each of."""

    name: str
    at: str
    inward: Literal["more air", "less air"]
    each: tuple[str, ...]
    about: str = ""
    source: str = DECLARED


@dataclass(frozen=True, slots=True)
class Instrument:
    """What a shop reads with. `key` is its name in a job's `instruments`; `resolution` the step that its face shows and
    `scatter` one standard deviation of a careful reading, both in `unit`, where anything is known of them."""

    name: str
    key: str
    quantity: str
    unit: str
    resolution: Fraction | None
    scatter: Fraction | None
    source: str
