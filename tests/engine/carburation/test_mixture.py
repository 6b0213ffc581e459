"""The idle mixture sought on a made-up engine: in how few turns, how near, and what a jet in hand does to a screw.

The engine here is the published shape of torque and nothing else, so that the virtual one has no part in it.
"""

import random
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.carburation.advisers.idle_mixture import Asks
from engine.carburation.estimation import mended
from engine.carburation.estimation.search import search
from engine.carburation.estimation.seen import history
from engine.carburation.policy import jet_reset
from engine.carburation.policy import mixture_moves as policy
from engine.carburation.registry import shipped
from engine.contract import inputs_of
from engine.evidence import Answered, Evidence, Inputs, Move, Part, Place, ReadingView, ScrewView
from engine.job.model import Job

SPOTS = tuple(Place(c, b) for c in (1, 2) for b in (1, 2))
STEP = Fraction(1, 16)


def job(**instruments):
    """An invented four with two bodies."""
    return Job.model_validate(
        {
            "engine": {"cylinders": 4, "displacement": "1600 cc", "idle_speed": "900 rpm"},
            "bank": {
                "family": "twin-choke sidedraught",
                "carbs": 2,
                "barrels_per_carb": 2,
                "idle_jet": 50,
                "mixture_screw": "short taper",
            },
            "instruments": {"tachometer": True} | instruments,
        }
    )


class Bench:
    """Screws, an engine of the published shape, and the answers given so far."""

    def __init__(self, rich, slope=0.30, seed=0, gas=None):
        self.rich, self.slope, self.rng, self.gas = rich, slope, random.Random(seed), gas
        self.at = [Fraction(1)] * 4
        self.answers, self.turned, self.job = [], 0, job(**({"lambda_meter": True} if gas else {}))

    def phis(self):
        return [r * (1.0 + self.slope * (float(t) - 1.25)) for r, t in zip(self.rich, self.at, strict=True)]

    def speed(self):
        """Torque 1 - a (phi - 1.12)^2, a = 1.1 rich and 2.0 lean [from memory: Heywood 1988, ch. 15]."""
        shares = [max(0.0, 1.0 - (1.1 if p > 1.12 else 2.0) * (p - 1.12) ** 2) for p in self.phis()]
        return 900.0 * (sum(shares) / 4) ** 0.92 + self.rng.gauss(0.0, 1.73)

    def answer(self, moves=(), parts=()):
        before = {("mixture_screw", p): t for p, t in zip(SPOTS, self.at, strict=True)}
        for m in moves:
            self.at[SPOTS.index(m.place)] = m.position
        readings = {"engine speed": (Fraction(self.speed()),)}
        if self.gas:
            readings["lambda"] = tuple(Fraction(1.0 / p * self.rng.gauss(1.0, 0.005)) for p in self.phis())
        self.turned += len(moves)
        self.answers.append(
            Answered(
                len(self.answers),
                "idle-mixture",
                "turn",
                None,
                1,
                0,
                {"engine": "running"},
                readings,
                {},
                before,
                tuple(moves),
                tuple(parts),
            )
        )

    def asked(self):
        """The inputs and the evidence as they stand."""
        view = ScrewView(
            "mixture_screw",
            "barrel",
            "mixture",
            "jet",
            "leaner",
            "richer",
            STEP,
            (Fraction(0), Fraction(8)),
            tuple(self.at),
        )
        last = next(a.readings for a in reversed(self.answers) if "engine speed" in a.readings)
        readings = {"speed": ReadingView("speed", "engine speed", None, "rpm", Fraction(10), last["engine speed"])}
        if self.gas:
            readings["lambda"] = ReadingView("lambda", "lambda", "barrel", "", Fraction(10), last["lambda"])
        positions = {("mixture_screw", p): t for p, t in zip(SPOTS, self.at, strict=True)}
        return Inputs(readings, {"screw": view}, {"low": 1.0, "high": 1.5}), Evidence(
            tuple(self.answers), positions, {}, {"engine": "running"}, 0
        )

    def set_up(self, most=45):
        """Follow the advice until it says best; the last advice."""
        self.answer()
        for _ in range(most):
            advice = shipped()["idle_mixture"].run(self.job, *self.asked())
            if advice.outputs["verdict"] not in ("turn", "read again"):
                return advice
            self.answer(advice.moves)
        return advice


def found(bench):
    """What is believed of a bench as it stands."""
    inputs, evidence = bench.asked()
    return search(bench.job, Asks.of(inputs, inputs_of(Asks)), evidence, (1.0, 1.5))


def turned(i, to):
    """A counted move of one screw."""
    return Move("mixture_screw", SPOTS[i], "out", "richer", Fraction(1, 4), to)


RICH = st.lists(st.floats(0.95, 1.2), min_size=4, max_size=4)


