"""Judging: what became of every wrong jet, what was claimed, what was found, and how an engine stands."""

from __future__ import annotations

import dataclasses

import pytest

from engine.bench.plant import nature
from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import Fault
from engine.bench.technicians.all_knowing import all_knowing
from engine.bench.trial.claims import ClaimWatch
from engine.bench.trial.fleet import random_job
from engine.bench.trial.jet_watch import JetWatch
from engine.bench.trial.judging import found_faults, judged, names, said_mute
from engine.evidence import Advice, Finding, Place, Suggest
from engine.job.model import Job


def fifty(*faults: Fault) -> VirtualEngine:
    """An engine whose right jet is a 50."""
    plain = random_job(5).model_dump(mode="json")
    return VirtualEngine(Job.model_validate(plain | {"bank": plain["bank"] | {"idle_jet": 50}}), faults, 5)


def watched(*faults: Fault) -> JetWatch:
    return JetWatch(fifty(*faults))


def verdicts(watch: JetWatch, *words: str, verdict: str = "some out", reason: str = "none") -> None:
    row = tuple(words) + ("right",) * (watch.engine.barrels - len(words))
    watch.heard(Advice("idle_jets", 1, {"verdict": verdict, "reason": reason, "barrels": row}))


def finding(code: str, carb: int, barrel: int | None = None, severity: str = "change part", **keys) -> Finding:
    return Finding(code, severity, (Place(carb, barrel),), "", **keys)


# --- jets -----------------------------------------------------------------------------------------------------------


def test_the_verdicts_are_held_against_the_truth_of_each_initial_jet():
    watch = watched(Fault("mis-drilled jet", 1, 1, -1), Fault("wrong jet", 1, 2, 2))
    verdicts(watch, "too small", "too small")
    assert watch.verdicts()[:3] == (("small", "small"), ("large", "small"), ("right", "right"))
    verdicts(watch, "unknown", verdict="withheld")
    assert watch.verdicts()[0] == ("small", "withheld")


WRONG = Fault("wrong jet", 1, 1, -1)


@pytest.mark.parametrize(
    ("standing", "fate"),
    [
        ([finding("idle-jet-too-small", 1, 1)], "told"),
        ([finding("pilot-jet-too-small", 1, 1)], "told"),
        ([finding("idle-jet-wrong", 1, 1, suggest=Suggest("idle jet", 45, 50))], "told"),
        ([finding("idle-jet-wrong", 1, 1)], "told"),
        ([finding("idle-jet-too-large", 1, 1)], "hinted"),
        ([finding("idle-jet-too-small", 1, 2)], "nothing"),
        ([finding("idle-jet-too-small", 1, 1, "note")], "hinted"),
        ([finding("barrel-out-alone", 1, 1, "adjust")], "hinted"),
        ([finding("idle-jet-unusual", 1, 2)], "nothing"),
        ([], "nothing"),
    ],
)
def test_a_wrong_jet_is_told_only_by_a_finding_that_stands_at_its_barrel_and_says_which_way(standing, fate):
    assert watched(WRONG).fates(standing)[fate] == 1


def test_a_verdict_alone_is_only_a_hint():
    watch = watched(WRONG)
    verdicts(watch, "too small")
    assert watch.fates([])["hinted"] == 1


def test_a_jet_that_was_taken_out_or_blown_clean_counts_as_out():
    watch = watched(WRONG, Fault("dirty jet", 2, 1, 0.7))
    watch.engine.fit("idle jet", 1, 1, 50)
    watch.engine.dirt[2] = 1.0
    assert watch.fates([]) == {"out": 2, "told": 0, "hinted": 0, "nothing": 0}
    assert watch.wrong_left() == 0


def test_a_jet_is_followed_when_it_is_swapped_and_a_new_one_for_a_right_one_was_needless():
    watch = watched(WRONG)
    verdicts(watch, "too small")
    watch.engine.swap_jets(0, 1)
    watch.fitted()
    verdicts(watch, "right", "too small")
    assert watch.said[0] == "small" and watch.said[1] == "right" and watch.needless == 0
    assert watch.fates([finding("idle-jet-too-small", 1, 2)])["told"] == 1
    watch.engine.fit("idle jet", 2, 1, 55)
    watch.fitted()
    assert watch.needless == 1


def test_a_sound_jet_that_a_standing_finding_calls_wrong_is_accused():
    watch = watched(WRONG)
    n = watch.engine.barrels
    assert watch.accused([finding("idle-jet-too-small", 1, 1)]) == (0, n - 1)
    assert watch.accused([finding("idle-jet-too-small", 1)]) == (1, n - 1)
    assert watch.accused([finding("jet-verdict-withheld", 1, 2)]) == (0, n - 1)


