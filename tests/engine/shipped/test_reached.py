"""Every way out of every step of every shipped procedure can be taken, and is, in a run through the session."""

from __future__ import annotations

import itertools
import random
import re
from pathlib import Path

import explorer
import pytest

from engine.book.book import Book
from engine.procedure.build.load import load, load_texts
from engine.session.session import Answer, Session

FILES = sorted(p.stem for p in (Path(__file__).parents[3] / "procedures").glob("*.yaml"))
#: Files that work at one place are walked with the file that calls them.
WITH = {
    "jet-nuts": {"jet-nut"},
    "hiss-balance": {"hiss-one"},
    "vacuum-mixture": {"vacuum-screw"},
    "volume-mixture": {"volume-by-speed"},
}
#: Ways that need a history which no drawn answers give; each has a test of its own below.
TOLD_APART = {
    ("jet-nuts", "apart", "branch 0"),
    # A stall in the creep test, and this of three ends that lead the same way: too rare for drawn answers.
    ("progressive-downdraught", "creep_pace", "end runs_fast"),
    ("vacuum-screw", "begin", "branch 0"),
    # Alone nobody has counted the screws; in the whole routine (test_whole_routine) they are.
    ("zero-and-preset", "counted", "branch 0"),
}
MOST_RUNS = 1500


def jobs(name: str, invented) -> list:
    """Invented jobs that cover the facts of a file: screws, couplings, meters, adjusters."""
    each = {"lambda_meter": True, "exhaust_sampling": "each cylinder"}
    bodies = {"barrels_per_carb": 1, "mixture_screw": "jet nut"}
    bike = {"family": "motorcycle bank", "carbs": 4, "barrels_per_carb": 1}
    if name == "constant-depression":
        return [
            invented(family="constant depression", **bodies, instruments=i)
            for i in ({}, {"lambda_meter": True}, {"co_meter": True}, {"airflow_gauge": False})
        ]
    if name in ("jet-nuts", "piston-checks", "hiss-balance"):
        return [invented(**bodies), invented(**bodies, carbs=3)]
    if name in ("vacuum-balance", "pilot-screws", "pilot-jets", "bank-alive", "knob-speed"):
        return [invented(**bike), invented(**bike, adjusters="to a base carb", mixture_screw="air screw")]
    if name == "motorcycle-bank":
        return [
            invented(
                **bike,
                mixture_screw=kind,
                instruments={"vacuum_gauges": start != "2 turn"},
                settings={"pilot_start": start, "pilot_air_start": start, "band_doubt": "0 turn"},
            )
            for kind in ("long taper", "air screw")
            for start in ("0.5 turn", "3.5 turn", "2 turn")
        ]
    if name == "progressive-downdraught":
        return [
            invented(
                family="progressive downdraught",
                carbs=1,
                manifold="shared",
                instruments=i,
                settings={"volume_doubt": "0 turn", "volume_start": start},
            )
            for i, start in (({}, "2 turn"), ({"lambda_meter": True}, "0.5 turn"), ({"co_meter": True}, "3.5 turn"))
        ]
    if name == "screw-answers":
        alone = invented(family="single sidedraught", carbs=1, barrels_per_carb=1)
        return [alone, invented(), invented(carbs=1), *(invented(settings={"accused": k}) for k in (1, 2))]
    if name == "spits-back":
        return [invented(), invented(settings={"forget": 1})]
    if name == "single-carburettor":
        alone = {"family": "single sidedraught", "carbs": 1}
        return [
            invented(**alone),
            invented(**alone, barrels_per_carb=1, instruments={"co_meter": True, "airflow_gauge": False}),
            invented(**alone, instruments={"vacuum_gauges": True, "lambda_meter": True}),
            invented(**alone, instruments={"vacuum_gauges": True}),
        ]
    if name == "vacuum-mixture":
        return [invented(family="single sidedraught", carbs=1, barrels_per_carb=1)]
    if name == "volume-mixture":
        meters: tuple[dict[str, bool], ...] = ({}, {"lambda_meter": True}, {"co_meter": True})
        return [invented(family="progressive downdraught", carbs=1, manifold="shared", instruments=i) for i in meters]
    if name == "exhaust-check":
        return [
            invented(instruments=i, settings=s)
            for i in ({}, each, {"co_meter": True}, {"lambda_meter": True}, {"gas_analyser": True})
            for s in ({}, {"co_limit": "3.5 %", "hc_limit": "1200 ppm"})
        ]
    others = {
        "linkage": [invented(instruments={"airflow_gauge": False})],
        "warm-up": [invented(carbs=3)],
        "zero-and-preset": [invented(family="single sidedraught", carbs=1)],
    }
    return [
        *others.get(name, ()),
        invented(mixture_screw="short taper"),
        invented(mixture_screw="long taper", air_bypass_screws=True, instruments=each),
        invented(carbs=3, linkage_balance_screws=True, instruments={**each, "lambda_meter": False, "co_meter": True}),
        invented(instruments={"airflow_gauge": False}),
        invented(air_bypass_screws=True, linkage_balance_screws=True),
    ]


def walked(name: str, folder, advisers, mend=lambda texts: texts):
    """The program of a file with the files that it calls stood in for."""
    found = load(name, (folder,), advisers).program
    keep = {name} | WITH.get(name, set())
    texts = {n: p.source.text if n in keep else explorer.stub(p) for n, p in found.files.items()}
    kits = {f"kits/{n}": kit.source.text for n, kit in found.kits.items()}
    loaded = load_texts({**mend(texts), **kits}, name, advisers)
    assert loaded.program, "\n".join(map(str, loaded.problems))
    return loaded.program, keep


