"""The job sheet: as found beside as left, what was changed, what was not checked, what stands; and whose it is."""

from __future__ import annotations

from typing import Any

import pytest
from valve_runs import ADVISERS, DONE, LONG_WAY, Answer, answered, begun, written

from engine import VERSION
from engine.book.book import Book
from engine.book.trouble import BookTrouble
from engine.sheet import plain_text
from engine.sheet.document import document
from engine.sheet.gather import Sheet, gathered, newest_run, sheet_of


def lines(sheet: Sheet) -> list[str]:
    return plain_text.lines(document(sheet))


def dim(*flow: float, **more: Any) -> Answer:
    return Answer(
        readings={"flow": list(flow), "sound": "steady", "drips": None},
        understood=True,
        lacking={"drips": "too dark to see"},
        **more,
    )


SHEET = """\
JOB SHEET 1                                                              run 1.1
================================================================================
Customer      A. Sample
Complaint     Uneven since spring
Engine        2 cylinders, 1000 cc
Carburettors  2, twin valve header
Procedure     Balance two water valves (balance_two_valves, revision 4)
Work          2031-05-04 10:00 to 2031-05-04 10:00

DONE. Even within 0.2 L/min.

AS FOUND AND AS LEFT
--------------------------------------------------------------------------------
                                                    as found             as left
Flow at the valve, L/min
  valve 1                                                  4                   6
  valve 2                                                7.5                 6.2
How does the pipe sound?                              steady              steady
Does the gland drip?                                       -                   -
spindle, turns
  valve 1                                                  2                   3
  valve 2                                                  2               1 1/4

SCREWS IN THEIR BANDS
--------------------------------------------------------------------------------
                                                   stands at             belongs
spindle
  valve 1                                                  3 1 to 4 1/2: in band
  valve 2                                              1 1/4 1 to 4 1/2: in band

SCREWS TURNED, counted from the zero of each
--------------------------------------------------------------------------------
                                                      before               after
spindle, valve 1                                     unknown             3 turns
spindle, valve 2                                     unknown         1 1/4 turns

PARTS CHANGED
--------------------------------------------------------------------------------
                                                      before               after
washer, valve 2                                      unknown                  12

CHECKED
--------------------------------------------------------------------------------
- How does the pipe sound: steady

NOT CHECKED
--------------------------------------------------------------------------------
- Does the gland drip: too dark to see

FINDINGS THAT STAND
--------------------------------------------------------------------------------
None.

TO ORDER
--------------------------------------------------------------------------------
None.

INSTRUMENTS AND CONDITIONS
--------------------------------------------------------------------------------
- Instruments: airflow gauge, tachometer, flow meter
- Air: 15 degC, 0 m above the sea

NOTES
--------------------------------------------------------------------------------
- Stiff spindle on valve 2.

PROCEDURES FOLLOWED
--------------------------------------------------------------------------------
- Revision 1: bleed_line
- Revision 4: balance_two_valves

--------------------------------------------------------------------------------
Evendraw 0.1.0. 7 events. The maker's data and local rules come first.
Seal: SEAL

Signed: ________________________________________"""


def test_the_whole_sheet_as_text() -> None:
    part = {"part": "washer", "carb": 2, "barrel": None, "size": 12}
    session = answered(
        begun(),
        DONE,
        Answer(note="Stiff spindle on valve 2."),
        DONE,
        dim(4, 7.5),
        Answer(done=True, fitted=[part]),
        dim(6, 6.2),
    )
    sheet = gathered(session)
    assert "\n".join(lines(sheet)) == SHEET.replace("SEAL", session.book.head(session.run)).replace("0.1.0", VERSION)


def sheet(*answers: Answer) -> Sheet:
    return gathered(answered(begun(), *answers))


def test_no_line_is_wider_than_80_columns() -> None:
    long = Answer(note="The owner says that it has always been so since his uncle changed the gland " * 5)
    assert max(map(len, lines(sheet(long, *LONG_WAY, Answer(note="W" * 200))))) <= 80


def test_findings_that_stand_are_said_with_what_to_do() -> None:
    dripping = Answer(readings={"flow": [6, 6], "sound": "steady", "drips": "yes"}, understood=True)
    text = lines(sheet(DONE, DONE, dripping))
    assert text[text.index("FINDINGS THAT STAND") + 2 :][:2] == ["ADJUST: The gland drips.", "  To do: Nip it up."]


def test_symptoms_that_were_seen_are_counted() -> None:
    text = lines(sheet(*LONG_WAY))
    assert "- Pipe hammers, once" in text


def test_struck_answers_are_counted_for_they_stay_in_the_record() -> None:
    assert sheet(*LONG_WAY).struck == 2
    assert any("2 answers were struck by undo" in line for line in lines(sheet(*LONG_WAY)))


def test_settings_that_the_shop_or_the_job_changed_are_named() -> None:
    session = begun(settings={"target": "7 L/min"})
    assert gathered(session).settings == (("target", "7 L/min", "job"),)


def test_a_run_that_is_not_over_has_a_sheet_too() -> None:
    assert (sheet(DONE).outcome, sheet(DONE).ended) == ("not finished", "")