def test_jets_are_not_judged_where_nuts_meter():
    engine = VirtualEngine(random_job(5, "constant depression"), (), 5)
    assert JetWatch(engine).verdicts() == ()


# --- claims ---------------------------------------------------------------------------------------------------------


def claimed(**outputs):
    engine = fifty()
    all_knowing(engine)
    engine.at["jet"][1] = 0.3
    engine.reset()
    watch = ClaimWatch(engine)
    watch.heard(Advice("idle_mixture", 1, {"barrels": ("set",) * engine.barrels} | outputs))
    return watch.claims


def test_a_claim_is_how_sure_an_ended_search_is_of_each_barrel_that_it_calls_set():
    claims = claimed(verdict="best", sureness=0.9)
    assert {c.sure for c in claims} == {0.9}
    assert [c.near_best for c in claims[:3]] == [True, False, True]


def test_a_row_of_sureness_counts_before_that_of_the_whole():
    n = len(claimed(verdict="best", sureness=0.9))
    row = (0.99, 0.4) + (0.8,) * (n - 2)
    assert [c.sure for c in claimed(verdict="best", sureness=row)] == list(row)


def test_a_barrel_that_is_not_called_set_claims_nothing_nor_does_a_search_that_goes_on():
    claims = claimed(verdict="no answer", sureness=0.9, barrels=("set", "silent") + ("set",) * (fifty().barrels - 2))
    assert [c.sure for c in claims[:3]] == [0.9, 0.0, 0.9]
    assert claimed(verdict="turn", sureness=0.9) == ()


# --- faults ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("where", "named"),
    [((Place(2, 1),), True), ((Place(2),), True), ((), True), ((Place(1, 1),), False), ((Place(2, 2),), False)],
)
def test_a_finding_names_a_fault_only_at_its_place(where, named):
    engine = VirtualEngine(random_job(5), (), 5)
    fault = Fault("manifold leak", 2, 1, 0.3)
    assert names(engine, fault, [Finding("air-leak", "stop", where, "")]) is named
    assert not names(engine, fault, [Finding("fuel-level-low", "stop", where, "")])


def test_a_row_over_cylinders_numbers_them_along_the_bank():
    engine = VirtualEngine(random_job(5), (), 5)
    fault = Fault("weak cylinder", 2, 1, 0.8)
    assert names(engine, fault, [Finding("weak-cylinder", "stop", (Place(3),), "")])
    assert not names(engine, fault, [Finding("weak-cylinder", "stop", (Place(2),), "")])
    assert names(engine, fault, [Finding("weak-cylinder", "stop", (Place(2, 1),), "")])


def test_a_fault_that_was_found_and_mended_counts_as_named():
    engine = fifty(Fault("manifold leak", 2, 1, 0.3))
    assert found_faults(engine, []) == {"manifold leak": (0, 1)}
    engine.mend("manifold leak")
    assert found_faults(engine, []) == {"manifold leak": (1, 1)}


def test_only_a_barrel_whose_screw_works_is_wrongly_said_not_to_answer():
    engine = fifty(Fault("dead mixture screw", 1, 1, 0.9))
    n = engine.barrels
    assert said_mute(engine, [finding("barrel-does-not-answer", 1, 1)]) == (0, n - 1)
    assert said_mute(engine, [finding("barrel-does-not-answer", 1, 2)]) == (1, n - 1)


# --- how an engine stands -------------------------------------------------------------------------------------------


def test_an_engine_that_stalls_is_not_in_tolerance_however_even_it_stands():
    engine = VirtualEngine(random_job(5), (), 5)
    engine.at["jet"] = [0.0] * engine.barrels
    assert not judged(engine).in_tolerance


@pytest.mark.parametrize(("crest", "stands"), [(0.86, False), (0.905, True), (0.935, False)])
def test_the_lean_side_of_best_torque_is_that_of_its_own_crest(crest, stands):
    # every cylinder at lambda 0.92: on a narrow curve it lies too far lean of 0.86, and to the rich side of 0.935
    job = random_job(5)
    plain = nature.plain(job)
    narrow = dataclasses.replace(plain.burning, crest=1 / crest, lean_fall=2.0 / 0.7**2, rich_fall=1.1 / 0.7**2)
    engine = VirtualEngine(job, (), 5, dataclasses.replace(plain, burning=narrow))
    all_knowing(engine)
    low, high = [0.0] * engine.barrels, [8.0] * engine.barrels
    for _ in range(20):
        engine.at["jet"] = [0.5 * (a + b) for a, b in zip(low, high, strict=True)]
        engine.reset()
        for b, lam in enumerate(engine.now.lambdas):
            (low if lam > 0.92 else high)[b] = engine.at["jet"][b]
    assert judged(engine).lean_best is stands
