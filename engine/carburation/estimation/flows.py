"""What each barrel draws and what each air screw does, learned from rows of gauge readings and the turns between them.

One Gaussian belief holds every place's reading, every screw's effect per turn, and the error of a disturbed point. A
move
known in turns shifts readings by an effect that is itself being learned; a move by aim sets a reading. It gives no
advice.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from engine.carburation.estimation.fit import Belief
from engine.carburation.estimation.seen import Key, Seen
from engine.evidence import Place, ScrewView

#: Effect of a turn of a speed screw, as a share of what the barrel draws at idle: a quarter kg/h of about 4.7 is about
#: a
#: twenty-seventh of a turn [derived from a study of such engines]. Only a start: the moves teach the rest.
EFFECT = {"plate": 1.4, "coupling": 1.4, "bypass": 0.6}
#: How much that differs from engine to engine, and between the screws of one engine [assumed].
EFFECT_COMMON = {"plate": 0.40, "coupling": 0.40, "bypass": 0.70}
EFFECT_OWN = 0.15
#: Depression answers less than flow does [assumed]; more air is less depression.
DEPRESSION_SHARE = 0.5
#: Scatter of a hand gauge, as a share of its reading [assumed; many faces allow no better than 0.25 kg/h].
GAUGE_SCATTER = 0.016
#: A disturbed point: scatter, and how far it may be out [assumed].
DISTURBED_SCATTER, DISTURBED_ERROR = 0.045, 0.10
#: How far a counted turn may miss, in turns and as a share of the move [assumed].
HAND, HAND_SHARE = 0.010, 0.04
#: A longer turn than this passes through "off its lever" or "shut" and has no steady effect: nobody knows how far
#: [assumed].
FARTHEST = 0.8
#: How much the sound plates of one body differ, as a share of the reading [assumed]: what a spoilt reading is held to.
IN_BODY = 0.03


@dataclass(frozen=True, slots=True)
class AirScrew:
    """One air screw: its index among the unknowns, and which places of the row it moves (factor a turn of its
    effect)."""

    key: Key
    view: ScrewView
    index: int
    moves: tuple[int, ...]
    sign: float


@dataclass
class Flows:
    """The belief about one bank: `places` of the row, `screws` by key; `rows` so far, and `surprises` of the last
    row."""

    quantity: str
    places: tuple[Place, ...]
    belief: Belief
    screws: dict[Key, AirScrew]
    mean: float
    disturbed: frozenset[int]
    first_bias: int
    step: float
    since: int = 0
    rows: int = 0
    surprises: tuple[float, ...] = ()
    turned: dict[Key, float] = field(default_factory=dict)
    fitness: float = 0.0
    #: Places that the last row was read at although they were disturbed then.
    spoilt: tuple[Place, ...] = ()
    #: The belief's row after each answer.
    track: list[list[float]] = field(default_factory=list)

    def level(self, i: int) -> tuple[float, float]:
        """Best estimate of a place's true reading, and its standard deviation."""
        return self.belief.mean[i], math.sqrt(max(self.belief.cov[i][i], 0.0))

    def is_flow(self, shown: float) -> bool:
        """Whether an aim at this figure can be one at the gauge."""
        return 0.25 * self.mean < shown < 4.0 * self.mean

    def effect(self, key: Key) -> tuple[float, float]:
        """Change of reading per turn in the way the screw's position grows, and its standard deviation."""
        s = self.screws[key]
        return s.sign * self.belief.mean[s.index], math.sqrt(max(self.belief.cov[s.index][s.index], 0.0))

    def scatter(self, i: int) -> float:
        """Standard deviation of one reading at place i."""
        share = DISTURBED_SCATTER if i in self.disturbed else GAUGE_SCATTER
        return math.hypot(share * max(abs(self.belief.mean[i]), 0.2 * self.mean), self.step / math.sqrt(12.0))

    def deviation(self, i: int, group: Sequence[int]) -> tuple[float, float]:
        """How far place i lies from the mean of `group`, and the standard deviation of that."""
        weights = dict.fromkeys(group, -1.0 / len(group))
        weights[i] = weights.get(i, 0.0) + 1.0
        return self.belief.value(weights)

    # --- taking in what was seen --------------------------------------------------------------------------------
    def _move(self, seen: Seen) -> None:
        for key, by in seen.turned.items():
            screw = self.screws.get(key)
            if screw is None:
                continue
            self.since = 0
            size = abs(self.belief.mean[screw.index])
            if by is None or abs(by) > FARTHEST:  # its barrels move together, nobody knows how far
                aimed = any(k == key for k, _, _ in seen.aims)
                self.belief.share(screw.moves, ((0.3 if aimed else 2.0) * self.mean) ** 2)
                for i in screw.moves:
                    self.belief.blur(i, (0.01 * self.mean) ** 2)
                continue
            self.belief.share(screw.moves, (HAND * size) ** 2 + (HAND_SHARE * by * size) ** 2)
            for i in screw.moves:
                self.belief.add(i, {screw.index: screw.sign * by})
                self.belief.blur(i, (0.02 * by * size) ** 2)
            self.turned[key] = self.turned.get(key, 0.0) + abs(by)
        for _, where, shown in seen.aims:
            if not self.is_flow(shown):  # an aim at the tachometer
                continue
            for i, p in enumerate(self.places):
                if p == where or (where.barrel is None and p.carb == where.carb and p.barrel == 1):
                    self.belief.observe({i: 1.0}, shown, 1.5 * self.scatter(i) ** 2)

    def _tie(self, members: Sequence[int]) -> None:
        for a, b in pairwise(members):
            if self.places[a].carb == self.places[b].carb:
                self.belief.observe({a: 1.0, b: -1.0}, 0.0, (IN_BODY * self.mean) ** 2)

    def take(self, row: Sequence[float | None]) -> None:
        """Take in one row of readings."""
        common = len(self.belief.mean) - 1
        self.belief.renew(common, (0.004 * self.mean) ** 2)
        self.spoilt = tuple(self.places[i] for i in sorted(self.disturbed) if row[i] is not None)
        out = []
        for i, value in enumerate(row):
            if value is None:
                out.append(0.0)
                continue
            weights = {i: 1.0, common: 1.0}
            if i in self.disturbed:
                weights[self.first_bias + sorted(self.disturbed).index(i)] = 1.0
            expected, sd = self.belief.value(weights)
            noise = self.scatter(i)
            z = (value - expected) / math.hypot(sd, noise)
            self.fitness -= 0.5 * z * z + math.log(math.hypot(sd, noise))
            if abs(z) > 4.0 and self.rows:
                twice = len(self.surprises) > i and abs(self.surprises[i]) > 4.0
                if twice:  # seen again: it is so
                    self.belief.blur(i, (value - expected) ** 2)
                    for s in self.screws.values():
                        if i in s.moves and self.turned.get(s.key):
                            self.belief.blur(s.index, (0.3 * self.belief.mean[s.index]) ** 2)
                else:
                    noise = abs(value - expected)
            self.belief.observe(weights, value, noise * noise)
            out.append(z)
        self.surprises = tuple(out)
        self.rows += 1
        self.since += 1

    def follow(self, history: Sequence[Seen], plugged: str = "take_offs") -> Flows:
        """Take in everything that was seen, in order."""
        epoch = history[0].epoch if history else 0
        open_still: frozenset[int] = frozenset()  # take-offs that were said not to be pluggable
        for seen in history:
            told = seen.answer.readings.get("take-off", ())
            if len(told) == len(self.places):
                open_still = frozenset(i for i, word in enumerate(told) if word == "yes")
            if seen.epoch != epoch:
                epoch = seen.epoch
                for i in range(len(self.places)):
                    self.belief.blur(i, (0.04 * self.mean) ** 2)
                for s in self.screws.values():
                    self.belief.blur(s.index, (0.15 * self.belief.mean[s.index]) ** 2)
            self._move(seen)
            row = seen.row(self.quantity)
            if row is not None and len(row) == len(self.places) and seen.idling and any(v for v in row):
                was = self.disturbed
                if seen.answer.state.get(plugged) in ("plugged", "pinched", "shut"):
                    self.disturbed = was & open_still
                self.take(row)
                self.disturbed = was
            self.track.append(self.belief.mean[: len(self.places)])
        return self


