"""Shipped files with one fault put in: every operator at every site, the fault's line kept where it was.

A mutant knows what would be the right answer to it: a code at a line. Lines are blanked, never taken out, so that a site
and what is said of it have the same number.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from engine.procedure.check import check, prove
from engine.procedure.check.study import Study
from engine.procedure.build import build
from engine.procedure.links import calls
from engine.procedure.load import _calls, _read, load_texts
from engine.procedure.problems import Problem
from engine.procedure.program import Call, Procedure, Program
from engine.procedure.quantities import NEED_RUNNING
from engine.procedure.source import Source, Span
from engine.procedure.tree import Map, Scalar, Seq, read_tree
from engine.units import UNITS

#: What a fault in the ways of a file may come out as, wherever it shows.
WAYS = frozenset({
    "unreachable-step", "no-way-to-end", "endless-loop", "endless-symptom", "limit-in-loop", "silent-loop",
    "used-before-read", "read-while-stopped", "read-while-running", "unknown-state", "never-true", "shadowed-branch",
    "idle-otherwise", "idle-caution", "unused-reading", "unused-name"})
LOOPS = frozenset({"endless-loop", "endless-symptom", "limit-in-loop", "no-way-to-end", "silent-loop"})

Right = Callable[[Problem], bool]


@dataclass(frozen=True)
class Mutant:
    """One fault. `right` says whether a problem is the right answer; `strict` that there must be one."""

    operator: str
    file: str
    line: int
    text: str
    right: Right
    strict: bool
    note: str = ""


def at(line: int, *codes: str) -> Right:
    """One of these codes at that line."""
    return lambda p: p.code in codes and p.span.line == line


def anywhere(*codes: str) -> Right:
    """One of these codes, wherever its consequence shows."""
    return lambda p: p.code in codes


def either(*rights: Right) -> Right:
    """Any of several right answers."""
    return lambda p: any(r(p) for r in rights)


# ---- editing a text


@dataclass
class Text:
    """A file's text and its tree."""

    name: str
    text: str
    tree: Map = field(init=False)
    lines: list[str] = field(init=False)

    def __post_init__(self) -> None:
        tree, problems = read_tree(Source(self.name, f"{self.name}.yaml", self.text))
        assert tree is not None and not problems
        self.tree, self.lines = tree, self.text.split("\n")

    def put(self, span: Span, new: str) -> str | None:
        """The text with something else at a span of one line."""
        if span.line != span.end_line:
            return None
        lines = list(self.lines)
        line = lines[span.line - 1]
        lines[span.line - 1] = line[:span.column - 1] + new + line[span.end_column - 1:]
        return "\n".join(lines)

    def flow(self, node: Map | Seq) -> bool:
        """Whether a node stands in brackets."""
        return self.lines[node.span.line - 1][node.span.column - 1:node.span.column] in ("{", "[")

    def without_key(self, node: Map, key: str) -> str | None:
        """The text without one entry of a mapping; None where it is the only one."""
        keys = list(node)
        i = keys.index(key)
        if len(keys) == 1:
            return None
        if not self.flow(node):
            return self._blanked(keys[i].span.line, keys[i].span.column - 1)
        if i + 1 < len(keys):
            return self._cut(keys[i].span, keys[i + 1].span, False)
        return self._cut(_span(node[keys[i - 1]]), _span(node[keys[i]]), True)

    def without_item(self, node: Seq, i: int) -> str | None:
        """The text without one item of a list; None where it is the only one."""
        if len(node) == 1:
            return None
        if not self.flow(node):
            line = _span(node[i]).line
            dash = self.lines[line - 1].index("-")
            return self._blanked(line, dash)
        if i + 1 < len(node):
            return self._cut(_span(node[i]), _span(node[i + 1]), False)
        return self._cut(_span(node[i - 1]), _span(node[i]), True)

    def _cut(self, a: Span, b: Span, after: bool) -> str | None:
        if after:
            cut = Span(a.end_line, a.end_column, b.end_line, b.end_column)
        else:
            cut = Span(a.line, a.column, b.line, b.column)
        return self.put(cut, "")

    def _blanked(self, line: int, indent: int) -> str:
        lines = list(self.lines)
        i = line - 1
        lines[i] = ""
        i += 1
        while i < len(lines) and (not lines[i].strip() or len(lines[i]) - len(lines[i].lstrip()) > indent):
            lines[i] = ""
            i += 1
        return "\n".join(lines)

    def before(self, line: int, new: str) -> str:
        """The text with a line put in before another."""
        return "\n".join([*self.lines[:line - 1], new, *self.lines[line - 1:]])


def _span(node: Any) -> Span:
    return node.span


