"""Whole routines on virtual engines for the tests of this folder: a family's run with its messages, an engine that
comes in near right, and the keys and minutes that a step costs somebody who knows it. It judges nothing.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.bench.technicians.all_knowing import all_knowing
from engine.bench.technicians.hands import Hands
from engine.bench.trial.fleet import faulted, random_job
from engine.book.book import Book
from engine.job.model import Job
from engine.procedure.build.load import load
from engine.protocol.talk import parse_answer, step_message
from engine.session.session import Session

#: A main file of every family, and the family that it is for.
FAMILIES = {
    "twin-choke-sidedraught": "twin-choke sidedraught",
    "constant-depression": "constant depression",
    "motorcycle-bank": "motorcycle bank",
    "progressive-downdraught": "progressive downdraught",
    "single-carburettor": "single downdraught",
}
#: So far from right comes in what is near right, turns of a mixture screw and of a speed screw [assumed: what months of
#: driving shift].
NEAR_MIXTURE, NEAR_SPEED = 0.2, 0.02

Change = Callable[[dict[str, Any], dict[str, Any], Hands], dict[str, Any] | None]


def with_instruments(family: str, seed: int = 3, **instruments: Any) -> Job:
    """An invented job of the family whose shop has these instruments."""
    known = random_job(seed, family).model_dump(mode="json")
    return Job.model_validate(known | {"instruments": known["instruments"] | instruments})


def near_right(hands: Hands, seed: int) -> None:
    """Bring the engine of `hands` to where somebody set it well once and months of driving shifted it since."""
    engine, rng = hands.engine, random.Random(f"near {seed}")
    heat, state = (engine.coolant, engine.oil), dict(engine.state)
    all_knowing(engine)
    flat = 6 if engine.body.screw == "jet nut" else 1
    engine.at["jet"] = [max(0.1, x + rng.uniform(-NEAR_MIXTURE, NEAR_MIXTURE) / flat) for x in engine.at["jet"]]
    engine.at["plate"] = [x + rng.uniform(-NEAR_SPEED, NEAR_SPEED) for x in engine.at["plate"]]
    engine.coolant, engine.oil = heat
    engine.set_state(state)
    engine.reset()


def tried(
    procedure: str,
    job: Job,
    advisers: Any,
    folder: Any,
    seed: int = 3,
    change: Change | None = None,
    most: int = 400,
    faults: tuple[str, ...] = (),
    mends: bool = False,
    near: bool = False,
    effort: Effort | None = None,
) -> tuple[list[dict[str, Any]], Session, Hands]:
    """A run of a job on its virtual engine: every step's message, the session, the hands. `change` may change what the
    hands say, with the engine before its eyes.
    """
    program = load(procedure, (folder,), advisers).program
    specimen = faulted(job, list(faults), seed)
    hands = Hands(specimen.engine(), mends=mends)
    if near:
        near_right(hands, seed)
    session = Session.start(
        program, specimen.job, book=Book.memory(), advisers=advisers, clock=lambda: "2000-01-01T00:00:00+00:00"
    )
    heard = []
    while not session.over and len(heard) < most:
        message = step_message(session.view)
        heard.append(message)
        given = hands.answer(message)
        if change:
            given = change(message, given, hands) or given
        if effort is not None:
            effort.step(session, message, given)
        reply = session.answer(parse_answer(given))
        assert reply.recorded is not None, f"{session.view.step}: {reply.problem}"
    return heard, session, hands


@dataclass
class Effort:
    """What a run costs: its screens, the keys pressed to go on, choose and confirm, the keys of the figures that
    instruments show, the minutes that a step makes one stand, and those that the engine takes to be hot or cool, at
    the most."""

    screens: int = 0
    presses: int = 0
    figures: int = 0
    stands: float = 0.0
    physical: float = 0.0

    def step(self, session: Session, message: dict[str, Any], given: dict[str, Any]) -> None:
        """Count one step and its answer."""
        wait = message.get("wait") or {}
        minutes = float(wait.get("seconds") or 0) / 60
        self.screens += 1
        if wait.get("until"):
            self.physical += minutes
        else:
            self.stands += minutes
        told, steps = given.get("readings"), {a.name: a.step for a in session.view.read}
        if not told:
            self.presses += 1
            return
        listed = True
        for q in message["read"]:
            row = told[q["name"]] if q.get("each") else [told[q["name"]]]
            if q.get("choices"):
                healthy = all(v == q.get("healthy") for v in row)
                if not (healthy and not q.get("safety")):
                    # A digit and Enter, the same for the rest of the row.
                    self.presses += 2 + (len(row) > 1)
                    listed = False
            else:
                self.figures += figures(row, steps[q["name"]])
                listed = False
        # One key says of all that is listed that it is as it should be.
        usual = any(q.get("choices") and not q.get("safety") for q in message["read"])
        self.presses += listed or usual


def figures(row: list[Any], step: Fraction | None) -> int:
    """The keys of a row of numbers as instruments show them, each with its Enter; one key repeats the rest of a row."""
    shown = [typed(v, step) for v in row]
    for n, text in enumerate(shown):
        if n + 1 < len(shown) and all(rest == text for rest in shown[n + 1 :]):
            return sum(len(t) + 1 for t in shown[: n + 1]) + 1
    return sum(len(t) + 1 for t in shown)


def typed(value: Any, step: Fraction | None) -> str:
    """A value as it is typed: no finer than the instrument's step. The twelve digits of a virtual one are nobody's."""
    if value is None or isinstance(value, str):
        return "-"
    near = round(float(value) / float(step)) * float(step) if step else float(value)
    text = f"{near:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
