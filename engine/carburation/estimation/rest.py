"""What the places where mixture screws rest say of the idle jets: how many sizes each is wrong, as probabilities.

A screw with the right jet rests in mid band; an engine may shift all its screws alike a little; a jet one size wrong
moves
its screw by what that share of fuel is in turns. It weighs, and condemns nothing: a leak or a low level look the same.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: How often jets are wrong before anything was seen: all by a size, or one barrel by one or two [assumed, not counted].
ALL_WRONG, ONE_WRONG, TWO_SIZES = 0.06, 0.06, 0.5
#: How far the right jet lies from the trade's table by cylinder, in sizes [assumed: makers differ by about one].
OFF_TABLE = 0.8
#: How far an engine shifts all its screws alike, and each by itself, as shares of fuel [assumed].
SHIFT, OWN = 0.045, 0.035
#: How much a screw that rests further out than two sizes explain speaks against them, as a share [assumed].
BEYOND = 0.3
_SIZES = (-2, -1, 0, 1, 2)


@dataclass(frozen=True, slots=True)
class Verdict:
    """`sizes[i]`: probabilities that barrel i's jet needs -2..2 sizes; `all_by`: the same for all alike (-1, 0, 1)."""

    sizes: tuple[dict[int, float], ...]
    all_by: dict[int, float]

    def likeliest(self, i: int) -> tuple[int, float]:
        """The likeliest number of sizes of barrel i, and how likely it is wrong in that direction (right, if 0)."""
        p = self.sizes[i]
        best = max(p, key=lambda s: p[s])
        if best == 0:
            return 0, p[0]
        return best, sum(v for s, v in p.items() if s * best > 0)


def richness(size: float, step: float, sizes: int) -> float:
    """ln of the fuel that a jet `sizes` too small lacks: areas go with the square of the number."""
    return 2.0 * math.log(max(size + sizes * step, 1.0) / size)


def judge(
    lean: Sequence[float], doubt: Sequence[float], size: Sequence[float], step: float, usual: float | None = None
) -> Verdict:
    """Weigh the barrels: `lean[i]` is ln of the fuel that barrel i lacks with its screw in mid band (positive: its
    screw rests towards richer than mid), `doubt[i]` its standard deviation, `size[i]` the jet's number, `usual` the
    table's number for such a cylinder."""
    n = len(lean)
    each: list[dict[int, float]] = [dict.fromkeys(_SIZES, 0.0) for _ in range(n)]
    all_by = {-1: 0.0, 0: 0.0, 1: 0.0}
    prior = {0: 1.0 - 2 * ONE_WRONG}
    for s in (-2, -1, 1, 2):
        prior[s] = ONE_WRONG * (TWO_SIZES if abs(s) == 2 else 1.0) / (1.0 + TWO_SIZES)
    fitted = max(size, key=lambda z: (list(size).count(z), -abs(z - (usual or z))))
    start = {
        a: (ALL_WRONG if a else 1.0 - 2 * ALL_WRONG)
        * (1.0 if usual is None else math.exp(-0.5 * ((fitted + a * step - usual) / (OFF_TABLE * step)) ** 2))
        for a in (-1, 0, 1)
    }
    logs: list[tuple[float, int, list[dict[int, float]]]] = []
    for all_ in (-1, 0, 1):
        for k in range(-6, 7):
            shift = k * 0.5 * SHIFT
            weight = start[all_] * math.exp(-0.5 * (shift / SHIFT) ** 2)
            total, parts = math.log(weight), []
            for i in range(n):
                sd = math.hypot(doubt[i], OWN)
                odd = round((fitted - size[i]) / step) + all_  # what the number on the jet says, if it is true
                like = {}
                for s in _SIZES:
                    off = lean[i] - shift - richness(size[i], step, odd + s)
                    if abs(s) == 2 and off * s > 0.0:  # two sizes or more: further out contradicts little
                        off *= BEYOND
                    like[s] = prior[s] * math.exp(-0.5 * (off / sd) ** 2) + 1e-12
                total += math.log(sum(like.values()))
                parts.append(dict.fromkeys(_SIZES, 0.0))
                for s, v in like.items():
                    parts[-1][max(-2, min(2, odd + s))] += v
            logs.append((total, all_, parts))
    top = max(t for t, _, _ in logs)
    whole = 0.0
    for total, all_, parts in logs:
        w = math.exp(total - top)
        whole += w
        all_by[all_] += w
        for i, like in enumerate(parts):
            s_total = sum(like.values())
            for s, v in like.items():
                each[i][s] += w * v / s_total
    return Verdict(tuple({s: v / whole for s, v in e.items()} for e in each), {a: v / whole for a, v in all_by.items()})
