"""The names of one file and what they are worth: facts, settings, readings, values, kept values, advice, results.

It gives guards their scope. A name has one meaning in a file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any, cast

from engine.contract import Registry
from engine.job.model import MOST_CYLINDERS
from engine.procedure.build import declarations, gear, vocabulary
from engine.procedure.build.derived import Derived
from engine.procedure.build.making import Maker
from engine.procedure.language.expr import Type
from engine.procedure.language.resolve import Reported, Scope
from engine.procedure.model.file import ProcedurePart
from engine.procedure.model.steps import AdvisePart, PlacePart
from engine.procedure.program import Fact, Here, Layout, Parameter, Procedure, Reading, Screw, Setting
from engine.procedure.source.tree import Scalar
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary


class Symbols:
    """All names of a file. `called` are the files that it calls, by name, as far as they are sound."""

    def __init__(
        self,
        part: ProcedurePart,
        path: str,
        registry: Registry,
        called: Mapping[str, Procedure | None],
        known: Vocabulary = SHIPPED,
        judged: bool = True,
    ) -> None:
        self.part, self.registry, self.called = part, registry, called
        here = cast(Here, str(part.here)) if part.here is not None else None
        self.make = Maker(path, Scope(self.type_of, self.names, {}, {}), here=here, judged=judged)
        make = self.make
        make.words = {name: text for name, text in part.words.items()}
        make.vocabulary = vocabulary.declared(make, part.declares, known)
        self.layout: Layout = declarations.layout(make, part.layout)
        carbs, each = self.layout.carbs[1], self.layout.barrels_per_carb
        make.per_carb = each[0] if each[0] == each[1] else None
        self.facts: dict[str, Fact | None] = {
            n: declarations.fact(make, n, p, self.layout) for n, p in part.facts.items()
        }
        self.settings: dict[str, Setting | None] = {
            n: declarations.setting(make, n, p, self.facts) for n, p in part.settings.items()
        }
        self.parameters: dict[str, Parameter | None] = {
            n: declarations.parameter(make, n, p) for n, p in part.parameters.items()
        }
        self.readings: dict[str, Reading | None] = {
            n: gear.reading(make, n, p, self.layout) for n, p in part.readings.items()
        }
        self.screws: dict[str, Screw | None] = {n: gear.screw(make, n, p) for n, p in part.screws.items()}
        self.derived = Derived(part, make)
        self.advice: dict[str, list[AdvisePart]] = {}
        self.results: dict[str, tuple[str, Here | None]] = {}
        self._gather()
        self._one_meaning()
        self._lacking()
        make.scope = Scope(
            self.type_of,
            self.names,
            {n: gear.position_type(make, s) for n, s in self.screws.items() if s is not None},
            {
                "carb": carbs,
                "barrel": (carbs if here is None else 1) * each[1],
                "gap": max(carbs - 1, 1),
                "cylinder": MOST_CYLINDERS,
            },
            frozenset(n for n, r in self.readings.items() if r is not None and r.over_range),
            ("gap",) if here is not None or self.layout.carbs[0] == 1 else (),
        )
        self.derived.settle()

    def place(self, part: PlacePart) -> tuple[int, int | None] | None:
        """A place of the bank."""
        return gear.place(self.make, part, self.layout)

    def names(self) -> Iterator[str]:
        """Everything that a guard may name, for hints."""
        tables = (self.facts, self.settings, self.parameters, self.readings, self.part.values, self.derived.kept)
        yield from (n for table in tables for n in table)
        for name, parts in self.advice.items():
            adviser = self.registry.get(parts[0].adviser)
            yield from (f"{name}.{o}" for o in (adviser.outputs if adviser else ()))
        for name, (file, _) in self.results.items():
            callee = self.called.get(file)
            yield from (f"{name}.{g}" for g in (callee.gives if callee else ()))

    def type_of(self, name: str) -> Type | None:
        """The type of a name; None where nobody declares it, `Reported` where its declaration has a fault."""
        for table in (self.facts, self.settings, self.parameters, self.readings):
            if name in table:
                return self._sound(table[name])
        derived = self.derived.type_of(name)
        if derived is not None:
            return derived
        head, _, tail = name.partition(".")
        if head in self.advice:
            return self._output(head, tail)
        if head in self.results:
            return self._result(head, tail)
        if any(self.spoilt(s, name) for s in ("facts", "settings", "parameters", "readings", "values", "screws")):
            raise Reported
        return None

    def _sound(self, entry: Any) -> Type:
        if entry is None:
            raise Reported
        kind: Type = entry.type
        return kind

    def spoilt(self, section: str, name: str) -> bool:
        """Whether a declaration was taken out of a section because of a fault of its own, which has been reported."""
        root = self.part._map
        return section in root.lost or name in getattr(root.get(section), "lost", ())

    def _output(self, name: str, output: str) -> Type | None:
        adviser = self.registry.get(self.advice[name][0].adviser)
        if adviser is None:
            raise Reported
        found = adviser.outputs.get(output)
        return found.type if found else None

    def _result(self, name: str, result: str) -> Type | None:
        file, each = self.results[name]
        callee = self.called.get(file)
        if callee is None:
            raise Reported
        given = callee.gives.get(result)
        if given is None:
            return None
        return given.type if each is None else replace(given.type, each=each, holes=True)

    def _gather(self) -> None:
        for step in self.part.steps.values():
            for advise in step.advise:
                self.advice.setdefault(advise.name, []).append(advise)
            if step.name is not None and step.call is not None:
                each = cast(Here, str(step.each)) if step.each is not None else None
                result = self.results.setdefault(step.name, (str(step.call), each))
                if result != (str(step.call), each):
                    self.make.fault(
                        "name-used-twice",
                        step.name.span,
                        f"`{step.name}` is what `{result[0]}` gives elsewhere.",
                        "Give this one a name of its own.",
                    )
        for name, parts in self.advice.items():
            for other in parts[1:]:
                if other.adviser != parts[0].adviser:
                    self.make.fault(
                        "name-used-twice",
                        other.name.span,
                        f"`{name}` is the advice of `{parts[0].adviser}` elsewhere.",
                        "Give this one a name of its own.",
                    )

    def _one_meaning(self) -> None:
        first: dict[str, str] = {}
        kept = {k: None for s in self.part.steps.values() for k in s.keep}
        tables: dict[str, Iterable[str]] = {
            "a fact": self.facts,
            "a setting": self.settings,
            "a parameter": self.parameters,
            "a screw": self.screws,
            "a reading": self.readings,
            "a value": self.part.values,
            "a kept value": kept,
            "an advice": self.advice,
            "a result": self.results,
            "a word": self.part.words,
        }
        for what, table in tables.items():
            for name in table:
                if name in first:
                    where = name.span if isinstance(name, Scalar) else self.part.head
                    self.make.fault(
                        "name-used-twice",
                        where,
                        f"`{name}` is {first[name]} and {what}.",
                        "A name has one meaning in a file: rename one.",
                    )
                first.setdefault(name, what)

    def _lacking(self) -> None:
        """A reading that any step may leave partly untaken may be missing wherever it is used."""
        loose = {r.reading for s in self.part.steps.values() for r in (*s.read, *s.checklist) if r.may_lack == "true"}
        for name in loose:
            reading = self.readings.get(name)
            if reading is not None:
                self.readings[name] = replace(reading, type=replace(reading.type, holes=True))

    def advised(self) -> set[str]:
        """Quantities that some adviser takes."""
        return {q for a in self.registry.values() for i in a.inputs.values() for q in i.quantities}