def test_persons_come_from_their_own_table_as_they_stand_now() -> None:
    session = answered(begun(), *LONG_WAY)
    session.book.forget_persons(1)
    assert not any("Sample" in line or "Uneven" in line for line in lines(gathered(session)))


def test_the_newest_run_of_a_job_is_meant_by_its_number() -> None:
    from valve_runs import valves

    from engine.session.session import Session

    book = Book.memory()
    first = begun(book)
    second = Session.start(valves(), book.job(1), book=book, advisers=ADVISERS, job_number=1)
    assert (newest_run(book, "1"), newest_run(book, "1.1")) == (second.run, first.run)
    assert sheet_of(book, "1.1", ADVISERS).run == "1.1"
    for wanted in ("2", "x", "1.9"):
        with pytest.raises(BookTrouble):
            sheet_of(book, newest_run(book, wanted), ADVISERS)


def test_no_question_of_a_shipped_file_is_printed_with_a_word_left_open() -> None:
    """The sheet prints questions, symptoms and what was left out in the words of their file."""
    from pathlib import Path

    from engine.bench.trial.fleet import random_job
    from engine.carburation.registry import shipped
    from engine.procedure.build.load import load
    from engine.run.layout import prepare
    from engine.sheet.gather import _asked

    folder = Path(__file__).parents[3] / "procedures"
    for name in ("twin-choke-sidedraught", "constant-depression", "motorcycle-bank"):
        program = load(name, [folder], shipped()).program
        assert program is not None
        layout = program.files[program.main].layout
        plan = prepare(program, random_job(3, layout.families[0], (layout.carbs, layout.barrels_per_carb)))
        asks = [
            _asked(file, one.ask)
            for file in plan.files.values()
            for one in (*file.procedure.readings.values(), *file.procedure.symptoms.values())
        ]
        assert len(asks) > 20 and not [ask for ask in asks if "{" in ask]


MENDED = """
procedure: mended
title: What was done about it
revision: 1
for: {family: twin valve header, carbs: 2}
readings:
  drips: {ask: Does it drip?, choices: ['no', 'yes'], healthy: 'no'}
  done: {ask: What was done about it?, choices: [left for now, put right], healthy: left for now}
start: look
steps:
  look: {do: Look., read: [drips, done], go: end}
  end: {end: ok, say: Seen.}
"""


def test_what_was_put_right_is_not_said_to_be_wrong(tmp_path: Any) -> None:
    """What was done is told; only what was found may be not as it should be."""
    path = tmp_path / "mended.yaml"
    path.write_text(MENDED, encoding="utf-8")
    session = answered(begun(program=written(path)), Answer(readings={"drips": "yes", "done": "put right"}))
    said = lines(gathered(session))
    assert "- Does it drip: yes NOT AS IT SHOULD BE" in said
    assert "- What was done about it: put right" in said


ENGINE_STOPPED = """
procedure: looked-at
title: Compression
revision: 1
for: {family: single downdraught, carbs: 1}
readings:
  compression: {ask: Compression, quantity: compression, each: cylinder, unit: bar, range: [0, 20], step: 0.1}
  leak_down: {ask: Leak-down, quantity: leak-down, each: cylinder, unit: '%', range: [0, 100], step: 1, may_lack: true}
start: look
steps:
  look: {do: Look., state: {engine: stopped}, read: [compression, leak_down], go: end}
  end: {end: stopped, say: It stops here.}
"""


def test_what_was_measured_on_the_way_stands_on_the_sheet(tmp_path: Any) -> None:
    """The customer pays for a compression test; and a row of which one place was needed was not left out."""
    from engine.bench.trial.fleet import random_job
    from engine.session.session import Session

    path = tmp_path / "looked-at.yaml"
    path.write_text(ENGINE_STOPPED, encoding="utf-8")
    job = random_job(3, "single downdraught")
    n = job.engine.cylinders
    session = Session.start(written(path), job, book=Book.memory(), advisers=ADVISERS)
    rows = {"compression": [10.2, *[9.9] * (n - 1)], "leak_down": [35, *[None] * (n - 1)]}
    assert session.answer(Answer(readings=rows)).problem is None
    said = "\n".join(lines(gathered(session)))
    assert "Compression, bar: cylinder 1 10.2; cylinder 2 9.9" in said
    assert "Leak-down, %: cylinder 1 35" in said and "NOT CHECKED\n" + "-" * 80 + "\n- Leak-down" not in said


def test_nobody_is_sent_to_drive_a_vehicle_whose_work_was_stopped(tmp_path: Any) -> None:
    """After a fire the sheet said "drive gently", and that idle and mixture were set, with nothing set."""
    from engine.bench.trial.fleet import random_job
    from engine.session.session import Session

    path = tmp_path / "looked-at.yaml"
    path.write_text(ENGINE_STOPPED, encoding="utf-8")
    job = random_job(3, "single downdraught")
    session = Session.start(written(path), job, book=Book.memory(), advisers=ADVISERS)
    session.answer(
        Answer(readings={"compression": [10] * job.engine.cylinders, "leak_down": [2] * job.engine.cylinders})
    )
    said = "\n".join(lines(gathered(session)))
    assert "do not drive it" in said and "Drive gently" not in said and "were set warm" not in said
