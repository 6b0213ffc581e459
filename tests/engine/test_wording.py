"""A sentence with open figures is put into the words of a family, its numbers as a mechanic says them."""

from __future__ import annotations

from fractions import Fraction

import pytest

from engine.evidence import Place
from engine.wording import Said, Words, put, said

BODIES = Words({"carb": "body", "mixture screw": "volume screw", "idle jet": "pilot jet"}, 2)
PLAIN = Words({}, 2)


@pytest.mark.parametrize(
    ("what", "text"),
    [
        (said("At {at} it spits.", at=Place(2, 1)), "At body 2, barrel 1 it spits."),
        (said("{at} spits. {at} again.", at=Place(1)), "Body 1 spits. Body 1 again."),
        (said("Read {at}.", at=(Place(1), Place(2), Place(3))), "Read body 1, body 2 and body 3."),
        (said("{a:,}", a=[said("{p} {x:.1f}", p=Place(1), x=0.91), said("{p} {x:.1f}", p=Place(2), x=1.0)]),
         "Body 1 0.9, body 2 1.0"),
        (said("Turned by {x:turns}.", x=Fraction(5, 4)), "Turned by 1 1/4 turns."),
        (said("Turned by {x:turns}.", x=-0.125), "Turned by 1/8 turn."),
        (said("{x:sure} that it is.", x=0.9999), "99 in 100 that it is."),
        (said("{n:count row}.", n=1), "1 row."),
        (said("{n:count body}.", n=3), "3 bodies."),
        (said("The row {row:.1f}.", row=(4.4, None, 4.55)), "The row 4.4, -, 4.5."),
        (said("{size:g} of {n:g}.", size=Fraction(50), n=55.0), "50 of 55."),
        (said("The {carb:several} agree, one {carb} does not."), "The bodies agree, one body does not."),
        (said("The {screw:name} by its {part:name}.", screw="mixture screw", part="idle jet"),
         "The volume screw by its pilot jet."),
        (said("The {screw:name}.", screw="speed_screw"), "The speed screw."),
        (said("{at} runs.", at=Place()), "The engine runs."),
    ],
)  # fmt: skip
def test_a_sentence_in_the_words_of_a_family(what: Said, text: str) -> None:
    assert put(what, BODIES) == text


def test_without_words_of_its_own_a_family_has_the_trades() -> None:
    assert put(said("{at} is lean.", at=Place(2, 1)), PLAIN) == "Carb 2, barrel 1 is lean."


def test_a_body_with_one_barrel_is_named_alone() -> None:
    assert put(said("{at} is lean.", at=Place(2, 1)), Words({}, 1)) == "Carb 2 is lean."


def test_a_plain_text_stays_as_it_is() -> None:
    assert put("{not a figure}", PLAIN) == "{not a figure}"


def test_a_figure_that_is_not_given_is_no_silence() -> None:
    with pytest.raises(KeyError):
        put(said("By {far:turns}."), PLAIN)
