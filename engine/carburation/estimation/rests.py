"""Where one barrel rests by the jets that it had: how likely what was seen of it is for every way these jets may be,
its own part unknown, and where it may rest with its jet of now. It knows no other barrel and judges no jet.

All is arrays, since a bank is weighed in hundreds of ways at every answer. Their axes, in this order, where they have
them: how far `apart` barrels rest; all jets' sizes (`all_by`); what `shift`s all screws alike; a `way` that the
barrel's own jets may be, or how many sizes one jet is off (`false`); the places that a barrel's own part may take it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from engine.carburation.estimation.arrays import np
from engine.carburation.estimation.laws import COUNT, LOW, STEP

if TYPE_CHECKING:
    from engine.carburation.estimation.arrays import Array, Places

#: How much a fault of its own moves a barrel, in ln [assumed].
OWN_FAULT_SD = 0.28
#: The widest part of a barrel's own, in steps of the grid [assumed: beyond it nothing weighs].
MARGIN = 28
#: From one jet to the next a barrel's rest moves by itself by so many steps of the grid: its air, its screw [assumed].
CHANGED = 1.5
#: How unsure what a jet does may be, in steps of the grid: a jet's doubt is told by its place in this row [assumed].
UNSURE = (0, 2, 4, 6, 8, 10, 12)
#: What a way is told at least [assumed: nothing is impossible].
LEAST = 1e-12
#: A rest less likely than this does not tell of a fault [assumed].
TELLS = 1e-4


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """What a jet does, all_by x false: the `mean` by which it moves a rest (ln), how `unsure` that is (its place in
    `UNSURE`), and which of the sizes it `needs` (its place among them)."""

    mean: Array
    unsure: Places
    needs: Places


class Rest:
    """One barrel. `likes[g]`: how likely each richness is by what was seen with its g-th jet; `moved[g]`: what that jet
    does; `ways`: a row for every way that its jets may be, how far the g-th is off as the place among all it may be;
    `shifts`: what else moves it (ln), shift by shift; `doubts`: what its own part is unsure by, if all goes well, by
    `apart`; `fault`: how likely it has a fault of its own."""

    def __init__(
        self,
        likes: Sequence[Array],
        moved: Sequence[Moved],
        ways: Places,
        shifts: Array,
        doubts: tuple[float, ...],
        fault: float,
    ) -> None:
        self.moved, self.ways = moved, ways
        self.at = [_places(shifts, m) for m in moved]
        self.kernel, bad = _kernels(doubts, fault)
        #: What was seen with the jets that it had before the one of now, about the rest of each: way by way.
        self.before: Array | None = None
        if len(likes) == 1:
            lies = likes[0][_about(self.at[0])]
            self.seen = np.einsum("asfm,pafm->pasf", lies, self.kernel[:, moved[0].unsure]) + LEAST
            self.bad = lies @ bad
            return
        *past, now = [
            (_blurs() @ like)[m.unsure[:, None, :, None], _about(at)][:, :, ways[:, g]]
            for g, (like, m, at) in enumerate(zip(likes, moved, self.at, strict=True))
        ]
        self.before = past[0]
        for lies in past[1:]:
            self.before = self.before * lies
        told = (self.before * now) @ np.stack([*self.kernel[:, 0], bad], axis=1)
        self.seen = np.moveaxis(told[..., :-1], -1, 0) + LEAST
        self.bad = told[..., -1]

    def sizes(self, held: Array) -> Array:
        """How likely its jet needs each of the sizes, by how likely (`held`) each scene and way is."""
        needs = self.moved[-1].needs[:, self.ways[:, -1]]
        return _added(needs, held.sum(axis=(0, 2)), self.moved[-1].needs.shape[1])

    def own(self, held: Array) -> float:
        """How likely it has a fault of its own, by the same."""
        same = self._same()
        out = 0.0
        for mine, seen in zip(held, self.seen, strict=True):
            alike = _added(same, mine, 0)[same].reshape(mine.shape)
            out += float(np.where(alike > TELLS, mine * self.bad / seen, 0.0).sum())
        return out

    def _same(self) -> Places:
        """Scenes and ways, numbered so that those which put all its jets' rests at the same places are one."""
        same: Places = np.zeros(self.bad.size, np.intp)
        for g, (m, at) in enumerate(zip(self.moved, self.at, strict=True)):
            spot = (at - at.min()) * len(UNSURE) + m.unsure[:, None, :]
            mine = spot[:, :, self.ways[:, g]].ravel()
            same = np.unique(same * (int(spot.max()) + 1) + mine, return_inverse=True)[1].reshape(-1)
        return same

    def placed(self, others: Array) -> Array:
        """How likely each rest is with its jet of now, by all but what was seen with it; `others`: how likely each
        scene and way is without this barrel."""
        m, at = self.moved[-1], self.at[-1]
        told: Array  # all_by x shift x false x apart x place
        if self.before is None:
            told = np.moveaxis(others, 0, -1)[..., None]
        else:
            told = np.stack(
                [
                    np.moveaxis(others[..., mine], 0, -2) @ self.before[:, :, mine]
                    for mine in (self.ways[:, -1] == f for f in range(m.mean.shape[1]))
                ],
                axis=2,
            )
        part = (told * np.moveaxis(self.kernel[:, m.unsure], 0, 2)[:, None]).sum(axis=3)
        spots = np.minimum(np.maximum(at, 0), COUNT - 1)[..., None] + np.arange(2 * MARGIN + 1)
        return _added(spots, part, COUNT + 2 * MARGIN)[MARGIN : MARGIN + COUNT]


