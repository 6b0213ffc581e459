"""The fitted picture of an idling engine: what it takes from speeds and meters, what a change of air or jets does."""

import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.carburation.estimation import picture
from engine.carburation.estimation.crest import Screws, torque
from engine.carburation.estimation.fit import cholesky, inverse
from engine.carburation.estimation.fitting import fitted
from engine.carburation.estimation.foresee import OWN, SLOPE, Gas, Shot, predict
from engine.carburation.estimation.search import NO_CO, lambda_of
from engine.carburation.estimation.stretches import believed, changes, stretches
from engine.carburation.rules import exhaust

SHORT = Screws(1.25, 0.30)
EVEN = (1.0, 1.0, 1.0, 1.0)


def shape(phi):
    """Torque at fixed air, 1 - a (phi - 1.12)^2, a = 1.1 rich and 2.0 lean [from memory: Heywood 1988, ch. 15]."""
    return 1.0 - (1.1 if phi > 1.12 else 2.0) * (phi - 1.12) ** 2


def runs(phis, base=900.0):
    """Speed of an engine with cylinders at `phis`: torque's change, times 0.92."""
    return base * (sum(map(shape, phis)) / len(phis)) ** 0.92


def swept(rich, slope=0.30, scatter=0.0, seed=0):
    """Shots of a bank whose barrels have `rich` at 1.25 turns: each screw out by half a turn, then in for a look."""
    rng, at, shots = random.Random(seed), [1.25] * len(rich), []

    def shot():
        phis = [r * (1.0 + slope * (t - 1.25)) for r, t in zip(rich, at, strict=True)]
        shots.append(Shot(tuple(at), runs(phis) + rng.gauss(0.0, scatter), 1.73, len(shots)))

    shot()
    for by in (0.5, -1.0):
        for i in range(len(at)):
            at[i] += by
            shot()
            at[i] -= by if by < 0 else 0.0
    return tuple(Shot(s.at, s.speed, s.noise, s.age - shots[-1].age) for s in shots)


@pytest.mark.parametrize(("phi", "share"), [(1.05, 0.9902), (1.12, 1.0), (1.2, 0.9930), (1.3, 0.9644)])
def test_torque_has_the_published_shape_where_a_cylinder_fires(phi, share):
    """Check values of the shape, Heywood 1988 ch. 15 [from memory]; the rest is the odd missed cycle."""
    assert torque(phi) == pytest.approx(share, abs=0.004)


@pytest.mark.parametrize("shared", [False, True])
def test_the_slopes_it_is_fitted_by_are_those_of_the_speed_it_foresees(shared):
    """Held against central differences."""
    screws = Screws(1.25, 0.30, shared=shared)
    mean, air = [6.8, 0.9, math.log(0.3), 0.0005, 0.02, -0.12, 0.2, 0.1], (1.0, 1.1, 0.9, 1.0)
    shot = Shot((1.0, 1.5, 1.25, 2.0), None, 1.0, -3)
    _, slopes = predict(screws, air, mean, shot)
    for k, slope in enumerate(slopes):
        up, down = list(mean), list(mean)
        up[k] += 1e-5
        down[k] -= 1e-5
        other = (predict(screws, air, up, shot)[0] - predict(screws, air, down, shot)[0]) / 2e-5
        assert slope == pytest.approx(other, abs=2e-5)


@settings(max_examples=25)
@given(st.lists(st.floats(1.0, 1.2), min_size=4, max_size=4), st.floats(0.24, 0.36), st.integers(0, 999))
def test_a_sweep_out_and_one_in_place_every_barrel_within_its_doubt(rich, slope, seed):
    shots = swept(rich, slope, 1.73, seed)
    idle, _ = believed(SHORT, stretches([(0, EVEN, s) for s in shots], []), EVEN, 900.0)
    for i, r in enumerate(rich):
        doubt = idle.phi_sd(i, 1.25)
        assert abs(idle.phi(i, 1.25) - r) < max(0.08, 4.0 * doubt)


def test_without_a_turn_nothing_is_learned_of_one_barrel_against_another():
    idle = fitted(SHORT, (Shot((1.25,) * 4, 903.0, 1.73, 0),), picture.fresh(4, SHORT, 900.0), EVEN)
    assert len({round(idle.phi(i, 1.25), 6) for i in range(4)}) == 1
    assert idle.phi_sd(0, 1.25) > 0.15