def guards_in(node: Any, key: str = "") -> Iterator[Scalar]:
    """The expressions of a tree by the keys that they stand under."""
    if isinstance(node, Map):
        for k, v in node.items():
            yield from guards_in(v, str(k))
    elif isinstance(node, Seq):
        for v in node:
            yield from guards_in(v, key)
    elif isinstance(node, Scalar) and key in ("when", "is") and node.exact:
        yield node


# ---- the operators


def mutants(file: str, text: str) -> Iterator[Mutant]:
    """Every operator at every site of a file."""
    t = Text(file, text)
    steps: Map = t.tree["steps"]
    for make in (retargets, dropped_branches, gaps, shadows, contradictions, thens, limits, ends, misnames, units, reads,
                 cautions, tables, stopped):
        for op, line, new, right, strict, note in make(t, steps):
            if new is not None and new != text:
                yield Mutant(op, file, line, new, right, strict, note)


Made = Iterator[tuple[str, int, str | None, Right, bool, str]]


def targets(t: Text, steps: Map) -> Iterator[tuple[str, Scalar]]:
    """Every name of a step that something leads to, with the step that it stands in ("" outside)."""
    yield "", t.tree["start"]
    for name, step in steps.items():
        for node, key in _ways(step):
            if node[key] not in ("next", "back"):
                yield str(name), node[key]
    for symptom in (t.tree.get("symptoms") or {}).values():
        for node, key in _ways(symptom):
            if node[key] not in ("next", "back"):
                yield "", node[key]


def _ways(step: Map) -> Iterator[tuple[Map, str]]:
    for key in ("go",):
        if key in step:
            yield step, key
    for branch in step.get("branch") or ():
        yield branch, "go" if "go" in branch else "otherwise"
    if "limit" in step:
        yield step["limit"], "then"
    for key in ("ends",):
        for end in step.get(key) or ():
            yield step[key], str(end)
    for name, way in (step.get("symptoms") or {}).items():
        if isinstance(way, Scalar):
            yield step["symptoms"], str(name)
        else:
            yield from _ways(way)


def retargets(t: Text, steps: Map) -> Made:
    """An edge led to no step, to its own step, and to some other step."""
    r = random.Random(t.name)
    for step, target in targets(t, steps):
        line = target.span.line
        yield "retarget", line, t.put(target.span, "no_such_step"), at(line, "unknown-step"), True, "to no step"
        others = [n for n in steps if n not in (target, step)]
        for other in ([step] if step and step != target else []) + ([r.choice(others)] if others else []):
            yield ("retarget", line, t.put(target.span, str(other)), anywhere(*WAYS), False, f"{step}: {target} to {other}")


def dropped_branches(t: Text, steps: Map) -> Made:
    """A branch taken out."""
    for name, step in steps.items():
        branch = step.get("branch") or Seq()
        for i, item in enumerate(branch):
            right = either(at(step.key_span("branch").line, "uncovered-reading", "too-complex"), anywhere(*WAYS))
            strict = not any("otherwise" in b for b in branch) or "otherwise" in item
            yield "drop branch", item.span.line, t.without_item(branch, i), right, strict, str(name)


def gaps(t: Text, steps: Map) -> Made:
    """The boundary taken out of a comparison: `<=` to `<`, `>=` to `>`; and a number pushed away from its neighbour."""
    for name, step in steps.items():
        branch = step.get("branch") or Seq()
        covered = any("otherwise" in b for b in branch)
        for item in branch:
            when = item.get("when")
            if when is None or not when.exact:
                continue
            right = either(at(step.key_span("branch").line, "uncovered-reading"),
                           at(when.span.line, "never-true", "shadowed-branch"), anywhere(*WAYS))
            for match in re.finditer(r"[<>]=", when):
                span = when.at(*match.span())
                yield "open a gap", when.span.line, t.put(span, match.group()[0] + " "), right, False, (
                    f"{name}, otherwise: {covered}")


def shadows(t: Text, steps: Map) -> Made:
    """A branch put below one with the same guard."""
    for name, step in steps.items():
        branch = step.get("branch") or Seq()
        if t.flow(branch) if branch else True:
            continue
        for item in branch:
            when = item.get("when")
            if when is None:
                continue
            indent = " " * t.lines[item.span.line - 1].index("-")
            source = t.lines[when.span.line - 1][when.span.column - 1:when.span.end_column - 1]
            target = next(n for n in steps)
            new = f"{indent}- {{when: {source if source[:1] in QUOTES else quoted(source)}, go: {target}}}"
            line = when.span.line + 1
            yield "shadow", line, t.before(item.span.line, new), at(line, "shadowed-branch"), True, str(name)


QUOTES = ("'", '"')


