"""What may be answered: every slip is refused in a sentence that says what is wrong, and nothing changes by it."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from valve_runs import DONE, Answer, answered, begun, gate

from engine.run import admit
from engine.run.answer import ALONE, KINDS

READ = {"flow": [5, 7.5], "sound": "steady", "drips": "no"}


def at_gate() -> Any:
    return answered(begun(), DONE, DONE, Answer(understood=True))


def refused(answer: Answer, session: Any = None) -> str:
    session = session or at_gate()
    before, events = session.state, len(session.book.events(session.run))
    reply = session.answer(answer)
    assert reply.recorded is None
    assert reply.problem
    assert session.state is before
    assert len(session.book.events(session.run)) == events
    return reply.problem


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        ({**READ, "flow": [5, 25]}, "valve 2: 25 L/min is outside 0 to 20 L/min"),
        ({**READ, "flow": [-0.01, 5]}, "outside 0 to 20"),
        ({**READ, "flow": [5]}, "the row has 1 values, but 2 are asked"),
        ({**READ, "flow": [5, 6, 7]}, "the row has 3 values"),
        ({**READ, "flow": 5}, "a row of 2 is asked"),
        ({**READ, "flow": [5, None]}, "valve 2: a value is needed"),
        ({**READ, "flow": [5, ""]}, "a value is needed"),
        ({**READ, "flow": None}, "a row of 2 is asked"),
        ({**READ, "flow": [5, "six"]}, "'six' is not a number"),
        ({**READ, "flow": [5, "6"]}, "'6' is not a number"),
        ({**READ, "flow": [5, True]}, "'True' is not a number"),
        ({**READ, "flow": [5, math.nan]}, "is not a number"),
        ({**READ, "flow": [5, math.inf]}, "is not a number"),
        ({**READ, "flow": [5, Decimal("NaN")]}, "is not a number"),
        ({**READ, "flow": [5, 10**400]}, "is not a number"),
        ({**READ, "flow": [5, 1e300]}, "is not a number"),
        ({**READ, "flow": [5, [6]]}, "is not a number"),
        ({**READ, "flow": {"1": 5}}, "a row of 2 is asked"),
        ({**READ, "sound": "stedy"}, "Did you mean 'steady'?"),
        ({**READ, "sound": 3}, "'3' is not one of its answers"),
        ({**READ, "sound": None}, "a value is needed"),
        ({**READ, "sound": ["steady", "steady"]}, "one value is asked, not a row of 2"),
        ({"flow": [5, 6], "drips": "no"}, "'sound' (How does the pipe sound?) is missing"),
        ({"flow": [5, 6], "sound": "steady"}, "'drips'"),
        ({**READ, "flwo": [5, 6]}, "Did you mean 'flow'?"),
        ({}, "is missing"),
        ("flow 5 6", "belong by name"),
    ],
)
def test_a_reading_that_can_not_be(readings: Any, says: str) -> None:
    assert says in refused(Answer(readings=readings))


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (Answer(), "empty"),
        (Answer(done=True), "takes readings: 'flow', 'sound', 'drips'"),
        (Answer(done=True, readings=READ), "one thing"),
        (Answer(undo=True, note="x"), "one thing"),
        (Answer(symptom="hamer"), "Did you mean 'hammer'?"),
        (Answer(symptom=["hammer"]), "leads nowhere"),
        (Answer(lost=[]), "as a list"),
        (Answer(lost="spindle"), "as a list"),
        (Answer(lost=["spindel"]), "Did you mean 'spindle'?"),
        (Answer(abandon="  "), "why"),
        (Answer(note=""), "words"),
        (Answer(redo=True), "nothing to take up"),
        (Answer(waited=-1), "seconds"),
        (Answer(waited="long"), "seconds"),
        (Answer(readings=READ, moved="none"), "list of moves"),
        (Answer(readings=READ, moved=["spindle"]), "names a screw"),
        (Answer(readings=READ, moved=[{"screw": "spondle", "carb": 1}]), "Did you mean 'spindle'?"),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": 3, "barrel": None}]), "no place carb 3"),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": 0}]), "counted from 1"),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": True}]), "counted from 1"),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": 1, "turns": 1}]), "which way"),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": 1, "turns": -1, "direction": "in"}]), "from 0 up"),
        (
            Answer(readings=READ, moved=[{"screw": "spindle", "carb": 1, "turns": 1, "direction": "left"}]),
            "'in' or 'out'",
        ),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": 1, "position": 11}]), "can't stand at 11"),
        (Answer(readings=READ, moved=[{"screw": "spindle", "carb": 1, "position": "two"}]), "is a number"),
        (Answer(readings=READ, fitted=[{"part": "washer", "carb": 1}]), "needs its size"),
        (Answer(readings=READ, fitted=[{"part": "", "carb": 1, "size": 3}]), "names a part"),
        (Answer(readings=READ, fitted=[{"part": "washer", "carb": 7, "size": 3}]), "no place carb 7"),
        (Answer(readings=READ, key=""), "1 to 200 characters"),
        (Answer(readings=READ, key="k" * 201), "1 to 200 characters"),
    ],
)
def test_an_answer_that_can_not_be(answer: Answer, says: str) -> None:
    assert says in refused(answer)


def test_a_step_without_readings_takes_none() -> None:
    assert "takes no readings" in refused(Answer(readings={"flow": [1, 2]}), begun())


def test_a_step_without_readings_takes_an_empty_answer_for_done() -> None:
    assert answered(begun(), Answer(readings={})).view.step == "open"


def test_a_run_that_is_over_takes_notes_and_undo_only() -> None:
    session = answered(begun(), DONE, DONE, gate(6, 6))
    assert "over" in refused(DONE, session)
    assert answered(session, Answer(note="Well done."), Answer(undo=True)).view.step == "measure"


@pytest.mark.parametrize("value", [6, 6.0, Fraction(6), Decimal("6.00")])
def test_every_kind_of_number_is_the_same_number(value: Any) -> None:
    session = answered(at_gate(), gate(5, value))
    assert session.state.past.event.readings["flow"] == (5, 6)


@pytest.mark.parametrize(("given", "kept"), [(0.1, "0.1"), (6.04, "6.04"), (19.97, "19.97"), (Fraction(1, 3), "1/3")])
def test_a_reading_finer_than_its_step_is_kept_as_it_was_given(given: Any, kept: str) -> None:
    session = answered(at_gate(), gate(5, given))
    assert session.state.past.event.readings["flow"][1] == Fraction(kept)


def test_a_place_that_may_lack_is_not_taken_and_the_reason_is_kept() -> None:
    answer = Answer(readings={**READ, "drips": None}, lacking={"drips": "too dark to see"})
    session = answered(at_gate(), answer)
    assert session.state.past.event.readings["drips"] is None
    assert session.state.past.event.lacking == {"drips": "too dark to see"}


def test_a_reason_alone_says_that_it_was_not_taken() -> None:
    session = answered(at_gate(), Answer(readings={"flow": [5, 7], "sound": "steady"}, lacking={"drips": "no light"}))
    assert session.state.past.event.readings["drips"] is None


class TestDangers:
    def test_a_danger_is_understood_before_the_work_goes_on(self) -> None:
        session = answered(begun(), DONE, DONE)
        assert [c.understand for c in session.view.cautions] == [True, False]
        assert "danger to understand first: The pump's belt takes fingers" in refused(Answer(readings=READ), session)

    def test_what_is_seen_or_heard_is_told_before_it_too_and_nothing_of_the_step_counts_as_done(self) -> None:
        session = answered(begun(), DONE, DONE)
        understood = session.state.world.understood
        session = answered(session, Answer(symptom="hammer"))
        assert session.view.step == "bleed"
        event = session.state.past.event
        assert (event.symptom, event.moved, event.fitted, event.understood) == ("hammer", (), (), False)
        assert session.state.world.understood == understood

    @pytest.mark.parametrize(
        "answer", [Answer(undo=True), Answer(note="x"), Answer(lost=["spindle"]), Answer(abandon="lunch")]
    )
    def test_but_stepping_back_from_it_is_always_allowed(self, answer: Answer) -> None:
        assert answered(begun(), DONE, DONE).answer(answer).problem is None

    def test_it_is_understood_once_and_stands_as_a_line_after_that(self) -> None:
        session = answered(begun(), DONE, DONE, gate(4, 7.5), DONE)
        assert [c.name for c in session.view.cautions] == ["scald"]
        assert [c.name for c in session.view.standing] == ["belt"]

    def test_it_may_be_understood_ahead_of_the_answer(self) -> None:
        session = answered(begun(), DONE, DONE, Answer(understood=True))
        assert session.view.step == "measure"
        assert answered(session, Answer(readings=READ)).view.step == "turn"


@pytest.mark.parametrize("kind", [k.key for k in (*KINDS, *ALONE) if not k.plain])
def test_a_kind_of_answer_that_is_more_than_its_name_refuses_what_makes_no_sense(kind: str) -> None:
    """So that none slips through for want of an admission of its own; those that are plain say so."""
    refused(Answer(**{kind: [3.5]}), begun())


def test_every_kind_of_answer_is_plain_or_has_its_admission() -> None:
    assert admit._ADMIT.keys() == {k.key for k in (*KINDS, *ALONE)}
