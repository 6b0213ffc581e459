"""The strip of phases runs forward: nobody who is nearly through is thrown back before the engine was started."""

from __future__ import annotations

from explorer import sound_answer

from engine.book.book import Book
from engine.procedure.build.load import load
from engine.session.session import Session

ORDER = ("as found", "checks", "preset")


def test_from_the_first_row_to_the_starting_positions_no_phase_comes_back(folder, advisers, invented):
    program = load("twin-choke-sidedraught", [folder], advisers).program
    session = Session.start(program, invented(), book=Book.memory(), advisers=advisers)
    phases = []
    for _ in range(40):
        view = session.view
        phases.append(view.phase)
        if view.phase == ORDER[-1]:
            break
        reply = session.answer(sound_answer(view))
        assert reply.problem is None, f"{view.step}: {reply.problem}"
    assert list(dict.fromkeys(phases)) == list(ORDER)
    assert phases == sorted(phases, key=ORDER.index)
