"""A run on the virtual engine: the same session as a real one, its readings taken by the technician's hands of the
bench.

Rehearsals have a book of their own beside the job book, and are no jobs. One can be gone on with: its engine is made
again from its seed, and what was done to it is done again. What is hidden in it stays hidden until the end.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from pathlib import Path
from random import randrange
from typing import TYPE_CHECKING, Any

from engine.evidence import Place
from engine.quantity import wording
from engine.quantity.chosen import ChosenUnits
from engine.quantity.exact import exact
from engine.run.events import MENDED
from tui.control.desk import Desk
from tui.control.sitting import Sitting, Trouble, sentences

if TYPE_CHECKING:
    from collections.abc import Sequence

    from engine.bench.plant.faults import Kind
    from engine.bench.trial.fleet import Specimen
    from engine.job.model import Job
    from engine.run.events import Event
    from engine.run.state import State
    from engine.session.session import Session
    from engine.session.view import View


#: The quickest and the slowest beat of a rehearsal that plays by itself, in seconds, and how far a key changes it.
QUICKEST, SLOWEST, STEP = 0.3, 20.0, 1.5


class Rehearsal(Sitting):
    """Each step is done on the virtual engine once, when its readings are taken or when it is answered."""

    rehearses = True

    def __init__(
        self, session: Session, specimen: Specimen, by_itself: bool, pace: float, units: ChosenUnits | None = None
    ) -> None:
        from engine.bench.technicians.hands import Hands

        super().__init__(session, units)
        self.specimen = specimen
        self.engine = specimen.engine()
        self.hands = Hands(self.engine, mends=True)
        self.playing = True if by_itself else None
        self._done: dict[str, Any] | None = None
        self.play(self.playing, pace)

    def play(self, playing: bool | None, pace: float | None = None) -> None:
        """Play by itself or stop, at a pace in seconds a step; the line above says so."""
        self.playing = playing
        self.pace = self.pace if pace is None else min(SLOWEST, max(QUICKEST, pace)) if pace >= 0.05 else pace
        said = {True: f"▶ by itself, {self.pace:.1f} s a step", False: "‖ stopped, + goes on", None: ""}[playing]
        self.whose = replace(self.whose, plays=said)

    def work(self, moved: Any = None) -> dict[str, Any]:
        """What the hands answer to the step in force; it is done on the engine once, with `moved` if that was said."""
        from engine.protocol.talk import move_message, step_message

        if self._done is None:
            own = self.session.view
            step = step_message(own)
            if moved is not None:
                step["moves"] = [move_message(move, own) for move in moved]
            self._done = self.hands.answer(step)
        return self._done

    def ahead(self) -> str | None:
        """Do the step; the name of a symptom that shows, or None."""
        return self.work().get("symptom")

    def reading(self, name: str) -> tuple[Any, str | None]:
        """A reading of the virtual engine, and the reason where a place is not taken."""
        done = self.work()
        value = done.get("readings", {}).get(name)
        ask = next((a for a in self.session.view.read if a.name == name), None)
        if ask is not None and self.units:
            value = self.units.shown(_exact(value), ask.unit, ask.quantity)
        return value, done.get("lacking", {}).get(name)

    def at_stop(self) -> dict[str, Any]:
        """What the hands say at a stop."""
        done = self.work()
        way = done["readings"]["stop_gate"]
        return {"gate": way, "reason": done["reason"]} if "reason" in done else {"gate": way}

    def answer(self, **answer: Any) -> str | None:
        """As a real run. The step is done on the engine first; what the hand really turned rides along."""
        if self.view.gate is not None and answer.get("gate") == MENDED:
            self.work()  # what the technician says is mended, is mended on the engine
        elif answer.keys() & {"done", "readings", "symptom"} and self.view.gate is None:
            if self._done is not None and "symptom" in answer:
                # Looked ahead: the virtual hands did it already.
                answer = {k: v for k, v in answer.items() if k not in ("moved", "fitted") or v}
            done = self.work(answer.get("moved"))
            if "moved" in done and "moved" not in answer:
                answer["moved"] = done["moved"]
        problem = super().answer(**answer)
        if problem is None and not answer.keys() & {"note"}:
            self._done = None
        return problem

    def truth(self) -> list[tuple[str, list[str]]]:
        """What was really wrong, and how the engine stands."""
        return [("WHAT WAS REALLY WRONG", really_wrong(self)), ("HOW THE ENGINE STANDS", how_it_stands(self))]

    def catch_up(self) -> None:
        """Do on a fresh engine again what the record says was done."""
        from engine.book import codec
        from engine.session.session import states
        from engine.session.shown import show

        session = self.session
        bodies = [codec.body_of(e) for e in session.book.events(session.run)]
        for before, body in zip(states(session.plan, bodies), bodies[1:], strict=False):
            mended = body["kind"] == "gate" and body.get("gate") == MENDED
            if mended or body["kind"] in ("done", "readings", "symptom"):
                self._again(show(session.plan, before, session.run, session._advisers), before, codec.event_in(body))

    def _again(self, view: View, before: State, event: Event) -> None:
        from engine.protocol.talk import move_message, step_message
        from engine.run.reported import moved_by

        step, fresh = step_message(view), copy.deepcopy(self.hands)
        done = self.hands.answer(step)
        turned = moved_by(self.session.plan, before, done["moved"]) if "moved" in done else None
        if event.moved is not None and turned != event.moved:
            # The technician said what was really turned: do that instead.
            self.hands, self.engine = fresh, fresh.engine
            step["moves"] = [move_message(move, view) for move in event.moved]
            self.hands.answer(step)


def _exact(value: Any) -> Any:
    """Numbers of a message as fractions; choices, gaps and `over range` as they are."""
    if isinstance(value, list):
        return [_exact(v) for v in value]
    return exact(value) if isinstance(value, int | float) and not isinstance(value, bool) else value


def rehearse(
    desk: Desk,
    procedure: str | Path,
    *,
    job: Job | None = None,
    seed: int | None = None,
    faults: tuple[str, ...] = (),
    by_itself: bool = False,
    pace: float = 2.5,
) -> Rehearsal:
    """Begin a rehearsal of a procedure, on a job's engine or an invented one; raises `Trouble` with a sentence."""
    from engine.bench.plant.faults import NoSuchFault
    from engine.bench.trial import fleet
    from engine.carburation.registry import shipped
    from engine.job.slips import Undeclared, settled
    from engine.session.session import Session

    program = desk.program(procedure)
    layout = program.files[program.main].layout
    families = [f for f in layout.families if f != "any"]
    seed = randrange(1, 10_000) if seed is None else seed
    known = job or fleet.random_job(
        seed, families[0] if families else fleet.SIDEDRAUGHT, (layout.carbs, layout.barrels_per_carb)
    )
    try:
        # Nobody's name belongs into a rehearsal.
        known = settled(type(known).model_validate(known.engineering()), program.files[program.main].vocabulary)
        specimen = fleet.faulted(known, faults, seed) if faults else fleet.random_engine(seed, known)
    except (NoSuchFault, Undeclared) as fault:
        raise Trouble(str(fault)) from fault
    made = {"seed": seed, "faults": list(faults), "engine": known.engineering()}
    with sentences():
        session = Session.start(
            program,
            specimen.job,
            book=desk.rehearsals,
            advisers=shipped(),
            shop=desk.shop.settings,
            rehearsal=made,
        )
    return Rehearsal(session, specimen, by_itself, pace, desk.shop.units)


