"""Asks the advisers for a run, brings their answers to exact numbers, and plays stored answers back; it advises
nothing itself.

An adviser's floats are rounded once, here, to the nearest millionth of the base unit; from there on all is exact.
Numbers are kept within the closed range that the adviser declares, so that what the checks proved of it holds in
every run. What it found is put into the family's words here, once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from engine.contract import Adviser, Registry
from engine.evidence import Advice, Aim, Because, Finding, Move, Suggest
from engine.job.model import Job
from engine.judgement import Found, Judged, Reasons
from engine.procedure.language.expr import Type
from engine.procedure.program import Program
from engine.quantity.exact import grained
from engine.run.advice import Request
from engine.session.contracts import decides_on
from engine.wording import Said, Words, put


class AdviserBroken(RuntimeError):
    """An adviser broke its contract; the message says which and how."""


class Drift(RuntimeError):
    """A stored run, folded again, does not lead where it led when it was made; the message says at which event."""


class CantGoOn(RuntimeError):
    """Today's adviser can't answer as a run's procedure was written for; the message says why, as a clause."""


@dataclass(frozen=True)
class OfThen:
    """What a stored run was written against: its program, and the contracts that its advisers had then."""

    program: Program
    contracts: Registry

    def answered(self, advice: Advice) -> Advice:
        """An advice of today as an answer of then: its numbers in the ranges of then, its words among those of then.

        Raises `CantGoOn` where the program decides on what is not answered any more, or on a word that it doesn't know.
        """
        then = self.contracts.get(advice.adviser)
        if then is None:
            return advice
        outputs = dict(advice.outputs)
        for name, output in then.outputs.items():
            try:
                if name not in outputs:
                    raise AdviserBroken
                outputs[name] = _row(then, name, output.type, outputs[name])
            except AdviserBroken:
                if name in decides_on(self.program, then.name):
                    raise CantGoOn(_otherwise(then.name, name, advice.outputs)) from None
        return replace(advice, outputs=outputs)


def _otherwise(adviser: str, output: str, answered: Mapping[str, Any]) -> str:
    if output not in answered:
        return f"its adviser '{adviser}' no longer tells '{output}', on which the run's procedure decides"
    return (
        f"its adviser '{adviser}' now answers '{output}' with '{answered[output]}', which the run's procedure does not "
        "know"
    )


class Live:
    """Asks the registry. `given` collects what was advised, by name, to be stored with the event; `terms` are the
    family's words for carb and barrel; `then` is there for a run that was stored.
    """

    def __init__(
        self, registry: Registry, job: Job, terms: Mapping[str, str] | None = None, then: OfThen | None = None
    ) -> None:
        self.registry, self.job, self.terms, self.then = registry, job, terms or {}, then
        self.given: list[tuple[str, Advice]] = []

    def __call__(self, request: Request) -> Advice:
        """The advice to a request. Raises `AdviserBroken`, or `CantGoOn` in a run that was stored."""
        adviser = self.registry.get(request.adviser)
        if adviser is None:
            raise CantGoOn(f"there is no adviser '{request.adviser}' in it")
        inputs = request.inputs()
        given = {"reading": inputs.readings, "screw": inputs.screws, "value": inputs.values}
        lacks = [n for n, i in adviser.inputs.items() if not i.optional and n not in given[i.kind]]
        if lacks:
            raise CantGoOn(
                f"its adviser '{adviser.name}' now needs '{lacks[0]}', which the run's procedure does not give"
            )
        judged = adviser.run(self.job, inputs, request.evidence())
        advice = sealed(adviser, worded(adviser, judged, Words(self.terms, self.job.bank.barrels_per_carb)))
        if self.then is not None:
            advice = self.then.answered(advice)
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
        outputs=outputs,
        moves=tuple(_move(m) for m in advice.moves),
        parts=tuple(replace(p, size=grained(p.size)) for p in advice.parts),
        findings=tuple(replace(f, suggest=_suggest(f.suggest)) for f in advice.findings),
        expect={k: tuple(None if v is None else grained(v) for v in row) for k, row in advice.expect.items()},
    )


def worded(adviser: Adviser, judged: Judged, words: Words) -> Advice:
    """A judgement as advice: its findings graved by the contract and said by the catalogue, all in the family's words.

    Raises `AdviserBroken` where it finds what it does not declare, or nothing says.
    """
    why = judged.because
    findings = tuple(_finding(adviser, f, words) for f in judged.findings)
    return Advice(
        adviser.name,
        adviser.version,
        judged.outputs,
        judged.moves,
        judged.parts,
        findings,
        judged.expect,
        None if why is None else _because(adviser, why, words),
    )


def _because(adviser: Adviser, why: Reasons, words: Words) -> Because:
    told = why.concluded
    concluded = _finding(adviser, told, words).say if isinstance(told, Found) else put(told, words)
    return Because(put(why.used, words), concluded, put(why.sure, words), put(why.would_change, words))


def _finding(adviser: Adviser, found: Found, words: Words) -> Finding:
    declared = adviser.findings.get(found.code)
    if declared is None:
        raise AdviserBroken(f"Adviser '{adviser.name}' finds '{found.code}', which it does not declare.")
    try:
        sentence = adviser.sentences()[found.code][found.way]
        say, do = (put(Said(text, found.figures), words) for text in (sentence.say, sentence.do))
    except KeyError as lacks:
        raise AdviserBroken(
            f"Nothing says the finding '{found.code}' ({found.way}) of adviser '{adviser.name}': {lacks} is missing."
        ) from None
    return Finding(found.code, declared.severity, found.where, say, do, found.suggest, found.sureness, each=found.each)


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