def test_a_wild_reading_does_not_rule():
    """One speed that is 150 rpm out moves no barrel by more than a tenth."""
    shots = swept([1.0, 1.1, 1.2, 1.05])
    wild = (*shots[:4], Shot(shots[4].at, shots[4].speed + 150.0, 1.73, shots[4].age), *shots[5:])
    prior = picture.fresh(4, SHORT, 900.0)
    good, bad = (fitted(SHORT, s, prior, EVEN) for s in (shots, wild))
    assert all(abs(good.phi(i, 1.25) - bad.phi(i, 1.25)) < 0.1 for i in range(4))


# --- a change of air or of jets -------------------------------------------------------------------------------------


def known():
    return fitted(SHORT, swept([1.0, 1.1, 1.2, 1.05]), picture.fresh(4, SHORT, 900.0), EVEN)


def doubts(prior):
    return [row[i] ** 0.5 for i, row in enumerate(inverse(cholesky(prior.info)))][OWN:]


def test_more_air_is_leaner_by_its_share_and_leaves_a_doubt():
    idle, same = known(), picture.carry(known(), EVEN)
    more = picture.carry(idle, (1.1,) * 4)
    assert [a - b for a, b in zip(same.mean[OWN:], more.mean[OWN:], strict=True)] == pytest.approx([math.log(1.1)] * 4)
    assert all(a > b + 0.005 for a, b in zip(doubts(more), doubts(same), strict=True))


def test_a_jet_a_size_larger_is_richer_by_its_area():
    """Area of a 55 over that of a 50: 21.00 % (exact geometry)."""
    fitted_, swaps = changes({2: (50.0, 55.0)})
    after = picture.carry(known(), EVEN, fitted_, swaps)
    assert math.exp(after.mean[OWN + 2] - known().mean[OWN + 2]) == pytest.approx(1.21, abs=1e-3)


def test_jets_of_one_number_that_change_places_take_the_difference_along_or_leave_it():
    """Between the two barrels the doubt is as wide as what set them apart; together they are as before."""
    told, swaps = changes({0: (50.0, 50.0), 2: (50.0, 50.0)})
    assert (told, swaps) == ((), ((0, 2),))
    idle = known()
    after = picture.carry(idle, EVEN, told, swaps)
    apart = idle.mean[OWN + 2] - idle.mean[OWN]
    assert after.mean[OWN] + after.mean[OWN + 2] == pytest.approx(idle.mean[OWN] + idle.mean[OWN + 2])
    assert doubts(after)[0] > 0.45 * apart
    assert len(picture.either(after, swaps)) == 2


def test_where_two_pictures_fit_as_well_the_doubt_says_so():
    idle = known()
    shift = [*idle.mean[:OWN], *(m + 0.2 for m in idle.mean[OWN:])]
    other = picture.Idle(SHORT, EVEN, tuple(shift), idle.cov, idle.misfit + 0.1, idle.shots, idle.last)
    assert picture.mingled([idle, other]).phi_sd(0, 1.25) > 0.18
    far = picture.Idle(SHORT, EVEN, tuple(shift), idle.cov, idle.misfit + 40.0, idle.shots, idle.last)
    assert picture.mingled([idle, far]) == idle


# --- meters ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("percent", [1.0, 2.0, 3.4, 4.5, 6.0])
def test_lambda_from_co_is_that_of_the_gas_in_equilibrium(percent):
    """Held against the exhaust room, which is itself checked against an independent library."""
    assert lambda_of("CO", percent).lam == pytest.approx(exhaust.lambda_of_co(percent), abs=0.012)


def test_next_to_no_co_is_a_bound_and_pulls_no_lean_barrel_richer():
    told = lambda_of("CO", 0.5 * NO_CO)
    assert told.least
    shots = swept([0.9, 1.1, 1.1, 1.1])
    with_gas = (*shots[:-1], Shot(shots[-1].at, shots[-1].speed, 1.73, 0, (told, None, None, None)))
    prior = picture.fresh(4, SHORT, 900.0)
    without, having = (fitted(SHORT, s, prior, EVEN) for s in (shots, with_gas))
    assert having.phi(0, 1.25) <= without.phi(0, 1.25) + 1e-6


def test_a_meter_outweighs_what_was_believed():
    shot = Shot((1.25,) * 4, 900.0, 1.73, 0, (Gas(0.80, 0.01), Gas(0.91, 0.01), Gas(0.95, 0.01), None))
    idle = fitted(SHORT, (shot,), picture.fresh(4, SHORT, 900.0), EVEN)
    assert [1.0 / idle.phi(i, 1.25) for i in range(3)] == pytest.approx([0.80, 0.91, 0.95], abs=0.01)
    assert math.exp(idle.mean[SLOPE]) == pytest.approx(0.30, abs=0.05)
