"""Where the screws stand: what an answer says of the moves, what undo leaves alone, and what a lost count forgets."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from valve_runs import DONE, Answer, answered, begun, gate, written

from engine.evidence import Place
from engine.run.advice import evidence

ONE, TWO = Place(1), Place(2)


def stands(session: Any) -> tuple[Fraction | None, Fraction | None]:
    positions = session.state.world.positions
    return positions.get(("spindle", ONE)), positions.get(("spindle", TWO))


def learnt(session: Any) -> Any:
    return evidence(session.state.world, session.state.past)


def at_turn() -> Any:
    """A run that asks for the moves of an advice: valve 1 a turn out, valve 2 three quarters in."""
    return answered(begun(), DONE, DONE, gate(4, 7.5))


class TestAnAnswerMeansThatTheMovesWereMade:
    def test_nothing_is_known_of_a_screw_that_nobody_counted(self) -> None:
        assert stands(begun()) == (None, None)

    def test_done_makes_them_as_asked(self) -> None:
        assert stands(answered(begun(), DONE, DONE)) == (2, 2)

    def test_a_symptom_makes_them_too(self) -> None:
        assert stands(answered(at_turn(), Answer(symptom="hammer", understood=True))) == (3, Fraction(5, 4))

    def test_an_empty_list_says_that_nothing_was_turned(self) -> None:
        assert stands(answered(at_turn(), Answer(done=True, moved=[]))) == (2, 2)

    def test_a_list_says_what_was_turned_instead_of_all_that_was_asked(self) -> None:
        moved = [{"screw": "spindle", "carb": 1, "barrel": None, "turns": 0.5, "direction": "out"}]
        assert stands(answered(at_turn(), Answer(done=True, moved=moved))) == (Fraction(5, 2), 2)

    def test_a_position_that_is_reported_is_known_whatever_was_known_before(self) -> None:
        session = answered(at_turn(), Answer(lost=["spindle"]))
        answered(session, Answer(moved=[{"screw": "spindle", "carb": 2, "barrel": 1, "position": 1.5}]))
        assert stands(session) == (None, Fraction(3, 2))

    def test_a_screw_turned_by_nobody_knows_how_much_is_unknown(self) -> None:
        moved = [{"screw": "spindle", "carb": 1, "barrel": None, "aim": {"reading": "flow", "value": 6}}]
        assert stands(answered(at_turn(), Answer(done=True, moved=moved))) == (None, 2)

    def test_moves_reported_alone_stand_for_those_of_the_step(self) -> None:
        session = at_turn()
        moved = [{"screw": "spindle", "carb": 1, "barrel": None, "turns": 0.25, "direction": "in"}]
        answered(session, Answer(moved=moved))
        assert session.view.moves_made
        assert stands(answered(session, DONE)) == (Fraction(7, 4), 2)

    def test_an_advice_is_made_once(self) -> None:
        session = answered(at_turn(), Answer(symptom="hammer", understood=True), Answer(readings={"air": "no"}))
        assert (session.view.step, session.view.visit) == ("turn", 2)
        assert stands(answered(session, DONE)) == (3, Fraction(5, 4))

    def test_moves_that_a_symptom_prevented_are_asked_for_when_it_is_over(self) -> None:
        session = answered(
            at_turn(), Answer(symptom="hammer", understood=True, moved=[]), Answer(readings={"air": "no"})
        )
        assert [m.turns for m in session.view.moves] == [1, Fraction(3, 4)]
        assert not session.view.moves_made


class TestUndo:
    def test_turns_no_screw_and_says_so(self) -> None:
        session = answered(at_turn(), DONE, Answer(undo=True))
        assert session.view.step == "turn"
        assert session.view.moves_made
        assert stands(session) == (3, Fraction(5, 4))
        assert "No screw was turned back" in session.view.because[0]

    def test_answering_again_does_not_make_the_moves_twice(self) -> None:
        assert stands(answered(at_turn(), DONE, Answer(undo=True), DONE)) == (3, Fraction(5, 4))

    def test_the_struck_answer_is_no_evidence_but_its_moves_are(self) -> None:
        session = answered(at_turn(), DONE, gate(5, 7), Answer(undo=True), Answer(undo=True), DONE)
        known = learnt(session)
        assert [a.step for a in known.answers] == ["zero", "open", "measure", "turn"]
        assert [m.turns for m in known.answers[-1].moves] == [1, Fraction(3, 4)]
        assert known.answers[-1].positions["spindle", ONE] == 2

    def test_moves_made_since_belong_to_the_answer_that_is_given_again(self) -> None:
        session = answered(
            at_turn(), Answer(moved=[{"screw": "spindle", "carb": 1, "barrel": None, "turns": 0.5, "direction": "out"}])
        )
        answered(session, Answer(undo=True), gate(5, 7))
        assert [m.turns for m in learnt(session).answers[-1].moves] == [Fraction(1, 2)]

    def test_strikes_back_into_a_call_and_out_of_it(self) -> None:
        session = answered(begun(), DONE, DONE, Answer(symptom="hammer", understood=True))
        inside = session.view
        answered(session, Answer(readings={"air": "no"}))
        assert session.view.step == "measure"
        answered(session, Answer(undo=True))
        assert (session.view.file, session.view.step, session.view.visit) == (inside.file, inside.step, inside.visit)
        answered(session, Answer(undo=True))
        assert (session.view.step, session.view.visit) == ("measure", 1)

    def test_limits_follow(self) -> None:
        session = answered(begun(), DONE, DONE)
        for _ in range(15):
            answered(session, gate(4, 7.5), Answer(undo=True))
        assert session.view.visit == 1

    def test_the_end_can_be_undone(self) -> None:
        session = answered(begun(), DONE, DONE, gate(6, 6.2))
        assert session.over
        answered(session, Answer(undo=True))
        assert not session.over
        assert session.view.step == "measure"

    def test_a_fitted_part_stays_fitted(self) -> None:
        part = {"part": "washer", "carb": 1, "barrel": None, "size": 12}
        session = answered(at_turn(), Answer(done=True, fitted=[part]), Answer(undo=True))
        assert session.state.world.parts["washer", ONE] == 12

    def test_redo_takes_it_up_again_with_the_screws_where_they_stand(self) -> None:
        session = answered(at_turn(), DONE)
        there = session.view
        answered(session, Answer(undo=True), Answer(undo=True), Answer(redo=True), Answer(redo=True))
        assert (session.view.step, session.view.visit, session.view.moves) == (there.step, there.visit, there.moves)
        assert stands(session) == (3, Fraction(5, 4))
        assert not session.view.can_redo

    def test_another_answer_leaves_nothing_to_redo(self) -> None:
        session = answered(at_turn(), Answer(undo=True), gate(5, 7))
        assert session.answer(Answer(redo=True)).recorded is None

    def test_what_was_struck_stays_in_the_record(self) -> None:
        session = answered(at_turn(), Answer(undo=True))
        kinds = [b"undo" in e.body for e in session.book.events(session.run)]
        assert kinds == [False, False, False, False, True]

    def test_at_the_first_step_there_is_nothing_to_undo(self) -> None:
        assert "nothing to undo" in (begun().answer(Answer(undo=True)).problem or "")


class TestLostCount:
    def test_every_place_of_the_screw_is_unknown(self) -> None:
        assert stands(answered(at_turn(), Answer(lost=["spindle"]))) == (None, None)

    def test_moves_to_a_position_are_asked_for_again(self) -> None:
        session = answered(begun(), DONE, Answer(lost=["spindle"]))
        assert session.view.step == "open"
        assert [(m.turns, m.position) for m in session.view.moves] == [(None, 2), (None, 2)]
        assert stands(answered(session, DONE)) == (2, 2)

    def test_moves_by_an_amount_are_not(self) -> None:
        session = answered(at_turn(), Answer(lost=["spindle"]))
        assert session.view.moves_made
        assert stands(answered(session, DONE)) == (None, None)

    def test_undo_of_a_slip_of_the_finger_gives_the_count_back(self) -> None:
        session = answered(at_turn(), Answer(lost=["spindle"]), Answer(undo=True))
        assert stands(session) == (3, Fraction(5, 4))

    def test_but_not_once_something_was_turned(self) -> None:
        moved = [{"screw": "spindle", "carb": 1, "barrel": None, "turns": 0.5, "direction": "out"}]
        session = answered(at_turn(), Answer(lost=["spindle"]), Answer(moved=moved), Answer(undo=True))
        assert stands(session) == (None, None)


FILE = """\
procedure: screws
title: Screws
revision: 1
for: {{family: any, carbs: {{from: 1, to: 4}}}}
screws:
  seat: {{each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 5]}}
  stop: {{each: carb, acts: water, at: lever, in: more water, unit: turn, zero: touching, range: [0, 5]}}
