"""What the places where mixture screws rest say of the jets, barrel by barrel and all together, before and after
swaps."""

import numpy as np
import pytest

from engine.carburation.estimation.bank import Barrel, Jet, richness, weigh
from engine.carburation.estimation.laws import COUNT, GRID

DOUBT = 0.03
NOTHING = np.ones(COUNT)


def seen(at, doubt=DOUBT):
    """A barrel seen to rest at `at` (ln of fuel), within a doubt."""
    return np.exp(-0.5 * ((np.array(GRID) - at) / doubt) ** 2)


def weighed(lean, numbers=None, usual=None, doubt=DOUBT):
    numbers = numbers or [50.0] * len(lean)
    barrels = [Barrel((i,), (seen(-x, doubt),)) for i, x in enumerate(lean)]
    return weigh(barrels, [Jet(n) for n in numbers], 5.0, usual=usual)


def sizes(lean, numbers=None, usual=None):
    verdict = weighed(lean, numbers, usual)
    return [verdict.likeliest(i)[0] for i in range(len(lean))]


@pytest.mark.parametrize("off", [-2, -1, 1, 2])
def test_one_screw_out_by_what_a_jet_of_that_many_sizes_lacks_names_that_jet_and_no_other(off):
    named = sizes([0.0, 0.0, richness(50.0, 5.0, off), 0.0])
    assert named[2] * off > 0 and named[:2] + named[3:] == [0, 0, 0]


def test_all_screws_out_alike_by_one_size_are_all_jets():
    assert weighed([richness(50.0, 5.0, 1)] * 4).all_by[1] > 0.85


def test_the_table_weighs_in_where_the_screws_leave_it_open_and_does_not_rule():
    between = [0.12] * 4  # less than a size, all alike: the screws alone can't tell
    small, right = (weighed(between, usual=u).all_by[1] for u in (55.0, 50.0))
    assert small > 2 * right
    assert weighed([0.0] * 4, usual=55.0).all_by[1] < 0.1


def test_doubt_about_the_mixture_takes_the_sureness_away():
    lean = [0.0, 0.0, richness(50.0, 5.0, 1), 0.0]
    assert weighed(lean).likeliest(2)[1] > weighed(lean, doubt=0.2).sizes[2][1] + 0.2


def after_swap(first, second):
    """Barrels 0 and 1 seen before their jets changed places, and after."""
    barrels = [
        Barrel((0, 1), (seen(first[0]), seen(second[0]))),
        Barrel((1, 0), (seen(first[1]), seen(second[1]))),
        Barrel((2,), (seen(0.0),)),
        Barrel((3,), (seen(0.0),)),
    ]
    return weigh(barrels, [Jet(50.0)] * 4, 5.0)


SMALL = -richness(50.0, 5.0, 2)


def test_a_fault_that_goes_along_with_the_jet_is_the_jets():
    verdict = after_swap((SMALL, 0.0), (0.0, SMALL))
    assert verdict.likeliest(1)[0] > 0 and verdict.likeliest(1)[1] > 0.97
    assert verdict.likeliest(0)[0] == 0


def test_a_fault_that_stays_is_the_barrels():
    verdict = after_swap((SMALL, 0.0), (SMALL, 0.0))
    assert verdict.likeliest(0)[0] == 0 and verdict.likeliest(1)[0] == 0
    assert verdict.own[0] > 0.5 > verdict.own[1]


def test_a_jet_fresh_from_the_shelf_is_believed_before_the_barrel_is():
    """Its number is changed to the sound one and the barrel is out still: it has a fault of its own."""
    barrels = [Barrel((0, 4), (seen(SMALL), seen(SMALL))), *(Barrel((i,), (seen(0.0),)) for i in (1, 2, 3))]
    verdict = weigh(barrels, [*[Jet(50.0)] * 4, Jet(50.0, fresh=True)], 5.0)
    assert verdict.likeliest(0)[0] == 0 and verdict.own[0] > 0.5


def test_where_nothing_was_seen_a_barrel_is_most_likely_sound_and_about_mid_band():
    verdict = weigh([Barrel((i,), (NOTHING,)) for i in range(4)], [Jet(50.0)] * 4, 5.0)
    assert verdict.sizes[0][0] > 0.7
    mean = sum(p * r for p, r in zip(verdict.prior[0], GRID, strict=True))
    assert abs(mean) < 0.03
