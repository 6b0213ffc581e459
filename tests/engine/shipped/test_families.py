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


def walked_by(program, job, advisers, choose, most=120):
    """The messages of a run in which `choose` answers a reading by its name, and all else is as it should be."""
    session = Session.start(program, job, book=Book.memory(), advisers=advisers)
    heard = []
    while not session.over and len(heard) < most:
        message = step_message(session.view)
        heard.append(message)
        given = sound_answer(session.view)
        changed = {q["name"]: choose[q["name"]] for q in message.get("read", ()) if q["name"] in choose}
        if changed:
            readings = {**{q["name"]: None for q in message["read"]}, **given.readings, **changed}
            reply = session.answer(parse_answer({"readings": readings, "understood": True}))
        else:
            reply = session.answer(given)
        assert reply.problem is None, f"{session.view.step}: {reply.problem}"
    return heard, session


BROKEN_OFF = {"heard": "lifted off, too lean", "lambda_low": 0.95, "lambda_middle": None, "lambda_high": None}


def test_a_pull_that_was_broken_off_is_an_answer_and_no_further_pull_is_asked_for(advisers, folder):
    """Lifted off above 0.92: two lambdas were never read. Next comes the fuel, standing, into a can; then richer."""
    program = load("beyond-idle", (folder,), advisers).program
    heard, _ = walked_by(
        program, random_job(1, lambda_meter=True), advisers, BROKEN_OFF | {"fitted": "none on the shelf"}
    )
    steps = [m["step"] for m in heard]
    at = steps.index("pull")
    assert "0.92" in heard[at]["do"]
    after = [m for m in heard[at + 1 :] if m["step"] not in ("stop_gate",)]
    assert [m["step"] for m in after[:2]] == ["flow_first", "richer"]
    assert all(m["state"]["engine"] == "stopped" for m in after[:2])
    assert "can" in after[0]["do"] and "larger" in after[1]["do"]


def test_lean_in_cruise_leads_to_no_pull(advisers, folder):
    """Lambda 1.2 with a light foot: found before the pull, and it stops there."""
    program = load("beyond-idle", (folder,), advisers).program
    heard, session = walked_by(program, random_job(1, lambda_meter=True), advisers, {"cruise": 1.2}, most=30)
    assert "cruise-lean" in {f.code for f in session.view.findings}
    seen = [m["step"] for m in heard]
    assert seen.index("stop_gate") == seen.index("cruising") + 1 and "pull" not in seen


def test_of_fire_the_instruction_comes_first(advisers, folder):
    """In every main file: nothing is to be understood before one keeps cranking."""
    for name in [*FAMILIES, "twin-choke-sidedraught"]:
        fire = load(name, (folder,), advisers).program.files[name].steps["fire"]
        assert fire.title == "Keep cranking" and not fire.hazards, name


def test_no_plate_screw_is_let_go_over_an_inlet(folder):
    """A plate is centred with its body off the manifold, on new screws."""
    text = (folder / "within-body.yaml").read_text(encoding="utf-8")
    assert "off the manifold" in text and "new screws" in text


def test_goggles_go_on_before_the_air_line(folder):
    """Wherever jets or carriers are blown through."""
    for path in folder.glob("*.yaml"):
        steps = re.split(r"\n  (?=[a-z_]+:\n)", path.read_text(encoding="utf-8").partition("\nsteps:\n")[2])
        blown = [s for s in steps if re.search(r"[Bb]low\b.*through", s) and " do:" in s and "make:" in s]
        assert [s.split(":")[0] for s in blown if "Goggles" not in s] == [], path.name


#: Screens of a sound engine from as found to as left, seed 3: a ceiling at what is reached.
SCREENS = {  # the goal is 55 for the full routine and 30 for a trim; this is where it stands
    ("motorcycle-bank", "full routine from zero"): 80,
    ("constant-depression", "full routine from zero"): 55,
    ("constant-depression", "trim from where it stands"): 50,
}


@pytest.mark.parametrize(("procedure", "way"), SCREENS)
def test_the_screens_of_a_sound_bank_are_counted(procedure, way, advisers, folder):
    """Answered by one who knows it. A screen is a step; the ceiling holds what was won."""

    def chosen(message, given):
        if any(q["name"] == "how_far" for q in message.get("read", ())):
            return given | {"readings": given["readings"] | {"how_far": way}}
        return None

    heard, session = worked(procedure, FAMILIES[procedure], advisers, folder, answers=chosen)
    assert session.view.end.outcome == "ok"
    assert len(heard) <= SCREENS[procedure, way]