def test_by_speed_alone_nearly_every_cylinder_comes_near_its_best_and_what_is_claimed_holds():
    """Lambda 0.82 to 1.00 counts as near best [common practice]; of what is claimed to 95 in 100, as much is so."""
    rng, near, claimed = random.Random(5), [], []
    for seed in range(14):
        bench = Bench([rng.uniform(0.97, 1.2) for _ in range(4)], rng.uniform(0.25, 0.4), seed)
        advice = bench.set_up()
        assert advice.outputs["verdict"] == "best"
        good = [0.82 <= 1.0 / p <= 1.0 for p in bench.phis()]
        near += good
        claimed += [all(good)] * (advice.outputs["sureness"] >= 0.9)
    assert sum(near) >= 0.9 * len(near)
    assert sum(claimed) >= 0.8 * len(claimed)


@settings(max_examples=12)
@given(RICH, st.integers(0, 999))
def test_with_a_meter_every_cylinder_is_where_it_belongs_in_few_turns(rich, seed):
    """Lambda 0.86 to 0.96 [common practice]; at most three turns a screw."""
    bench = Bench(rich, 0.30, seed, gas=True)
    assert bench.set_up().outputs["verdict"] == "best"
    assert all(0.86 <= 1.0 / p <= 0.96 for p in bench.phis())
    assert bench.turned <= 12


def test_the_first_turn_of_a_sweep_is_outward_since_leaning_may_stall_it():
    bench = Bench([1.1] * 4)
    bench.answer()
    advice = shipped()["idle_mixture"].run(bench.job, *bench.asked())
    assert [m.direction for m in advice.moves] == ["out"]


def test_what_differs_after_the_air_was_moved_is_no_scatter_of_the_tachometer():
    """Else two rows of the air work, a hundred rpm apart, would make every later reading worthless."""
    bench = Bench([1.1] * 4, seed=3)
    stir = Move("speed_screw", Place(1, None), "in", "more air", Fraction(1, 32))
    for k in range(6):
        bench.answer()
        last = bench.answers[-1]
        readings = {"engine speed": (Fraction(900 + 90 * (k % 2)),)}
        bench.answers[-1] = replace(last, moves=(stir,) if k else (), readings=readings)
    assert found(bench).mix.noise < 1.3


def test_one_barrel_is_leaned_by_no_more_than_half_a_turn_beyond_where_it_ran():
    """By quarters and halves until it falters [common practice]; a stall costs a minute."""
    bench = Bench([1.12, 1.0, 1.05, 1.18], seed=11)
    bench.at = [Fraction(2)] * 4
    bench.answer()
    lowest, leaned = [2.0] * 4, 0
    for _ in range(30):
        inputs, _ = bench.asked()
        s, view = found(bench), inputs.screws["screw"]
        asked = Asks.of(inputs, inputs_of(Asks))
        trial = policy.next_trial(bench.job, asked, s, view, policy.choices(s, view, asked, (0.86, 0.96)))
        if trial is not None:
            assert trial.to >= lowest[trial.u] - 0.5 - 1e-6
            leaned += trial.to < lowest[trial.u]
        bench.answer(shipped()["idle_mixture"].run(bench.job, *bench.asked()).moves)
        lowest = [min(a, float(b)) for a, b in zip(lowest, bench.at, strict=True)]
    assert leaned


def test_a_place_at_which_it_stalled_is_not_asked_for_again_while_the_others_stand_as_they_did():
    bench = Bench([1.1] * 4, seed=2)
    bench.answer()
    bench.answer([turned(0, Fraction(11, 4))])
    for _ in range(4):
        bench.answer([turned(0, Fraction(3, 4))])
        bench.answers[-1] = replace(bench.answers[-1], readings={}, symptom_kind="stall")
        bench.answer([turned(0, Fraction(11, 4))])
        (move,) = shipped()["idle_mixture"].run(bench.job, *bench.asked()).moves
        assert move.place != SPOTS[0] or float(move.position) > 0.75 + 0.12


AIR = ScrewView(
    "speed_screw",
    "carb",
    "air",
    "plate",
    "more air",
    "less air",
    Fraction(1, 32),
    (Fraction(0), Fraction(3)),
    (Fraction(1, 2), Fraction(1, 2)),
    counts="in",
)
BODIES = (Place(1, None), Place(2, None))


class Breathing(Bench):
    """The same with speed screws: a turn of both is worth 900 rpm, and air far too low stalls it."""

    open = Fraction(0)

    def speed(self):
        return super().speed() + 900.0 * float(self.open)

    def answer(self, moves=(), parts=()):
        air = [m for m in moves if m.screw == "speed_screw"]
        self.open += sum((m.turns if m.effect == "more air" else -m.turns) for m in air) / 2
        super().answer([m for m in moves if m.screw != "speed_screw"], parts)
        last = self.answers[-1]
        readings = last.readings | {"airflow": (Fraction(6),) * 4}
        self.answers[-1] = replace(last, moves=tuple(moves), readings=readings)

    def asked(self):
        inputs, evidence = super().asked()
        screws = {"screw": inputs.screws["screw"], "air": AIR}
        return Inputs(inputs.readings, screws, inputs.values), evidence


def air_moves(advice):
    return [m for m in advice.moves if m.screw == "speed_screw"]


