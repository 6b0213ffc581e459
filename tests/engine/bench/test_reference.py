"""The two technicians of reference: what each can do says what the engine allows and what patience costs."""

from __future__ import annotations

import pytest

from engine.bench.plant.faults import Fault
from engine.bench.technicians.all_knowing import all_knowing, mendable
from engine.bench.technicians.patient import Patient
from engine.bench.terms import TOLERANCE
from engine.bench.trial.fleet import faulted, random_engine, random_job


def test_full_knowledge_brings_every_mixture_where_it_belongs_with_one_move_a_screw():
    for seed in range(900, 915):
        engine = random_engine(seed).engine()
        work = all_knowing(engine)
        low, high = TOLERANCE.belongs
        assert all(low <= lam <= high for lam in engine.truth().lambdas)
        assert work.moves <= engine.carbs + 2 * engine.barrels
        assert abs(engine.truth().speed - engine.body.target) < TOLERANCE.idle


def bank(job, **keys):
    return type(job).model_validate(job.model_dump(mode="json") | {"bank": job.bank.model_dump(mode="json") | keys})


@pytest.mark.parametrize(("bypass", "can"), [(True, True), (False, False)])
def test_a_plate_out_of_step_can_be_mended_only_by_bypass_screws(bypass, can):
    from engine.bench.plant.engine import VirtualEngine

    job = bank(random_job(5), air_bypass_screws=bypass)
    engine = VirtualEngine(job, (Fault("plate out of step", 1, None, 0.25),), 5)
    all_knowing(engine)
    assert mendable(engine) is can


def test_leaks_levels_and_wrong_jets_do_not_stand_in_the_way_of_the_tolerance():
    specimen = faulted(
        bank(random_job(6), air_bypass_screws=True),
        ["manifold leak", "low fuel level", "wrong jets", "weak cylinder"],
        6,
    )
    engine = specimen.engine()
    all_knowing(engine)
    assert mendable(engine)


def test_patience_gets_most_engines_right_and_turns_many_more_screws():
    patient, best, right = 0, 0, 0
    seeds = range(700, 712)
    for seed in seeds:
        engine = random_engine(seed).engine()
        patient += Patient(engine).run().moves
        truth = engine.truth()
        right += truth.spread_ok and abs(truth.speed - engine.body.target) <= TOLERANCE.idle
        best += all_knowing(random_engine(seed).engine()).moves
    assert right >= len(seeds) * 0.5
    assert patient > 5 * best
