"""That no ok end simply follows a stop: the run offers a gate there, and only "go on knowingly" passes it; it
follows no path that asks anything.

A finding with the severity stop is met by the run at once: mended now and read again, the run ends here, or the
technician goes on knowingly. Where it leads straight to an end that says ok, with nothing asked between, that word is
the wrong one: the run ends stopped. A finding with a condition apart from the way on is left to the gate. A file that
others call may end so, since its end is no run's; then those that call it are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from engine.contract import Registry
from engine.procedure.check.guards.formulas import Formula, TooComplex, conjunction, negation
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import NEXT, stops_at
from engine.procedure.check.ways.flow import Found, given_by, possible
from engine.procedure.program import Advise, Branch, Call, End, Step
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop that may stand: its code, the adviser that found it (else ""), where it is said, the file that it is
    of (else "")."""

    code: str
    adviser: str
    span: Span
    file: str = ""

    def __str__(self) -> str:
        of = f" of `{self.adviser}`" if self.adviser else ""
        return f"The stop '{self.code}'{of}" + (f" in `{self.file}`" if self.file else "")


#: The stops that lead straight to an end of a file, by that end.
Over = Mapping[str, tuple[Stop, ...]]


def over(study: Study, found: Found, advisers: Registry, called: Mapping[str, Over]) -> Over:
    """The ends of a file that stops lead straight to, its own, its advisers' and those of the files that it calls."""
    ends: dict[str, dict[Stop, None]] = {}
    for name, step in study.procedure.steps.items():
        if found.here[name].reach:
            for stop, end in _Follow(study, found, step, advisers, called).stops():
                ends.setdefault(end, {})[stop] = None
    return {end: tuple(stops) for end, stops in ends.items()}


def problems(study: Study, known: Over) -> Iterator[Problem]:
    """Stops that lead straight to an ok end of the file that a run begins with."""
    told: set[Stop] = set()
    for end, stops in known.items() if study.procedure.name == study.program.main else ():
        way = study.procedure.steps[end].way
        for stop in stops if isinstance(way, End) and way.outcome == "ok" else ():
            if stop not in told:
                told.add(stop)
                yield Problem(
                    "ok-over-stop",
                    study.path,
                    stop.span,
                    f"{stop} leads straight to '{end}', which says ok.",
                    "A run can't end ok while a stop stands: past it one only goes on knowingly, and it ends stopped.",
                    "Lead to a step with `end: stopped` or `failed`, or to one that reads again and clears it.",
                )


def unsaid(study: Study, found: Found, advisers: Registry) -> Iterator[Problem]:
    """Words for a stop at a step where none can come: neither there, nor in what it leads to without asking."""
    for name, step in study.procedure.steps.items():
        if step.on_stop is None or isinstance(step.way, Call):
            continue
        seen, queue = {name}, [name]
        while queue:
            for edge in found.edges.out[queue.pop()]:
                if edge.target not in seen and study.procedure.steps[edge.target].silent:
                    seen.add(edge.target)
                    queue.append(edge.target)
        if not any(stops_at(study.procedure.steps[s], advisers) for s in seen):
            yield Problem(
                "idle-on-stop",
                study.path,
                step.spans.get("on_stop", step.span),
                f"'{name}' words a stop, and nothing is found there with `severity: stop`.",
                "Perhaps the finding was to be one, and the technician is let go on without a word.",
                "Give the finding `severity: stop`, or delete `on_stop`.",
                "warning",
            )


class _Follow:
    """What is found at one step, followed along ways that ask nothing."""

    def __init__(self, study: Study, found: Found, step: Step, advisers: Registry, called: Mapping[str, Over]) -> None:
        self.study, self.found, self.step, self.advisers, self.called = study, found, step, advisers, called

    def stops(self) -> Iterator[tuple[Stop, str]]:
        """Every stop that may be found at the step, with each end that it leads straight to."""
        step = self.step
        for spec in step.findings:
            if spec.severity == "stop" and spec.when is None and spec.where is None:
                yield from self.on(Stop(spec.code, "", spec.span), True)
        for i, branch in enumerate(step.way) if isinstance(step.way, tuple) else ():
            for spec in branch.findings:
                if spec.severity == "stop" and spec.when is None:
                    told = self.taken(step.way, i, True)  # type: ignore[arg-type]
                    yield from self.along(Stop(spec.code, "", spec.span), branch.go, told, frozenset(), ())
        for advise in step.advise:
            for code, told in self.advised(advise):
                yield from self.on(Stop(code, advise.adviser, step.span), told)
        if isinstance(step.way, Call):
            for end, stops in self.called.get(step.way.file, {}).items():
                target = step.way.ends.get(end, end)
                span = step.way.ends_span.get(end, step.way.span)
                for stop in stops:
                    stop = replace(stop, file=stop.file or step.way.file, span=span)
                    yield from self.along(stop, step.way.go if target == NEXT else target, True, frozenset(), ())

    def on(self, stop: Stop, told: Formula) -> Iterator[tuple[Stop, str]]:
        """The ends that a stop leads to from this step, where `told` holds."""
        if isinstance(self.step.way, tuple):
            for i, branch in enumerate(self.step.way):
                at = replace(stop, span=branch.span) if stop.adviser else stop
                yield from self.along(at, branch.go, self.taken(self.step.way, i, told), frozenset(), ())
        elif isinstance(self.step.way, str):
            yield from self.along(stop, self.step.way, told, frozenset(), ())
        elif isinstance(self.step.way, End) and self.may_be(told):
            yield stop, self.step.name

    def along(
        self, stop: Stop, way: object, told: Formula, given: frozenset[str], seen: tuple[str, ...]
    ) -> Iterator[tuple[Stop, str]]:
        """The ends that a way leads to with nothing asked, if the finding still stands and `told` may hold; an
        adviser's own goes when it is asked again. `given` are names that changed on the way."""
        if not isinstance(way, str) or way not in self.study.procedure.steps or way in seen or not self.may_be(told):
            return
        step = self.study.procedure.steps[way]
        asked = any(a.adviser == stop.adviser for a in step.advise)
        if (stop.code in step.clear and not stop.adviser) or asked or not step.silent:
            return
        given |= frozenset(given_by(step, self.advisers, self.study.program.files))
        if isinstance(step.way, End):
            yield stop, way
        elif isinstance(step.way, str):
            yield from self.along(stop, step.way, told, given, (*seen, way))
        elif isinstance(step.way, tuple) and not any(b.when and b.when.uses & given for b in step.way):
            for i, branch in enumerate(step.way):
                yield from self.along(stop, branch.go, self.taken(step.way, i, told), given, (*seen, way))

    def may_be(self, told: Formula) -> bool:
        return told is not False and possible(self.study, self.found.carried, told, self.found.answered(self.step))

    def taken(self, branches: tuple[Branch, ...], i: int, told: Formula) -> Formula:
        """`told`, and that a branch is taken; nothing, where that is too complex to tell."""
        try:
            before = [negation(self.study.formula(b.when)) for b in branches[:i]]
            return conjunction([told, *before, self.study.formula(branches[i].when)])
        except TooComplex:
            return False

    def advised(self, advise: Advise) -> Iterator[tuple[str, Formula]]:
        """The stops that an adviser may find, each with what it then says."""
        adviser = self.advisers.get(advise.adviser)
        for code, raised in adviser.findings.items() if adviser is not None else ():
            if raised.severity == "stop":
                output, word = raised.told or ("", "")
                axis = ("c", f"{advise.name}.{output}")
                known = word in self.study.normal.choices.get(axis, ())
                yield code, ("enum", axis, frozenset({word}), True) if known else True
