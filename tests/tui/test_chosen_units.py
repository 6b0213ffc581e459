"""A shop is shown, and types, in the units that it chose; what is stored and sent to programs stays in the file's."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.job.model import Job
from engine.procedure.build.load import load
from engine.quantity.chosen import CHOOSABLE, ChosenUnits, NoSuchUnit, choose
from engine.quantity.units import UNITS, convert
from engine.session.session import Session
from engine.sheet.gather import sheet_of
from engine.sheet.printers import headed, printed
from tui.catalogue.shop import Shop
from tui.commandline import cli
from tui.control.desk import Desk
from tui.control.entry import Fields, Refusal
from tui.control.job_form import Family, Form
from tui.control.rehearsal import Rehearsal, rehearse
from tui.control.sitting import Sitting
from tui.control.stages import row_of

PROCEDURES = Path(__file__).parents[2] / "procedures"

PROCEDURE = """
procedure: pump
title: Pump
revision: 1
for: {family: any, carbs: 2}
settings:
  least: {value: 0.2 bar, range: [0, 1], source: common practice}
readings:
  fuel_pressure:
    {ask: Fuel pressure, quantity: fuel pressure, unit: bar, range: [0, 1.5], step: 0.01,
     healthy: {from: 0.17, to: 0.24}}
  suction: {ask: Depression, quantity: depression, each: carb, unit: kPa, range: [0, 90], step: 0.2}
  warm: {ask: Oil, quantity: oil temperature, unit: degC, range: [-30, 160], step: 1}
start: one
steps:
  one:
    do: Not less than {least:bar}.
    read: [fuel_pressure, suction, warm]
    record: as found
    go: two
  two: {do: Look again., read: [fuel_pressure], record: as left, go: done}
  done: {end: ok, say: Done.}
