"""What becomes of a mutant: caught, shown to be the same, shown to be another procedure, neither, or missed;
`every_mutant.py` tries all there are."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import z3
from mutant_operators import Mutant
from mutant_runs import told_apart
from walk_kit import walk
from z3_judge import Judge

from engine.procedure.build.links import calls
from engine.procedure.build.load import _calls, load_texts, modelled, shelf_of
from engine.procedure.build.procedure import build
from engine.procedure.build.shelf import Shelf as KitShelf
from engine.procedure.check import Summaries, check, innermost_first, prove
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways import looked_up, symptoms, unwarned
from engine.procedure.language.expr import Name
from engine.procedure.language.expr import walk as walk_nodes
from engine.procedure.program import Call, Procedure, Program
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Source, Span
from engine.procedure.source.tree import read_tree


class Shelf:
    """All shipped files, loaded and proved once; a mutant of one is built and proved on top of the others."""

    def __init__(self, folder: Path, advisers: Any) -> None:
        texts = {p.stem: p.read_text(encoding="utf-8") for p in sorted(folder.glob("*.yaml"))}
        kits = {f"kits/{p.stem}": p.read_text(encoding="utf-8") for p in sorted(folder.glob("kits/*.yaml"))}
        self.texts, self.kits, self.advisers = texts, kits, advisers
        self.shelf = shelf_of(kits)
        self.programs: dict[str, Program] = {}
        self.summaries = Summaries()
        self.lost: dict[str, symptoms.Lost] = {}
        self.base: dict[str, tuple[Problem, ...]] = {}
        for name in texts:
            loaded = load_texts({**texts, **kits}, name, advisers)
            assert loaded.program is not None, [str(p) for p in loaded.problems]
            self.programs[name] = loaded.program
            self.base[name] = (*loaded.problems, *check(loaded.program, advisers))
        for name in texts:
            self._summary(name)

    def _summary(self, name: str) -> None:
        program = self.programs[name]
        for call in calls(program.files[name]):
            if call.file not in self.summaries.leaves:
                self._summary(call.file)
        study = Study(program, program.files[name])
        list(prove(study, self.advisers, self.summaries))
        self.lost[name] = symptoms.lost_in(study, self.lost)

    def problems(self, mutant: Mutant) -> tuple[list[Problem], Program | None]:
        """What load and proofs say of a mutant, less what they say of the file itself; and the program, if it loads."""
        return self._problems(mutant.file, mutant.text, self.shelf)

    def of_kit(self, mutant: Mutant) -> Iterator[tuple[str, list[Problem], Program | None]]:
        """The same for a mutant of a kit, by each shipped file that takes something of it, the smaller ones first."""
        kits = {**self.kits, mutant.file: mutant.text}
        alone = load_texts(kits, mutant.file, self.advisers).problems
        kit = mutant.file.removeprefix("kits/")
        yield kit, list(alone), None
        for name in sorted(self.texts, key=lambda n: len(self.texts[n])):
            if kit in self.programs[name].files[name].uses:
                yield name, *self._problems(name, self.texts[name], shelf_of(kits))

    def of_callers(self, mutant: Mutant, program: Program | None) -> list[Problem]:
        """What is said of the files that call a mutant, where what it shows to them is another than before."""
        if program is None or _face(program.files[mutant.file]) == _face(self.programs[mutant.file].files[mutant.file]):
            return []
        texts, found = {**self.texts, **self.kits, mutant.file: mutant.text}, []
        for name in sorted(self.texts):
            if any(call.file == mutant.file for call in calls(self.programs[name].files[name])):
                loaded = load_texts(texts, name, self.advisers)
                problems = [*loaded.problems, *(check(loaded.program, self.advisers) if loaded.program else ())]
                known = {(p.code, p.message) for p in self.base[name]}
                found += [p for p in problems if (p.code, p.message) not in known]
        return found

    def _problems(self, name: str, text: str, shelf: KitShelf) -> tuple[list[Problem], Program | None]:
        mutant = Mutant("", name, 1, text, bool, False)
        source = Source(mutant.file, f"{mutant.file}.yaml", mutant.text)
        tree, problems = read_tree(source)
        told = len(shelf.problems)
        part, faults = modelled(source, tree, shelf) if tree is not None else (None, [])
        problems += [*faults, *shelf.problems[told:]]
        del shelf.problems[told:]  # of this mutant, not of the next one
        program = None
        if part is not None and not {str(c) for c in _calls(part)} <= self.texts.keys():
            loaded = load_texts({**self.texts, **self.kits, mutant.file: mutant.text}, mutant.file, self.advisers)
            return list(loaded.problems), loaded.program
        if part is not None:
            program = self.programs[mutant.file]
            called: dict[str, Procedure | None] = {n: p.files[n] for n, p in self.programs.items() if n != mutant.file}
            procedure, faults = build(source, part, self.advisers, called)
            problems = [*problems, *faults]
            if not any(p.severity == "error" for p in problems):
                files = {mutant.file: procedure}
                queue = [procedure]
                while queue:
                    for call in calls(queue.pop()):
                        if call.file not in files:
                            files[call.file] = self.programs[call.file].files[call.file]
                            queue.append(files[call.file])
                program = Program(mutant.file, files, "")
                summaries, study = self.summaries.copy(), Study(program, procedure)
                problems += prove(study, self.advisers, summaries)
                problems += symptoms.problems(symptoms.lost_in(study, self.lost))
                problems += unwarned.problems(files, summaries.works, innermost_first(program))
                problems += looked_up.problems(program, self.advisers)
            else:
                program = None
        known = {(p.code, p.message) for p in self.base[mutant.file]}
        return [p for p in problems if (p.code, p.message) not in known], program


def _face(procedure: Procedure) -> Any:
    """What a file shows to those that call it: what it gives, takes and ends in, and whom it is for."""
    ends = {name: end.outcome for name, end in procedure.ends.items()}
    return plain((procedure.gives, procedure.parameters, procedure.settings, procedure.here, procedure.layout, ends))


def naive_faults(program: Program) -> list[str]:
    """Faults of the main file's ways, found a second time and simply: by reachability alone, whatever guards say.

    A step that nothing leads to, one from which nothing leads to an end, a loop without a limit.
    """
    procedure = program.files[program.main]
    out: dict[str, set[str]] = {}
    spent: dict[str, set[str]] = {}
    for step in procedure.steps.values():
        ways: set[str] = set()
        way = step.way
        if isinstance(way, tuple):
            ways |= {b.go for b in way}
        elif isinstance(way, str):
            ways.add(way)
        elif isinstance(way, Call):
            ways |= {way.go or step.name if t == "next" else t for t in way.ends.values()}
        led = {n: w for n, w in ((s.name, s.way) for s in procedure.symptoms.values()) if w} | dict(step.symptoms)
        by_symptom: set[str] = set()
        last: set[str] = set()
        for target in led.values() if not step.silent or isinstance(way, Call) else ():
            if isinstance(target, str):
                by_symptom.add(target)
                last.add(target)
            else:
                ends = {step.name if t == "back" else t for t in target.ends.values()}
                by_symptom |= ends | ({target.limit.then} if target.limit else set())
                last |= {target.limit.then} if target.limit else ends
        then = {step.limit.then} if step.limit else set()
        out[step.name] = ways | by_symptom | then
        spent[step.name] = then or ways | last
    faults = [f"{n} can't be reached" for n in set(out) - _reach(out, procedure.start)]
    for name in out:
        if name in _reach(spent, *spent[name]):
            faults.append(f"{name} is on a loop without a limit")
    return faults


def _reach(out: dict[str, set[str]], *start: str) -> set[str]:
    seen, queue = set(start), list(start)
    while queue:
        for target in out.get(queue.pop(), ()):
            if target not in seen:
                seen.add(target)
                queue.append(target)
    return seen


#: What may become of a mutant. The same: the text alone differs, or branches do and z3 shows that they lead to the same
#: on every answer. Another: it keeps every promise, and some run differs. At a step: no run that was tried differs, and
#: z3 knows an answer at one step that would. Not shown: none of these.
FATES = ("caught", "same", "another", "at a step", "not shown", "missed")


def fate(shelf: Shelf, mutant: Mutant) -> str:
    """What becomes of a mutant: one of `FATES`."""
    if mutant.file.startswith("kits/"):
        return fate_of_kit(shelf, mutant)
    problems, program = shelf.problems(mutant)
    if any(mutant.right(p) for p in problems):
        return "caught"
    if any(mutant.right(p) for p in shelf.of_callers(mutant, program)):
        return "caught"
    if mutant.strict or program is None:
        return "missed"
    if same(shelf.programs[mutant.file].files[mutant.file], program.files[mutant.file]):
        return "same"
    if naive_faults(program):
        return "missed"
    try:
        for seed in range(4):
            walk(random.Random(seed), program, shelf.advisers)
    except Exception:
        return "missed"
    return apart(shelf.programs[mutant.file], program, shelf.advisers)


def apart(a: Program, b: Program, advisers: Any) -> str:
    """How two programs are shown to be two: they are for other banks or some run differs, else by z3 at a step."""
    one, other = a.files[a.main], b.files[b.main]
    if plain(one.layout) != plain(other.layout) or told_apart(a, b, advisers):
        return "another"
    return "at a step" if leads_otherwise(one, other) else "not shown"


def fate_of_kit(shelf: Shelf, mutant: Mutant) -> str:
    """What becomes of a mutant of a kit, by every file that takes something of it."""
    found: set[str] = set()
    for name, problems, program in shelf.of_kit(mutant):
        if any(mutant.right(p) for p in problems):
            return "caught"
        if program is not None:
            if naive_faults(program):
                return "missed"
            if "another" not in found and not same(shelf.programs[name].files[name], program.files[name]):
                found.add(apart(shelf.programs[name], program, shelf.advisers))
        elif name in shelf.texts:
            return "missed"  # refused, and not for the right reason
    return "missed" if mutant.strict else next((f for f in FATES if f in found), "same")


def same(a: Procedure, b: Procedure) -> bool:
    """Whether two files do the same: step by step the same but for branches, and those alike whatever is read."""
    rest = [f.name for f in fields(a) if f.name not in ("source", "steps", "layout")]
    if a.steps.keys() != b.steps.keys() or any(plain(getattr(a, n)) != plain(getattr(b, n)) for n in rest):
        return False
    differ = [(a.steps[n], b.steps[n]) for n in a.steps if meaning(a.steps[n]) != meaning(b.steps[n])]
    return all(meaning(x, False) == meaning(y, False) and alike(a, x, b, y) for x, y in differ)


def meaning(step: Any, ways: bool = True) -> Any:
    """What a step says and does, without its places in the file; without `ways`, without its branches."""
    return plain(step if ways or not isinstance(step.way, tuple) else replace(step, way="branch"))


def plain(x: Any) -> Any:
    """A part of a program as nested tuples, without its places in the file and what is made of its guards."""
    if isinstance(x, Span):
        return None
    if is_dataclass(x) and not isinstance(x, type):
        return (
            type(x).__name__,
            *(
                plain(getattr(x, f.name))
                for f in fields(x)
                if f.name not in ("span", "spans", "ends_span", "run", "node", "type")
            ),
        )
    if isinstance(x, dict):
        return tuple((k, plain(v)) for k, v in x.items())
    return tuple(plain(i) for i in x) if isinstance(x, tuple) else x


def alike(a: Procedure, x: Any, b: Procedure, y: Any) -> bool | None:
    """Whether two lists of branches lead to the same, whatever is read, on every bank: no reading that z3 can think of
    leads otherwise. None where a guard says something that it has no words for."""
    if not isinstance(x.way, tuple) or not isinstance(y.way, tuple):
        return None
    guards = [w.when for w in (*x.way, *y.way) if w.when is not None]
    values = {**a.values, **b.values}
    types = {n.name: n.type for g in (*guards, *(v.guard for v in values.values())) for n in names_of(g.node)}
    (low, high), barrels = a.layout.carbs, a.layout.barrels_per_carb
    leads: dict[Any, int] = {}
    try:
        for carbs in range(low, min(high, 4) + 1):
            for per in range(barrels[0], barrels[1] + 1):
                judge = Judge(types, values, carbs, per)
                if judge.can(led(judge, x, leads) != led(judge, y, leads)):
                    return False
    except (AssertionError, KeyError, AttributeError, TypeError, z3.Z3Exception):
        return None
    return True


def leads_otherwise(a: Procedure, b: Procedure) -> bool:
    """Whether z3 knows an answer at some step that leads elsewhere in `b`, if that step is ever come to with it."""
    both = [(a.steps[n], b.steps[n]) for n in a.steps if n in b.steps]
    return any(meaning(x) != meaning(y) and alike(a, x, b, y) is False for x, y in both)


def names_of(node: Any) -> Iterator[Name]:
    """Every name in a guard."""
    yield from (n for n, _ in walk_nodes(node) if isinstance(n, Name) and n.type is not None)


def led(judge: Judge, step: Any, leads: dict[Any, int]) -> Any:
    """Where a step leads, with what is found and said on the way, as a number that z3 works out."""
    found: Any = z3.IntVal(-1)
    for way in reversed(step.way):
        there = leads.setdefault((way.go, way.why, plain(way.findings)), len(leads))
        found = z3.IntVal(there) if way.when is None else z3.If(judge.truth(way.when.node), there, found)
    return found