def handed_over(name: str, folder, advisers):
    """A file as it stands, and with each word that a caller may hand over in place of a parameter's default."""
    program, keep = walked(name, folder, advisers)
    programs = [program]
    for parameter in program.files[name].parameters.values():
        kind = parameter.type
        words = kind.choices if kind.kind == "choice" else ("true", "false") if kind.kind == "bool" else ()
        for word in words:
            line = re.compile(rf"(?m)^(  {parameter.name}: .*default: )[^,}}]+")

            def mend(texts, line=line, word=word):
                changed = line.sub(rf"\g<1>{word}", texts[name])
                return texts | {name: changed}

            programs.append(walked(name, folder, advisers, mend)[0])
    return programs, keep


@pytest.mark.parametrize("name", [f for f in FILES if f not in set().union(*WITH.values())])
def test_every_way_out_of_every_step_is_taken(name, folder, advisers, invented, monkeypatch):
    """Branches, limits, ends of calls and symptoms: none is there for show."""
    programs, keep = handed_over(name, folder, advisers)
    program = programs[0]
    recorder, rng = explorer.Recorder(monkeypatch), random.Random(name)
    advice = explorer.AnyAdvice(advisers, rng)
    walker = explorer.Explorer(recorder, advice, rng)
    listening = [recorder.listening(p) for p in programs]
    book, cases = Book.memory(), list(itertools.product(listening, jobs(name, invented)))

    def left():
        return [w for w in explorer.missing(program, recorder.taken, keep) if w not in TOLD_APART]

    def run(k, mood=None):
        walker.run(
            Session.start(
                *cases[k % len(cases)],
                book=book,
                advisers=advice.registry,
                clock=lambda: "2000-01-01T00:00:00+00:00",
            ),
            mood,
            left,
        )

    pressed = list(explorer.presses(program.files[name])) or [None]
    alone = [(k, None) for k in range(20)]
    in_turn = [mood for i in range(MOST_RUNS) for mood in ((i, None), (i // len(pressed), pressed[i % len(pressed)]))]
    for count, (k, press) in enumerate([*alone, *in_turn]):
        if count % 10 == 0 and not left():
            break
        run(k, press and explorer.Mood.set_on(rng, walker.said, *press))
    assert left() == [], left()


ROUND = """procedure: round_and_round
title: A limit that another one forestalls
revision: 1
for: {family: any, carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 2}}
readings:
  again: {ask: Again?, choices: ['no', 'yes'], healthy: 'no'}
start: first
steps:
  first:
    limit: {visits: 2, then: done}
    do: Say whether again.
    read: [again]
    branch:
      - {when: again == 'yes', go: second}
      - {otherwise: done}
  second:
    limit: {visits: 3, then: done}
    do: Nod.
    go: first
  done: {end: ok, say: Done.}
"""


def test_a_way_that_no_run_can_take_is_reported(advisers, invented, monkeypatch):
    """The walk above can fail: of two limits of one loop the greater is never met, and it says so."""
    program = load_texts({"round_and_round": ROUND}, "round_and_round", advisers).program
    recorder, rng = explorer.Recorder(monkeypatch), random.Random(0)
    advice = explorer.AnyAdvice(advisers, rng)
    walker = explorer.Explorer(recorder, advice, rng)
    for _ in range(200):
        walker.run(Session.start(recorder.listening(program), invented(), book=Book.memory(), advisers=advice.registry))
    assert explorer.missing(program, recorder.taken) == [("round_and_round", "second", "then")]


def test_nuts_that_end_far_apart_are_named(folder, advisers, invented):
    """A body that needs four flats more than its neighbour has a leak or a worn spindle [published: S24]."""
    program, _ = walked(
        "constant-depression",
        folder,
        advisers,
        mend=lambda texts: (
            texts
            | {
                n: (folder / f"{n}.yaml").read_text(encoding="utf-8")
                for n in ("jet-nuts", "jet-nut", "stalled", "hunting", "spits-back")
            }
        ),
    )
    job = invented(family="constant depression", barrels_per_carb=1, mixture_screw="jet nut")
    session = Session.start(program, job, book=Book.memory(), advisers=advisers)
    weak = 4
    for _ in range(200):
        view = session.view
        if view.step == "apart" or session.over or any(f.code == "nuts-far-apart" for f in view.findings):
            break
        readings = {}
        for ask in view.read:
            if ask.name == "lift":
                falls = view.here is not None and view.here.carb == 1 and weak > 0
                weak -= falls
                readings["lift"] = "falls or dies" if falls else "rises a little and settles"
            elif ask.name == "reached":
                readings["reached"] = ask.choices[0]
            elif ask.choices:
                readings[ask.name] = ask.choices[0] if ask.each is None else [ask.choices[0]] * ask.count
            else:
                middle = (ask.range[0] + ask.range[1]) / 2
                readings[ask.name] = middle if ask.each is None else [middle] * ask.count
        reply = session.answer(Answer(done=not readings, readings=readings or None, understood=True))
        assert reply.problem is None
    found = [f for f in session.view.findings if f.code == "nuts-far-apart"]
    assert [tuple(p) for f in found for p in f.where] == [(1, None)]