def go_on(desk: Desk, run: str) -> Rehearsal:
    """Go on with a rehearsal where it stood; raises `Trouble` with a sentence."""
    from engine.bench.trial import fleet
    from engine.book import codec
    from engine.carburation.registry import shipped
    from engine.job.model import Job
    from engine.session.session import Session

    with sentences():
        session = Session.reopen(desk.rehearsals, run, advisers=shipped())
        made = codec.load(desk.rehearsals.events(run)[0].body)["rehearsal"]
    known, seed = Job.model_validate(made["engine"]), made["seed"]
    specimen = fleet.faulted(known, tuple(made["faults"]), seed) if made["faults"] else fleet.random_engine(seed, known)
    sitting = Rehearsal(session, specimen, False, 2.5, desk.shop.units)
    sitting.catch_up()
    return sitting


def really_wrong(sitting: Rehearsal) -> list[str]:
    """What was hidden in the engine, a sentence each, and how it stands at the end: the answer to the rehearsal."""
    from engine.bench.plant.faults import KINDS

    out = []
    for fault in sitting.specimen.faults:
        kind = KINDS[fault.kind]
        where = f"{wording.place(Place(fault.carb, fault.barrel), sitting.view.terms)}: " if fault.carb else ""
        said = f"{where}{kind.says}{_size(fault.size, kind)}."
        mended = " You mended it." if fault in sitting.engine.mended else ""
        out.append(f"{said[0].upper()}{said[1:]}{mended}")
    if not out:
        out.append("Nothing was wrong with this engine: it only wanted setting.")
    return out


def _size(size: float, kind: Kind) -> str:
    """How big it is, in brackets: ` (0.31 mm2)`, ` (+1 size)`, ` (82 % of torque)`."""
    share, _, of = kind.unit.partition(" ")
    sign = "+" if kind.either_way else ""
    if share == "share":
        return f" ({100 * size:{sign}.0f} % {of})".replace(" )", ")")
    unit = "size" if kind.unit == "sizes" and abs(size) == 1 else kind.unit
    return f" ({size:{sign}.2g} {unit})" if unit else ""


def how_it_stands(sitting: Rehearsal) -> list[str]:
    """The engine as it is left, hot, running and let go, without noise: of the barrels that feed at idle."""
    from engine.bench.terms import TOLERANCE

    engine = copy.deepcopy(sitting.engine)
    engine.warm()
    engine.set_state({"engine": "running", "hold": None})
    runs, truth = engine.settle() is None, engine.truth()

    def feeding(row: Sequence[float], digits: int) -> str:
        return ", ".join(f"{v:.{digits}f}" for v, feeds in zip(row, truth.feeds, strict=True) if feeds)

    shown = f"{feeding(truth.depression, 1)} kPa" if truth.by_vacuum else f"{feeding(truth.gauge, 1)} kg/h"
    one = sum(truth.feeds) == 1
    even = "" if one else f", {'even within tolerance' if truth.spread_ok else 'NOT even'}"
    if not runs:
        out = ["As it is left it does not idle."]
    else:
        low, high = TOLERANCE.near_best
        near = all(low <= lam <= high for lam, feeds in zip(truth.lambdas, truth.feeds, strict=True) if feeds)
        out = [
            f"Air as left: {shown}{even}.",
            f"Speed as left: {truth.speed:.0f} rpm.",
            f"Mixture as left: lambda {feeding(truth.lambdas, 2)}, {'near its best' if near else 'NOT near its best'} "
            f"({low:.2f} to {high:.2f}; this engine pulls most at {1.0 / engine.body.build.burning.crest:.2f}).",
        ]
    if engine.body.kind != "constant depression":
        out.append(f"Idle jets as left: {feeding(truth.jets, 0)}; {truth.right_jet:.0f} suits this engine.")
    return out
