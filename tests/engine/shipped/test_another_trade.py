"""A family that nobody wrote code for, in another trade: YAML alone, and it is proved and run."""

from __future__ import annotations

import pytest

from engine.book.book import Book
from engine.job.model import Job
from engine.procedure.report.checking import check_file
from engine.session.session import Answer, NotForThisJob, Session

LOOM = """procedure: loom
title: Even the warp of a loom
revision: 1
for: {family: treadle loom, carbs: {from: 2, to: 3}, barrels_per_carb: 2}
declares:
  families: {treadle loom: shafts of two sides}
  states: {warp: [slack, tight]}
needs: [tension gauge]
terms: {carb: shaft, barrel: side}
cautions:
  beam: {word: danger, text: The beam turns under load. Pawl in before a hand goes near., demanded_by: ["warp: tight"]}
facts:
  heavy: bank.linkage_balance_screws
settings:
  apart: {value: 8 %, range: [1, 50], source: common practice}
  full:  {by: heavy, holds: 12 kg, holds_not: 8 kg, range: [1, 40], source: "from memory: a weaver's rule"}
screws:
  peg: {each: barrel, acts: tension, at: beam, in: more tension, unit: turn, zero: slack, range: [0, 12]}
  tie: {each: gap, acts: tension, at: coupling, in: more tension, unit: flat, zero: level, range: [-12, 12]}
readings:
  pull: {ask: Pull of the threads on this side, each: barrel, unit: kg, range: [0, 40], healthy: {from: 7, to: 9}}
symptoms:
  snaps: {kind: thread snaps, ask: A thread snaps, go: knot}
values:
  gap: {is: "max(pull) - min(pull)", unit: kg}
start: slacken
steps:
  slacken:
    state: {warp: slack}
    do: Slacken every peg.
    moves: [{screw: peg, each: barrel, to: 0 turn}, {screw: tie, each: gap, to: 0 flat}]
    go: wind
  wind:
    do: Wind every peg three turns.
    moves: [{screw: peg, each: barrel, to: 3 turn}]
    go: feel
  feel:
    limit: {visits: 5, then: torn}
    state: {warp: tight}
    do: Lay the gauge on both sides of every shaft.
    read: [pull]
    record: as left
    branch:
      - {when: max(pull) > full, go: torn}
      - {when: gap <= apart * mean(pull), go: woven}
      - {otherwise: ease}
  ease:
    do: Give every peg a quarter turn.
    moves: [{screw: peg, each: barrel, by: 1/4 turn, direction: in}]
    go: feel
  knot:
    limit: {visits: 2, then: torn}
    state: {warp: slack}
    do: Knot the thread.
    findings: [{code: thread-snapped, severity: note, say: A thread was knotted., do: Look at the reed.}]
    go: feel
  woven: {end: ok, say: 'Even to {gap:g}.'}
  torn: {end: failed, say: It would tear.}
"""


@pytest.fixture
def program(tmp_path, advisers):
    """The loom, proved."""
    path = tmp_path / "loom.yaml"
    path.write_text(LOOM, encoding="utf-8")
    checked = check_file(path, (tmp_path,), advisers)
    assert [str(p) for p in checked.problems] == []
    return checked.program


def weaving(**bank) -> Job:
    """A job of that trade, as far as the program's job form goes."""
    bank = {"family": "treadle loom", "carbs": 3, "barrels_per_carb": 2} | bank
    engine = {"cylinders": 6, "displacement": "1000 cc", "idle_speed": "500 rpm"}
    return Job.model_validate({"engine": engine, "bank": bank})


def test_it_runs_to_its_end_with_its_own_words(program, advisers):
    """Rows over sides and gaps, a danger of its own, a symptom of a kind that no code knows, its own units."""
    session = Session.start(program, weaving(), book=Book.memory(), advisers=advisers)
    view = session.view
    assert [tuple(m.place) for m in view.moves if m.screw == "tie"] == [(1, None), (2, None)]
    session.answer(Answer(done=True))
    session.answer(Answer(done=True))
    view = session.view
    assert [(c.word, c.understand) for c in view.cautions] == [("danger", True)]
    assert session.answer(Answer(readings={"pull": [7, 7, 7, 7, 7, 5]})).problem is not None, "not understood yet"
    assert session.answer(Answer(symptom="snaps", understood=True)).recorded
    session.answer(Answer(done=True))
    session.answer(Answer(readings={"pull": [7, 7, 7, 7, 7, 5]}, understood=True))
    assert session.view.step == "ease"
    session.answer(Answer(done=True))
    session.answer(Answer(readings={"pull": [8, 8, 8, 8, 8, 7.75]}))
    end = session.view.end
    assert (end.outcome, end.say) == ("ok", "Even to 250 g.")
    assert [f.code for f in end.findings] == ["thread-snapped"]


def test_the_table_by_a_fact_of_the_job_decides(program, advisers):
    """The same pull tears a light warp and not a heavy one."""
    said = {}
    for heavy in (False, True):
        session = Session.start(program, weaving(linkage_balance_screws=heavy), book=Book.memory(), advisers=advisers)
        session.answer(Answer(done=True))
        session.answer(Answer(done=True))
        session.answer(Answer(readings={"pull": [10] * 6}, understood=True))
        said[heavy] = session.view.end.outcome
    assert said == {False: "failed", True: "ok"}


def test_a_bank_of_another_family_is_refused_in_a_sentence(program, advisers):
    """Nothing in the program knows looms, and yet it knows that this is none."""
    with pytest.raises(NotForThisJob, match="treadle loom"):
        Session.start(program, weaving(family="twin-choke sidedraught"), book=Book.memory(), advisers=advisers)