def make(
    quantity: str,
    places: Sequence[Place],
    mean: float,
    screws: Sequence[tuple[ScrewView, Mapping[Place, Sequence[int]]]],
    disturbed: Sequence[Place],
    step: float,
) -> Flows:
    """A fresh belief: nothing known of the row but its size, effects as experience has them.

    `screws`: each with its places, and for each place the row indices that it moves.
    """
    n = len(places)
    flow = quantity != "depression"
    spoilt = [i for i, p in enumerate(places) if p in disturbed]
    means = [mean] * n
    variances = [(2.0 * mean) ** 2] * n
    table: dict[Key, AirScrew] = {}
    groups: list[tuple[list[int], float]] = []
    for view, spots in screws:
        share = EFFECT.get(view.at, 1.0) * (1.0 if flow else DEPRESSION_SHARE)
        size = share * mean
        grows = view.outward if view.counts == "out" else view.inward
        sign = (1.0 if grows == "more air" else -1.0) * (1.0 if flow else -1.0)
        members = []
        for place, moves in spots.items():
            table[(view.name, place)] = AirScrew((view.name, place), view, len(means), tuple(moves), sign)
            members.append(len(means))
            means.append(size)
            variances.append((EFFECT_OWN * size) ** 2)
        groups.append((members, (EFFECT_COMMON.get(view.at, 0.6) * size) ** 2))
    first_bias = len(means)
    means += [0.0] * (len(spoilt) + 1)
    variances += [(DISTURBED_ERROR * mean) ** 2] * len(spoilt) + [0.0]
    belief = Belief(means, variances)
    for members, var in groups:
        belief.share(members, var)
    flows = Flows(quantity, tuple(places), belief, table, mean, frozenset(spoilt), first_bias, step)
    by_carb: dict[int | None, list[int]] = {}
    for i, p in enumerate(places):
        by_carb.setdefault(p.carb, []).append(i)
    for members in by_carb.values():
        if len(members) > 1:
            flows._tie(members)
    return flows
