"""A cylinder that is low: read twice before it is blamed, and read again once it was mended."""

from __future__ import annotations

import pytest

from engine.book.book import Book
from engine.procedure.build.load import load
from engine.session.session import Answer, Session

LOW, MENDED = [10.2, 10.0, 10.1, 7.0], [10.2, 10.0, 10.1, 9.9]


@pytest.fixture
def stopped(folder, advisers, invented):
    """The checks, at the stop for a low cylinder that was low twice."""
    program = load("fit-to-tune", [folder], advisers).program
    session = Session.start(program, invented(), book=Book.memory(), advisers=advisers)
    seen = []
    for _ in range(12):
        view = session.view
        seen.append(view.step)
        if view.gate is not None:
            break
        given = {a.name: LOW if a.name == "compression" else usual(a) for a in view.read}
        reply = session.answer(Answer(readings=given, understood=True) if given else Answer(done=True, understood=True))
        assert reply.problem is None
    assert seen[-3:] == ["compression_row", "leak_down_row", "stop_gate"]
    return session


def usual(ask):
    """An answer of a sound engine, at every place that is asked."""
    one = ask.healthy if isinstance(ask.healthy, str) else None
    return one if ask.each is None else [one] * ask.count


def test_no_cylinder_is_blamed_for_one_figure(stopped):
    again = [e for e in stopped.view.trail if e.step == "leak_down_row"]
    assert len(again) == 1 and "low" in stopped.view.gate.say


def test_what_was_mended_is_read_again_and_stands_no_more(stopped):
    assert stopped.answer(Answer(gate="mended")).problem is None
    asked = [a.name for a in stopped.view.read]
    assert stopped.view.step == "leak_down_row" and asked == ["compression", "leak_down"]
    given = {"compression": MENDED, "leak_down": [None, None, None, 6]}
    reply = stopped.answer(Answer(readings=given, lacking={"leak_down": "not low"}))
    assert reply.problem is None
    assert stopped.view.gate is None and stopped.view.step == "mechanical"
    assert not [f for f in stopped.view.findings if f.code == "weak-cylinder" and f.severity == "stop"]


def test_the_wedge_comes_out_before_anything_else(stopped):
    stopped.answer(Answer(gate="go on knowingly", reason="a test"))
    assert stopped.view.do.startswith("Wedge out")
