"""The job: what a file may say, what it must, and how exactly it is held."""

from __future__ import annotations

import datetime
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from engine.carburation.registry import shipped
from engine.job import job_file
from engine.job.job_file import BadJob
from engine.job.model import Job
from engine.procedure.report.checking import check_file
from engine.run.bind import NotForThisJob
from engine.run.layout import prepare

ROOT = Path(__file__).parents[2]
SHORT = {
    "engine": {"cylinders": 4, "displacement": "1598 cc", "idle_speed": "950 rpm"},
    "bank": {"family": "twin-choke sidedraught", "carbs": 2, "barrels_per_carb": 2},
}


def job(**parts: dict[str, Any]) -> Job:
    """The shortest job, with keys added to its parts."""
    return Job.model_validate({**SHORT, **{k: {**SHORT.get(k, {}), **v} for k, v in parts.items()}})


def test_four_things_are_enough():
    short = job()
    assert short.engine.displacement == 1598
    assert short.bank.barrels == 4
    assert (short.row("idle_jet"), short.conditions.temperature, short.fuel.ethanol) == (None, 15, 0)


@pytest.mark.parametrize(
    ("written", "cc"),
    [
        ("1598 cc", "1598"),
        (1598, "1598"),
        ("1,598 L", "1598"),
        ("1.598 L", "1598"),
        ("1597.7531", "1597.7531"),
        (1597.5, "1597.5"),
    ],
)
def test_a_quantity_is_read_in_any_fitting_unit_and_held_exactly(written, cc):
    assert job(engine={"displacement": written}).engine.displacement == Fraction(cc)


@pytest.mark.parametrize(
    ("written", "row"),
    [
        (50, [50] * 4),
        ("50", [50] * 4),
        ("0.50 mm", [50] * 4),
        ([50, 50, "52.5", 45], [50, 50, Fraction(105, 2), 45]),
    ],
)
def test_jets_are_one_size_for_all_or_a_row(written, row):
    assert job(bank={"idle_jet": written}).row("idle_jet") == tuple(row)


def test_a_date_is_a_date_however_yaml_reads_it():
    for written in ("1971-05-01", datetime.date(1971, 5, 1), datetime.datetime(1971, 5, 1, 12)):
        assert job(vehicle={"first_used": written}).vehicle.first_used == "1971-05-01"
    assert job(vehicle={"first_used": None}).vehicle.first_used == ""


def test_a_path_leads_to_what_the_job_says_and_to_nothing_else():
    it = job(bank={"stem_thread": "coarse"}, instruments={"flow_meter": True})
    assert it.at("bank.stem_thread") == "coarse"
    assert it.at("instruments.flow_meter") is True
    assert it.at("bank.barrels") == 4
    for path in (
        "bank.choke",
        "bank.nothing",
        "nothing",
        "engineering",
        "bank.model_fields_set",
        "row",
        "engine.cylinders.real",
        "",
    ):
        assert it.at(path) is None


def test_a_run_never_hears_of_persons():
    it = job(vehicle={"registration": "SAMPLE 1"}).model_copy(update={"customer": "A. Sample", "title": "Rough"})
    assert "SAMPLE" not in json.dumps(it.engineering()).upper()


quantities = st.fixed_dictionaries(
    {},
    optional={
        "choke": st.fractions(8, 40, max_denominator=300).map(lambda f: f"{f} mm"),
        "throttle_bore": st.sampled_from(["40 mm", "45 mm", "4.5 cm"]),
        "main_jet": st.lists(st.fractions(60, 300, max_denominator=8).map(str), min_size=4, max_size=4),
        "idle_jet": st.integers(30, 90),
        "mixture_screw": st.sampled_from(["short taper", "long taper", "air screw", "jet nut"]),
        "stem_thread": st.text(st.characters(codec="utf-8", exclude_categories=["C"]), min_size=1),
        "disturbed": st.lists(
            st.fixed_dictionaries({"carb": st.integers(1, 2), "barrel": st.integers(1, 2)}), max_size=2
        ),
    },
)


@settings(max_examples=60)
@given(quantities, st.fractions(-500, 5000, max_denominator=97), st.fractions(0, 100, max_denominator=7))
def test_a_job_survives_json_and_its_own_file_exactly(bank, height, ethanol):
    it = job(bank=bank, conditions={"altitude": f"{height} m"}, fuel={"ethanol": f"{ethanol} %"})
    assert Job.model_validate(json.loads(it.model_dump_json())) == it
    assert Job.model_validate(json.loads(json.dumps(it.engineering()))).engineering() == it.engineering()
    if bank.get("stem_thread", "x") not in ("true", "false", "null", "~"):
        assert job_file.parse(job_file.write(it)) == it


#: A job file with a meter and not a word of where the probe goes.
METERED = """
engine: {cylinders: 4, displacement: 1598 cc, idle_speed: 950 rpm}
bank: {family: twin-choke sidedraught, carbs: 2, barrels_per_carb: 2}
instruments: {lambda_meter: true}
"""


