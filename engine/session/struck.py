"""Answers that were struck: which would be, before it is done, and which were, for whoever prints a record; it strikes
nothing.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from engine.book import codec
from engine.run.layout import RunLayout
from engine.run.state import Past, State, walk
from engine.session.session import Session, states
from engine.session.shown import mark
from engine.session.view import TrailMark


class Struck(NamedTuple):
    """An answer that stands no more: what it was, and the number and time of the event that struck it."""

    answer: TrailMark
    by: int
    at: str


def would_strike(session: Session, seq: int) -> tuple[TrailMark, ...]:
    """What would be struck with an answer: it and all that followed, oldest first; empty where it does not stand."""
    found: list[TrailMark] = []
    for past in walk(session.state.past):
        found.append(mark(past))
        if past.seq == seq:
            return tuple(found[::-1])
    return ()


def struck(session: Session) -> tuple[Struck, ...]:
    """Every answer of a run that was struck and not taken up again, in the order of the answers."""
    bodies = [codec.body_of(e) for e in session.book.events(session.run)]
    return struck_in(session.plan, bodies)


def struck_in(plan: RunLayout, bodies: list[dict[str, Any]]) -> tuple[Struck, ...]:
    """As `struck`, of the bodies of a run."""
    if not any(b["kind"] in ("undo", "strike") for b in bodies):
        return ()
    found: dict[int, Struck] = {}
    before: State | None = None
    for seq, (body, state) in enumerate(zip(bodies, states(plan, bodies), strict=True)):
        stand = {p.seq for p in walk(state.past)}
        if before is not None and body["kind"] in ("undo", "strike"):
            gone: list[Past] = [p for p in walk(before.past) if p.seq not in stand]
            found.update((p.seq, Struck(mark(p), seq, body["at"])) for p in gone)
        for again in stand & found.keys():
            del found[again]
        before = state
    return tuple(found[n] for n in sorted(found))