"""
CHOSEN = ChosenUnits({"pressure": "psi", "depression": "inHg", "temperature": "degF"})
JOB = Job.model_validate(
    {
        "engine": {"cylinders": 2, "displacement": "1000 cc", "idle_speed": "900 rpm"},
        "bank": {"family": "valve header", "carbs": 2, "barrels_per_carb": 1},
    }
)


@pytest.fixture
def sitting(tmp_path: Path) -> Sitting:
    path = tmp_path / "pump.yaml"
    path.write_text(PROCEDURE.lstrip(), encoding="utf-8")
    program = load(path, [], {}).program
    assert program is not None
    return Sitting(Session.start(program, JOB, book=Book.memory(), advisers={}), CHOSEN)


def test_a_reading_is_asked_for_in_the_chosen_unit_with_its_range_and_what_is_right(sitting: Sitting) -> None:
    pressure, suction, warm = sitting.view.read
    assert (pressure.unit, suction.unit, warm.unit) == ("psi", "inHg", "degF")
    # 0.17 to 0.24 bar are 2.5 to 3.5 psi (makers' sheets, from memory); 160 degC are 320 degF, exact.
    assert [round(float(v), 2) for v in pressure.healthy] == [2.47, 3.48]
    assert warm.range == (-22, 320)
    assert (pressure.step, suction.step, warm.step) == (Fraction(1, 10), Fraction(1, 100), 1)
    assert sitting.view.do == "Not less than 2.901 psi."


def test_what_is_typed_in_it_is_stored_exactly_in_the_files_and_comes_back_as_typed(sitting: Sitting) -> None:
    fields = Fields(tuple(row_of(ask, sitting.view) for ask in sitting.view.read))
    fields.texts = ["3", "8", "8.5", "194"]
    assert sitting.answer(readings=fields.values()) is None
    stored = {row.name: row.row for row in sitting.session.view.latest}
    assert stored["fuel_pressure"] == (convert(Fraction(3), "psi", "bar"),)
    assert stored["warm"] == (90,)
    shown = {row.name: (row.unit, row.row) for row in sitting.view.latest}
    assert shown["suction"] == ("inHg", (8, Fraction(17, 2)))
    assert sitting.view.trail[-1].said == "3 psi; 8, 8.5 inHg; 194 degF"
    assert sitting.view.read[0].last == (3,)


def test_a_unit_that_is_typed_with_the_number_outranks_the_chosen_one(sitting: Sitting) -> None:
    fields = Fields((row_of(sitting.view.read[0], sitting.view),))
    fields.texts = ["0.2 bar"]
    assert fields.values()["fuel_pressure"] == convert(Fraction(1, 5), "bar", "psi")


def test_a_program_on_the_line_and_the_record_know_nothing_of_it(sitting: Sitting) -> None:
    assert [ask.unit for ask in sitting.session.view.read] == ["bar", "kPa", "degC"]
    assert sitting.session.view.do == "Not less than 0.2 bar."


def test_the_sheet_is_printed_in_the_chosen_units(sitting: Sitting) -> None:
    sitting.answer(
        readings={"fuel_pressure": Fraction(3), "suction": [Fraction(8), Fraction(9)], "warm": Fraction(194)}
    )
    sitting.answer(readings={"fuel_pressure": Fraction(7, 2)})
    book, run = sitting.session.book, sitting.session.run
    text = printed(headed(sheet_of(book, run, {}), {}, CHOSEN), "text")
    assert "Fuel pressure, psi" in text and "3.5" in text and "Depression, inHg" in text
    assert "Fuel pressure, bar" in printed(headed(sheet_of(book, run, {}), {}), "text")


UNIT_PAIRS = [(a, b) for units in CHOOSABLE.values() for a in units for b in units]


@given(st.sampled_from(UNIT_PAIRS), st.fractions(0, 1000, max_denominator=1000))
def test_there_and_back_changes_nothing(pair: tuple[str, str], value: Fraction) -> None:
    chosen = ChosenUnits({UNITS[pair[0]].dimension: pair[1]})
    assert chosen.typed(chosen.shown(value, pair[0]), pair[0]) == value


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"pressure": "stone"}, "'stone' is no unit for pressure: it is kPa, bar"),
        ({"pressure": "degF"}, "'degF' is no unit for pressure"),
        ({"presure": "psi"}, "'presure' is no quantity with a unit."),
        ({"engine speed": "rpm"}, "'engine speed' has one unit everywhere, rpm"),
    ],
)
def test_a_unit_that_does_not_fit_is_refused_in_a_sentence(told: dict[str, str], says: str) -> None:
    with pytest.raises(NoSuchUnit, match="^" + says.split(":")[0]):
        choose(told, {"fuel pressure": "bar", "engine speed": "rpm"})


def test_units_are_written_as_people_write_them() -> None:
    chosen = choose({"pressure": "PSI", "temperature": "F", "length": "inch"}, {})
    assert dict(chosen.by) == {"pressure": "psi", "temperature": "degF", "length": "in"}


def test_the_list_of_settings_says_which_units_are_shown_and_who_chose(tmp_path: Path, capsys) -> None:
    (tmp_path / "settings.yaml").write_text("units: {pressure: psi, depression: inHg}\n", encoding="utf-8")
    assert cli.main(["settings", "air-balance", "--shop", str(tmp_path)]) == cli.Exit.OK
    said = [line.split(maxsplit=1) for line in capsys.readouterr().out.splitlines() if line.startswith("  ")]
    rows = {name: " ".join(rest.split()) for name, rest in said}
    assert rows["pressure"].startswith("psi from the shop kPa, bar, mbar")
    assert rows["depression"].startswith("inHg from the shop")
    assert rows["temperature"].startswith("as the file says from the file degC")


def test_a_slip_in_the_shops_units_is_told_at_its_place(tmp_path: Path, capsys) -> None:
    (tmp_path / "settings.yaml").write_text("units: {pressure: pis}\n", encoding="utf-8")
    assert cli.main(["settings", "air-balance", "--shop", str(tmp_path)]) == cli.Exit.USAGE
    err = capsys.readouterr().err
    assert "settings.yaml:1" in err and "'pis' is no unit for pressure" in err and "Traceback" not in err


def test_a_rehearsal_is_read_in_the_chosen_units(tmp_path: Path) -> None:
    desk = Desk(Shop(tmp_path / "jobs.book", (PROCEDURES,), units=ChosenUnits({"depression": "inHg"})))
    sitting = rehearse(desk, "motorcycle-bank", seed=3)
    for _ in range(60):
        view = sitting.view
        ask = next((a for a in view.read if a.quantity == "depression"), None)
        if ask is not None:
            break
        assert sitting.answer(**_as_the_hands_say(sitting)) is None
    assert ask is not None and ask.unit == "inHg"
    row, _ = sitting.reading(ask.name)
    own = sitting.work()["readings"][ask.name]
    # A conventional inch of mercury is 3.386389 kPa (NIST SP 811, from memory).
    assert [float(v) * 3.386389 for v in row] == pytest.approx(own, abs=1e-3)


def _as_the_hands_say(sitting: Rehearsal) -> dict[str, Any]:
    if sitting.view.gate is not None:
        return {**sitting.at_stop(), "understood": True}
    if (symptom := sitting.ahead()) is not None:
        return {"symptom": symptom, "understood": True}
    readings = {a.name: sitting.reading(a.name)[0] for a in sitting.view.read}
    return {"readings": readings, "understood": True} if readings else {"done": True, "understood": True}


# ---- a gauge with a scale of its own

FLOWS = """
procedure: flows
title: Flows
revision: 1
for: {family: any, carbs: 2}
readings:
  flow: {ask: Airflow, quantity: airflow, each: carb, unit: kg/h, range: [0, 30], step: 0.1}
