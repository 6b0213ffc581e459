"""The sizing report: start, fitted and how far off for a whole job; what is not known is withheld in words."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.carburation.rules import sizing_report
from engine.carburation.rules.sizing_report import Part, SizingReport
from engine.evidence import Place
from engine.job.model import Job
from engine.sheet import sizing_page


def job(bank: dict[str, Any] | None = None, engine: dict[str, Any] | None = None, **parts: Any) -> Job:
    """An invented 1.6 L four with two twin-choke sidedraughts; a None takes a key away."""
    full_engine = {"cylinders": 4, "displacement": "1598 cc", "idle_speed": "950 rpm", "peak_power_speed": "6200 rpm"}
    full_bank = {
        "family": "twin-choke sidedraught",
        "carbs": 2,
        "barrels_per_carb": 2,
        "mixture_screw": "short taper",
        "choke": "32 mm",
        "main_jet": 130,
        "air_corrector": 175,
        "idle_jet": 50,
        "pump_jet": 40,
    }
    full_engine.update(engine or {})
    full_bank.update(bank or {})
    return Job.model_validate(
        {
            "engine": {k: v for k, v in full_engine.items() if v is not None},
            "bank": {k: v for k, v in full_bank.items() if v is not None},
            **parts,
        }
    )


def part(report: SizingReport, name: str) -> Part:
    return next(p for p in report.parts if p.part == name)


def test_a_sound_set_is_in_range_with_formula_and_source_beside_it():
    report = sizing_report.run(job())
    assert [p.part for p in report.parts] == ["choke", "main jet", "air corrector", "idle jet", "pump jet"]
    assert [p.start for p in report.parts] == [31, 130, 175, 50, 40]
    for one in report.parts:
        assert one.verdict == "in range"
        assert one.formula
        assert one.source
        assert not one.withheld


@pytest.mark.parametrize(
    ("bank", "name", "verdict", "steps"),
    [
        ({"main_jet": 115}, "main jet", "small", -3),
        ({"main_jet": 145}, "main jet", "large", 3),
        ({"air_corrector": 220}, "air corrector", "large", 9),
        ({"idle_jet": 45}, "idle jet", "small", -1),
        ({"idle_jet": 60}, "idle jet", "large", 2),
        ({"choke": "36 mm"}, "choke", "large", 5),
        ({"pump_jet": 60}, "pump jet", "large", 4),
    ],
)
def test_how_far_off_is_said_in_sizes(bank, name, verdict, steps):
    one = part(sizing_report.run(job(bank)), name)
    assert one.verdict == verdict
    assert one.fitted[0].steps == steps


def test_barrels_that_differ_are_each_named():
    one = part(sizing_report.run(job({"idle_jet": [50, 50, 45, 50]})), "idle jet")
    assert one.verdict == "barrels differ"
    assert [(f.places, f.size, f.verdict) for f in one.fitted] == [
        ((Place(1, 1), Place(1, 2), Place(2, 2)), 50, "in range"),
        ((Place(2, 1),), 45, "small"),
    ]
    assert any("barrels differ" in note for note in one.notes)


def test_a_number_of_no_series_was_misread():
    notes = part(sizing_report.run(job({"main_jet": 132})), "main jet").notes
    assert any("132 is no main jet of a series that goes by 5" in note for note in notes)


def test_thin_air_and_ethanol_move_the_main_jet_and_nothing_else():
    # At 1500 m the standard air has 0.8638 of the density (ISO 2533), and the bore goes as rho^0.25: 128 becomes 123.4.
    plain = sizing_report.run(job())
    high = sizing_report.run(job(conditions={"altitude": "1500 m"}))
    drunk = sizing_report.run(job(fuel={"ethanol": "85 %"}))
    assert part(high, "main jet").exact == pytest.approx(128 * 0.8638**0.25, abs=0.01)
    assert part(high, "main jet").start == 125
    assert any("change it back" in note for note in part(high, "main jet").notes)
    # Source: stoichiometry; neat petrol to 85 % asks for 1.2046 of the bore.
    assert part(drunk, "main jet").exact == pytest.approx(128 * 1.2046, abs=0.1)
    for name in ("choke", "air corrector", "idle jet", "pump jet"):
        assert part(plain, name) == part(high, name) == part(drunk, name)


@pytest.mark.parametrize(
    ("bank", "engine", "name", "why"),
    [
        ({}, {"peak_power_speed": None}, "choke", "engine.peak_power_speed"),
        ({"choke": None}, {"peak_power_speed": None}, "main jet", "bank.choke"),
        ({"choke": None, "main_jet": None}, {"peak_power_speed": None}, "air corrector", "bank.choke"),
        ({}, {"displacement": "3400 cc"}, "idle jet", "table ends there"),
        ({}, {"displacement": "2300 cc"}, "pump jet", "No start is known there"),
        ({"mixture_screw": "jet nut"}, {}, "main jet", "constant-depression"),
        ({"mixture_screw": "air screw"}, {}, "main jet", "rated by flow"),
        ({"mixture_screw": "air screw"}, {}, "choke", "no choke of its own"),
        ({"mixture_screw": None, "pilot_screw": "fuel screw"}, {}, "main jet", "rated by flow"),
        ({"manifold": "shared"}, {}, "choke", "one plenum"),
        ({"barrels_per_carb": 1, "cylinders_per_barrel": 2}, {}, "choke", "Cylinders share a barrel"),
    ],
)
def test_what_no_rule_covers_is_withheld_in_words(bank, engine, name, why):
    one = part(sizing_report.run(job(bank, engine)), name)
    assert one.verdict == "withheld"
    assert why in one.withheld
    assert one.start is one.exact is one.low is one.high is None
    assert all(f.steps is None and f.verdict == "withheld" for f in one.fitted)


def test_the_temperature_of_a_day_is_shown_as_an_effect_and_moves_no_jet():
    # A hot day at sea level: lambda x 0.9749 at 30 degC (derived; direction published, source S55).
    mild, hot = sizing_report.run(job()), sizing_report.run(job(conditions={"temperature": "30 degC"}))
    assert hot.temperature_factor == pytest.approx(0.9749, abs=1e-4)
    assert mild.temperature_factor == pytest.approx(1)
    assert hot.main_jet_factor == mild.main_jet_factor
    assert hot.parts == mild.parts
    assert "is the temperature of the day" in " ".join(sizing_page.lines(hot))


def test_the_corrector_is_judged_from_the_main_jet_that_is_fitted():
    # Common practice: 40 to 50 above the main. With a 145 fitted 190 belongs, whatever the choke asks for.
    fitted = part(sizing_report.run(job({"main_jet": 145, "air_corrector": 190})), "air corrector")
    assert (fitted.start, fitted.verdict) == (190, "in range")
    differ = part(sizing_report.run(job({"main_jet": [130, 130, 145, 130]})), "air corrector")
    assert differ.start == 175 and any("main jets differ" in note for note in differ.notes)


@pytest.mark.parametrize(("use", "verdict"), [("road", "in range"), ("race", "small")])
def test_a_choke_three_millimetres_smaller_is_usual_on_the_road_alone(use, verdict):
    assert part(sizing_report.run(job({"choke": "28 mm"}, {"use": use})), "choke").verdict == verdict
    assert part(sizing_report.run(job({"choke": "27 mm"}, {"use": use})), "choke").verdict == "small"


@pytest.mark.parametrize(("size", "verdict"), [(35, "in range"), (50, "in range"), (30, "small"), (55, "large")])
def test_a_pump_jet_below_the_table_shows_the_usual_range(size, verdict):
    report = sizing_report.run(job({"pump_jet": size}, {"displacement": "1000 cc"}))
    one = part(report, "pump jet")
    assert (one.start, one.low, one.high, one.verdict) == (None, 35, 50, verdict)
    assert "35 to 50" in " ".join(sizing_page.lines(report))


def test_without_the_choke_fitted_the_jets_follow_the_one_it_would_start_from():
    report = sizing_report.run(job({"choke": None}))
    assert part(report, "choke").verdict == "not given"
    assert part(report, "main jet").start == 125  # 31 x 4 = 124


def test_ports_shared_by_two_cylinders_take_an_idle_jet_a_size_up():
    # Source S4.
    shared = sizing_report.run(job({"barrels_per_carb": 1, "cylinders_per_barrel": 2}))
    assert part(shared, "idle jet").start == part(sizing_report.run(job()), "idle jet").start + 5


def test_the_gauge_line_is_left_out_where_no_gauge_reads_a_cylinder():
    assert sizing_report.run(job()).gauge is not None
    assert sizing_report.run(job({"manifold": "shared"})).gauge is None
    assert sizing_report.run(job(instruments={"airflow_gauge": False})).gauge is None
    assert sizing_report.run(job(instruments={"airflow_scale": "divisions"})).gauge is None


def test_the_emission_limit_goes_by_first_use_where_a_jurisdiction_is_set(tmp_path):
    def said(**vehicle: str) -> str:
        return sizing_report.run(job(vehicle=vehicle)).emission

    assert "CO at most 4.5 %" in said(first_used="1980-01-01", jurisdiction="GB")
    assert "date of first use is not in the job" in said(jurisdiction="GB")
    assert "No jurisdiction is set" in said(first_used="1980-01-01")
    broken = tmp_path / "limits.yaml"
    broken.write_text("jurisdictions: [", encoding="utf-8")
    assert "are no YAML at line 1" in sizing_report.run(job(), broken).emission


cc = st.integers(400, 6000).map(lambda n: f"{n} cc")
sizes = st.none() | st.integers(6, 50).map(lambda n: 5 * n) | st.lists(st.integers(30, 250), min_size=4, max_size=4)


@settings(max_examples=50)
@given(
    st.fixed_dictionaries(
        {
            "choke": st.none() | st.integers(20, 50).map(lambda n: f"{n} mm"),
            "main_jet": sizes,
            "air_corrector": sizes,
            "idle_jet": sizes,
            "pump_jet": sizes,
            "throttle_bore": st.none() | st.just("50 mm"),
            "mixture_screw": st.sampled_from(["short taper", "long taper", "air screw", "jet nut", None]),
            "manifold": st.sampled_from(["separate", "shared"]),
        }
    ),
    st.fixed_dictionaries(
        {
            "displacement": cc,
            "use": st.sampled_from(["road", "fast road", "race"]),
            "peak_power_speed": st.none() | st.integers(1500, 15000),
        }
    ),
    st.integers(-500, 5000),
    st.integers(-40, 60),
    st.integers(0, 100),
)
def test_every_job_gets_a_report_that_fits_the_page_and_is_json(bank, engine, height, celsius, ethanol):
    report = sizing_report.run(
        job(bank, engine, conditions={"altitude": height, "temperature": celsius}, fuel={"ethanol": ethanol})
    )
    assert all(len(line) <= 80 for line in sizing_page.lines(report))
    assert all(len(line) <= 100 for line in sizing_page.lines(report, 100))
    assert json.loads(json.dumps(report.to_json(), allow_nan=False))["kind"] == "sizing"
    for one in report.parts:
        assert (one.verdict == "withheld") == bool(one.withheld) == (one.low is None)
        assert one.start is not None or one.withheld or one.part == "pump jet"
        assert one.start is None or one.low <= one.high


def test_the_page_says_where_each_figure_comes_from():
    text = "\n".join(sizing_page.lines(sizing_report.run(job())))
    assert "20 x sqrt(0.3995 L x 6200 rpm / 1000) = 31.48 mm" in text
    assert text.count("Source: ") == 5
    assert "source S4" in text
    assert "maker's sheet" in text
