"""Each family in its own order and words: hot and untouched first, a cold engine stops, no car on a motorcycle."""

from __future__ import annotations

import re

import pytest
from explorer import sound_answer

from engine.bench.technicians.hands import Hands
from engine.bench.trial.fleet import faulted, random_job
from engine.book.book import Book
from engine.procedure.build.load import load
from engine.protocol.talk import parse_answer, step_message
from engine.session.session import Answer, Session

FAMILIES = {
    "constant-depression": "constant depression",
    "motorcycle-bank": "motorcycle bank",
    "progressive-downdraught": "progressive downdraught",
    "single-carburettor": "single downdraught",
}
#: What is read by the thermometer.
TEMPERATURES = {"coolant temperature", "oil temperature"}


def worked(procedure, family, advisers, folder, seed=3, faults=(), answers=None, most=400):
    """A run on a virtual engine of the family; every step's message, and the session. `answers` may change one."""
    program = load(procedure, (folder,), advisers).program
    job = random_job(seed, family, lambda_meter=False)
    hands = Hands(faulted(job, list(faults), seed).engine())
    session = Session.start(
        program, job, book=Book.memory(), advisers=advisers, clock=lambda: "2000-01-01T00:00:00+00:00"
    )
    heard = []
    while not session.over and len(heard) < most:
        message = step_message(session.view)
        heard.append(message)
        given = hands.answer(message)
        if answers:
            given = answers(message, given) or given
        reply = session.answer(parse_answer(given))
        assert reply.recorded is not None, f"{session.view.step}: {reply.problem}"
    return heard, session


@pytest.fixture(scope="module", params=FAMILIES.items(), ids=list(FAMILIES))
def a_run(request, advisers, folder):
    """One run of each family on a sound engine."""
    return (request.param[0], *worked(*request.param, advisers, folder))


def test_nothing_is_turned_checked_or_cleaned_before_the_engine_was_read_as_found(a_run):
    """Up to the last step that records as found there is no move, no part, and no file of checks."""
    _, heard, _ = a_run
    last = max(n for n, m in enumerate(heard) if m["step"].endswith("count_screws"))
    before = heard[: last + 1]
    assert all(not m["moves"] and not m["fit"] for m in before)
    assert not {m["step"].split(".")[0] for m in before} & {"fit-to-tune", "piston-checks"}
    assert any(m["step"].startswith("fit-to-tune.") for m in heard[last:])


def test_the_technician_is_asked_how_far_back_in_every_family_of_more_than_one_way(a_run):
    """The program proposes with its reason, before the checks."""
    name, heard, _ = a_run
    if name == "single-carburettor":
        pytest.skip("it has the full routine alone")
    asked = next(n for n, m in enumerate(heard) if any(q["name"] == "how_far" for q in m.get("read", ())))
    assert "trim" in heard[asked]["do"] or "from zero" in heard[asked]["do"]
    assert asked < next(n for n, m in enumerate(heard) if m["step"].startswith("fit-to-tune."))


@pytest.mark.parametrize(("procedure", "family"), FAMILIES.items())
def test_an_engine_that_stays_cold_opens_the_gate_and_does_not_go_on_as_if_hot(procedure, family, advisers, folder):
    """Asked again and again at eight degrees; then it stops, before a row is taken."""

    def cold(message, given):
        return (
            given
            | {
                "readings": {
                    q["name"]: 8 if q.get("quantity") in TEMPERATURES else given["readings"][q["name"]]
                    for q in message["read"]
                }
            }
            if any(q.get("quantity") in TEMPERATURES for q in message.get("read", ()))
            else None
        )

    heard, session = worked(procedure, family, advisers, folder, answers=cold, most=8)
    gate = next(n for n, m in enumerate(heard) if any(q["name"] == "stop_gate" for q in m.get("read", ())))
    assert "stays-cold" in {f.code for f in session.view.findings}
    assert not any(q.get("quantity") in ("airflow", "depression") for m in heard[:gate] for q in m.get("read", ()))


#: Of a car, or of a bank of bodies; nobody says them of a motorcycle.
NOT_ON_A_MOTORCYCLE = re.compile(r"\b(pedal|servo|chock(s|ed)?|body|bodies|dashboard|foot)\b", re.IGNORECASE)


def texts(message) -> str:
    """All that a step says, asks and warns of."""
    said = [str(message.get(k) or "") for k in ("title", "do", "why", "hear", "note", "caution")]
    said += [c["text"] for c in message.get("cautions", ())]
    said += [f"{q.get('ask')} {q.get('how')}" for q in message.get("read", ())]
    return "\n".join(said)


def test_a_motorcycle_hears_no_pedal_no_servo_no_chocks_and_no_bodies(advisers, folder):
    """In the whole routine, the shared files with it."""
    heard, _ = worked("motorcycle-bank", "motorcycle bank", advisers, folder)
    assert {m["step"].split(".")[0] for m in heard} >= {"fit-to-tune", "hand-over"}
    assert [(m["step"], found.group()) for m in heard if (found := NOT_ON_A_MOTORCYCLE.search(texts(m)))] == []
    assert any("On its stand" in texts(m) for m in heard)


def test_after_a_stall_a_motorcycle_is_held_with_the_twist_grip(advisers, folder):
    """The shared file speaks the family's words, and its questions do."""
    program = load("motorcycle-bank", (folder,), advisers).program
    job = random_job(4, "motorcycle bank")
    session = Session.start(program, job, book=Book.memory(), advisers=advisers)
    while "vacuum-balance.first_row" not in (step_message(session.view)["step"]):
        session.answer(sound_answer(session.view))
    stall = next(s["id"] for s in step_message(session.view)["symptoms"] if s["kind"] == "stall")
    assert session.answer(Answer(symptom=stall)).problem is None
    message = step_message(session.view)
    assert "twist grip" in texts(message) and not NOT_ON_A_MOTORCYCLE.search(texts(message))


@pytest.mark.parametrize("family", ["single-carburettor", "progressive-downdraught"])
def test_a_single_carburettor_is_no_body(family, advisers, folder):
    """Nothing is uncoupled, and no bodies are spoken of in what it is checked by and handed over with."""
    heard, _ = worked(family, FAMILIES[family], advisers, folder)
    files = ("fit-to-tune", "hand-over", "stalled", "warm-up")
    found = [m["step"] for m in heard if m["step"].startswith(files) and re.search(r"\bbod(y|ies)\b", texts(m))]
    assert found == []


def test_the_mixture_screw_of_a_progressive_is_asked_for_once(advisers, folder):
    """Its second barrel has none, so nothing is wrong with a barrel that answers no screw."""
    heard, session = worked("progressive-downdraught", "progressive downdraught", advisers, folder)
    step = next(m for m in heard if m["step"] == "hand-over.answers_alone")
    assert [q.get("count") or 1 for q in step["read"] if q["name"] == "beat_alone"] == [1]
    assert "barrel-does-not-answer" not in {f.code for f in session.view.findings}


def test_a_constant_depression_carburettor_has_no_pump_to_shoot_with(advisers, folder):
    """No two shots with the throttle levers; that is what a pump is for."""
    heard, _ = worked("constant-depression", "constant depression", advisers, folder)
    assert not any("shots with the throttle" in texts(m) for m in heard)
    row = max(n for n, m in enumerate(heard) if any(q.get("quantity") == "airflow" for q in m.get("read", ())))
    clamped = max(n for n, m in enumerate(heard) if m["step"] in ("forks", "jet_link"))
    assert clamped < row, "levers are clamped before the last row"