def test_where_nobody_says_otherwise_the_exhaust_is_that_of_all_cylinders():
    """One tailpipe is what most cars have; a file of before, which names no format, means what it meant."""
    assert job_file.parse("format: 2" + METERED).instruments.exhaust_sampling == "merged"
    assert job_file.parse(METERED).instruments.exhaust_sampling == "each cylinder"
    assert job(instruments={"lambda_meter": True}).instruments.exhaust_sampling == "merged"
    said = METERED.replace("true}", "true, exhaust_sampling: merged}")
    assert job_file.parse(said).instruments.exhaust_sampling == "merged"


def test_a_format_that_is_not_known_is_refused_with_a_sentence():
    with pytest.raises(BadJob, match="format '3', and this program reads 1 and 2"):
        job_file.parse("format: 3" + METERED)


@pytest.mark.parametrize(
    ("engine", "bank", "says"),
    [
        ({"displacement": "1598 rpm"}, {}, "rpm and cc measure different things"),
        ({"displacement": "a lot"}, {}, "'a lot' does not start with a number"),
        ({"displacement": True}, {}, "a number in cc belongs here"),
        ({"displacement": 5}, {}, "5 is outside 20 to 12000 cc"),
        ({"idle_speed": "0"}, {}, "outside 300 to 3000"),
        ({"displacement": float("nan")}, {}, "'nan' does not start with a number"),
        ({"cylinders": 6}, {}, "serve 4 cylinders, but the engine has 6"),
        ({}, {"idle_jet": [50, 50, 50]}, "lists 3 sizes; give one for all, or 4"),
        ({}, {"idle_jet": 0}, "no jet number"),
        ({}, {"idle_jet": "50 kPa"}, "no jet number"),
        ({}, {"idle_jet": True}, "A jet number belongs here"),
        ({}, {"disturbed": [{"carb": 3}]}, "names carb 3, but this bank has 2 carbs"),
        ({}, {"disturbed": [{"carb": 1, "barrel": 3}]}, "names carb 1 barrel 3"),
        ({}, {"choke": "45 mm", "throttle_bore": "40 mm"}, "choke is larger than bank.throttle_bore"),
    ],
)
def test_what_no_engine_has_is_refused_in_words(engine, bank, says):
    with pytest.raises(ValidationError, match=says):
        job(engine=engine, bank=bank)


def test_a_file_with_many_faults_names_each_at_its_place():
    with pytest.raises(BadJob) as fault:
        job_file.parse(
            "engine: {cylinders: four, displacment: 1598 cc, idle_speed: 95, use: sporty}\n"
            "bank:\n  family: x\n  carbs: 0\n  air_bypass_screws: maybe\n  disturbed: [{carb: 1, barel: 2}]\n"
            "bank: twice\n",
            "a.yaml",
        )
    assert [(p.code, p.span.line, p.span.column) for p in fault.value.problems] == [
        ("missing-key", 1, 1),
        ("wrong-value", 1, 21),
        ("unknown-key", 1, 27),
        ("wrong-value", 1, 61),
        ("wrong-value", 1, 70),
        ("wrong-value", 4, 10),
        ("wrong-value", 5, 22),
        ("unknown-key", 6, 25),
        ("duplicate-key", 7, 1),
    ]
    said = str(fault.value)
    for words in (
        "`engine.displacement` is missing. Add it, such as `displacement: 1598 cc`",
        "Did you mean 'displacement'?",
        "'four' is no whole number",
        "95 is outside 300 to 3000 rpm",
        "none of 'road', 'fast road' or 'race'",
        "'maybe' is neither true nor false",
        "Did you mean 'barrel'?",
    ):
        assert words in said
    assert "a.yaml:1:21: wrong-value" in said


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "A job file is a mapping of keys"),
        ("- a\n- b", "A job file is a mapping of keys"),
        ("engine: [", "not-yaml"),
        ("engine: 4\nbank: 3", "`engine`: a mapping of keys belongs here"),
        ("bank: &a {family: x}", "anchor"),
        (
            "engine: {cylinders: 4, displacement: 1598, idle_speed: 950}\nbank: {family: x, carbs: 4, disturbed: 1}",
            "a list belongs",
        ),
    ],
)
def test_a_file_that_is_no_job_is_refused_in_words(text, says):
    with pytest.raises(BadJob, match=says):
        job_file.parse(text)


def test_a_file_that_cannot_be_read_is_named(tmp_path):
    (tmp_path / "bytes.yaml").write_bytes(b"\xff\xfe\x00engine")
    for path, says in (
        (tmp_path / "none.yaml", "There is no such file"),
        (tmp_path, "This is a folder"),
        (tmp_path / "bytes.yaml", "saved as UTF-16"),
    ):
        with pytest.raises(BadJob, match=says):
            job_file.read(path)


