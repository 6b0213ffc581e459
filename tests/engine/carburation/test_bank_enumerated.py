"""Jets weighed all at once give what plain counting gives: every way that all of them may be, one after the other, and
each barrel's own part place by place. Written from what the bank says it assumes, not from how it computes."""

import math
from functools import cache
from itertools import product

import numpy as np
import pytest

from engine.carburation.estimation import bank
from engine.carburation.estimation.bank import ALL_BY, APART, SHIFT, SHIFTS, SIZES, Barrel, Jet, weigh
from engine.carburation.estimation.laws import COUNT, GRID, LOW, STEP
from engine.carburation.estimation.rests import CHANGED, MARGIN, OWN_FAULT_SD, UNSURE

STOCKED, TABLE = 5.0, 50.0
OFFS = np.arange(-MARGIN, MARGIN + 1)


def moves(ln):
    """A jet moves a rest by somewhat more than its fuel, and nobody knows quite how far."""
    return 1.2 * ln, 0.25 * abs(ln)


def bell(off, sd):
    return np.exp(-0.5 * (off / sd) ** 2)


def own_part(barrel, apart, unsure):
    """How likely a barrel's own part moves it so far: in all, and by a fault of its own."""
    near = bell(OFFS * STEP, math.hypot(barrel.doubt, apart * barrel.rest, unsure * STEP))
    far = bell(OFFS * STEP, OWN_FAULT_SD)
    return (1.0 - barrel.fault) * near / near.sum() + barrel.fault * far / far.sum(), barrel.fault * far / far.sum()


def about(row, k):
    """A row about place k, its ends going on for ever."""
    return row[np.clip(k + OFFS, 0, COUNT - 1)]


def blurred(row, unsure):
    """What was seen, told for a barrel whose jet is changed: it moves somewhat by itself."""
    sd = math.hypot(unsure, CHANGED)
    far = math.ceil(2.5 * sd)
    offs = np.arange(-far, far + 1)
    return (
        np.array([bell(offs, sd) @ row[np.clip(k + offs, 0, COUNT - 1)] for k in range(COUNT)]) / bell(offs, sd).sum()
    )


def counted(barrels, jets):
    """Sizes needed, all alike, faults of their own, and where each rests by all but what was seen with its jet of now:
    not yet divided by their sum."""
    sizes, all_by = [dict.fromkeys(SIZES, 0.0) for _ in barrels], dict.fromkeys(ALL_BY, 0.0)
    own, rests = [0.0 for _ in barrels], [np.zeros(COUNT + 2 * MARGIN) for _ in barrels]

    @cache
    def lies(i, g, k, unsure):
        row = barrels[i].likes[g]
        return about(blurred(row, unsure) if len(barrels[i].jets) > 1 else row, k)

    @cache
    def told(i, apart, put):
        """Of what was seen of barrel i with its jets putting it there: how likely, by a fault, and without the last."""
        *past, now = [lies(i, g, *at) for g, at in enumerate(put)]
        whole, fault = own_part(barrels[i], apart, 0 if past else put[-1][1])
        spread, before = own_part(barrels[i], apart, put[-1][1])[0], math.prod(past)
        return float(whole @ (before * now)), float(fault @ (before * now)), spread * before

    def at(b, j, shift, size, right):
        mean, sd = moves(2.0 * math.log(size / right))
        return round((shift * SHIFT + b.shift + mean - LOW) / STEP), min(UNSURE[-1], 2 * round(0.5 * sd / STEP))

    for (apart, odds), all_, shift, false in product(APART, ALL_BY, SHIFTS, product(SIZES, repeat=len(jets))):
        right, true = TABLE + all_ * STOCKED, [j.number + f * STOCKED for j, f in zip(jets, false, strict=True)]
        odds *= bank.ALL_WRONG if all_ else 1.0 - 2 * bank.ALL_WRONG
        odds *= math.prod(j.odds(f) for j, f in zip(jets, false, strict=True)) * bell(shift, 1.0)
        off = all_ / bank.OFF_TABLE
        odds *= bell(off, 1.0) + bank.NO_TABLE * bell(off, bank.NO_TABLE_WIDE)
        put = [tuple(at(b, j, shift, true[j], right) for j in b.jets) for b in barrels]
        seen = [told(i, apart, put[i]) for i in range(len(barrels))]
        this = odds * math.prod(s[0] for s in seen)
        all_by[all_] += this
        for i, b in enumerate(barrels):
            sizes[i][max(-2, min(2, round((right - true[b.jets[-1]]) / STOCKED)))] += this
            own[i] += this * seen[i][1] / seen[i][0]
            start = min(max(put[i][-1][0], 0), COUNT - 1)
            rests[i][start : start + len(OFFS)] += this / seen[i][0] * seen[i][2]
    return sizes, all_by, own, [row[MARGIN : MARGIN + COUNT] for row in rests]


def seen(at, doubt=0.05):
    return 0.98 * bell(np.array(GRID) - at, doubt) + 0.02


SWAPPED = [
    Barrel((0, 1), (seen(-0.3), seen(-0.05))),
    Barrel((1, 0), (seen(0.0), seen(-0.28)), shift=0.06),
    Barrel((2,), (seen(0.1, 0.15),), doubt=0.06),
]
CHANGED_TWICE = [Barrel((0, 1, 2), (seen(-0.4), seen(-0.2), seen(-0.25)), shift=-0.4, fault=0.2)]


@pytest.mark.parametrize(
    ("barrels", "jets"),
    [
        (SWAPPED, [Jet(50.0), Jet(50.0), Jet(55.0)]),
        (CHANGED_TWICE, [Jet(50.0), Jet(50.0, fresh=True), Jet(55.0, fresh=True)]),
    ],
    ids=["jets that changed places", "fresh jets one after the other"],
)
def test_jets_weighed_at_once_are_weighed_as_by_counting_every_way_they_may_be(barrels, jets):
    told = weigh(barrels, jets, STOCKED, moves, TABLE)
    sizes, all_by, own, rests = counted(barrels, jets)
    whole = sum(all_by.values())
    # ways of less than a millionth are left out, and rests of less than a ten-thousandth tell of no fault
    assert told.all_by == pytest.approx({a: w / whole for a, w in all_by.items()}, abs=1e-5)
    for i in range(len(barrels)):
        assert told.sizes[i] == pytest.approx({s: w / whole for s, w in sizes[i].items()}, abs=1e-5)
        assert told.own[i] == pytest.approx(own[i] / whole, abs=2e-3)
        assert np.abs(told.prior[i] - rests[i] / rests[i].sum()).max() < 1e-5