start: one
steps:
  one: {do: Read., read: [flow], record: as found, go: two}
  two: {do: Again., read: [flow], record: as left, go: done}
  done: {end: ok, say: Done.}
"""


def test_a_gauge_in_divisions_is_asked_for_and_printed_in_divisions_and_claims_no_kilograms(tmp_path: Path) -> None:
    path = tmp_path / "flows.yaml"
    path.write_text(FLOWS.lstrip(), encoding="utf-8")
    program = load(path, [], {}).program
    assert program is not None
    tools = JOB.instruments.model_copy(update={"airflow_scale": "divisions"})
    job = JOB.model_copy(update={"instruments": tools})
    sitting = Sitting(Session.start(program, job, book=Book.memory(), advisers={}), ChosenUnits({"mass flow": "g/s"}))
    fields = Fields(tuple(row_of(ask, sitting.view) for ask in sitting.view.read))
    assert sitting.view.read[0].unit == "division" and sitting.view.read[0].range == (0, 30)
    fields.texts = ["5 kg/h", "6"]
    with pytest.raises(Refusal, match="kg/h does not belong here"):
        fields.values()
    fields.texts = ["5 divisions", "6"]
    assert sitting.answer(readings=fields.values()) is None
    assert sitting.view.trail[-1].said == "5, 6 divisions"
    sitting.answer(readings=fields.values())
    text = printed(headed(sheet_of(sitting.session.book, sitting.session.run, {}), {}), "text")
    assert "Airflow, divisions" in text and "kg/h" not in text


# ---- sentences and the intake


def test_a_sentence_with_figures_is_told_in_the_chosen_units() -> None:
    chosen = ChosenUnits({"pressure": "mbar", "mass flow": "g/s"})
    said = "The bodies draw 4.50, 4.10 kg/h; 28.4 kPa are 3 mm of 900 rpm, 5 % of 2 kPa."
    # 1 kg/h is 1/3.6 g/s, 1 kPa is 10 mbar: exact.
    assert chosen.in_text(said) == "The bodies draw 1.250, 1.139 g/s; 284 mbar are 3 mm of 900 rpm, 5 % of 20 mbar."


def test_a_unit_chosen_for_one_quantity_holds_where_that_is_measured() -> None:
    chosen = ChosenUnits({"depression": "inHg"})
    assert chosen.in_text("28.0 kPa") == "28.0 kPa"
    assert chosen.in_text("28.0 kPa", [("depression", "kPa")]) == "8.27 inHg"  # 3.386 kPa each, exact by definition


def test_no_word_and_no_length_is_taken_for_a_figure() -> None:
    chosen = ChosenUnits({"pressure": "psi", "length": "in", "temperature": "degF", "mass flow": "g/s"})
    text = "Body 2 K, step 3.2.1 kPa of 32 mm, 50 barrels, a4 bar, 4 kg/hour."
    assert chosen.in_text(text) == text


def test_what_an_adviser_says_is_shown_and_printed_in_the_chosen_units_and_stored_in_the_files(tmp_path: Path) -> None:
    path = tmp_path / "even.yaml"
    path.write_text(EVEN.lstrip(), encoding="utf-8")
    program = load(path, [], shipped()).program
    assert program is not None
    session = Session.start(program, PAIR, book=Book.memory(), advisers=shipped())
    sitting = Sitting(session, ChosenUnits({"mass flow": "g/s"}))
    for _ in range(2):
        sitting.answer(readings={"air": [Fraction(5, 4), Fraction(5, 4), Fraction(1), Fraction(5, 8)]})
    because, own = sitting.view.advice[0].because, sitting.session.view.advice[0].because
    assert "g/s" in because.concluded and "kg/h" not in because.concluded
    assert "kg/h" in own.concluded
    told, stored = sitting.view.findings, sitting.session.view.findings
    assert told and all("kg/h" not in f.say for f in told) and any("kg/h" in f.say for f in stored)
    text = printed(headed(sheet_of(session.book, session.run, {}), {}, ChosenUnits({"mass flow": "g/s"})), "text")
    assert "kg/h" not in text


EVEN = """
procedure: even
title: Even
revision: 1
for: {family: twin-choke sidedraught, carbs: 2, barrels_per_carb: 2}
readings:
  air: {ask: Airflow, quantity: airflow, each: barrel, unit: kg/h, range: [0, 30], step: 0.1}
