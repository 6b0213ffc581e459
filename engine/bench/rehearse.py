"""A rehearsal: a session on a job whose readings come from a virtual engine; it shows at the end what was really wrong.

The session is that of a real job. `suggest` does the step on the engine, once, and says what a technician would answer;
`follow` lets the engine go along where somebody answered otherwise. Nothing here decides anything about the run.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.bench.faults import KINDS, Fault
from engine.bench.fleet import Specimen
from engine.bench.hands import Hands
from engine.bench.judging import NAMES, State, judged, names
from engine.evidence import Finding
from engine.run.answer import Answer
from engine.session import Reply, Session
from engine.talk import parse_answer, step_message
from engine.view import View


@dataclass(frozen=True, slots=True)
class Wrong:
    """One thing that was really wrong, in words, and whether the run named it (None: it leaves nothing to name)."""

    say: str
    fault: Fault
    named: bool | None


@dataclass(frozen=True, slots=True)
class Told:
    """What a rehearsal shows at its end: what was wrong, and how the engine really stands by barrel."""

    wrong: tuple[Wrong, ...]
    state: State
    speed: float
    gauge: tuple[float, ...]
    lambdas: tuple[float, ...]
    jets: tuple[float, ...]
    right_jet: float


class Rehearsal:
    """A session with hands at a virtual engine. Answer through `answer`, so that the engine follows."""

    def __init__(self, session: Session, specimen: Specimen, cold: bool = False) -> None:
        self.session, self.specimen = session, specimen
        self.hands = Hands(specimen.engine(cold))
        self._seq: int | None = None
        self._suggested: dict[str, Any] = {}
        self._raised: list[Finding] = []

    def suggest(self, view: View | None = None) -> dict[str, Any]:
        """What a technician who did this step would answer, as the line protocol writes it; the same when asked again.

        Readings are in their declared units. A `symptom` in place of readings: the engine stalled, hunts, spits back.
        """
        view = view or self.session.view
        if view.end is not None:
            return {}
        if self._seq != view.seq:
            self._seq, self._suggested = view.seq, self.hands.answer(step_message(view))
        return self._suggested

    def answer(self, answer: Answer) -> Reply:
        """Hand an answer to the session, after the step was done on the engine (with the moves it names, if others)."""
        view = self.session.view
        if view.end is None and not (answer.undo or answer.redo or answer.note or answer.suspend or answer.abandon):
            self._follow(view, answer)
        done = self._seq == view.seq
        reply = self.session.answer(answer)
        self._raised += reply.findings
        if done and answer.note and reply.recorded is not None:
            self._seq = self.session.view.seq        # a note leaves the step where it is: it was done already
        return reply

    def play(self) -> Reply:
        """Answer the step as suggested."""
        return self.answer(parse_answer(self.suggest()))

    def _follow(self, view: View, answer: Answer) -> None:
        """Do the step on the engine, if `suggest` has not; with the moves and parts that the answer names, if any."""
        if self._seq == view.seq:
            return
        step = step_message(view)
        if answer.moved is not None:
            at = {s.name: (s.acts, s.at) for s in view.screws}
            step["moves"] = [_as_move(m, at) for m in answer.moved]
        if answer.fitted is not None:
            step["fit"] = [_as_part(p) for p in answer.fitted]
        self._seq, self._suggested = view.seq, self.hands.answer(step)

    def tell(self) -> Told:
        """What was really wrong, and how the engine stands now. It leaves the engine running hot."""
        engine = self.hands.engine
        state = judged(engine)
        truth = engine.truth()
        wrong = tuple(Wrong(said(f, engine.per_carb), f, _named(engine, f, self._raised)) for f in self.specimen.faults)
        return Told(wrong, state, truth.speed, truth.gauge, truth.lambdas, truth.jets, truth.right_jet)


def _named(engine: Any, fault: Fault, raised: Sequence[Finding]) -> bool | None:
    """Whether the run named a fault; a jet is named by a finding on its place."""
    if "jet" in fault.kind:
        return any("jet" in f.code and (fault.carb is None or not f.where or any(
            p.carb == fault.carb and p.barrel in (None, fault.barrel) for p in f.where)) for f in raised)
    return names(engine, fault, raised) if fault.kind in NAMES else None


def said(fault: Fault, per_carb: int = 2) -> str:
    """A fault as a sentence: `Carb 2, barrel 1: air leaks in at the manifold joint (0.31 mm2).`"""
    kind = KINDS[fault.kind]
    place = "" if fault.carb is None else f"carb {fault.carb}"
    if fault.barrel is not None and per_carb > 1:
        place += f", barrel {fault.barrel}"
    number = f"{fault.size:+.2g}" if kind.either_way else f"{fault.size:.2g}"
    size = f" ({number} {kind.unit})" if kind.unit else ""
    text = f"{place}: {kind.says}{size}." if place else f"{kind.says}{size}."
    return text[0].upper() + text[1:]


def _as_move(move: Any, at: Mapping[str, tuple[str, str]]) -> dict[str, Any]:
    """A move as the line protocol writes it, from a `Move` or a mapping."""
    if isinstance(move, Mapping):
        name, found = str(move["screw"]), dict(move)
    else:
        name, aim = move.screw, move.aim
        found = {"screw": name, "carb": move.place.carb, "barrel": move.place.barrel, "direction": move.direction,
                 "turns": _float(move.turns), "position": _float(move.position),
                 "aim": None if aim is None else {"reading": aim.reading, "value": float(aim.value)}}
    acts, place = at.get(name, ("air", "plate"))
    return {"acts": acts, "on": place} | found


def _as_part(part: Any) -> dict[str, Any]:
    if isinstance(part, Mapping):
        return dict(part)
    return {"part": part.part, "carb": part.place.carb, "barrel": part.place.barrel, "size": float(part.size)}


def _float(value: Any) -> float | None:
    return None if value is None else float(value)
