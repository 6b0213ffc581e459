"""Findings stand until they are cleared and keep a run from ending well; a danger is new at every start."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from valve_runs import DONE, Answer, answered, begun, valves, written

from engine.evidence import Place
from engine.run.advice import evidence

HEAD = """\
procedure: shop
title: Shop
revision: 1
for: {family: any, carbs: {from: 1, to: 4}}
declares:
  states: {pump: [running, stopped], lid: ['on', 'off'], link: ['on', 'off']}
  hazards: {solvent: what it is washed in}
cautions:
  belt: {word: danger, text: The belt takes fingers., demanded_by: ["pump: running"]}
  fire: {word: danger, text: No flame near., demanded_by: [solvent]}
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
  seen: {ask: Seen, choices: [nothing, worn, broken], healthy: nothing}
start: one
steps:
"""


def shop(tmp_path: Path, steps: str, *answers: Answer) -> Any:
    path = tmp_path / "shop.yaml"
    path.write_text(HEAD + steps, encoding="utf-8", newline="\n")
    return answered(begun(program=written(path)), *answers)


def seen(what: str) -> Answer:
    return Answer(readings={"seen": what})


KNOWINGLY = Answer(gate="go on knowingly", reason="The customer wants to see the rest.")

FINDING = """\
  one:
    do: Look.
    read: [seen]
    findings: [{code: worn, severity: SEVERITY, say: It is worn., do: Change it., when: seen == 'worn'}]
    go: two
  two: {do: Go on., CLEAR go: end}
  end: {end: ok, say: Done.}
"""


class TestFindings:
    @pytest.mark.parametrize(
        ("severity", "outcome"), [("note", "ok"), ("adjust", "ok"), ("change part", "stopped"), ("stop", "stopped")]
    )
    def test_a_run_can_not_end_ok_while_a_grave_one_stands(self, tmp_path: Path, severity: str, outcome: str) -> None:
        steps = FINDING.replace("SEVERITY", severity).replace("CLEAR", "")
        on = (KNOWINGLY,) if severity == "stop" else ()
        session = shop(tmp_path, steps, seen("worn"), *on, DONE)
        said = "Done." if outcome == "ok" else "This has to be put right first: It is worn."
        assert (session.view.end.outcome, session.view.end.say) == (outcome, said)
        assert [f.code for f in session.view.findings] == ["worn"]

    def test_a_step_clears_it_by_its_code(self, tmp_path: Path) -> None:
        steps = FINDING.replace("SEVERITY", "stop").replace("CLEAR", "clear: [worn],")
        session = shop(tmp_path, steps, seen("worn"), KNOWINGLY, DONE)
        assert (session.view.end.outcome, session.view.findings) == ("ok", ())

    def test_it_is_told_once_when_it_is_raised(self, tmp_path: Path) -> None:
        session = shop(tmp_path, FINDING.replace("SEVERITY", "adjust").replace("CLEAR", ""))
        assert [f.code for f in session.answer(seen("worn")).findings] == ["worn"]
        answered(session, Answer(undo=True))
        assert session.view.findings == ()
        assert [f.code for f in session.answer(seen("worn")).findings] == ["worn"]

    def test_each_place_is_a_finding_of_its_own(self, tmp_path: Path) -> None:
        steps = (
            "  one: {do: Read., read: [flow], findings: [{code: dry, severity: adjust, "
            "where: which(flow < 1 L/min), say: 'Only {flow:L/min}.'}], go: end}\n  end: {end: ok}\n"
        )
        session = shop(tmp_path, steps, Answer(readings={"flow": [5, 0.5]}))
        assert [(f.code, f.where, f.say) for f in session.view.findings] == [("dry", (Place(2),), "Only 0.5 L/min.")]
        session = shop(tmp_path, steps, Answer(readings={"flow": [5, 6]}))
        assert session.view.findings == ()

    def test_what_an_adviser_no_longer_says_is_gone(self) -> None:
        stuck = Answer(readings={"flow": [4, 7.5], "sound": "steady", "drips": "no"}, understood=True)
        session = answered(begun(), DONE, DONE, stuck, DONE, stuck)
        assert [(f.code, f.where) for f in session.view.findings] == [("valve-stuck", (Place(1), Place(2)))]
        assert session.view.end.outcome == "failed"
        answered(session, Answer(undo=True), Answer(readings={"flow": [6, 6.1], "sound": "steady", "drips": "no"}))
        assert (session.view.end.outcome, session.view.findings) == ("ok", ())


STARTS = """\
  one: {state: {pump: running}, do: Start it., go: two}
  two: {do: Wash it., hazards: [solvent], go: three}
  three: {state: {pump: stopped}, do: Stop it., go: four}
  four: {state: {pump: running}, do: Start it again., go: end}
  end: {end: ok}
