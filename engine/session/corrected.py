"""A wrong fact of the job, found in the middle, put right: a run on the right facts takes the old one's place and goes
on from the last gate that does not rest on what was wrong. The old run stays as it was.

An answer is kept as long as the right facts lead to the same step, ask the same readings and the same moves. Advice is
asked anew. No screw is turned back: what hands did after the last answer that is kept is told to the run as turned and
fitted, so that it knows where everything stands.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from engine.book import codec
from engine.book.rows import Further
from engine.evidence import Move, Part
from engine.job.model import Job, LastVisit
from engine.quantity.units import from_base
from engine.quantity.wording import decimal
from engine.run.admit import asks
from engine.run.events import Event
from engine.run.layout import RunLayout, prepare
from engine.run.machine import begin, step
from engine.run.moves import asked, to_position
from engine.run.state import State, walk
from engine.session import session as sessions
from engine.session.consult import CantGoOn, Drift, Live
from engine.session.session import Session, led, states


class Correction(NamedTuple):
    """What a correction would do: the events that the new run begins with, `stay` of which are the old one's, and where
    it would stand; `again` answers are to be given again. Nothing is written yet.
    """

    facts: Mapping[str, Any]
    plan: RunLayout
    state: State
    started: Live
    first: State
    kept: tuple[Further, ...]
    stay: int
    again: int


def correction(session: Session, facts: Mapping[str, Any]) -> Correction:
    """Work out what corrected facts of the job (its whole engineering part) would keep of a run.

    Raises `NotForThisJob` where the procedure does not fit them, `ValidationError` where they are no facts.
    """
    old = session.plan
    job = Job.model_validate(dict(facts))
    if job.last_visit == LastVisit():  # a run knows it from the book, and keeps it
        job = job.model_copy(update={"last_visit": old.job.last_visit})
    plan = prepare(old.program, job, _shop(old), format=old.format)
    live = Live(session._advisers, job, plan.main.procedure.terms, session._then)
    state, _ = begin(plan, live)
    first, kept, reached = state, [], []
    bodies = [codec.body_of(e) for e in session.book.events(session.run)]
    stored = session.book.events(session.run)[1:]
    for before, body, event in zip(states(old, bodies), bodies[1:], stored, strict=False):
        if _gate(old, before) != _gate(plan, state):
            break
        asking = Live(session._advisers, job, plan.main.procedure.terms, session._then)
        try:
            after, _ = step(plan, state, codec.event_in(body), asking)
        except (CantGoOn, Drift, KeyError, ValueError, IndexError, RuntimeError):
            break
        out, words = codec.parted(sessions._body(codec.event_in(body), asking, after))
        kept.append(Further(event.key, out, words, sum(1 for _ in walk(after.past))))
        reached.append(state)
        state = after
    while kept and _differs(session.state, state) and asked(plan, state._replace(made=None))[1]:
        # Parts are to be fitted here, and others were since: they are asked for again one answer earlier.
        kept.pop()
        state = reached.pop()
    answers = len(kept)
    for tells in (_struck_since, _hands_since):
        if (told := tells(plan, session.state, state)) is not None:
            told = told._replace(at=session._clock(), by=session.by)
            asking = Live(session._advisers, job, plan.main.procedure.terms, session._then)
            state, _ = step(plan, state, told, asking)
            out, words = codec.parted(sessions._body(told, asking, state))
            kept.append(Further(None, out, words, sum(1 for _ in walk(state.past))))
    again = sum(1 for _ in walk(session.state.past)) - sum(1 for _ in walk(state.past))
    return Correction(dict(facts), plan, state, live, first, tuple(kept), answers, max(0, again))


def _struck_since(plan: RunLayout, old: State, state: State) -> Event | None:
    """The striking of the earliest answer that is kept and was struck later; None where all that is kept stands."""
    stand = {past.seq for past in walk(old.past)}
    struck = [past.seq for past in walk(state.past) if past.seq not in stand]
    return Event("strike", text=str(min(struck))) if struck else None


def _differs(old: State, state: State) -> bool:
    return (old.world.positions, old.world.parts) != (state.world.positions, state.world.parts)


def _hands_since(plan: RunLayout, old: State, state: State) -> Event | None:
    """What hands did in the run as it was, beyond what is kept of it, as an event that tells it; None for nothing.

    A screw that the step in force brings to a position has no count after it, so that it is asked for again.
    """
    if not _differs(old, state):
        return None
    bare = state._replace(frame=state.frame._replace(advice=()), made=None)
    due = {(move.screw, move.place) for move in asked(plan, bare)[0] if move.position is not None}
    stood, stands = state.world.positions, old.world.positions
    moved = []
    for screw, place in dict.fromkeys((*stands, *due)):
        before, now = stood.get((screw, place)), stands.get((screw, place))
        if (screw, place) in due or (before != now and now is None):
            moved.append(Move(screw, place, "out", plan.screws[screw].outward))
        elif before != now and (move := to_position(plan.screws[screw], place, before, now)) is not None:
            moved.append(move)
    fitted = [Part(n, at, size) for (n, at), size in old.world.parts.items() if state.world.parts.get((n, at)) != size]
    return Event("moved" if moved else "fitted", moved=tuple(moved) or None, fitted=tuple(fitted) or None)


def correct(session: Session, found: Correction) -> Session:
    """Write a correction: the job's facts, and the run that takes this one's place, in one go. The new run, open."""
    book, number = session.book, session.job_number
    at = session._clock()
    texts, body = sessions._started(found.plan, number, found.started, found.first, session.started_at)
    body |= {"corrects": session.run, "corrected": at}
    main = found.plan.main.procedure
    run = book.begin(
        number,
        found.plan.program.main,
        main.title,
        session.started_at,
        texts,
        *sessions.sealed_start(book, number, body),
        instead=session.run,
        further=found.kept,
        facts=(found.facts, at),
    )
    return Session(
        run, number, found.plan, found.state, book, session._advisers, session._clock, session.started_at, session._then
    )


def _gate(plan: RunLayout, state: State) -> Any:
    """What a step asks: where it is, its readings and their places, its moves and parts."""
    here = state.frame.here
    reads = tuple(
        (r.name, plan.bank.places(r.reading.type.each, here) if r.reading.type.each else ()) for r in asks(plan, state)
    )
    return led(state), reads, asked(plan, state)


def _shop(plan: RunLayout) -> dict[str, str]:
    """The settings that the shop gave at the start, as the shop's file would give them; the rest is worked out anew."""
    found = {}
    for file, row in plan.settings.items():
        declared = plan.files[file].procedure.settings
        for name, setting in row.items():
            if setting.origin == "shop":
                unit = declared[name].type.unit
                value = from_base(setting.value, unit) if unit else setting.value
                found[f"{file}.{name}"] = f"{decimal(value)} {unit or ''}".strip()
    return found
