"""Sizing, main circuit and exhaust gas as a procedure calls them: they keep their contract whatever is read."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.carburation.registry import ADVISERS
from engine.contract import Adviser
from engine.evidence import Evidence, Inputs, Place, ReadingView
from engine.job.model import Job
from engine.judgement import Judgement
from engine.session.consult import worded
from engine.wording import Words

UNITS = {"co": Fraction(1, 100), "co2": Fraction(1, 100), "o2": Fraction(1, 100), "hc": Fraction(1, 10**6)}


def job(**bank: Any) -> Job:
    """An invented four with two twin-choke sidedraughts."""
    return Job.model_validate(
        {
            "engine": {"cylinders": 4, "displacement": 1598, "idle_speed": 950, "peak_power_speed": 6200},
            "bank": {
                "family": "twin-choke sidedraught",
                "carbs": 2,
                "barrels_per_carb": 2,
                "choke": 32,
                "main_jet": 130,
                "air_corrector": 175,
                "idle_jet": 50,
                "pump_jet": 40,
            }
            | bank,
        }
    )


def evidence(**parts: int) -> Evidence:
    """Nothing answered yet; `main_jet=135` says that the run has fitted that everywhere."""
    spots = [Place(c, b) for c in (1, 2) for b in (1, 2)]
    fitted = {(name.replace("_", " "), p): Fraction(size) for name, size in parts.items() for p in spots}
    return Evidence((), {}, fitted, {}, 0)


def ask(name: str, of: Job | None = None, known: Evidence | None = None, **read: Any) -> Judgement:
    """Call an adviser: names of its contract with values; readings are single, in the unit that the screen shows."""
    adviser = ADVISERS[name]
    readings, values = {}, {}
    for key, number in read.items():
        exact = None if number is None else Fraction(str(number)) * UNITS.get(key, 1)
        if adviser.inputs[key].kind == "reading":
            quantity = adviser.inputs[key].quantities[0]
            readings[key] = ReadingView(key, quantity, None, None, None, (exact,))
        else:
            values[key] = exact
    return keeps(adviser, adviser.run(of or job(), Inputs(readings, {}, values), known or evidence()))


def keeps(adviser: Adviser, advice: Judgement) -> Judgement:
    """Every declared output is there, within its choices or range; every finding is declared, with its severity."""
    assert set(advice.outputs) == set(adviser.outputs)
    for name, output in adviser.outputs.items():
        value = advice.outputs[name]
        if output.type.kind == "choice":
            assert value in output.type.choices
        else:
            assert isinstance(value, Fraction)
            assert output.type.low <= value <= output.type.high
    assert all(f.say for f in worded(adviser, advice, Words({})).findings)
    assert advice.because
    return advice


def test_a_flat_lean_pull_fits_the_same_larger_main_jet_on_every_barrel():
    pull = dict(low="0.92", low_speed=3000, middle="0.92", middle_speed=4500, high="0.92", high_speed=6000)
    advice = ask("main_circuit", **pull)
    assert advice.outputs["verdict"] == "main jet"
    assert advice.outputs["size"] == 135
    assert {(p.place.carb, p.place.barrel, p.size) for p in advice.parts} == {
        (c, b, 135) for c in (1, 2) for b in (1, 2)
    }
    assert advice.findings[0].suggest.old == 130


def test_the_jet_that_the_run_has_fitted_counts_and_not_the_one_in_the_job():
    pull = dict(low="0.92", low_speed=3000, middle="0.92", middle_speed=4500, high="0.92", high_speed=6000)
    assert ask("main_circuit", known=evidence(main_jet=140), **pull).outputs["size"] == 145


def test_lean_under_load_is_said_even_where_nothing_can_be_judged():
    advice = ask("main_circuit", of=job(main_jet=None), low="0.9", low_speed=3000, high="0.97", high_speed=6000)
    assert advice.outputs["verdict"] == "withheld"
    assert advice.outputs["lean"] == "yes"
    assert [f.code for f in advice.findings] == ["lean-under-load", "pull-not-believed"]


@pytest.mark.parametrize("bank", [{"main_jet": None}, {"main_jet": [130, 130, 135, 130]}, {"main_jet": 132}])
def test_a_main_jet_that_is_not_known_for_certain_gets_no_size(bank):
    advice = ask("main_circuit", of=job(**bank), low="0.8", low_speed=3000, high="0.8", high_speed=6000)
    assert (advice.outputs["verdict"], advice.parts) == ("withheld", ())


lambdas = st.none() | st.decimals("0.3", "2", places=2)


@settings(max_examples=60)
@given(lambdas, lambdas, lambdas, st.integers(-100, 20000))
def test_whatever_a_pull_reads_the_contract_holds(low, middle, high, top):
    ask("main_circuit", low=low, low_speed=2500, middle=middle, middle_speed=4000, high=high, high_speed=top)


def test_a_sound_sample_places_the_mixture():
    # Equilibrium at lambda 0.90 is 3.69 % CO; a worked example of the four-gas formula beside it gives 0.9306.
    advice = ask("exhaust_gas", co="3.5", co2="12.5", o2="1", hc=400)
    assert advice.outputs == {"verdict": "believed", "lambda": Fraction("0.9306"), "mixture": "right"}
    assert ask("exhaust_gas", co="6", co2="10.9", o2="0.6", hc=300).outputs["mixture"] == "rich"
    assert ask("exhaust_gas", co="0.5", co2="14.7", o2="0.5", hc=100).outputs["mixture"] == "lean"


def test_a_misfire_is_never_called_lean():
    advice = ask("exhaust_gas", co="3", co2="11", o2="3.5", hc=700)
    assert (advice.outputs["verdict"], advice.outputs["mixture"]) == ("misfire", "unknown")
    assert advice.findings[0].code == "misfire-in-exhaust"


percents = st.none() | st.decimals("-1", "25", places=1)


@settings(max_examples=60)
@given(percents, percents, percents, st.none() | st.integers(-10, 60000))
def test_whatever_the_analyser_shows_the_contract_holds(co, co2, o2, hc):
    ask("exhaust_gas", co=co, co2=co2, o2=o2, hc=hc)


def test_sizing_notes_what_is_unusual_and_orders_nothing():
    assert ask("sizing").outputs["verdict"] == "in range"
    advice = ask("sizing", of=job(main_jet=110, idle_jet=[50, 50, 45, 50]))
    assert advice.outputs["verdict"] == "off"
    assert (advice.outputs["main_jet"], advice.outputs["idle_jet"]) == ("small", "barrels differ")
    assert {f.code for f in advice.findings} == {"main-jet-unusual", "idle-jet-unusual"}
    found = worded(ADVISERS["sizing"], advice, Words({})).findings
    assert all(f.severity == "note" and f.suggest is None for f in found)
    assert not advice.parts


def test_sizing_with_nothing_fitted_in_the_job_compares_nothing():
    bare = job(choke=None, main_jet=None, air_corrector=None, idle_jet=None, pump_jet=None)
    assert ask("sizing", of=bare).outputs["verdict"] == "nothing to compare"
