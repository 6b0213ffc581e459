"""Fit to be tuned: compression, leak-down and dwell in words and shares; a carburettor can't cure what they find.

Cylinders count from 1 along the engine; neighbours in that row share a stretch of head gasket.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from engine.carburation.refusal import Refused, positive, within

#: Lowest over highest compression: below is a fail. [published: source S38, a maker's manual]
COMPRESSION_LEAST = 0.75
#: Spread over highest: good up to the first, marginal up to the second. [common practice]
COMPRESSION_GOOD, COMPRESSION_MARGINAL = 0.10, 0.15
#: Leak-down: very good, acceptable, serviceable, percent; beyond is a fail. The sources disagree (8 to 20 %).
#: [published: sources S40 to S43, clubs]
LEAK_GRADES = (8.0, 15.0, 20.0)


@dataclass(frozen=True, slots=True)
class Compression:
    """A compression test: `share` lowest over highest, `spread` of highest; `low` are the weak cylinders, from 1.

    `gasket` says that two neighbours are low together.
    """

    share: float
    spread: float
    verdict: Literal["good", "marginal", "fail"]
    low: tuple[int, ...]
    gasket: bool
    say: str


def compression(readings: tuple[float, ...]) -> Compression:
    """Judge a row of compressions, one a cylinder, all in one unit: plugs out, throttle wide open, hot.

    Fail below 75 % of the highest [published: source S38]; marginal above 10 % spread, and above 15 % to be looked
    into [common practice]. The absolute figure is the maker's affair.
    """
    if len(readings) < 2:
        raise Refused("Compression is judged by comparing cylinders: give two or more.")
    row = [positive(f"compression of cylinder {n}", value) for n, value in enumerate(readings, 1)]
    top = max(row)
    share, spread = min(row) / top, (top - min(row)) / top
    low = tuple(n for n, value in enumerate(row, 1) if (top - value) / top > COMPRESSION_MARGINAL + 1e-12)
    gasket = any(b - a == 1 for a, b in pairwise(low))
    figures = f"Lowest is {share:.1%} of the highest, spread {spread:.1%}"
    if share < COMPRESSION_LEAST or spread > COMPRESSION_MARGINAL + 1e-12:
        names = ", ".join(map(str, low))
        words = (f"{figures}: low on cylinder {names}. " if len(low) == 1 else f"{figures}: low on cylinders {names}. ")
        words += ("Neighbours low together point to the head gasket." if gasket else
                  "Rings or valves: leak-down tells which by where it hisses. Mend it first.")
        return Compression(share, spread, "fail" if share < COMPRESSION_LEAST else "marginal", low, gasket, words)
    if spread > COMPRESSION_GOOD + 1e-12:
        return Compression(share, spread, "marginal", low, gasket,
                           f"{figures}: uneven, but it can be tuned. Idle will not be as smooth as it might.")
    return Compression(share, spread, "good", low, gasket, f"{figures}: even.")


LeakGrade = Literal["very good", "acceptable", "serviceable", "fail"]


def leak_down(supply: float, cylinder: float) -> tuple[float, LeakGrade]:
    """Leak-down in percent, and its grade, from the `supply` and `cylinder` gauges, both in one unit.

    [geometry derived; grades published: sources S40 to S43, which disagree]
    """
    before = positive("supply pressure", supply)
    percent = 100 * (1 - within("cylinder pressure", cylinder, 0, before,
                                hint="It can't exceed the supply: look at the gauges.") / before)
    names: tuple[LeakGrade, ...] = ("very good", "acceptable", "serviceable")
    return percent, next((n for n, limit in zip(names, LEAK_GRADES, strict=True) if percent <= limit + 1e-9), "fail")


def dwell(degrees: float, cylinders: int, distributors: int = 1) -> float:
    """Dwell as a share of the cycle of one set of points: 60 degrees on a four is 0.667. [geometry; source S44]

    `degrees` of the distributor; `distributors` sets of points share the cylinders between them.
    """
    lobes = within("number of cylinders", cylinders, 1, 16) / within("sets of points", distributors, 1, 4)
    hint = "Look at the number of cylinders set on the meter."
    return within("dwell", degrees, 0, 360 / lobes, "deg", hint) * lobes / 360
