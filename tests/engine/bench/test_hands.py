"""The technician's hands: he does what a step message says, answers checks truthfully and keeps count of the work."""

from __future__ import annotations

from typing import Any

import pytest

from engine.bench.plant import assumed
from engine.bench.plant.engine import VirtualEngine
from engine.bench.plant.faults import Fault
from engine.bench.technicians.hands import Hands
from engine.bench.trial.fleet import faulted, random_job
from engine.job.model import Job

RUN = {"engine": "running", "pedal_link": "off", "coupling": "off", "hold": None}
STALL = [{"id": "stalls", "kind": "stall"}]
FLOW = {
    "name": "flow",
    "ask": "Airflow",
    "quantity": "airflow",
    "each": "barrel",
    "of": None,
    "count": 4,
    "unit": "kg/h",
    "range": [0, 25],
    "choices": None,
    "healthy": None,
    "average": None,
    "may_lack": False,
}
SPEED = {
    "name": "rpm",
    "ask": "Speed",
    "quantity": "engine speed",
    "each": None,
    "of": None,
    "count": 1,
    "unit": "rpm",
    "range": [0, 4000],
    "choices": None,
    "healthy": None,
    "average": 10,
    "may_lack": False,
}


def job(**bank: Any) -> Job:
    return Job.model_validate(
        {
            "engine": {"cylinders": 4, "displacement": "2000 cc", "idle_speed": "900 rpm"},
            "bank": {
                "family": "twin-choke sidedraught",
                "carbs": 2,
                "barrels_per_carb": 2,
                "idle_jet": 55,
                "mixture_screw": "short taper",
            }
            | bank,
        }
    )


