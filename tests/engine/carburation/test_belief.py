"""Believing the mixture: what sweeps of speed and meters tell of a barrel, on laws that the belief was not made of.

The engine here is drawn from wide families of its own: screws that follow a power, saturate, or grow, torque crests at
lambda 0.86 to 0.94 and curves a third wider or narrower [assumed].
"""

import math
import random

import numpy as np
import pytest

from engine.carburation.estimation import follows, laws, sweeps
from engine.carburation.estimation.laws import Screws
from engine.carburation.estimation.meters import CO_END, NO_CO, lambda_of
from engine.carburation.estimation.sweeps import Look, Sweep
from engine.carburation.rules import exhaust

SHORT = Screws(1.25, 1, 4)


@pytest.mark.parametrize("screws", [SHORT, Screws(2.5, 1, 6), Screws(1.75, -1, 4)])
def test_the_turns_of_a_law_undo_its_fuel(screws):
    some = laws.laws(screws.mid)
    for u in (-0.5, 0.0, 0.4, 1.0):
        fuel = some.fuel(screws, screws.mid + screws.sign * u)
        assert some.turned(fuel[:, None])[:, 0] == pytest.approx(u, abs=1e-6)


def test_laws_differ_widely_in_what_nobody_knows_and_are_spread_evenly_about_the_middle():
    """A turn for a tenth of the fuel to a turn for more than half; curves a third either way and more."""
    some = laws.laws(1.25)
    assert some.slope.min() < 0.15 and some.slope.max() > 0.55
    assert some.steep.min() < 0.67 and some.steep.max() > 1.5
    assert np.log(some.steep).mean() == pytest.approx(0.0, abs=0.06)


@pytest.mark.parametrize(("x", "share"), [(0.0, 1.0), (math.log(1.2 / 1.12), 0.9930), (math.log(1.0 / 1.12), 0.9712)])
def test_the_middle_law_has_the_published_shape_of_torque(x, share):
    """Check values of the shape, Heywood 1988 ch. 15 [from memory]; the rest is the odd missed cycle."""
    law = laws.Laws(1.25, *(np.array([v]) for v in (0.3, 1.0, 1.0, 1.0, laws.LEAN_OUT)))
    assert law.torque(np.array([[x]]))[0, 0] == pytest.approx(share, abs=0.012)


def swept(crest, power=0.5, steep=1.0, scatter=0.0, step=1.0, seed=0, reach=0.6):
    """A sweep out, in and back of one of four cylinders whose crest lies at `crest` turns."""
    rng, looks = random.Random(seed), []
    for k, at in enumerate((1.25, 1.25 + reach, 1.25 - reach, 1.25, 1.25 + reach, 1.25 - reach)):
        off = (at / crest) ** power - 1.0
        torque = 1.0 - steep * (1.4 if off > 0 else 2.5) * off * off
        speed = 900.0 * ((3.0 + torque) / 4.0) ** 0.92 + rng.gauss(0.0, scatter)
        looks.append(Look(at, round(speed / step) * step, math.hypot(scatter, step / 12**0.5) + 0.3, k))
    return Sweep(0, tuple(looks), 1.0, 4.0)


def placed(sweep):
    """Where the crest lies, turns: mean and standard deviation over all laws and rests, each as likely as the next."""
    rows, _ = sweeps.misfit(SHORT, sweep, 1.0)
    odds = np.exp(-0.5 * (rows - rows.min()))
    crests = np.clip(1.25 + laws.laws(1.25).turned(-laws.grid()), 0.0, 4.0)  # as far as such a screw is turned
    mean = (odds * crests).sum() / odds.sum()
    return mean, math.sqrt((odds * (crests - mean) ** 2).sum() / odds.sum())


@pytest.mark.parametrize("power", [0.4, 0.6, 0.9])
@pytest.mark.parametrize("crest", [1.0, 1.25, 1.5])
def test_a_crest_is_found_in_turns_whatever_the_law_of_the_screw(power, crest):
    mean, sd = placed(swept(crest, power))
    assert abs(mean - crest) < max(0.12, 2.5 * sd)


