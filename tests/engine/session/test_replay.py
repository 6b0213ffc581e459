"""Whatever is answered, in whatever order: no exception, and the record folded again is the run that was shown."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from valve_runs import ADVISERS, CLOCK, LONG_WAY, Answer, answered, begun

from engine.book import codec
from engine.session.consult import Drift
from engine.session.recompute import differences
from engine.session.session import Session, folded

numbers = st.one_of(st.integers(-5, 25), st.floats(), st.fractions(-1, 21, max_denominator=100), st.none())
junk = st.one_of(st.none(), st.booleans(), st.text(max_size=5), numbers, st.lists(numbers, max_size=4))
flows = st.one_of(st.lists(st.fractions(0, 20, max_denominator=16), min_size=2, max_size=2), junk)
readings = st.one_of(
    st.fixed_dictionaries(
        {"flow": flows, "sound": st.sampled_from(["steady", "silent", "hammering", "loud"])},
        optional={"drips": st.sampled_from(["no", "yes", None])},
    ),
    st.fixed_dictionaries({"air": st.sampled_from(["no", "yes"])}),
    st.dictionaries(st.sampled_from(["flow", "sound", "drips", "air", "other"]), junk, max_size=4),
    junk,
)
moves = st.lists(
    st.one_of(
        st.fixed_dictionaries(
            {"screw": st.sampled_from(["spindle", "handle"]), "carb": st.sampled_from([1, 2, 3]), "barrel": st.none()},
            optional={"turns": junk, "position": junk, "direction": st.sampled_from(["in", "out", "up"])},
        ),
        junk,
    ),
    max_size=2,
)
parts = st.lists(
    st.fixed_dictionaries({"part": st.sampled_from(["washer", "gland"]), "carb": st.integers(0, 3), "size": numbers}),
    max_size=2,
)

#: Mostly what a technician would do, so that runs get somewhere, and all that he should not.
likely = st.one_of(
    st.just(Answer(done=True, understood=True)),
    st.just(Answer(undo=True)),
    st.just(Answer(redo=True)),
    st.just(Answer(symptom="hammer", understood=True)),
    st.just(Answer(lost=("spindle",))),
    st.builds(
        lambda a, b: Answer(readings={"flow": (a, b), "sound": "steady", "drips": "no"}, understood=True),
        st.integers(3, 9),
        st.integers(3, 9),
    ),
    st.builds(lambda a: Answer(readings={"air": a}), st.sampled_from(["no", "yes"])),
)
anything = st.builds(
    Answer,
    done=st.booleans(),
    readings=st.one_of(st.none(), readings),
    undo=st.booleans(),
    redo=st.booleans(),
    symptom=st.sampled_from([None, "hammer", "bang"]),
    lost=st.sampled_from([None, (), ("spindle",), ("x",)]),
    abandon=st.sampled_from([None, None, None, "enough"]),
    note=st.sampled_from([None, "seen"]),
    understood=st.booleans(),
    moved=st.one_of(st.none(), moves),
    fitted=st.one_of(st.none(), parts),
    key=st.sampled_from([None, "k1", "k2", ""]),
    waited=st.one_of(st.none(), junk),
    suspend=st.booleans(),
)


def opened_again(session: Session) -> Session:
    return Session.reopen(session.book, session.run, advisers=ADVISERS, clock=lambda: CLOCK)


@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.one_of(likely, likely, likely, anything), max_size=25))
def test_any_answers_in_any_order(answers: list[Answer]) -> None:
    session = begun()
    for answer in answers:
        before, events = session.state, len(session.book.events(session.run))
        reply = session.answer(answer)
        assert (reply.recorded is None) == (reply.problem is not None)
        assert "failed on this answer" not in (reply.problem or "")
        if reply.problem:
            assert session.state is before
        assert len(session.book.events(session.run)) - events in (0, 1)
    assert opened_again(session).view == session.view


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(likely, max_size=20))
def test_undo_goes_back_to_what_was_shown_whatever_was_answered(answers: list[Answer]) -> None:
    session = begun()
    for answer in answers:
        shown = session.view
        if not (answer.undo or answer.redo or answer.lost) and session.answer(answer).problem is None:
            session.answer(Answer(undo=True))
            now = session.view
            assert (now.file, now.step, now.visit, now.read, now.findings) == (
                shown.file,
                shown.step,
                shown.visit,
                shown.read,
                shown.findings,
            )
            session.answer(Answer(redo=True))


def test_the_long_way_leads_to_its_end_and_back_again() -> None:
    session = answered(begun(), *LONG_WAY)
    assert session.view.end is not None
    assert session.view.end.outcome == "ok"
    assert opened_again(session).view == session.view


def test_advice_is_read_from_the_record_and_never_asked_for_again() -> None:
    session = answered(begun(), *LONG_WAY)
    broken = {name: _broken(adviser) for name, adviser in ADVISERS.items()}
    assert (
        Session.reopen(session.book, session.run, advisers=broken, clock=lambda: CLOCK).view.trail == session.view.trail
    )


def _broken(adviser: Any) -> Any:
    from dataclasses import replace

    def fail(*_: Any) -> Any:
        raise AssertionError("asked again")

    return replace(adviser, run=fail, version=adviser.version + 1)


class TestDriftIsLoud:
    def bodies(self) -> tuple[Session, list[dict[str, Any]]]:
        session = answered(begun(), *LONG_WAY)
        return session, [codec.load(e.body) for e in session.book.events(session.run)]

    def test_a_step_that_leads_elsewhere(self) -> None:
        session, bodies = self.bodies()
        bodies[5]["led"] = "balance_two_valves.worn#1!"
        with pytest.raises(Drift, match=r"Event 5 leads to balance_two_valves.turn#1 now, but led to"):
            folded(session.plan, bodies)

    def test_advice_that_is_no_longer_asked_for(self) -> None:
        session, bodies = self.bodies()
        bodies[1]["advice"] = bodies[5]["advice"]
        with pytest.raises(Drift, match="Event 1 no longer asks 'even_flow'"):
            folded(session.plan, bodies)

    def test_advice_that_was_not_asked_for_then(self) -> None:
        session, bodies = self.bodies()
        del bodies[5]["advice"]
        with pytest.raises(Drift, match="Event 5 asks 'even_flow' for 'next'"):
            folded(session.plan, bodies)


def test_ten_thousand_answers_make_no_deep_trouble() -> None:
    session = begun()
    for _ in range(5000):
        session.answer(Answer(done=True))
        session.answer(Answer(undo=True))
    assert opened_again(session).view == session.view


class TestAskingTodaysAdvisersAgain:
    def test_the_same_advisers_say_the_same(self) -> None:
        session = answered(begun(), *LONG_WAY)
        assert differences(session.book, session.run, ADVISERS) == []

    def test_another_answer_is_shown_with_its_event_and_changes_nothing(self) -> None:
        session = answered(begun(), *LONG_WAY)
        advisers = {name: _broken(adviser) for name, adviser in ADVISERS.items()}
        found = differences(session.book, session.run, advisers)
        assert [d.seq for d in found] == [5, 16, 18]
        assert "event 5: even_flow for 'next': verdict turn, gap 3.5; 2 moves" in str(found[0])
        assert opened_again(session).view == session.view
