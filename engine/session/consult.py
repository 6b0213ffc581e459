"""Asks the advisers for a run, brings their answers to exact numbers, and plays stored answers back; it advises
nothing itself.

An adviser's floats are rounded once, here, to the nearest millionth of the base unit; from there on all is exact.
Numbers are kept within the closed range that the adviser declares, so that what the checks proved of it holds in
every run. Its texts name places as `carb 2 barrel 1`; they are put into the family's words here, once.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from engine.contract import Adviser, Registry
from engine.evidence import Advice, Aim, Because, Move, Part, Suggest
from engine.job.model import Job
from engine.procedure.language.expr import Type
from engine.quantity.exact import grained
from engine.run.advice import Request


class AdviserBroken(RuntimeError):
    """An adviser broke its contract; the message says which and how."""


class Drift(RuntimeError):
    """A stored run, folded again, does not lead where it led when it was made; the message says at which event."""


class Live:
    """Asks the registry. `given` collects what was advised, by name, to be stored with the event; `terms` are the
    family's words for carb and barrel.
    """

    def __init__(self, registry: Registry, job: Job, terms: Mapping[str, str] | None = None) -> None:
        self.registry, self.job, self.terms = registry, job, terms or {}
        self.given: list[tuple[str, Advice]] = []

    def __call__(self, request: Request) -> Advice:
        """The advice to a request. Raises `AdviserBroken`."""
        adviser = self.registry.get(request.adviser)
        if adviser is None:
            raise AdviserBroken(f"There is no adviser '{request.adviser}' in this program.")
        advice = sealed(adviser, adviser.run(self.job, request.inputs(), request.evidence()))
        advice = worded(advice, self.terms, self.job.bank.barrels_per_carb)
        self.given.append((request.name, advice))
        return advice


class Stored:
    """Plays back what was advised with one event, in order."""

    def __init__(self, given: Iterable[tuple[str, Advice]], seq: int) -> None:
        self._given, self._seq = list(given), seq

    def __call__(self, request: Request) -> Advice:
        """The stored advice to a request. Raises `Drift` where another was asked for then."""
        if not self._given or self._given[0][0] != request.name or self._given[0][1].adviser != request.adviser:
            raise Drift(
                f"Event {self._seq} asks '{request.adviser}' for '{request.name}', which it did not do when it "
                "was recorded."
            )
        return self._given.pop(0)[1]

    def spent(self) -> None:
        """Raise `Drift` where advice was stored that nobody asked for now."""
        if self._given:
            raise Drift(
                f"Event {self._seq} no longer asks '{self._given[0][1].adviser}', which it did when it was recorded."
            )


def sealed(adviser: Adviser, advice: Advice) -> Advice:
    """An advice with every declared output there, of its kind and in its range, and every number exact."""
    outputs = {}
    for name, output in adviser.outputs.items():
        if name not in advice.outputs:
            raise AdviserBroken(f"Adviser '{adviser.name}' does not answer '{name}'.")
        outputs[name] = _row(adviser, name, output.type, advice.outputs[name])
    return replace(
        advice,
        adviser=adviser.name,
        version=adviser.version,
        outputs=outputs,
        moves=tuple(_move(m) for m in advice.moves),
        parts=tuple(Part(p.part, p.place, grained(p.size)) for p in advice.parts),
        findings=tuple(replace(f, suggest=_suggest(f.suggest)) for f in advice.findings),
        expect={k: tuple(None if v is None else grained(v) for v in row) for k, row in advice.expect.items()},
    )


_PLACE = re.compile(r"(^|(?<=[.:!?] ))?\bcarb (\d+)(?: barrel (\d+))?\b")


def worded(advice: Advice, terms: Mapping[str, str], barrels: int) -> Advice:
    """The same advice, the places in its texts in the family's words: `body 2, barrel 1`; a body with one of `barrels`
    is named alone.
    """
    carb, barrel = terms.get("carb", "carb"), terms.get("barrel", "barrel")

    def said(found: re.Match[str]) -> str:
        text = f"{carb} {found[2]}" + (f", {barrel} {found[3]}" if found[3] and barrels > 1 else "")
        return text[0].upper() + text[1:] if found[1] is not None else text

    def put(text: str) -> str:
        return _PLACE.sub(said, text)

    b = advice.because
    return replace(
        advice,
        findings=tuple(replace(f, say=put(f.say), do=put(f.do)) for f in advice.findings),
        because=b and Because(put(b.used), put(b.concluded), put(b.sure), put(b.would_change)),
    )


def _row(adviser: Adviser, name: str, kind: Type, value: Any) -> Any:
    if kind.each is not None and isinstance(value, tuple | list):
        return tuple(None if v is None else _one(adviser, name, kind, v) for v in value)
    return _one(adviser, name, kind, value)


def _one(adviser: Adviser, name: str, kind: Type, value: Any) -> Any:
    if kind.kind == "number" and not isinstance(value, bool | str) and value is not None:
        try:
            number = grained(value)
        except ValueError as fault:
            raise AdviserBroken(f"Adviser '{adviser.name}' answers '{name}': {fault}.") from None
        number = number if kind.high is None else min(number, kind.high)
        return number if kind.low is None else max(number, kind.low)
    if kind.kind == "choice" and value in kind.choices:
        return value
    if kind.kind == "bool" and isinstance(value, bool):
        return value
    raise AdviserBroken(f"Adviser '{adviser.name}' answers '{name}' with {value!r}, which it does not declare.")


def _move(move: Move) -> Move:
    aim = move.aim
    return replace(
        move,
        turns=_maybe(move.turns),
        position=_maybe(move.position),
        aim=None if aim is None else Aim(aim.reading, grained(aim.value), aim.place),
    )


def _maybe(value: Any) -> Fraction | None:
    return None if value is None else grained(value)


def _suggest(suggest: Suggest | None) -> Suggest | None:
    return None if suggest is None else Suggest(suggest.part, _maybe(suggest.old), grained(suggest.new))