def quoted(text: str) -> str:
    """A text as a YAML scalar in double quotes."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def contradictions(t: Text, steps: Map) -> Made:
    """A guard that excludes itself."""
    for name, step in steps.items():
        for item in step.get("branch") or ():
            when = item.get("when")
            if when is not None and when.exact and len(when) < 140:
                line = when.span.line
                new = t.put(when.span, quoted(f"({when}) and not ({when})"))
                yield "contradict", line, new, at(line, "never-true"), True, str(name)


def thens(t: Text, steps: Map) -> Made:
    """A limit that leads into its own loop."""
    for name, step in steps.items():
        if "limit" in step:
            then = step["limit"]["then"]
            right = either(at(step["limit"].span.line, "limit-in-loop"),
                           lambda p, name=name: p.code in LOOPS and f"'{name}'" in p.message)
            yield "then into its loop", then.span.line, t.put(then.span, str(name)), right, True, str(name)


def limits(t: Text, steps: Map) -> Made:
    """A limit taken out."""
    for name, step in steps.items():
        if "limit" in step:
            right: Right = lambda p, name=name: (  # noqa: E731
                p.code in LOOPS and name in p.message) or p.code == "unreachable-step"
            yield "remove a limit", step["limit"].span.line, t.without_key(step, "limit"), right, False, str(name)
    for symptom in (t.tree.get("symptoms") or {}).values():
        if "limit" in symptom:
            yield ("remove a limit", symptom["limit"].span.line, t.without_key(symptom, "limit"),
                   anywhere("endless-symptom", "unreachable-step"), False, "symptom")


def ends(t: Text, steps: Map) -> Made:
    """An end of a called file that is not mapped."""
    for part in (*steps.values(), *(t.tree.get("symptoms") or {}).values()):
        for end in part.get("ends") or ():
            line = part.key_span("call").line
            new = t.without_key(part["ends"], end) or t.without_key(part, "ends")
            yield "drop an end", line, new, at(line, "unmapped-end"), True, str(end)


def misnames(t: Text, steps: Map) -> Made:
    """A name misspelt where it is used."""
    known: set[str] = set()
    for section in ("facts", "settings", "readings", "values", "screws"):
        known |= set(t.tree.get(section) or ())
    for scalar in guards_in(t.tree):
        for match in re.finditer(r"(?<!['\w.])[A-Za-z_]\w*(?!['\w(])", scalar):
            if match.group() in known:
                line = scalar.span.line
                right: Right = lambda p, line=line: p.code.startswith("unknown-") and p.span.line == line  # noqa: E731
                yield "misname", line, t.put(scalar.at(*match.span()), match.group() + "zz"), right, True, match.group()
    for step in steps.values():
        for key in ("make", "call"):
            if key in step:
                yield from _misnamed(t, step[key])
        for item in step.get("read") or ():
            yield from _misnamed(t, item if isinstance(item, Scalar) else item.get("reading") or next(iter(item)))
        for move in step.get("moves") or ():
            yield from _misnamed(t, move["screw"])
        for caution in step.get("cautions") or ():
            yield from _misnamed(t, caution)
        advise = step.get("advise")
        for one in ([advise] if isinstance(advise, Map) else advise or ()):
            yield from _misnamed(t, one["adviser"])
        for text in step.values():
            if isinstance(text, Scalar) and text.exact:
                for match in re.finditer(r"\{(\w+)[^}]*\}", text):
                    if match.group(1) in known:
                        line = text.span.line
                        right = lambda p, line=line: p.code.startswith("unknown-") and p.span.line == line  # noqa: E731
                        yield "misname", line, t.put(text.at(*match.span(1)), match.group(1) + "zz"), right, True, ""


def _misnamed(t: Text, name: Scalar) -> Made:
    line = name.span.line
    right: Right = lambda p: p.code.startswith(("unknown-", "missing-key")) and p.span.line == line  # noqa: E731
    yield "misname", line, t.put(name.span, f"{name}zz"), right, True, str(name)


def units(t: Text, steps: Map) -> Made:
    """A unit swapped for one of another kind."""
    for scalar in guards_in(t.tree):
        for match in re.finditer(r"\d ([A-Za-z%][\w/]*)", scalar):
            if match.group(1) in UNITS and match.group(1) not in ("",):
                other = "rpm" if UNITS[match.group(1)].dimension != "speed" else "mm"
                line = scalar.span.line
                yield ("swap a unit", line, t.put(scalar.at(*match.span(1)), other), at(line, "unit-mismatch"), True,
                       match.group(1))
    for name, setting in (t.tree.get("settings") or {}).items():
        for key, value in setting.items():
            match = re.fullmatch(r"([\d./ ]+)\s([A-Za-z%][\w/]*)", value) if isinstance(value, Scalar) else None
            if match and key not in ("source", "about", "by") and match.group(2) in UNITS:
                other = "rpm" if UNITS[match.group(2)].dimension != "speed" else "mm"
                # The number itself is sound; it does not fit where it is used, which is what is said.
                right = anywhere("unit-mismatch", "unused-name", "wrong-binding", "out-of-range")
                yield "swap a unit", value.span.line, t.put(value.at(*match.span(2)), other), right, False, str(name)


def reads(t: Text, steps: Map) -> Made:
    """A reading that is not taken before it is used."""
    for name, step in steps.items():
        read = step.get("read") or Seq()
        for i, item in enumerate(read):
            reading = item if isinstance(item, Scalar) else item.get("reading") or next(iter(item))
            right: Right = lambda p, reading=reading: (  # noqa: E731
                p.code in ("used-before-read", "unused-name", "unused-reading") and f"{reading}`" in p.message
                or f"'{reading}'" in p.message) or p.code in WAYS
            new = t.without_item(read, i) or t.without_key(step, "read")
            yield "drop a read", item.span.line, new, right, False, f"{name}: {reading}"


def cautions(t: Text, steps: Map) -> Made:
    """A caution taken out."""
    table = t.tree.get("cautions") or Map()
    answers: dict[str, set[str]] = {}
    for name, caution in table.items():
        for demand in (name, *(caution.get("demanded_by") or ())):
            answers.setdefault(str(demand), set()).add(str(name))
    for name in table:
        new = t.without_key(table, name) or t.without_key(t.tree, "cautions")
        alone = [d for d, names in answers.items() if names == {str(name)} and d != name]
        yield ("drop a caution", name.span.line, new, anywhere("missing-caution", "unknown-caution"), False,
               f"{name}: alone for {alone}")


def tables(t: Text, steps: Map) -> Made:
    """An entry taken out of a table."""
    for setting in (t.tree.get("settings") or {}).values():
        if "by" in setting:
            for key in setting:
                if key not in ("by", "range", "source", "about"):
                    line = setting["by"].span.line
                    yield "drop an entry", line, t.without_key(setting, key), at(line, "incomplete-table"), True, str(key)


def stopped(t: Text, steps: Map) -> Made:
    """A running quantity read on a stopped engine."""
    readings = t.tree.get("readings") or Map()
    for step in steps.values():
        for item in step.get("read") or ():
            name = item if isinstance(item, Scalar) else item.get("reading") or next(iter(item))
            if readings.get(name, {}).get("quantity") not in NEED_RUNNING:
                continue
            line = item.span.line
            state = step.get("state")
            if state is not None and "engine" in state:
                new = t.put(state["engine"].span, "stopped")
            elif state is not None and t.flow(state):
                new = t.put(Span(state.span.line, state.span.column, state.span.line, state.span.column + 1),
                            "{engine: stopped, ")
            else:
                first = next(iter(step))
                new = t.put(Span(first.span.line, first.span.column, first.span.line, first.span.column),
                            "state: {engine: stopped}\n" + " " * (first.span.column - 1))
                line += 1
            yield "read while stopped", line, new, at(line, "read-while-stopped"), True, str(name)


# ---- answering a mutant


class Shelf:
    """All shipped files, loaded and proved once; a mutant of one is built and proved on top of the others."""

    def __init__(self, texts: dict[str, str], advisers: Any) -> None:
        self.texts, self.advisers = texts, advisers
        self.programs: dict[str, Program] = {}
        self.summaries: dict[str, Any] = {}
        self.base: dict[str, tuple[Problem, ...]] = {}
        for name in texts:
            loaded = load_texts(texts, name, advisers)
            assert loaded.program is not None, [str(p) for p in loaded.problems]
            self.programs[name] = loaded.program
            self.base[name] = (*loaded.problems, *check(loaded.program, advisers))
        for name in texts:
            self._summary(name)

    def _summary(self, name: str) -> None:
        program = self.programs[name]
        for call in calls(program.files[name]):
            if call.file not in self.summaries:
                self._summary(call.file)
        list(prove(Study(program, program.files[name]), self.advisers, self.summaries))

    def problems(self, mutant: Mutant) -> tuple[list[Problem], Program | None]:
        """What load and proofs say of a mutant, less what they say of the file itself; and the program, if it loads."""
        source = Source(mutant.file, f"{mutant.file}.yaml", mutant.text)
        part, problems = _read(source)
        program = None
        if part is not None and not {str(c) for c in _calls(part)} <= self.texts.keys():
            loaded = load_texts({**self.texts, mutant.file: mutant.text}, mutant.file, self.advisers)
            return list(loaded.problems), loaded.program
        if part is not None:
            program = self.programs[mutant.file]
            called: dict[str, Procedure | None] = {
                n: p.files[n] for n, p in self.programs.items() if n != mutant.file}
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
                problems += prove(Study(program, procedure), self.advisers, dict(self.summaries))
            else:
                program = None
        known = {(p.code, p.message) for p in self.base[mutant.file]}
        return [p for p in problems if (p.code, p.message) not in known], program


# ---- judging what is not caught


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