"""


class TestDangers:
    def test_once_a_run_and_once_a_new_hazard(self, tmp_path: Path) -> None:
        session = shop(tmp_path, STARTS)
        wanted = []
        while not session.over:
            wanted.append([c.name for c in session.view.cautions if c.understand])
            answered(session, Answer(done=True, understood=True))
        assert wanted == [["belt"], ["fire"], [], []]

    def test_what_was_understood_stands_as_a_line_while_it_lasts(self, tmp_path: Path) -> None:
        yes = Answer(done=True, understood=True)
        session = shop(tmp_path, STARTS, yes)
        assert [c.name for c in session.view.standing] == ["belt"]
        answered(session, yes)
        assert session.view.standing == ()

    def test_undo_within_one_start_asks_for_nothing_again(self, tmp_path: Path) -> None:
        yes = Answer(done=True, understood=True)
        session = shop(tmp_path, STARTS, yes, Answer(undo=True))
        assert [c.understand for c in session.view.cautions] == []
        assert [c.name for c in session.view.standing] == ["belt"]

    def test_undo_of_a_start_asks_for_nothing_again(self, tmp_path: Path) -> None:
        yes = Answer(done=True, understood=True)
        session = shop(tmp_path, STARTS, yes, yes, DONE, Answer(undo=True), DONE)
        assert [c.name for c in session.view.cautions if c.understand] == []


class TestHowThingsStand:
    def test_a_state_stays_until_another_step_changes_it(self, tmp_path: Path) -> None:
        steps = (
            "  one: {state: {engine: running, hold: 1800 rpm, lid: 'off'}, do: A., go: two}\n"
            "  two: {do: B., go: three}\n  three: {state: {engine: stopped}, do: C., go: end}\n"
            "  end: {end: ok}\n"
        )
        session = shop(tmp_path, steps)
        assert (dict(session.view.state), session.view.changes) == (
            {"engine": "running", "hold": 1800, "lid": "off"},
            ("engine", "hold", "lid"),
        )
        answered(session, DONE)
        assert (session.view.state["hold"], session.view.changes) == (1800, ())
        answered(session, DONE)
        assert (session.view.state["hold"], session.view.changes) == (None, ("engine", "hold"))

    def test_a_change_that_a_silent_step_makes_is_shown_by_the_next(self, tmp_path: Path) -> None:
        steps = "  one: {state: {lid: 'off'}, go: two}\n  two: {do: B., go: end}\n  end: {end: ok}\n"
        assert shop(tmp_path, steps).view.changes == ("lid",)

    def test_a_part_or_a_linkage_starts_a_new_epoch(self, tmp_path: Path) -> None:
        steps = (
            "  one: {state: {link: 'on'}, do: A., read: [seen], go: two}\n"
            "  two: {do: B., fit: [{part: washer, each: carb, size: 12}], read: [seen], go: three}\n"
            "  three: {state: {link: 'off'}, do: C., read: [seen], go: end}\n  end: {end: ok}\n"
        )
        session = shop(tmp_path, steps, seen("worn"), seen("worn"), seen("worn"))
        known = evidence(session.state.world, session.state.past)
        assert [a.epoch for a in known.answers] == [0, 1, 2]
        assert known.parts["washer", Place(2)] == 12


def test_what_is_as_found_is_what_the_first_visit_said() -> None:
    first = Answer(readings={"flow": [4, 7.5], "sound": "steady", "drips": None}, understood=True)
    session = answered(
        begun(), DONE, DONE, first, DONE, Answer(readings={"flow": [6, 6.2], "sound": "steady", "drips": "no"})
    )
    end = session.view.end
    assert (end.as_found["flow"].row, end.as_found["drips"].row) == ((4, 7.5), (None,))
    assert (end.as_left["flow"].row, end.as_left["drips"].row) == ((6, Fraction(31, 5)), ("no",))
    assert end.as_found["spindle"].row == (2, 2)


def test_settings_take_file_then_shop_then_job_and_refuse_what_can_not_be() -> None:
    from valve_runs import ADVISERS, valve_job

    from engine.book.book import Book
    from engine.session.session import NotForThisJob, Session

    def in_force(shop: dict[str, Any], **settings: Any) -> Any:
        job = valve_job(settings=settings)
        return Session.start(valves(), job, book=Book.memory(), advisers=ADVISERS, shop=shop).plan.settings

    def setting(name: str, *given: Any, **job: Any) -> tuple[float, str]:
        found = in_force(given[0] if given else {}, **job)["balance_two_valves"][name]
        return float(found.value), found.origin

    assert setting("target") == (6, "file")
    assert setting("target", {"target": "7 L/min"}) == (7, "shop")
    assert setting("target", {"target": "7"}, target="8,5 L/min") == (8.5, "job")
    assert setting("target", {"balance_two_valves.target": 9, "other.target": 3}) == (9, "shop")
    for shop_, job, says in (
        ({"target": "50"}, {}, "outside 2 to 20 L/min"),
        ({"target": "much"}, {}, "can't be used"),
        ({"target": "3 turn"}, {}, "measure different things"),
        ({"target": True}, {}, "a number belongs here"),
        ({}, {"targt": 3}, "Did you mean 'target'?"),
    ):
        with pytest.raises(NotForThisJob, match=says.replace("?", r"\?")):
            in_force(shop_, **job)