@settings(max_examples=60)
@given(st.text(max_size=300) | st.binary(max_size=100).map(lambda b: b.decode("latin-1")))
def test_no_text_whatever_gets_past_as_anything_but_a_job_or_a_fault(text):
    try:
        assert isinstance(job_file.parse(text), Job)
    except BadJob as fault:
        assert fault.problems


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        ("1,6 l", 1600),
        ("1.6 L", 1600),
        ("1598", 1598),
        ("1598 cc", 1598),
        ("0,9985 litres", Fraction(9985, 10)),
    ],
)
def test_a_displacement_is_read_as_people_write_it(said: str, kept: Fraction) -> None:
    assert job(engine={"displacement": said}).engine.displacement == kept


@pytest.mark.parametrize(("said", "kept"), [("18 C", 18), ("18 °C", 18), ("50 F", 10), ("50 degF", 10), ("18", 18)])
def test_a_temperature_is_read_in_either_scale(said: str, kept: int) -> None:
    assert job(conditions={"temperature": said}).conditions.temperature == kept


def test_a_speed_with_a_mark_before_three_digits_is_asked_back_and_never_taken_for_one() -> None:
    for said in ("1,050", "1,050 rpm", "1.050 rpm"):
        with pytest.raises(ValidationError, match=r"can be 1050 or 1\.05"):
            job(engine={"idle_speed": said})
    assert job(engine={"idle_speed": "1050 rpm"}).engine.idle_speed == 1050


def test_a_first_use_may_be_a_year_alone() -> None:
    assert job(vehicle={"first_used": "1971"}).vehicle.first_used == "1971"
    assert job(vehicle={"first_used": 1971}).vehicle.first_used == "1971"


def test_a_job_says_what_its_instruments_show_and_what_lies_on_the_shelf() -> None:
    it = job(
        instruments={"tachometer_step": 50, "tachometer_scatter": "20 rpm", "airflow_scale": "divisions"},
        shelf={"idle_jets": [45, 50, 55]},
    )
    assert (it.instruments.tachometer_step, it.instruments.tachometer_scatter) == (50, 20)
    assert it.instruments.airflow_scale == "divisions" and it.shelf.idle_jets == (45, 50, 55)
    assert it.engineering()["shelf"]["idle_jets"] == [45, 50, 55]
    with pytest.raises(ValidationError, match="outside 1 to 20 %"):
        job(instruments={"co_meter": True, "co_range": "30 %"})


@pytest.mark.parametrize(("said", "now"), [("pilot screw", "fuel screw"), ("volume  screw", "fuel screw")])
def test_a_word_that_is_called_otherwise_now_is_understood_and_says_its_new_name(said, now):
    text = "engine: {cylinders: 2, displacement: 600 cc, idle_speed: 1100 rpm}\n"
    text += f"bank: {{family: motorcycle bank, carbs: 2, barrels_per_carb: 1, mixture_screw: {said}}}\n"
    told = []
    assert job_file.parse(text, "job.yaml", told=told.append).bank.mixture_screw == now
    assert [(p.severity, p.span.line) for p in told] == [("warning", 2)]
    assert f"is called '{now}' here, and is understood" in str(told[0])
    told.clear()
    job_file.parse(text.replace(said, now), "job.yaml", told=told.append)
    assert told == []


def test_a_trade_without_an_engine_says_none_and_no_manifold():
    """Two lamps in a row: nothing is known of an engine, nothing is made up, and nothing of it reaches the record."""
    lamps = Job.model_validate({"bank": {"family": "headlamps", "carbs": 2}})
    assert not lamps.has_engine and "engine" not in lamps.engineering()
    assert Job.model_validate(lamps.engineering()) == lamps
    assert lamps.at("engine.idle_speed") is None and lamps.bank.carbs == 2


def test_a_routine_that_reckons_with_the_engine_refuses_a_job_without_one():
    checked = check_file(ROOT / "procedures" / "sizing-review.yaml", [ROOT / "procedures"], shipped())
    none = Job.model_validate({"bank": {"family": "twin-choke sidedraught", "carbs": 2, "barrels_per_carb": 2}})
    with pytest.raises(NotForThisJob, match="does not say its engine"):
        prepare(checked.program, none)


@pytest.mark.parametrize(
    "key", ["title", "customer", "vehicle.description", "vehicle.registration", "vehicle.odometer"]
)
@pytest.mark.parametrize("written", ["[SAMPLE 1]", "{a: b}", "[]"])
def test_a_list_is_no_text_and_is_never_written_down_as_one(key: str, written: str) -> None:
    part, _, name = key.rpartition(".")
    line = f"{part}: {{{name}: {written}}}" if part else f"{name}: {written}"
    with pytest.raises(BadJob) as fault:
        job_file.parse(f"engine: {{cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}}\n{line}\n", "a.yaml")
    assert f"`{key}`: a text belongs here" in str(fault.value)
