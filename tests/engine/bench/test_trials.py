"""Trials: a procedure closed-loop on virtual engines, through a real session, judged by truth."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import Fault
from engine.bench.terms import WANTED
from engine.bench.trial.fleet import random_job
from engine.bench.trial.judging import JetWatch, judged, names
from engine.bench.trial.trial_table import Criterion, summary, table
from engine.bench.trial.trials import TrialPlan, Unsound, loaded, run
from engine.evidence import Advice, Finding, Place
from engine.job.model import Job

HERE = Path(__file__).parent


def no_advisers() -> dict:
    return {}


PLAN = TrialPlan(str(HERE / "trial-run.yaml"), (HERE,), no_advisers, fleet="plain")


@pytest.fixture(scope="module")
def outcomes():
    return run(PLAN, range(40, 48))


def test_a_trial_tries_every_seed_in_order_and_tells_its_progress():
    told = []
    done = run(
        TrialPlan(PLAN.procedure, PLAN.search, no_advisers, references=False),
        [3, 1, 2],
        progress=lambda n, of: told.append((n, of)),
    )
    assert [o.seed for o in done] == [3, 1, 2] and told == [(1, 3), (2, 3), (3, 3)]


def test_spawned_workers_find_the_same_as_one(outcomes):
    plan = TrialPlan(PLAN.procedure, PLAN.search, no_advisers, references=False)
    assert run(plan, [40, 41], workers=2) == run(plan, [40, 41])


def test_the_work_is_counted_and_the_ends_are_those_of_the_file(outcomes):
    for one in outcomes:
        assert one.problem is None
        assert one.outcome in ("ok", "failed") and one.work.moves == 2 * len(one.jets)
        assert one.work.rounds == (1 if one.outcome == "ok" else 0) or one.work.stalls


def test_leaks_that_the_file_names_are_counted_as_named(outcomes):
    found = summary("trial-run", "twin-choke sidedraught", None, outcomes)
    assert all(row["withheld"] == sum(row.values()) for row in found.jets.values()), "no adviser, no verdict"
    leaky = [o for o in outcomes if "manifold leak" in o.named]
    assert {o.outcome for o in leaky} >= {"ok"}
    for one in leaky:
        good, of = one.named["manifold leak"]
        assert good == (of if one.outcome == "ok" else 0), "every leak of 0.1 mm2 and more shows under mist"


def test_the_table_and_the_json_say_what_was_reached_against_what_is_wanted(outcomes):
    found = summary("trial-run", "twin-choke sidedraught", None, outcomes)
    text = table(found)
    assert "measuring rounds" in text and "patient" in text and "MISSED" in text
    plain = json.loads(json.dumps(found.to_json()))
    assert plain["engines"] == 8 and len(plain["criteria"]) == 10
    assert plain["criteria"][0]["wanted"] == WANTED["gauge only"].in_tolerance


def test_a_criterion_of_nothing_is_neither_met_nor_missed():
    assert Criterion("x", None, 0.9, False).met is None
    assert Criterion("x", 0.9, 0.9, False).met and not Criterion("x", 0.51, 0.5, True).met


def test_a_procedure_that_does_not_load_is_refused_with_its_problems():
    with pytest.raises(Unsound, match="nowhere"):
        loaded(TrialPlan("nowhere", (HERE,), no_advisers))


# --- judging --------------------------------------------------------------------------------------------------------


def watched(*faults: Fault) -> JetWatch:
    plain = random_job(5).model_dump(mode="json")
    job = Job.model_validate(plain | {"bank": plain["bank"] | {"idle_jet": 50}})
    return JetWatch(VirtualEngine(job, faults, 5))


def verdicts(watch: JetWatch, *words: str, verdict: str = "some out", reason: str = "none") -> None:
    row = tuple(words) + ("right",) * (watch.engine.barrels - len(words))
    watch.heard(Advice("idle_jets", 1, {"verdict": verdict, "reason": reason, "barrels": row}))


def test_a_wrong_jet_named_by_barrel_and_direction_counts_and_the_other_direction_does_not():
    watch = watched(Fault("mis-drilled jet", 1, 1, -1), Fault("wrong jet", 1, 2, 2))
    assert watch.truth[:2] == ("small", "large")
    verdicts(watch, "too small", "too small")
    assert watch.named() == (1, 2)
    assert watch.verdicts()[:3] == (("small", "small"), ("large", "small"), ("right", "right"))


def test_a_verdict_withheld_counts_only_where_its_reason_is_true():
    watch = watched(Fault("wrong jet", 1, 1, -1), Fault("low fuel level", 1, None, 3))
    verdicts(watch, "unknown", verdict="withheld", reason="level off")
    assert watch.named() == (1, 1)
    verdicts(watch, "unknown", verdict="withheld", reason="hole uncovered")
    assert watch.named() == (0, 1)


def test_a_reason_told_for_one_barrel_must_be_true_at_that_barrel():
    watch = watched(Fault("wrong jet", 1, 1, -1), Fault("wrong jet", 1, 2, -1), Fault("manifold leak", 1, 1, 0.4))
    n = watch.engine.barrels
    watch.heard(
        Advice(
            "idle_jets",
            1,
            {
                "verdict": "right",
                "reason": "none",
                "barrels": ("unknown", "unknown") + ("right",) * (n - 2),
                "untold": ("leak not excluded", "leak not excluded") + ("none",) * (n - 2),
            },
        )
    )
    assert watch.named() == (1, 2)


def test_a_jet_keeps_its_verdict_when_it_is_swapped_and_a_new_one_for_a_right_one_was_needless():
    watch = watched(Fault("wrong jet", 1, 1, -1))
    verdicts(watch, "too small")
    watch.engine.swap_jets(0, 1)
    watch.fitted()
    verdicts(watch, "right", "too small")
    assert watch.said[0] == "small" and watch.said[1] == "right" and watch.needless == 0
    watch.engine.fit("idle jet", 2, 1, 55)
    watch.fitted()
    assert watch.needless == 1


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


def test_an_engine_that_stalls_is_not_in_tolerance_however_even_it_stands():
    engine = VirtualEngine(random_job(5), (), 5)
    engine.at["jet"] = [0.0] * engine.barrels
    assert not judged(engine).in_tolerance