start: one
steps:
  one:
    do: Read.
    read: [air]
    advise: {adviser: body_balance, name: even, with: {flow: air, tolerance: 5 %}}
    limit: {visits: 9, then: done}
    go: one
  done: {end: ok, say: Done.}
"""
PAIR = Job.model_validate(
    {
        "engine": {"cylinders": 4, "displacement": "1600 cc", "idle_speed": "900 rpm"},
        "bank": {"family": "twin-choke sidedraught", "carbs": 2, "barrels_per_carb": 2},
    }
)


def test_the_intake_asks_and_begins_in_the_chosen_units_and_writes_what_was_typed() -> None:
    form = Form((Family("twin-choke sidedraught"),), ChosenUnits({"temperature": "degF", "length": "in"}))
    cells = {row.name: row.cells[0] for row in form.fields.rows}
    warm, choke = cells["conditions.temperature"], cells["bank.choke"]
    assert (warm.unit, warm.low, warm.high, form.texts()["conditions.temperature"]) == ("degF", -40, 140, "59")
    assert choke.unit == "mm"  # a part is called by its size
    form.begin(PAIR.model_copy(update={"conditions": PAIR.conditions.model_copy(update={"temperature": Fraction(20)})}))
    assert form.texts()["conditions.temperature"] == "68"
    form.fields.texts[[row.name for row in form.fields.rows].index("conditions.temperature")] = "77"
    form.fields.texts[[row.name for row in form.fields.rows].index("engine.displacement")] = "1600"
    assert form.data()["conditions"]["temperature"] == "77 degF"
    assert form.job().conditions.temperature == 25