def test_the_place_is_told_with_a_doubt_that_holds():
    """Of many sweeps with noise, nearly all lie within twice their doubt, and the doubt is no idle one."""
    rng, good = random.Random(4), 0
    for k in range(40):
        crest = rng.uniform(0.9, 1.6)
        mean, sd = placed(swept(crest, rng.uniform(0.35, 0.9), rng.uniform(0.7, 1.4), 2.0, 1.0, k))
        good += abs(mean - crest) < 2.0 * sd + 0.03
        assert sd < 0.8
    assert good >= 35


def test_a_tachometer_of_coarse_steps_tells_less():
    assert placed(swept(1.25, step=25.0))[1] > 1.1 * placed(swept(1.25, step=1.0))[1]


def test_a_screw_that_does_nothing_is_better_explained_by_silence():
    looks = tuple(Look(at, 900.0 + k % 2, 2.0, k) for k, at in enumerate((1.25, 2.0, 0.5, 1.25)))
    sweep = Sweep(0, looks, 1.0, 4.0)
    assert sweeps.silent(sweep, 1.0) < 2.0
    assert sweeps.silent(swept(1.25), 1.0) > 20.0


def test_told_for_other_air_a_barrel_is_leaner_and_in_more_doubt():
    rows, _ = sweeps.misfit(SHORT, swept(1.25), 1.0)
    moved = sweeps.shifted(rows, -0.08, 0.04)
    best = [laws.grid()[r.argmin()] for r in (rows[18], moved[18])]
    assert best[1] - best[0] == pytest.approx(-0.08, abs=0.021)
    near = [sum(v - min(r) < 4.0 for v in r) for r in (rows[18], moved[18])]
    assert near[1] > near[0]


def at_air(sweep, unit, air):
    return Sweep(unit, sweep.looks, air, sweep.whole)


@pytest.mark.parametrize(
    ("later", "low", "high"), [(1.65, 0.5, 1.9), (1.25, -0.2, 0.2), (1.05, -1.3, -0.2), (None, 0.29, 0.31)]
)
def test_how_mixture_follows_air_is_learned_from_barrels_that_were_swept_at_two_airs(later, low, high):
    """With more air their screws belong further out: more air leans them; further in: the other way round."""
    one = [at_air(swept(1.25, seed=k, scatter=0.5), k, 1.0) for k in range(3)]
    two = [at_air(swept(later, seed=9 + k, scatter=0.5), k, 1.12) for k in range(3)] if later else []
    mean, sd = follows.learned(SHORT, [*one, *two], 1.0)
    assert low < mean < high
    assert sd < 0.55 if later else sd == pytest.approx(0.6, abs=0.1)


def test_a_stall_says_that_its_cylinder_hardly_worked_there_however_far_the_speed_fell():
    """One screw stops its own cylinder at most: no place explains a whole engine, so a stall tells of that one."""
    ran = [Look(at, 900.0, 2.0, k) for k, at in enumerate((1.25, 1.6))]
    stalled = Sweep(0, (*ran, Look(0.6, 480.0, 120.0, 2, stalled=True)), 1.0, 4.0)
    rows, _ = sweeps.misfit(SHORT, stalled, 1.0)
    odds = np.exp(-0.5 * (rows - rows.min()))
    there = laws.laws(1.25).torque(laws.grid()[None, :] + laws.fuels(SHORT, 0.6)[:, None])
    works = float((odds * (there > 0.7)).sum() / odds.sum())
    assert works < 0.15


# --- meters ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("percent", [1.0, 2.0, 3.4, 4.5, 6.0])
def test_lambda_from_co_is_that_of_the_gas_in_equilibrium(percent):
    """By the exhaust room's own inversion, which is itself checked against an independent library."""
    assert lambda_of("CO", percent).lam == pytest.approx(exhaust.lambda_of_co(percent), abs=1e-6)


def test_next_to_no_co_is_a_bound_and_co_over_the_meters_range_is_one_as_well():
    assert lambda_of("CO", 0.5 * NO_CO).least and not lambda_of("CO", 3.0).least
    assert lambda_of("CO", CO_END + 1.0).most and not lambda_of("CO", 3.0).most