def hands(*faults: Fault, right: bool = True, **bank: Any) -> Hands:
    """Hands at a hot engine; `right`: every screw where it belongs."""
    engine = VirtualEngine(job(**bank), faults, 3)
    engine.warm()
    if right:
        for b in range(engine.barrels):
            engine.at["plate"][b // 2] = engine.body.idle_deg / assumed.LEVER_DEG_PER_TURN
            engine.at["jet"][b] = engine.body.rest_turns
        engine.reset()
    return Hands(engine)


def step(**keys: Any) -> dict[str, Any]:
    return {
        "kind": "step",
        "step": "s",
        "visit": 1,
        "title": "",
        "do": "",
        "cautions": [],
        "state": RUN,
        "moves": [],
        "fit": [],
        "read": [],
        "symptoms": [],
        "findings": [],
    } | keys


def move(at: str, acts: str = "air", **keys: Any) -> dict[str, Any]:
    return {
        "screw": "s",
        "acts": acts,
        "on": at,
        "carb": 1,
        "barrel": None,
        "turns": None,
        "direction": "in",
        "effect": "",
        "position": None,
        "aim": None,
    } | keys


def choice(quantity: str, *choices: str, each: str | None = "barrel", **keys: Any) -> dict[str, Any]:
    return {
        "name": "look",
        "ask": "",
        "quantity": quantity,
        "each": each,
        "of": None,
        "count": 4 if each == "barrel" else 2,
        "unit": None,
        "range": None,
        "choices": list(choices),
        "healthy": choices[0],
        "average": None,
        "may_lack": False,
    } | keys


def test_a_step_with_nothing_to_read_is_done_and_a_danger_is_understood():
    answer = hands().answer(step(cautions=[{"word": "danger", "text": "", "understand": True}]))
    assert answer == {"done": True, "understood": True}


def test_rows_come_as_long_as_asked_in_the_unit_asked():
    h = hands()
    row = h.answer(step(read=[FLOW, SPEED]))["readings"]
    assert len(row["flow"]) == 4 and all(4.5 < x < 6.5 for x in row["flow"])
    assert row["rpm"] == pytest.approx(h.engine.truth().speed, abs=8)
    grams = h.answer(step(read=[FLOW | {"unit": "g/s"}]))["readings"]["flow"]
    assert all(4.5 < x * 3.6 < 6.5 for x in grams)
    assert h.work.rounds == 2


def test_a_place_of_its_own_is_read_alone():
    answer = hands().answer(step(read=[FLOW | {"each": None, "of": {"carb": 2, "barrel": 1}, "count": 1}]))
    assert isinstance(answer["readings"]["flow"], float)


@pytest.mark.parametrize(
    ("at", "acts", "way", "grows"),
    [
        ("plate", "air", "in", True),
        ("plate", "air", "out", False),
        ("jet", "mixture", "out", True),
        ("jet", "mixture", "in", False),
    ],
)
def test_a_counted_move_goes_the_way_that_was_said(at, acts, way, grows):
    h = hands()
    barrel = 1 if at == "jet" else None
    before = h.engine.position(at, 1, barrel)
    h.answer(step(moves=[move(at, acts, turns=0.125, direction=way, barrel=barrel)]))
    gone = h.engine.position(at, 1, barrel) - before
    assert gone == pytest.approx(0.125 if grows else -0.125, abs=0.08)
    assert h.work.moves == 1


def test_seating_is_exact_and_a_preset_counts_from_the_seat():
    h = hands()
    h.answer(step(moves=[move("jet", "mixture", position=0.0, barrel=2)], state={"engine": "stopped"}))
    assert h.engine.position("jet", 1, 2) == 0.0
    h.answer(step(moves=[move("jet", "mixture", position=1.0, barrel=2, direction="out")], state={"engine": "stopped"}))
    assert h.engine.position("jet", 1, 2) == pytest.approx(1.0, abs=0.1)


def test_an_aim_that_was_reached_needs_no_report():
    h = hands()
    h.answer(step(read=[FLOW]))
    answer = h.answer(step(moves=[move("plate", carb=2, aim={"reading": "flow", "value": 6.2})], read=[FLOW]))
    assert "moved" not in answer
    assert max(h.engine.truth().gauge[2:]) == pytest.approx(6.2, rel=0.12)


def test_an_aim_that_can_not_be_reached_is_reported_with_the_turns_it_took():
    h = hands(Fault("dead speed screw", 2, None, 1))
    h.answer(step(read=[FLOW]))
    answer = h.answer(step(moves=[move("plate", carb=2, aim={"reading": "flow", "value": 9.0})], read=[FLOW]))
    made = answer["moved"][0]
    assert made["aim"] is None and 0.25 <= made["turns"] <= 1.5


def test_an_engine_that_can_not_hold_its_speed_gives_the_stall_that_the_step_offers():
    h = hands()
    shut = [move("jet", "mixture", carb=c, barrel=b, position=0.0) for c in (1, 2) for b in (1, 2)]
    answer = h.answer(step(moves=shut, read=[FLOW], symptoms=STALL))
    assert answer == {"symptom": "stalls"}
    assert (h.work.stalls, h.work.rounds) == (1, 0)


def test_an_answer_in_words_says_that_it_died_again():
    h = hands()
    for b in range(4):
        h.engine.at["jet"][b] = 0.0
    ask = choice("other", "keeps running", "dies again", each=None, count=1)
    assert h.answer(step(read=[ask], symptoms=STALL))["readings"]["look"] == "dies again"
    assert hands().answer(step(read=[ask]))["readings"]["look"] == "keeps running"


def test_spit_back_is_told_once_until_it_is_gone():
    h = hands()
    h.engine.at["jet"][0] = 0.45
    offered = [{"id": "spits", "kind": "spit-back"}]
    assert h.answer(step(read=[SPEED], symptoms=offered)) == {"symptom": "spits"}
    assert "readings" in h.answer(step(read=[SPEED], symptoms=offered))


@pytest.mark.parametrize(
    ("fault", "quantity", "each", "choices", "row"),
    [
        (Fault("manifold leak", 2, 1, 0.3), "air leak", "barrel", ("no", "yes"), ["no", "no", "yes", "no"]),
        (Fault("manifold leak", 2, 1, 0.3), "nudge test", "carb", ("no", "yes"), ["no", "no"]),
        (Fault("worn spindle", 2, None, 0.3), "nudge test", "carb", ("no", "yes"), ["no", "yes"]),
        (
            Fault("sticking plate", 1, None, 0.4),
            "throttle return",
            "carb",
            ("snaps shut", "hangs"),
            ["hangs", "snaps shut"],
        ),
        (Fault("low fuel level", 2, None, 3), "fuel level", "carb", ("right", "high", "low"), ["right", "low"]),
        (
            Fault("mis-drilled jet", 1, 2, -1),
            "jet swap",
            "barrel",
            ("stayed", "followed the jet"),
            ["stayed", "followed the jet", "stayed", "stayed"],
        ),
        (Fault("manifold leak", 1, 2, 0.4), "jet swap", "barrel", ("stayed", "followed the jet"), ["stayed"] * 4),
        (Fault("dirty jet", 1, 1, 0.7), "jet clean", "barrel", ("no change", "cured"), ["cured", *["no change"] * 3]),
        (
            Fault("tight valve", 1, 2, 0.85),
            "valve clearance",
            "barrel",
            ("right", "wide", "tight"),
            ["right", "tight", "right", "right"],
        ),
        (Fault("starter stuck open", 2, None, 0.4), "starting device", "carb", ("shut", "open"), ["shut", "open"]),
    ],
)
def test_checks_are_answered_truthfully(fault, quantity, each, choices, row):
    h = hands(fault)
    assert h.answer(step(read=[choice(quantity, *choices, each=each)]))["readings"]["look"] == row


def test_a_cleaned_jet_is_clean_after_the_check():
    h = hands(Fault("dirty jet", 1, 1, 0.7))
    lean = h.engine.truth().lambdas[0]
    h.answer(step(read=[choice("jet clean", "no change", "cured")]))
    assert h.engine.truth().lambdas[0] < lean * 0.8


def test_two_barrels_that_get_each_others_number_change_their_jets_and_buy_none():
    h = hands(Fault("mis-drilled jet", 1, 2, -1))
    parts = [{"part": "idle jet", "carb": 1, "barrel": b, "size": 55} for b in (1, 2)]
    h.answer(step(state={"engine": "stopped"}, fit=parts))
    assert h.engine.jets[:2] == [50, 55] and h.work.jets == 0
    h.answer(step(state={"engine": "stopped"}, fit=parts[:1]))
    assert h.engine.jets[0] == 55 and h.work.jets == 1


def test_mechanical_figures_lie_in_the_sound_range_unless_a_fault_moves_them():
    ask = {
        "name": "p",
        "ask": "",
        "quantity": "compression",
        "each": "cylinder",
        "of": None,
        "count": 4,
        "unit": "bar",
        "range": [0, 25],
        "choices": None,
        "healthy": {"from": 10, "to": 12},
        "average": None,
        "may_lack": False,
    }
    sound = hands().answer(step(state={"engine": "stopped"}, read=[ask]))["readings"]["p"]
    ill = hands(Fault("weak cylinder", 2, 2, 0.75))
    weak = ill.answer(step(state={"engine": "stopped"}, read=[ask]))["readings"]["p"]
    assert all(10 <= x <= 12 for x in sound)
    assert weak[3] < 0.85 * max(weak)


def test_an_unknown_quantity_is_answered_as_a_sound_engine_would():
    ask = SPEED | {"name": "x", "quantity": "other", "unit": "mm", "range": [0, 10], "healthy": {"from": 2, "to": 4}}
    assert hands().answer(step(read=[ask]))["readings"]["x"] == 3.0
    assert hands().answer(step(read=[choice("other", "fine", "bad", each=None, count=1)]))["readings"]["look"] == "fine"


def test_a_running_quantity_of_a_stopped_engine_is_left_out_where_it_may_lack():
    answer = hands().answer(step(state={"engine": "stopped"}, read=[FLOW | {"may_lack": True}]))
    assert answer["readings"]["flow"] == [None] * 4


def test_engine_stops_are_counted_and_a_stall_is_not_one():
    h = hands()
    h.answer(step())
    h.answer(step(state={"engine": "stopped"}))
    h.answer(step(state={"engine": "stopped"}))
    assert (h.work.starts, h.work.stops, h.work.stalls) == (1, 1, 0)


def test_a_cold_engine_is_nursed_at_the_pedal_and_warms_while_it_waits():
    specimen = faulted(random_job(2), [])
    h = Hands(specimen.engine(cold=True))
    cold = h.engine.coolant
    answer = h.answer(step(state=RUN | {"hold": 1500}, wait={"seconds": 900}, symptoms=STALL))
    assert answer == {"done": True}
    assert h.engine.coolant > cold + 40


PUT_RIGHT = choice("other", "left for now", "put right", each=None, count=1)


def test_hands_that_mend_put_right_what_was_just_found_and_others_leave_it():
    leak = Fault("manifold leak", 2, 1, 0.3)
    mist = choice("air leak", "no", "yes")
    for mends, said in ((True, "put right"), (False, "left for now")):
        engine = hands(leak).engine
        h = Hands(engine, mends=mends)
        h.answer(step(read=[mist]))
        assert h.answer(step(read=[PUT_RIGHT]))["readings"]["look"] == said
        assert (leak in engine.mended) is mends


def test_hands_that_mend_leave_what_no_shop_mends_on_the_spot():
    engine = hands(Fault("plate out of step", 1, None, 0.3)).engine
    h = Hands(engine, mends=True)
    stop = [{"code": "body-out-of-step", "severity": "stop", "where": [{"carb": 1, "barrel": None}]}]
    assert h.answer(step(read=[PUT_RIGHT], findings=stop))["readings"]["look"] == "left for now"
    gate = choice("other", "mended", "ends here", "go on knowingly", each=None, count=1, name="stop_gate")
    assert h.answer(step(read=[gate], findings=stop))["readings"]["stop_gate"] == "go on knowingly"


def test_a_stop_that_a_shop_mends_is_mended_and_read_again():
    leak = Fault("manifold leak", 2, 1, 0.3)
    engine = hands(leak).engine
    stop = [{"code": "air-leak", "severity": "stop", "where": [{"carb": 2, "barrel": 1}]}]
    gate = choice("other", "mended", "ends here", "go on knowingly", each=None, count=1, name="stop_gate")
    assert Hands(engine, mends=True).answer(step(read=[gate], findings=stop)) == {"readings": {"stop_gate": "mended"}}
    assert leak in engine.mended


def test_a_finding_that_stands_is_mended_once_at_its_place():
    worn = Fault("worn spindle", 2, None, 0.2)
    engine = hands(worn).engine
    h = Hands(engine, mends=True)
    found = [{"code": "worn-spindle", "severity": "change part", "where": [{"carb": 2, "barrel": None}]}]
    assert h.answer(step(read=[PUT_RIGHT], findings=found))["readings"]["look"] == "put right"
    assert worn in engine.mended
    assert h.answer(step(read=[PUT_RIGHT], findings=found))["readings"]["look"] == "left for now"


def test_a_quarter_in_and_out_changes_the_beat_unless_the_screw_is_dead():
    ask = choice("screw answers", "yes", "no")
    h = hands(Fault("dead mixture screw", 1, 2, 0.95), Fault("broken screw tip", 2, 1, 1))
    assert h.answer(step(read=[ask]))["readings"]["look"] == ["yes", "no", "no", "yes"]


def test_a_meter_beyond_its_scale_says_so_where_that_is_an_answer():
    h = hands()
    h.engine.at["jet"] = [2.5] * 4
    ask = SPEED | {"name": "co", "quantity": "CO", "unit": "%", "range": [0, 5], "average": None}
    assert h.answer(step(read=[ask]))["readings"]["co"] == 5
    assert h.answer(step(read=[ask | {"over_range": True}]))["readings"]["co"] == "over range"


def test_a_merged_pipe_shows_the_mean_weighted_by_flow():
    h = hands(bypass=False)
    h.engine.at["jet"][0], h.engine.at["plate"][0] = 0.5, h.engine.at["plate"][0] + 0.3
    h.engine.reset()
    now = h.engine.now
    ask = SPEED | {"name": "lam", "quantity": "lambda", "unit": "", "range": [0, 3], "average": None}
    seen = [h.answer(step(read=[ask]))["readings"]["lam"] for _ in range(40)]
    fuel = [m / lam for m, lam in zip(now.total, now.lambdas, strict=True)]
    whole = sum(now.total) / sum(fuel) + 0.35 * sum(m * x for m, x in zip(now.total, now.misfire, strict=True)) / sum(
        now.total
    )
    assert sum(seen) / len(seen) == pytest.approx(whole, rel=0.01)


def test_a_dry_damper_is_filled_when_it_is_seen():
    dry = Fault("low damper oil", 2, None, 1)
    job = random_job(4, "constant depression")
    h = Hands(VirtualEngine(job, (dry,), 4), mends=True)
    ask = choice("damper oil", "right", "low", "wrong grade", each="carb", count=job.bank.carbs)
    assert h.answer(step(state={"engine": "stopped"}, read=[ask]))["readings"]["look"][1] == "low"
    assert dry in h.engine.mended