def _added(places: Places, weights: Array, count: int) -> Array:
    """Weights added up by place, of so many places."""
    return np.bincount(places.ravel(), weights.ravel(), minlength=count).astype(np.float64)


def _places(shifts: Array, m: Moved) -> Places:
    """Where on the grid the rest lies (it may be beyond): all_by x shift x false."""
    there: Places = np.rint((shifts[None, :, None] + m.mean[:, None, :] - LOW) / STEP).astype(np.intp)
    return there


def _about(at: Places) -> Places:
    """All places that a barrel's own part may take it to; the grid's ends go on for ever."""
    there: Places = np.minimum(np.maximum(at[..., None] + np.arange(-MARGIN, MARGIN + 1), 0), COUNT - 1)
    return there


@lru_cache(maxsize=64)
def _kernels(doubts: tuple[float, ...], fault: float) -> tuple[Array, Array]:
    """A barrel's own part, from -MARGIN to MARGIN of the grid: weights in all, by `apart` and by how unsure, besides,
    what its jet does; and of a fault of its own."""
    off = STEP * np.arange(-MARGIN, MARGIN + 1)
    sure = np.maximum(np.hypot(np.array(doubts)[:, None], STEP * np.array(UNSURE)), 0.4 * STEP)[..., None]
    near, far = np.exp(-0.5 * (off / sure) ** 2), np.exp(-0.5 * (off / OWN_FAULT_SD) ** 2)
    bad = fault / far.sum() * far
    return (1.0 - fault) / near.sum(axis=-1, keepdims=True) * near + bad, bad


@lru_cache(maxsize=1)
def _blurs() -> Array:
    """What tells a row over the grid for a jet whose effect is unsure, a matrix for each of `UNSURE`."""
    out = np.zeros((len(UNSURE), COUNT, COUNT))
    here = np.arange(COUNT)
    for k, unsure in enumerate(UNSURE):
        sure = float(np.hypot(unsure, CHANGED))
        far = int(np.ceil(2.5 * sure))
        off = np.arange(-far, far + 1)
        bell = np.exp(-0.5 * (off / sure) ** 2)
        for o, w in zip(off, bell / bell.sum(), strict=True):
            out[k, here, np.clip(here + o, 0, COUNT - 1)] += w
    return out
