"""What was seen of the mixture, stretch by stretch between changes of air and jets, and what is believed at its end.

Within a stretch several pictures are followed, since one crest can hide another. It gives no advice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby

from engine.carburation.estimation import picture
from engine.carburation.estimation.crest import Screws
from engine.carburation.estimation.fitting import fitted
from engine.carburation.estimation.foresee import Shot
from engine.carburation.estimation.picture import Idle, Prior

#: Where else a fit is begun: all barrels so much richer, the screws so much stronger, as logarithms.
ELSEWHERE = ((0.2, -0.3), (-0.2, -0.3), (0.0, 0.35))
#: After so many shots it is looked for elsewhere, and after one that worsens the misfit by so much.
LOOK_ROUND, SURPRISE = frozenset({3, 6}), 8.0
#: So many pictures are kept.
MOST_PICTURES = 3


def changes(
    changed: Mapping[int, tuple[float | None, float]],
) -> tuple[tuple[tuple[int, float, float], ...], tuple[tuple[int, int], ...]]:
    """What a change of jets should do to each barrel's fuel (by factor, with its doubt), and the pairs of barrels whose
    jets of one number changed places, in the order told."""
    told = list(changed)
    pairs = (
        tuple((a, b) for a, b in zip(told[::2], told[1::2], strict=False) if len(set(changed[a] + changed[b])) == 1)
        if len(told) % 2 == 0
        else ()
    )
    paired = {i for pair in pairs for i in pair}
    return tuple(
        (i, (new / old) ** 2 if old else 1.0, 0.12 if old and old != new else 0.25)
        for i, (old, new) in changed.items()
        if i not in paired
    ), pairs


@dataclass(frozen=True, slots=True)
class Stretch:
    """What was seen at one setting of the air with one set of jets, and the jets changed and swapped before it."""

    air: tuple[float, ...]
    shots: tuple[Shot, ...]
    jets: tuple[tuple[int, float, float], ...] = ()
    swaps: tuple[tuple[int, int], ...] = ()

    @property
    def tells(self) -> bool:
        """Whether it tells of the mixture: the screws were turned in it, or a meter read."""
        return len({shot.at for shot in self.shots}) > 1 or any(shot.lambdas for shot in self.shots)


def stretches(
    shots: Sequence[tuple[int, tuple[float, ...], Shot]], jets: Sequence[tuple[int, tuple, tuple]]
) -> list[Stretch]:
    """The shots stretch by stretch; ages are counted from the beginning of each, so that what was fitted stays so."""
    out: list[Stretch] = []
    groups = [(key, [s for _, _, s in mine]) for key, mine in groupby(shots, key=lambda x: x[:2])]
    told = -1
    for (segment, air), mine in groups:
        before = [row for row in jets if told < row[0] <= segment] if out else []
        told, first = segment, mine[0].age
        out.append(
            Stretch(
                air,
                tuple(replace(s, age=s.age - first) for s in mine),
                tuple(x for _, changed, _ in before for x in changed),
                tuple(x for _, _, swapped in before for x in swapped),
            )
        )
    return out


def believed(
    screws: Screws, parts: Sequence[Stretch], now: tuple[float, ...], target: float
) -> tuple[Idle | None, float]:
    """Fit stretch by stretch: a change of air or jets carries the belief over, with the change it should make. With how
    rough the engine runs now."""
    idle: Idle | None = None
    prior, rough = picture.fresh(len(now), screws, target), 1.0
    for n, part in enumerate(parts):
        if idle is not None:
            prior = picture.carry(idle, part.air, part.jets, part.swaps)
        if not part.tells and n < len(parts) - 1:  # only the speed of other air, which tells nothing
            continue
        idle, rough = _best(screws, part, prior, n < len(parts) - 1)
    if idle is not None and idle.air != now:
        idle = fitted(screws, (), picture.carry(idle, now), now)
    return idle, rough


@lru_cache(maxsize=256)
def _best(screws: Screws, part: Stretch, prior: Prior, past: bool) -> tuple[Idle, float]:
    """The likeliest picture of a stretch, in doubt where others fit about as well, and how rough it runs: a speed that
    hunts says less than it would. A stretch that is `past` is fitted at once, not shot by shot."""
    found = (_looked if past else _pictures)(screws, part.shots, prior, part.air, part.swaps)
    rough = min(5.0, _roughness(part.shots, found[0]))
    if rough <= 1.5:
        return picture.mingled(found), 1.0
    shots = tuple(replace(s, noise=s.noise * rough) for s in part.shots)
    return picture.mingled([fitted(screws, shots, prior, part.air, i.mean, 8) for i in found]), rough


@lru_cache(maxsize=512)
def _pictures(
    screws: Screws, shots: tuple[Shot, ...], prior: Prior, air: tuple[float, ...], swaps: tuple[tuple[int, int], ...]
) -> tuple[Idle, ...]:
    """The likeliest pictures that shots allow, best first, since one crest can hide another.

    Each goes on from those of the shots before it; every now and then, and after a surprise, a fit is begun elsewhere:
    from all rich, from all lean. A pure function, and kept, so that a run pays for its last reading only.
    """
    if len(shots) < 2:
        return _looked(screws, shots, prior, air, swaps)
    before = _pictures(screws, shots[:-1], prior, air, swaps)
    found = _apart([fitted(screws, shots, prior, air, i.mean, 12) for i in before])
    worse = found[0].misfit - before[0].misfit
    if len(shots) in LOOK_ROUND or (worse > SURPRISE and found[0].misfit > len(shots)):
        found = _apart([*found, *_looked(screws, shots, prior, air, swaps)])
    return found


def _looked(
    screws: Screws, shots: tuple[Shot, ...], prior: Prior, air: tuple[float, ...], swaps: Sequence[tuple[int, int]]
) -> tuple[Idle, ...]:
    """The likeliest pictures, looked for from what is believed and from elsewhere."""
    first = fitted(screws, shots, prior, air)
    starts = picture.either(prior, swaps)
    if len(shots) > 2:
        starts += [picture.elsewhere(first, rich, slope) for rich, slope in ELSEWHERE]
    return _apart([first, *(fitted(screws, shots, prior, air, start, 8) for start in starts)])


def _apart(fits: Sequence[Idle]) -> tuple[Idle, ...]:
    """The few best of several fits, without those that say the same as a better one."""
    out: list[Idle] = []
    for one in sorted(fits, key=lambda i: i.misfit):
        if one.misfit < fits[0].misfit + picture.UNLIKELY and not any(picture.alike(one, known) for known in out):
            out.append(one)
    return tuple(out[:MOST_PICTURES])


def _roughness(shots: Sequence[Shot], idle: Idle) -> float:
    """How much more the speeds scatter about the picture than the meter does."""
    rows = [
        abs(math.log(s.speed / idle.speed(s.at, s.age))) * s.speed / s.noise
        for s in shots
        if s.speed and s.noise < 50.0
    ]
    if len(rows) < 6:
        return 1.0
    return sorted(rows)[len(rows) // 2] / 0.6745
