"""A stop stops: a finding of severity stop opens a gate on the spot, and what each of its three ways does."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from valve_runs import ADVISERS, DONE, Answer, answered, begun, written

from engine.book import codec
from engine.book.book import Book
from engine.procedure.program import Program
from engine.session.session import Session, folded

HEAD = """\
procedure: shop
title: Shop
revision: 1
for: {family: any, carbs: 2}
readings:
  seen: {ask: Seen, choices: [nothing, worn, broken], healthy: nothing}
start: one
steps:
"""
STEPS = """\
  one:
    do: Look.
    read: [seen]
    go: judge
  judge:
    findings: [{code: worn, severity: stop, say: It is worn., do: Change it., when: seen == 'worn'}]
    branch:
      - when: seen == 'broken'
        finding: {code: broken, severity: stop, say: It is broken., do: Weld it.}
        go: two
      - {otherwise: two}
  two: {do: Go on., go: end}
  end: {end: ok, say: Done.}
"""
KNOWINGLY = Answer(gate="go on knowingly", reason="He sells it tomorrow.")
MENDED = Answer(gate="mended")


@pytest.fixture
def program(tmp_path: Path) -> Program:
    path = tmp_path / "shop.yaml"
    path.write_text(HEAD + STEPS, encoding="utf-8", newline="\n")
    return written(path)


def seen(what: str) -> Answer:
    return Answer(readings={"seen": what})


def at_stop(program: Program, what: str = "worn") -> Session:
    return answered(begun(program=program), seen(what))


def opened(session: Session) -> Session:
    """The same run, folded again from its book."""
    return Session.reopen(session.book, session.run, advisers=ADVISERS, reading=True)


def test_it_opens_before_the_next_step_and_says_what_to_do(program: Program) -> None:
    view = at_stop(program).view
    assert (view.step, view.title, view.do) == ("stop_gate", "Stop", "It is worn. Change it.")
    assert view.gate is not None
    assert view.gate.choices == ("mended", "ends here", "go on knowingly")
    assert view.gate.reason_for == ("go on knowingly",)
    assert [(a.name, a.choices) for a in view.read] == [("stop_gate", view.gate.choices)]
    assert (view.moves, view.fit, view.symptoms) == ((), (), ())


def test_it_opens_for_what_a_way_on_finds_too(program: Program) -> None:
    assert at_stop(program, "broken").view.do == "It is broken. Weld it."


def test_what_is_sound_meets_no_gate(program: Program) -> None:
    assert at_stop(program, "nothing").view.step == "two"


class TestMended:
    def test_the_step_that_was_answered_is_read_again_and_the_finding_is_gone(self, program: Program) -> None:
        session = answered(at_stop(program), MENDED)
        assert (session.view.step, session.view.findings) == ("one", ())
        answered(session, seen("nothing"), DONE)
        assert (session.view.end.outcome, session.view.end.say) == ("ok", "Done.")

    def test_what_is_found_again_stops_again_and_is_not_believed_for_ever(self, program: Program) -> None:
        session = at_stop(program)
        for _ in range(3):
            assert session.view.gate.choices[0] == "mended"
            answered(session, MENDED, seen("worn"))
        assert session.view.gate.choices == ("ends here", "go on knowingly")
        assert session.answer(MENDED).problem is not None

    def test_it_is_not_believed_for_ever_where_nothing_is_asked_between(self, tmp_path: Path) -> None:
        """The step has no visit left, and leads on to the same stop by itself."""
        path = tmp_path / "shop.yaml"
        steps = STEPS.replace("do: Look.", "do: Look.\n    limit: {visits: 1, then: judge}")
        steps = steps.replace(", when: seen == 'worn'", "")
        path.write_text(HEAD + steps, encoding="utf-8", newline="\n")
        session = answered(begun(program=written(path)), seen("worn"))
        for _ in range(3):
            assert session.view.gate is not None and session.view.gate.choices[0] == "mended"
            answered(session, MENDED)
        assert session.view.gate is not None and session.view.gate.choices == ("ends here", "go on knowingly")

    def test_moves_are_not_made_twice(self, tmp_path: Path) -> None:
        path = tmp_path / "shop.yaml"
        stem = "stem: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 8]}"
        screw = f"screws:\n  {stem}\n"
        steps = STEPS.replace(
            "do: Look.", "do: Look.\n    moves: [{screw: stem, each: carb, by: 1/2 turn, direction: out}]"
        )
        path.write_text(HEAD.replace("readings:", screw + "readings:") + steps, encoding="utf-8")
        session = begun(program=written(path))
        assert len(session.view.moves) == 2
        answered(session, seen("worn"), MENDED)
        assert session.view.step == "one"
        assert session.view.moves == ()


class TestEndsHere:
    def test_the_run_ends_stopped_with_the_finding_on_the_sheet(self, program: Program) -> None:
        from engine.sheet.gather import gathered

        session = answered(at_stop(program), Answer(gate="ends here", reason="No part in the house."))
        sheet = gathered(session)
        assert (sheet.outcome, sheet.say) == ("stopped", "No part in the house. Ended here: It is worn.")
        assert [f.code for f, _ in sheet.findings] == ["worn"]


class TestGoneOnKnowingly:
    def test_it_needs_a_reason(self, program: Program) -> None:
        session = at_stop(program)
        for reason in (None, "", "   "):
            problem = session.answer(Answer(gate="go on knowingly", reason=reason)).problem
            assert problem is not None
            assert "reason" in problem
        assert session.answer(Answer(gate="go on knowingly", reason="x" * 501)).problem is not None
        assert session.view.gate is not None

    def test_the_way_goes_on_where_it_led_and_the_reason_stands_on_the_finding(self, program: Program) -> None:
        session = answered(at_stop(program), KNOWINGLY)
        assert session.view.step == "two"
        assert [(f.code, f.accepted) for f in session.view.findings] == [("worn", "He sells it tomorrow.")]

    def test_a_run_can_not_end_well_over_it(self, program: Program) -> None:
        session = answered(at_stop(program), KNOWINGLY, DONE)
        assert session.view.end.outcome == "stopped"

    def test_the_sheet_prints_the_reason(self, program: Program) -> None:
        from engine.sheet.document import document
        from engine.sheet.gather import gathered
        from engine.sheet.plain_text import lines

        text = "\n".join(lines(document(gathered(answered(at_stop(program), KNOWINGLY, DONE)))))
        assert "He sells it tomorrow." in text


class TestAsAnAnswer:
    def test_the_choice_may_come_as_the_reading_that_the_step_shows(self, program: Program) -> None:
        session = at_stop(program)
        answered(session, Answer(readings={"stop_gate": "go on knowingly"}, reason="He sells it tomorrow."))
        assert session.view.step == "two"

    @pytest.mark.parametrize(
        "answer",
        [
            DONE,
            seen("nothing"),
            Answer(gate="mend"),
            Answer(gate=7),  # type: ignore[arg-type]
            Answer(readings={"stop_gate": "mend"}),
            Answer(readings={"stop_gate": {}}),
            Answer(readings={"stop_gate": "mended", "seen": "worn"}),
            Answer(symptom="hammer"),
        ],
    )
    def test_nothing_else_gets_past_it(self, program: Program, answer: Answer) -> None:
        session = at_stop(program)
        assert session.answer(answer).recorded is None
        assert session.view.gate is not None

    def test_no_gate_can_be_answered_where_none_stands(self, program: Program) -> None:
        assert "No stop" in (begun(program=program).answer(MENDED).problem or "")

    def test_undo_goes_back_over_it_and_through_it(self, program: Program) -> None:
        session = answered(at_stop(program), KNOWINGLY, Answer(undo=True))
        assert session.view.gate is not None
        assert answered(session, Answer(undo=True)).view.step == "one"
        assert session.view.findings == ()
        assert answered(session, Answer(redo=True)).view.step == "stop_gate"

    @pytest.mark.parametrize(
        "answers", [(), (MENDED,), (KNOWINGLY,), (Answer(gate="ends here"),), (MENDED, seen("worn"))]
    )
    def test_it_is_folded_as_it_was(self, program: Program, answers: tuple[Answer, ...]) -> None:
        session = answered(at_stop(program), *answers)
        assert opened(session).view == session.view


def test_a_run_recorded_before_there_were_gates_meets_none(program: Program) -> None:
    session = at_stop(program)
    bodies = [codec.load(e.body) for e in session.book.events(session.run)]
    assert bodies[0]["format"] == 2
    old: dict[str, Any] = {k: v for k, v in bodies[0].items() if k != "format"}
    book = Book.memory()
    job = book.take_in(session.plan.job)
    texts = {f["sha256"]: program.files[f["name"]].source.text.encode() for f in old["files"]}
    run = book.begin(job, "shop", "Shop", old["at"], texts, codec.dump(old))
    again = Session.reopen(book, run, advisers=ADVISERS, clock=lambda: old["at"])
    assert answered(again, seen("worn")).view.step == "two"
    assert json.loads(book.events(run)[-1].body)["led"] == "shop.two#1"
    assert folded(again.plan, [codec.load(e.body) for e in book.events(run)]).gate is None
