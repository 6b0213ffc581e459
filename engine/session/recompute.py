"""For the developer: asks today's advisers again along a stored run and says where they would answer otherwise.

    python -m engine.recompute BOOK RUN

It changes nothing: a run goes on from the advice that was given then, whatever is advised now.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from engine.book import codec
from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.contract import Registry
from engine.evidence import Advice
from engine.run.advice import Request
from engine.run.machine import begin, step
from engine.session.consult import Live, OfThen, Stored
from engine.session.reopen import plan_of


@dataclass(frozen=True, slots=True)
class Difference:
    """One advice that would be another today: what was given then, and now (a text where today's adviser fails)."""

    seq: int
    name: str
    adviser: str
    then: Advice
    now: Advice | str

    def __str__(self) -> str:
        said = self.now if isinstance(self.now, str) else f"{_short(self.now)} (version {self.now.version})"
        return (
            f"event {self.seq}: {self.adviser} for '{self.name}': {_short(self.then)} (version "
            f"{self.then.version}), now {said}"
        )


def _short(advice: Advice) -> str:
    outputs = ", ".join(
        f"{k} {float(v):g}" if isinstance(v, Fraction) else f"{k} {v}" for k, v in advice.outputs.items()
    )
    return f"{outputs}; {len(advice.moves)} moves, {len(advice.findings)} findings"


class _Both:
    """Answers with the stored advice, and asks the live adviser beside it."""

    def __init__(self, stored: Stored, live: Live, seq: int) -> None:
        self.stored, self.live, self.seq = stored, live, seq
        self.differences: list[Difference] = []

    def __call__(self, request: Request) -> Advice:
        then = self.stored(request)
        now: Advice | str
        try:
            now = self.live(request)
        except Exception as fault:
            now = f"{type(fault).__name__}: {fault}"
        if isinstance(now, str) or _told(now) != _told(then):
            self.differences.append(Difference(self.seq, request.name, request.adviser, then, now))
        return then


def _told(advice: Advice) -> Any:
    """What of an advice guides a run; its version and its reasons don't."""
    return advice.outputs, advice.moves, advice.parts, advice.findings


def differences(book: Book, run: str, advisers: Registry) -> list[Difference]:
    """Every advice of a run that today's advisers would give otherwise, in order."""
    bodies = [codec.body_of(e) for e in book.events(run)]
    plan, contracts = plan_of(book, bodies[0])
    live = Live(advisers, plan.job, plan.main.procedure.terms, OfThen(plan.program, contracts))
    found: list[Difference] = []
    state: Any = None
    for seq, body in enumerate(bodies):
        both = _Both(Stored([codec.advice_in(a) for a in body.get("advice", ())], seq), live, seq)
        state, _ = begin(plan, both) if seq == 0 else step(plan, state, codec.event_in(body), both)
        found += both.differences
    return found


if __name__ == "__main__":
    _book = Book.open(sys.argv[1], reading=True)
    _found = differences(_book, sys.argv[2], shipped())
    print("\n".join(map(str, _found)) or "Every advice would be the same today.")