def test_far_too_fast_it_is_brought_down_early_and_not_all_of_the_way():
    """What is learned holds for the air of then; near a stall less air does more than it did."""
    bench = Breathing([1.1] * 4, seed=4)
    bench.open = Fraction(1, 4)
    bench.answer()
    for _ in range(4):
        advice = shipped()["idle_mixture"].run(bench.job, *bench.asked())
        if air_moves(advice):
            break
        bench.answer(advice.moves)
    down = air_moves(advice)
    assert [m.place for m in down] == list(BODIES) and {m.effect for m in down} == {"less air"}
    before = bench.speed()
    bench.answer(advice.moves)
    assert 900 < bench.speed() < before - 30


def test_air_that_was_taken_away_until_it_stalled_is_given_back():
    bench = Breathing([1.1] * 4, seed=4)
    bench.answer()
    less = [Move("speed_screw", p, "out", "less air", Fraction(1, 8)) for p in BODIES]
    bench.answer(less)
    bench.answers[-1] = replace(bench.answers[-1], readings={}, symptom_kind="stall")
    moves = shipped()["idle_mixture"].run(bench.job, *bench.asked()).moves
    assert [(m.screw, m.effect, m.turns) for m in moves] == [("speed_screw", "more air", Fraction(1, 8))] * 2


# --- what was put right -----------------------------------------------------------------------------------------------


def checked(bench, quantity, row):
    """A check among the answers, nothing turned."""
    bench.answer()
    bench.answers[-1] = replace(bench.answers[-1], readings=bench.answers[-1].readings | {quantity: tuple(row)})


def test_a_level_set_and_a_leak_that_shows_no_more_shift_what_was_read_before_and_a_mended_screw_voids_it():
    bench = Bench([1.1] * 4)
    checked(bench, "fuel level", (Fraction(3), Fraction(0)))
    checked(bench, "air leak", ("no", "no", "yes", "no"))
    checked(bench, "screw answers", ("yes", "yes", "yes", "no"))
    checked(bench, "fuel level", (Fraction(0), Fraction(0)))
    checked(bench, "air leak", ("no", "no", "no", "no"))
    checked(bench, "screw answers", ("yes", "yes", "yes", "yes"))
    inputs, evidence = bench.asked()
    told = mended.mends(history(evidence, [inputs.screws["screw"]]), SPOTS)
    assert told.since(0, 0)[0] < -0.05  # a level too high made it rich
    assert told.since(2, 0)[0] > 0.0 and told.since(2, 0)[1] > 0.03  # the leak made it lean
    assert told.since(3, 0) is None
    assert told.since(3, 6) == (0.0, 0.0) and told.since(0, 6) == (0.0, 0.0)


@pytest.mark.parametrize(("heard", "more"), [("no", True), ("yes", False)])
def test_a_test_by_ear_of_a_screw_is_weighed_with_what_the_speed_told(heard, more):
    bench = Bench([1.1] * 4, seed=6)
    bench.answer()
    before = found(bench).mix.silent(2, 0.25, 3.0)
    checked(bench, "screw answers", ("yes", "yes", heard, "yes"))
    after = found(bench).mix.silent(2, 0.25, 3.0)
    assert (after > before) == more and 0.0 < after < 1.0


# --- jets in hand ---------------------------------------------------------------------------------------------------


def lean_one():
    """A bench set up, whose third barrel has a jet two sizes small."""
    bench = Bench([1.1, 1.1, 1.1 * (40 / 50) ** 2, 1.1], seed=3)
    bench.set_up()
    return bench


def test_a_larger_jet_brings_its_screw_back_in():
    bench = lean_one()
    inputs, _ = bench.asked()
    moves = jet_reset.for_new_jets(
        inputs.screws["screw"], found(bench), [Part("idle jet", SPOTS[2], Fraction(60))], (Fraction(50),) * 4
    )
    assert [(m.place, m.direction) for m in moves] == [(SPOTS[2], "in")]


def test_a_sound_jet_of_the_same_number_brings_its_screw_to_mid_band():
    bench = lean_one()
    inputs, _ = bench.asked()
    (move,) = jet_reset.for_new_jets(
        inputs.screws["screw"], found(bench), [Part("idle jet", SPOTS[2], Fraction(50))], (Fraction(50),) * 4
    )
    assert float(move.position) == pytest.approx(1.25, abs=0.04)


def test_a_suspect_changes_jets_with_its_neighbour_in_the_same_body_and_takes_its_screw_place():
    bench = lean_one()
    advice = shipped()["jet_swap"].run(bench.job, *bench.asked())
    assert advice.outputs["verdict"] == "swap"
    assert [p.place for p in advice.parts] == [SPOTS[2], SPOTS[3]]
    assert [(m.place, m.direction) for m in advice.moves] == [(SPOTS[2], "in")]


def test_with_every_jet_right_there_is_nothing_to_swap():
    bench = Bench([1.1] * 4, seed=5)
    bench.set_up()
    advice = shipped()["jet_swap"].run(bench.job, *bench.asked())
    assert (advice.outputs["verdict"], advice.parts, advice.moves) == ("cannot", (), ())
