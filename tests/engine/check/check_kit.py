"""Guards and one-step procedures built by hand, without YAML: what the proofs are tested on before any file is."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from engine.procedure.check.guards import coverage
from engine.procedure.check.guards.study import Study
from engine.procedure.check.guards.witness import Words
from engine.procedure.language.compile import compile_node
from engine.procedure.language.expr import Type
from engine.procedure.language.parser import parse
from engine.procedure.language.resolve import Scope, resolve
from engine.procedure.program import (
    Branch,
    End,
    Fact,
    Guard,
    Layout,
    Procedure,
    Program,
    Reading,
    Step,
    Template,
    Value,
)
from engine.procedure.source.spans import Source, Span

F = Fraction


def number(low: Any, high: Any, *, each: str | None = None, holes: bool = False, unit: str = "L/min") -> Type:
    """A number or row of numbers in its base unit."""
    return Type("number", "volume flow" if unit else "number", unit or None, F(low), F(high), each=each, holes=holes)


def choice(*choices: str, each: str | None = None, holes: bool = False) -> Type:
    """A choice or row of choices."""
    return Type("choice", choices=choices, each=each, holes=holes)


TRUTH = Type("bool")


class Kit:
    """Names and their types; `guard` makes a guard over them, `procedure` a file with one branching step."""

    def __init__(
        self,
        names: Mapping[str, Type],
        *,
        facts: Mapping[str, Type] | None = None,
        values: Mapping[str, str] | None = None,
        carbs: tuple[int, int] = (2, 4),
        barrels: tuple[int, int] = (1, 1),
        screws: Mapping[str, Type] | None = None,
        steps: Mapping[str, Fraction] | None = None,
        over: frozenset[str] = frozenset(),
    ) -> None:
        self.names, self.facts = dict(names), dict(facts or {})
        self.types = {**self.names, **self.facts}
        self.screws, self.steps = dict(screws or {}), dict(steps or {})
        self.carbs, self.barrels = carbs, barrels
        most = {"carb": carbs[1], "barrel": carbs[1] * barrels[1], "gap": carbs[1] - 1, "cylinder": 16}
        empty = ("gap",) if carbs[0] == 1 else ()
        self.scope = Scope(self.types.get, lambda: list(self.types), self.screws, most, over, empty)
        self.values: dict[str, Value] = {}
        self._runs: dict[str, Any] = {}
        for name, text in (values or {}).items():
            guard = self.guard(text)
            self.values[name] = Value(name, guard, guard.type.unit, guard.span)
            self.types[name] = guard.type
            self._runs[name] = guard.run

    def guard(self, text: str, line: int = 1) -> Guard:
        """A guard of this text, typed and compiled."""
        node = resolve(parse(text), self.scope)
        span = Span(line, 1, line, 1 + len(text))
        return Guard(text, span, node, node.type, compile_node(node, self._runs, self.barrels[1]))

    def procedure(self, guards: list[str], *, otherwise: bool = False, exclusive: bool = False) -> Procedure:
        """A file whose one gate branches on these guards, each to an end of its own."""
        branches = [
            Branch(self.guard(t, i + 1), f"end{i}", "", (), Span(i + 1, 1, i + 1, 9)) for i, t in enumerate(guards)
        ]
        if otherwise:
            branches.append(Branch(None, "rest", "", (), Span(len(guards) + 1, 1, len(guards) + 1, 9)))
        at = Span(1, 1, 1, 2)
        steps = {"gate": Step("gate", "Gate", at, tuple(branches), exclusive=exclusive)}
        for b in branches:
            steps[b.go] = Step(b.go, b.go, at, End("ok", Template("", at, ()), at))
        readings = {
            n: Reading(n, n, "", "other", t, self.steps.get(n), None, None, None, None, at, rounds=True)
            for n, t in self.names.items()
        }
        facts = {n: Fact(n, f"bank.{n}", t, None, at) for n, t in self.facts.items()}
        return Procedure(
            Source("kit", "kit.yaml", ""),
            "kit",
            "Kit",
            1,
            Layout((), self.carbs, self.barrels),
            (),
            {},
            {},
            facts,
            {},
            {},
            readings,
            {},
            self.values,
            {},
            "gate",
            steps,
        )

    def ways(self, guards: list[str], **how: Any) -> tuple[Study, coverage.Ways]:
        """The regions of those branches."""
        procedure = self.procedure(guards, **how)
        study = Study(Program("kit", {"kit": procedure}, ""), procedure)
        return study, coverage.ways(study, procedure.steps["gate"])

    def problems(self, guards: list[str], **how: Any) -> list[Any]:
        """What the coverage proofs say of those branches."""
        study, found = self.ways(guards, **how)
        return list(
            coverage.problems(
                study, found, [found.space.full] if found.space else [], (), Words(study.procedure, study.normal)
            )
        )

    def codes(self, guards: list[str], **how: Any) -> list[str]:
        """The codes alone."""
        return [p.code for p in self.problems(guards, **how)]