readings:
  counted: {{ask: Turns to the seat, each: carb, unit: turn, range: [0, 5], position_of: seat}}
start: one
steps:
  one: {{do: Do it., {what}, go: two}}
  two: {{do: Look., go: end}}
  end: {{end: ok}}
"""


def doing(tmp_path: Path, what: str, *answers: Answer) -> Any:
    path = tmp_path / "screws.yaml"
    path.write_text(FILE.format(what=what), encoding="utf-8", newline="\n")
    return answered(begun(program=written(path)), *answers)


class TestWhichWayAPositionCounts:
    @pytest.mark.parametrize(("screw", "grows"), [("seat", "out"), ("stop", "in")])
    def test_out_from_a_seat_and_in_from_a_contact(self, tmp_path: Path, screw: str, grows: str) -> None:
        session = doing(tmp_path, f"moves: [{{screw: {screw}, each: carb, to: 1.5 turn}}]")
        assert {m.direction for m in session.view.moves} == {grows}
        answered(session, DONE)
        assert session.state.world.positions[screw, ONE] == Fraction(3, 2)

    def test_a_move_to_where_it_stands_is_no_move(self, tmp_path: Path) -> None:
        session = doing(tmp_path, "moves: [{screw: seat, each: carb, to: 0 turn}]", DONE)
        assert session.state.world.positions["seat", ONE] == 0

    def test_a_count_to_the_seat_makes_positions_known(self, tmp_path: Path) -> None:
        session = doing(tmp_path, "read: [counted]", Answer(readings={"counted": [1.25, 2]}))
        assert session.state.world.positions == {("seat", ONE): Fraction(5, 4), ("seat", TWO): 2}

    def test_a_move_stops_at_the_end_of_the_thread(self, tmp_path: Path) -> None:
        session = doing(
            tmp_path,
            "read: [counted], go: turn}\n  turn: {do: Turn., "
            "moves: [{screw: seat, each: carb, by: 3 turn, direction: in}]",
            Answer(readings={"counted": [1, 4]}),
        )
        assert [(m.turns, m.position) for m in session.view.moves] == [(1, 0), (3, 1)]
