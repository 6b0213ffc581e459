"""Each family on engines and before technicians as they come: a screw that does nothing, a stop, an odd answerer. Every
run comes to an end that somebody can read, and none calls right what is not.
"""

from __future__ import annotations

import pytest
from closed import FAMILIES, tried
from explorer import sound_answer

from engine.bench.trial.fleet import random_job
from engine.bench.trial.judging import judged
from engine.book.book import Book
from engine.procedure.build.load import load
from engine.protocol.talk import step_message
from engine.session.session import Answer, Session

OUTCOMES = {"ok", "failed", "stopped"}
#: Engines on which the dead screw is at a barrel that has one: of a progressive the first alone.
DEAD = {name: (2 if name == "progressive-downdraught" else 3) for name in FAMILIES}


def dead(procedure, advisers, folder, mends):
    """A whole routine on an engine with a mixture screw that turns and changes nothing."""
    seed = DEAD[procedure]
    job = random_job(seed, FAMILIES[procedure])
    return tried(procedure, job, advisers, folder, seed, faults=("dead mixture screw",), mends=mends)


@pytest.mark.parametrize("procedure", FAMILIES)
def test_a_screw_that_does_nothing_and_stays_so_is_named_at_its_place_and_never_ends_ok(procedure, advisers, folder):
    """Ten of twelve banks with one dead screw once ended well, five of them without a word."""
    _, session, hands = dead(procedure, advisers, folder, mends=False)
    (fault,) = hands.engine.faults
    named = [f for f in session.view.end.findings if f.code == "barrel-does-not-answer"]
    assert [f.severity for f in named] == ["change part"]
    assert [place.carb for place in named[0].where] == [fault.carb]
    assert session.view.end.outcome != "ok"


@pytest.mark.parametrize("procedure", FAMILIES)
def test_a_screw_that_was_put_right_is_set_like_the_others_and_its_finding_gone(procedure, advisers, folder):
    _, session, hands = dead(procedure, advisers, folder, mends=True)
    assert session.view.end.outcome == "ok"
    assert "barrel-does-not-answer" not in {f.code for f in session.view.end.findings}
    assert judged(hands.engine).near_best


def begun(procedure, advisers, folder, seed=4):
    program = load(procedure, (folder,), advisers).program
    return Session.start(program, random_job(seed, FAMILIES[procedure]), book=Book.memory(), advisers=advisers)


@pytest.mark.parametrize("procedure", FAMILIES)
def test_a_stop_opens_its_gate_on_the_spot_and_what_ends_there_is_on_the_sheet(procedure, advisers, folder):
    """A leak at the check of it: nobody goes on to forty rounds of mixture over it."""
    session = begun(procedure, advisers, folder)
    while "air_leak" not in {a.name for a in session.view.read}:
        assert session.answer(sound_answer(session.view)).problem is None
    answer = sound_answer(session.view)
    row = ["yes"] + ["no"] * (next(a.count for a in session.view.read if a.name == "air_leak") - 1)
    told = dict(answer.readings) | {"air_leak": row}
    assert session.answer(Answer(readings=told, understood=True)).problem is None
    assert session.view.gate is not None and "air-leak" in {f.code for f in session.view.findings}
    assert session.answer(Answer(gate="ends here", reason="gasket to be ordered")).problem is None
    end = session.view.end
    assert end.outcome == "stopped" and "gasket to be ordered" in end.say
    assert "air-leak" in {f.code for f in end.findings}


@pytest.mark.parametrize("procedure", FAMILIES)
def test_an_engine_that_stayed_cold_is_read_again_once_that_was_mended(procedure, advisers, folder):
    """Said to be mended, it once went on as if hot with nothing asked; now the thermometer is read."""
    session = begun(procedure, advisers, folder)
    for _ in range(12):
        if session.view.gate is not None:
            break
        sound = sound_answer(session.view)
        told = {n: 8 if n in ("coolant", "oil") else v for n, v in (sound.readings or {}).items()}
        session.answer(Answer(readings=told or None, done=not told, understood=True))
    assert session.view.gate is not None
    assert session.answer(Answer(gate="mended")).problem is None
    assert {a.name for a in session.view.read} & {"coolant", "oil"}
    assert session.answer(sound_answer(session.view)).problem is None
    assert session.view.gate is None and "stays-cold" not in {f.code for f in session.view.findings}


