"""The strip of phases runs forward: nobody who is nearly through is thrown back before the engine was started."""

from __future__ import annotations

from engine.book.book import Book
from engine.procedure.build.load import load
from engine.session.session import Answer, Session

ORDER = ("as found", "checks", "preset")


def usual(ask):
    """An answer of a sound engine, at every place that is asked."""
    one = ask.healthy if isinstance(ask.healthy, str) else sound_number(ask)
    return one if ask.each is None else [one] * ask.count


def sound_number(ask):
    """The middle of what is right, or of what may be typed."""
    low, high = (ask.healthy if isinstance(ask.healthy, tuple) else None) or ask.range
    low, high = (ask.range[0] if low is None else low), (ask.range[1] if high is None else high)
    middle = (low + high) / 2
    return middle if ask.step is None else round(middle / ask.step) * ask.step


def test_from_the_first_row_to_the_starting_positions_no_phase_comes_back(folder, advisers, invented):
    program = load("twin-choke-sidedraught", [folder], advisers).program
    session = Session.start(program, invented(), book=Book.memory(), advisers=advisers)
    phases = []
    for _ in range(40):
        view = session.view
        phases.append(view.phase)
        if view.phase == ORDER[-1]:
            break
        given = {ask.name: usual(ask) for ask in view.read}
        reply = session.answer(Answer(readings=given, understood=True) if given else Answer(done=True, understood=True))
        assert reply.problem is None, f"{view.step}: {reply.problem}"
    assert list(dict.fromkeys(phases)) == list(ORDER)
    assert phases == sorted(phases, key=ORDER.index)
