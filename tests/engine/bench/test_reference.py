"""The two technicians of reference: what each can do says what the engine allows and what patience costs."""

from __future__ import annotations

import pytest

from engine.bench.plant.faults import Fault
from engine.bench.technicians.all_knowing import all_knowing, mendable
from engine.bench.technicians.patient import Patient
from engine.bench.technicians.plain_ones import MidBand, Sweeper
from engine.bench.terms import TOLERANCE
from engine.bench.trial.fleet import faulted, random_engine, random_job
from engine.bench.trial.judging import judged


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


FAMILIES = ("constant depression", "motorcycle bank", "progressive downdraught", "single downdraught")


@pytest.mark.parametrize("family", FAMILIES)
def test_every_technician_works_as_one_would_on_each_family(family):
    stalls = moves = 0
    for seed in range(720, 732):
        for technician in (Patient, MidBand, Sweeper):
            work = technician(random_engine(seed, random_job(seed, family), "varied").engine()).run()
            stalls, moves = stalls + work.stalls, moves + work.moves
            assert work.moves < 200
    assert stalls < 36, "less than one in a job"
    assert moves / 36 < 60


def test_to_sweep_every_screw_sets_more_varied_engines_near_their_best_than_to_leave_them_in_mid_band():
    near = {MidBand: 0, Sweeper: 0}
    for seed in range(740, 770):
        for technician in near:
            engine = random_engine(seed, fleet="varied").engine()
            technician(engine).run()
            near[technician] += judged(engine).near_best
    assert near[Sweeper] > 1.5 * near[MidBand]


def test_a_crest_is_that_of_the_parabola_and_never_further_than_was_looked():
    assert Sweeper.crest(1.0, 1.0, 880.0, 900.0, 890.0) == pytest.approx(0.1667, abs=1e-3)
    assert Sweeper.crest(1.0, 1.0, 880.0, 900.0, 930.0) == 1.0
    assert Sweeper.crest(0.5, 1.0, 899.0, 900.0, 880.0) == pytest.approx(-0.182, abs=0.01)


def test_the_patient_reads_only_the_pipe_that_he_turned():
    from dataclasses import replace

    specimen = random_engine(705, lambda_meter=True)
    plain = replace(specimen, job=random_job(705))
    assert Patient(specimen.engine()).run().rounds < Patient(plain.engine()).run().rounds + 15
