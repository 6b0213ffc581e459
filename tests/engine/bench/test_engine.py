"""What a rehearsal may rely on from the virtual engine: seeds, places, stalls, links, faults by name."""

from __future__ import annotations

import pytest

from engine.bench.plant import gauges
from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import KINDS, Fault, NoSuchFault, kind_named
from engine.bench.technicians import hand
from engine.bench.terms import NOISE, RATES
from engine.bench.trial.fleet import faulted, random_engine, random_job


def running(engine: VirtualEngine) -> VirtualEngine:
    engine.warm()
    engine.set_state({"engine": "running"})
    return engine


def test_the_same_seed_gives_the_same_engine_and_the_same_readings():
    def story(seed):
        engine = running(random_engine(seed).engine())
        hand.turn(engine, "mixture", "jet", 1, 1, 0.25)
        return engine.faults, gauges.read(engine, "airflow", "barrel"), engine.truth()

    assert story(11) == story(11)
    assert story(11) != story(12)


def test_readings_scatter_as_fixed_and_come_in_the_steps_of_a_face():
    engine = running(faulted(random_job(5), []).engine())
    rows = [gauges.read(engine, "airflow", "barrel") for _ in range(400)]
    first = [row[0] for row in rows]
    mean = sum(first) / len(first)
    scatter = (sum((x - mean) ** 2 for x in first) / len(first)) ** 0.5
    assert scatter / mean == pytest.approx(NOISE.airflow, abs=0.005)
    assert all(abs(x * 10 - round(x * 10)) < 1e-6 for x in first)
    assert mean == pytest.approx(engine.truth().gauge[0] * gauges.bias(engine), rel=0.005)


