"""Shipped files with one fault put in: every operator at every site. A mutant knows the right answer to it."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from mutant_text import QUOTES, Text, guards_in, quoted

from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span
from engine.procedure.source.tree import Map, Scalar, Seq
from engine.quantity.units import UNITS
from engine.vocabulary.quantities import QUANTITIES
from engine.vocabulary.states import ENGINE, RUNNING

NEED_RUNNING = {q.name for q in QUANTITIES if q.needs == (ENGINE, RUNNING)}

#: What a fault in the ways of a file may come out as, wherever it shows.
WAYS = frozenset(
    {
        "unreachable-step",
        "no-way-to-end",
        "endless-loop",
        "endless-symptom",
        "limit-in-loop",
        "silent-loop",
        "used-before-read",
        "read-while-stopped",
        "read-while-running",
        "unknown-state",
        "never-true",
        "shadowed-branch",
        "idle-otherwise",
        "idle-caution",
        "unused-reading",
        "unused-name",
    }
)
LOOPS = frozenset({"endless-loop", "endless-symptom", "limit-in-loop", "no-way-to-end", "silent-loop"})

Right = Callable[[Problem], bool]
Made = Iterator[tuple[str, int, str | None, Right, bool, str]]
Operator = Callable[[Text, Map], Made]


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


def mutants(file: str, text: str, operators: Sequence[Operator] | None = None) -> Iterator[Mutant]:
    """Every operator at every site of a file."""
    t = Text(file, text)
    steps: Map = t.tree.get("steps") or Map()
    for make in operators or OPERATORS:
        for op, line, new, right, strict, note in make(t, steps):
            if new is not None and new != text:
                yield Mutant(op, file, line, new, right, strict, note)


def targets(t: Text, steps: Map) -> Iterator[tuple[str, Scalar]]:
    """Every name of a step that something leads to, with the step that it stands in ("" outside)."""
    yield "", t.tree["start"]
    for name, step in steps.items():
        for node, key in _ways(step):
            if node[key] not in ("next", "back"):
                yield str(name), node[key]
    for symptom in (t.tree.get("symptoms") or {}).values():
        if isinstance(symptom, Scalar):  # a kit's, of which the file says only where it leads
            yield "", symptom
            continue
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
            note = f"{step}: {target} to {other}"
            yield "retarget", line, t.put(target.span, str(other)), anywhere(*WAYS), False, note


def dropped_branches(t: Text, steps: Map) -> Made:
    """A branch taken out."""
    for name, step in steps.items():
        branch = step.get("branch") or Seq()
        for i, item in enumerate(branch):
            right = either(at(step.key_span("branch").line, "uncovered-reading", "too-complex"), anywhere(*WAYS))
            strict = not any("otherwise" in b for b in branch) or "otherwise" in item
            yield "drop branch", item.span.line, t.without_item(branch, i), right, strict, str(name)


_SINGLE = re.compile(r"([^<>=]+?) ([<>]) ([^<>=]+)")
_ROW = re.compile(r"(any|all)\(([^<>=]+?) ([<>]) ([^<>=]+)\)")


def gaps(t: Text, steps: Map) -> Made:
    """The boundary taken out of a comparison; and `otherwise` written out as the opposite, but for the boundary."""
    for name, step in steps.items():
        branch = step.get("branch") or Seq()
        line = step.key_span("branch").line if branch else 0
        whens = [b["when"] for b in branch if "when" in b]
        for when in whens:
            right = either(at(line, "uncovered-reading"), at(when.span.line, "never-true"), anywhere(*WAYS))
            for match in re.finditer(r"[<>]=", when) if when.exact else ():
                new = t.put(when.at(*match.span()), match.group()[0] + " ")
                yield "open a gap", when.span.line, new, right, False, str(name)
        other = branch[-1] if branch else None
        opposites = [opposite(w) for w in whens]
        if other is None or "otherwise" not in other or not opposites or not all(opposites):
            continue
        key = next(k for k in other if k == "otherwise")
        target = other["otherwise"]
        written = f"when: {quoted(' and '.join(opposites))}, go: {target}"
        span = Span(key.span.line, key.span.column, target.span.end_line, target.span.end_column)
        if t.flow(other) and any("<" in w or ">" in w for w in opposites):
            yield "open a gap", line, t.put(span, written), at(line, "uncovered-reading"), False, f"{name}: {written}"


def opposite(guard: str) -> str:
    """The opposite of a guard that is one comparison, without the boundary; "" for any other guard."""
    if match := _ROW.fullmatch(guard):
        word, left, op, right = match.groups()
        return f"{'all' if word == 'any' else 'any'}({left} {'>' if op == '<' else '<'} {right})"
    if match := _SINGLE.fullmatch(guard):
        left, op, right = match.groups()
        return f"{left} {'>' if op == '<' else '<'} {right}"
    if " and " in guard or " or " in guard:
        return ""
    return f"not ({guard})"


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
            source = t.lines[when.span.line - 1][when.span.column - 1 : when.span.end_column - 1]
            target = next(n for n in steps)
            new = f"{indent}- {{when: {source if source[:1] in QUOTES else quoted(source)}, go: {target}}}"
            line = when.span.line + 1
            yield "shadow", line, t.before(item.span.line, new), at(line, "shadowed-branch"), True, str(name)


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
            right = either(
                at(step["limit"].span.line, "limit-in-loop"),
                lambda p, name=name: p.code in LOOPS and f"'{name}'" in p.message,
            )
            yield "then into its loop", then.span.line, t.put(then.span, str(name)), right, True, str(name)


def limits(t: Text, steps: Map) -> Made:
    """A limit taken out."""
    for name, step in steps.items():
        if "limit" in step:
            right: Right = lambda p, name=name: (  # noqa: E731
                (p.code in LOOPS and name in p.message) or p.code == "unreachable-step"
            )
            yield "remove a limit", step["limit"].span.line, t.without_key(step, "limit"), right, False, str(name)
    for symptom in (t.tree.get("symptoms") or {}).values():
        if isinstance(symptom, Map) and "limit" in symptom:
            yield (
                "remove a limit",
                symptom["limit"].span.line,
                t.without_key(symptom, "limit"),
                anywhere("endless-symptom", "unreachable-step"),
                False,
                "symptom",
            )


def ends(t: Text, steps: Map) -> Made:
    """An end of a called file that is not mapped."""
    for part in (*steps.values(), *(t.tree.get("symptoms") or {}).values()):
        for end in (part.get("ends") if isinstance(part, Map) else None) or ():
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
        for one in [advise] if isinstance(advise, Map) else advise or ():
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
                yield (
                    "swap a unit",
                    line,
                    t.put(scalar.at(*match.span(1)), other),
                    at(line, "unit-mismatch"),
                    True,
                    match.group(1),
                )
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
                (
                    (p.code in ("used-before-read", "unused-name", "unused-reading") and f"{reading}`" in p.message)
                    or f"'{reading}'" in p.message
                )
                or p.code in WAYS
            )
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
        yield (
            "drop a caution",
            name.span.line,
            new,
            anywhere("missing-caution", "unknown-caution"),
            False,
            f"{name}: alone for {alone}",
        )


def tables(t: Text, steps: Map) -> Made:
    """An entry taken out of a table."""
    for setting in (t.tree.get("settings") or {}).values():
        if "by" in setting:
            for key in setting:
                if key not in ("by", "range", "source", "about"):
                    line = setting["by"].span.line
                    new = t.without_key(setting, key)
                    yield "drop an entry", line, new, at(line, "incomplete-table"), True, str(key)


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
                new = t.put(
                    Span(state.span.line, state.span.column, state.span.line, state.span.column + 1),
                    "{engine: stopped, ",
                )
            else:
                first = next(iter(step))
                new = t.put(
                    Span(first.span.line, first.span.column, first.span.line, first.span.column),
                    "state: {engine: stopped}\n" + " " * (first.span.column - 1),
                )
                line += 1
            yield "read while stopped", line, new, at(line, "read-while-stopped"), True, str(name)


OPERATORS = (
    retargets,
    dropped_branches,
    gaps,
    shadows,
    contradictions,
    thens,
    limits,
    ends,
    misnames,
    units,
    reads,
    cautions,
    tables,
    stopped,
)