def taken_or_not(view, sound):
    """Leaves out all that may be left out, saying that it is not known."""
    told = dict(sound.readings or {})
    for ask in view.read:
        if ask.may_lack:
            one = {"not taken": "I don't know"}
            told[ask.name] = one if ask.each is None else [one] * ask.count
    return Answer(readings=told or None, done=not told, understood=True)


def worst(view, sound):
    """Says the last of every list and the top of every scale."""
    told = {}
    for ask in view.read:
        one = ask.choices[-1] if ask.choices else ask.range[1]
        told[ask.name] = one if ask.each is None else [one] * ask.count
    if view.gate is not None:
        return Answer(gate="go on knowingly", reason="to see the end")
    return Answer(readings=told or None, done=not told, understood=True)


class Interrupts:
    """Presses each symptom once at the first step that offers it, breaking off the reading in hand."""

    def __init__(self) -> None:
        self.pressed: set[tuple[str, str]] = set()

    def __call__(self, view, sound):
        file = view.step.rpartition(".")[0]
        for symptom in view.symptoms:
            if (file, symptom.name) not in self.pressed:
                self.pressed.add((file, symptom.name))
                return Answer(symptom=symptom.name, understood=True)
        return sound


class Waits:
    """Waits for parts at every seventh answer and goes on the next day."""

    def __init__(self) -> None:
        self.answers = 0

    def __call__(self, view, sound):
        self.answers += 1
        if self.answers % 7 == 0:
            return Answer(wait_for_parts={"parts": ["flange gasket"], "note": "by the end of the week"})
        return sound


def odd(procedure, answerer, advisers, folder, most=500):
    """A run before an odd technician, to its end; the session."""
    session = begun(procedure, advisers, folder)
    for _ in range(most):
        if session.over:
            break
        if session.view.waiting:
            answer = Answer(resume=True)
        else:
            answer = answerer(session.view, sound_answer(session.view))
        reply = session.answer(answer)
        assert reply.problem is None, f"{session.view.step}: {reply.problem}"
    assert session.over, session.view.step
    assert session.view.end.outcome in OUTCOMES and session.view.end.say.endswith(".")
    return session


@pytest.mark.parametrize("procedure", FAMILIES)
def test_whoever_does_not_know_is_led_to_an_end_and_what_was_not_taken_is_kept(procedure, advisers, folder):
    session = odd(procedure, taken_or_not, advisers, folder)
    assert session.view.end.findings is not None


@pytest.mark.parametrize("procedure", FAMILIES)
def test_the_worst_of_everything_ends_and_not_ok(procedure, advisers, folder):
    session = odd(procedure, worst, advisers, folder)
    assert session.view.end.outcome != "ok" and session.view.end.findings


@pytest.mark.parametrize("procedure", FAMILIES)
def test_whoever_breaks_off_readings_with_every_symptom_comes_to_an_end(procedure, advisers, folder):
    odd(procedure, Interrupts(), advisers, folder)


@pytest.mark.parametrize("procedure", FAMILIES)
def test_waiting_for_parts_again_and_again_comes_to_an_end(procedure, advisers, folder):
    odd(procedure, Waits(), advisers, folder)


@pytest.mark.parametrize("procedure", FAMILIES)
def test_the_day_after_it_waited_for_parts_it_is_warmed_before_a_running_reading(procedure, advisers, folder):
    session = begun(procedure, advisers, folder)
    while session.view.step.rpartition(".")[2] != "last_look":
        assert session.answer(sound_answer(session.view)).problem is None
    assert session.answer(Answer(wait_for_parts={"parts": ["flange gasket"], "note": ""})).problem is None
    assert session.answer(Answer(resume=True)).problem is None
    message = step_message(session.view)
    assert message["state"]["engine"] == "running" and message["again"] == "warm up first"


def test_these_can_fail(advisers, folder):
    """Whoever hears every nut answer hands a dead one over: the tests above rest on what was answered, not on luck."""

    def deaf(message, given, hands):
        for q in message.get("read", ()):
            if q.get("quantity") == "screw answers" and "readings" in given:
                given["readings"][q["name"]] = ["yes"] * q["count"]

    job = random_job(3, "constant depression")
    _, session, _ = tried("constant-depression", job, advisers, folder, 3, deaf, faults=("dead mixture screw",))
    assert "barrel-does-not-answer" not in {f.code for f in session.view.end.findings}
