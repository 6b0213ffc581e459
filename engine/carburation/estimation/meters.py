"""What a meter tells of the mixture, cylinder by cylinder or at a common tailpipe; it fits nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from engine.carburation.estimation.seen import Seen, numbers
from engine.carburation.rules import exhaust
from engine.evidence import ScrewView
from engine.job.model import Job

#: Scatter of ln lambda as a meter gives it, and of CO as a share of itself [assumed].
LAMBDA_SCATTER, CO_SCATTER = 0.010, 0.06
#: Below this CO, %, a cylinder is lean, or so rich that it does not fire: a bound and no figure [derived].
NO_CO = 0.7
#: A CO meter ends here, %: what it shows from here on is that or richer [assumed: 10 or 15 by meter].
CO_END = 9.9
#: A meter reading beyond this may be oxygen from misfire: only a bound [common practice].
MISFIRE_LAMBDA = 1.12
#: How far the mean of a merged pipe may lie from the mean of the mixtures, ln [assumed: flows and misfires].
PIPE_SD = 0.02


@dataclass(frozen=True, slots=True)
class Gas:
    """What a meter told of one barrel: lambda and the scatter of its logarithm; `least`: it is that or leaner, or so
    rich that it does not fire; `most`: that or richer."""

    lam: float
    sd: float
    least: bool = False
    most: bool = False


@lru_cache(maxsize=1024)
def lambda_of(quantity: str, value: float) -> Gas | None:
    """Lambda from one reading (CO in %); None where it says nothing (a cold probe, no gas)."""
    if quantity == "lambda":
        if not 0.5 <= value <= 1.9:
            return None
        return Gas(value, LAMBDA_SCATTER if value < MISFIRE_LAMBDA else 0.12)
    if not 0.0 <= value <= 20.0:
        return None
    if value < NO_CO:
        return Gas(0.985, 0.02, least=True)
    lam = exhaust.lambda_of_co(min(value, CO_END))
    slope = 1.0 / (35.8 + 22.7 * (1.0 - lam))  # of the curve there, lambda a point of CO
    return Gas(lam, max(0.006, slope * CO_SCATTER * value / lam), most=value >= CO_END)


def meter_row(seen: Seen, n: int) -> tuple[Gas | None, ...] | None:
    """Lambda by screw as a meter showed it in this answer, from lambda or CO, several cylinders of a screw averaged."""
    for quantity, scale in (("lambda", 1.0), ("CO", 100.0)):  # CO comes as a share
        row = seen.row(quantity)
        if row is None or len(row) < n or len(row) % n or (n > 1 and len(row) == 1):
            continue
        per = len(row) // n
        out = []
        for i in range(n):
            told = [lambda_of(quantity, round(scale * v, 3)) for v in row[i * per : (i + 1) * per] if v is not None]
            good = [t for t in told if t]
            out.append(
                Gas(
                    sum(t.lam for t in good) / len(good),
                    max(t.sd for t in good),
                    any(t.least for t in good),
                    all(t.most for t in good),
                )
                if good
                else None
            )
        return tuple(out)
    return None


def pipe(job: Job, seen: Sequence[Seen], at: Sequence[float | None], view: ScrewView) -> tuple[float, float] | None:
    """ln of the mean mixture as a meter at the common tailpipe shows it with the screws standing as they do, and its
    doubt; None where nothing was read so."""
    if len(at) < 2:
        return None
    for s in reversed(seen):
        for quantity, scale in (("lambda", 1.0), ("CO", 100.0)):
            row = numbers(s.answer.readings.get(quantity, ()))
            if len(row) != 1 or row[0] is None or not s.idling:
                continue
            stands = [v for (name, _), v in s.stands.items() if name == view.name]
            if len(stands) != len(at) or any(v is None for v in stands):
                continue
            if any(abs((a or 0.0) - (b or 0.0)) > 0.03 for a, b in zip(stands, at, strict=True)):
                return None
            gas = lambda_of(quantity, round(scale * row[0], 3))
            if gas is None or gas.least or gas.most or gas.lam > MISFIRE_LAMBDA:
                return None
            return -math.log(gas.lam), math.hypot(gas.sd, PIPE_SD)
    return None