def test_an_averaged_speed_is_the_mean_of_three():
    engine = running(faulted(random_job(5), []).engine())
    for barrel in range(engine.barrels):
        engine.set_turns("mixture", "jet", barrel // 2 + 1, barrel % 2 + 1, engine.body.rest_turns)

    def scatter(averaged):
        row = [gauges.read(engine, "engine speed", averaged=averaged) for _ in range(600)]
        mean = sum(row) / len(row)
        return (sum((x - mean) ** 2 for x in row) / len(row)) ** 0.5

    assert scatter(False) == pytest.approx(3.0, rel=0.12)
    assert scatter(True) == pytest.approx(3.0 / 3**0.5, rel=0.12)


def test_faults_come_as_often_as_fixed():
    engines = [random_engine(seed) for seed in range(500)]
    bodies = sum(s.job.bank.carbs for s in engines)
    barrels = 2 * bodies

    def share(of, *kinds):
        return sum(f.kind in kinds for s in engines for f in s.faults) / of

    assert share(500, "wrong jets") == pytest.approx(RATES.jets_all_one_size, abs=0.04)
    assert share(bodies, "plate out of step") == pytest.approx(RATES.plate_out_of_step, abs=0.03)
    assert share(barrels, "manifold leak") == pytest.approx(RATES.manifold_leak, abs=0.015)
    assert share(barrels, "spindle leak") == pytest.approx(RATES.spindle_leak, abs=0.02)
    assert share(bodies, "low fuel level", "high fuel level") == pytest.approx(RATES.level_off, abs=0.03)
    assert share(500, "disturbed gauge point") == pytest.approx(RATES.disturbed, abs=0.04)
    assert all(
        (f.carb in {p.carb for p in s.job.bank.disturbed})
        for s in engines
        for f in s.faults
        if f.kind == "disturbed gauge point"
    ), "a disturbed point is known to the job"


@pytest.mark.parametrize("name", sorted(KINDS))
def test_every_fault_can_be_asked_for_by_name_and_the_engine_still_answers(name):
    specimen = faulted(random_job(4), [name.upper().replace(" ", "-")], seed=1)
    assert [f.kind for f in specimen.faults] == [name]
    engine = running(specimen.engine())
    assert engine.settle() in (None, "stall")
    assert engine.truth().lambdas


def test_an_unknown_fault_is_refused_with_the_nearest_name():
    with pytest.raises(NoSuchFault, match="Did you mean 'manifold leak'"):
        kind_named("manifold leek")
    with pytest.raises(NoSuchFault) as told:
        kind_named("airleak")
    assert str(told.value).count("'manifold leak'") == 1


def test_a_screw_that_the_bank_has_not_is_refused_with_a_sentence():
    engine = random_engine(1).engine()
    with pytest.raises(ValueError, match="no carb 9"):
        engine.turn("air", "plate", 9, None, 0.1)
    with pytest.raises(gauges.NotTakeable):
        gauges.read(engine, "airflow", "barrel")


def test_seating_every_mixture_screw_stalls_the_engine_and_a_start_needs_fuel_again():
    engine = running(faulted(random_job(2), []).engine())
    for barrel in range(engine.barrels):
        engine.set_turns("mixture", "jet", barrel // 2 + 1, barrel % 2 + 1, 0.0)
    assert engine.settle() == "stall"
    assert engine.state["engine"] == "stopped" and engine.truth().stalled


def test_coupling_screws_move_their_slave_and_the_first_speed_screw_moves_all():
    job = random_job(2)
    bank = job.bank.model_dump(mode="json") | {"linkage_balance_screws": True}
    job = type(job).model_validate(job.model_dump(mode="json") | {"bank": bank})
    engine = running(faulted(job, []).engine())
    before = engine.openings()
    engine.turn("air", "coupling", 1, None, 0.1)
    after = engine.openings()
    assert after[0] == before[0] and all(b > a for a, b in zip(before[1:], after[1:], strict=True))
    engine.turn("air", "plate", 1, None, 0.1)
    assert all(b > a for a, b in zip(after, engine.openings(), strict=True))
    engine.set_state({"coupling": "off"})
    assert engine.openings()[1] == 0.0, "with the coupling off the slave stands on its own stop, which is backed clear"


def test_a_preloaded_link_holds_its_body_only_while_it_is_on():
    job = random_job(8)
    engine = running(VirtualEngine(job, (Fault("linkage preload", 2, None, 2.0),), 8))
    held = engine.truth().gauge[2]
    engine.turn("air", "plate", 2, None, -0.1)
    assert engine.truth().gauge[2] == pytest.approx(held, rel=0.02), "the screw of a held body does nothing"
    engine.set_state({"pedal_link": "off"})
    assert engine.truth().gauge[2] < held - 0.5


def test_aiming_at_a_figure_gets_nearer_than_counting():
    job = random_job(5)
    bank = job.bank.model_dump(mode="json") | {"linkage_balance_screws": False}
    engine = running(faulted(type(job).model_validate(job.model_dump(mode="json") | {"bank": bank}), []).engine())
    hand.aim(engine, "air", "plate", 1, None, "airflow", 5.0)
    assert max(engine.truth().gauge[:2]) * gauges.bias(engine) == pytest.approx(5.0, rel=0.06)


def test_a_new_jet_comes_clean_and_as_stamped():
    job = random_job(5)
    engine = VirtualEngine(job, (Fault("dirty jet", 1, 1, 0.7), Fault("mis-drilled jet", 1, 2, -1)), 5)
    assert engine.jets[1] == engine.stamps[1] - 5
    engine.fit("idle jet", 1, 1, engine.stamps[0])
    engine.fit("idle jet", 1, 2, engine.stamps[1])
    assert engine.jets[1] == engine.stamps[1] and engine.dirt[0] == 1.0


def test_a_disturbed_point_reads_away_and_only_some_take_offs_can_be_plugged():
    def readings(seed, **state):
        job = random_job(5)
        engine = running(VirtualEngine(job, (Fault("disturbed gauge point", 1, 1, 0.12),), seed))
        engine.set_state(state)
        rows = [gauges.one(engine, "airflow", [0]) for _ in range(60)]
        return sum(rows) / len(rows) / (engine.truth().gauge[0] * gauges.bias(engine))

    open_, plugged = zip(*((readings(s), readings(s, take_offs="plugged")) for s in range(12)), strict=True)
    assert all(r == pytest.approx(1.12, abs=0.03) for r in open_)
    assert {round(r, 1) for r in plugged} == {1.0, 1.1}
