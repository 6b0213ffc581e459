"""Finds what can be changed: named constants, signs of moves, coefficients of formulas, numbers of the shipped files.

It changes nothing itself. A mutant is a piece of a file's text and what stands there instead.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.engine.shipped.numbers import numbers_of

ROOT = Path(__file__).resolve().parents[2]
TRADE = ROOT / "engine" / "carburation"
ROOMS = ("advisers", "estimation", "policy", "rules")
#: Modules that are formulas: every coefficient in them is changed.
FORMULAS = ("exhaust", "sizing", "air")
#: Words that say which way a screw goes or what it does: a comparison with one is a sign.
SIGNS = frozenset({"out", "in", "more air", "less air", "richer", "leaner"})
#: Calls whose numbers are no coefficient: bounds of refusals, counts, roundings.
NO_FORMULA = frozenset({"within", "positive", "range", "round", "Refused", "abs"})
#: By how much a number is changed: a coefficient by less than any tolerance of the trade, a constant grossly.
COEFFICIENT, CONSTANT = 1.1, 1.5


@dataclass(frozen=True)
class Mutant:
    """One change: `text[start:end]` of the file becomes `new`. `name` stays the same when lines move."""

    name: str
    path: Path
    start: int
    end: int
    new: str

    def text(self) -> str:
        """The file with the change made."""
        text = self.path.read_text(encoding="utf-8")
        return text[: self.start] + self.new + text[self.end :]

    def __str__(self) -> str:
        text = self.path.read_text(encoding="utf-8")
        return f"{self.name}: {text[self.start : self.end]} -> {self.new}"


def every() -> list[Mutant]:
    """Every mutant of the trade's modules and the shipped files, by name."""
    paths = [p for room in ROOMS for p in sorted((TRADE / room).glob("*.py"))]
    found = [m for path in paths for m in of_module(path)]
    return found + [m for path in sorted((ROOT / "procedures").rglob("*.yaml")) for m in of_procedure(path)]


def of_module(path: Path) -> Iterator[Mutant]:
    """The mutants of one module."""
    text = path.read_text(encoding="utf-8")
    tree, at = ast.parse(text), _offsets(text)
    seen: Counter[str] = Counter()
    module = ".".join(path.relative_to(TRADE).with_suffix("").parts)

    def mutant(what: str, node: ast.expr, new: str) -> Mutant:
        seen[what] += 1
        assert node.end_lineno is not None and node.end_col_offset is not None
        start, end = at(node.lineno, node.col_offset), at(node.end_lineno, node.end_col_offset)
        return Mutant(f"{module} {what} {seen[what]}", path, start, end, new)

    for statement in tree.body:
        name = _constant_name(statement)
        if name is not None:
            for node in ast.walk(statement):
                if _number(node) and node.value:  # type: ignore[attr-defined]
                    yield mutant(name, node, _changed(node.value, CONSTANT))  # type: ignore
        elif isinstance(statement, ast.FunctionDef | ast.ClassDef):
            for node in ast.walk(statement):
                if isinstance(node, ast.Compare) and _is_sign(node):
                    source = ast.get_source_segment(text, node) or ""
                    yield mutant(f"{statement.name} sign", node, source.replace("==", "!=", 1))
            if path.stem in FORMULAS and path.parent.name == "rules":
                for node in _coefficients(statement):
                    yield mutant(f"{statement.name} coefficient", node, _changed(node.value, COEFFICIENT))


def _constant_name(statement: ast.stmt) -> str | None:
    targets = statement.targets if isinstance(statement, ast.Assign) else []
    if isinstance(statement, ast.AnnAssign):
        targets = [statement.target]
    flat = [n for t in targets for n in (t.elts if isinstance(t, ast.Tuple) else [t])]
    names = [n.id for n in flat if isinstance(n, ast.Name)]
    return " ".join(names) if names and all(n.isupper() for n in names) else None


def _number(node: ast.AST) -> bool:
    return isinstance(node, ast.Constant) and isinstance(node.value, int | float) and not isinstance(node.value, bool)


def _is_sign(node: ast.Compare) -> bool:
    words = [c.value for c in (node.left, *node.comparators) if isinstance(c, ast.Constant)]
    return len(node.ops) == 1 and isinstance(node.ops[0], ast.Eq) and any(w in SIGNS for w in words)


def _coefficients(function: ast.AST) -> Iterator[ast.Constant]:
    """Numbers of a function that weigh in its formula: no bound of a refusal, no default, no index, nothing tiny."""
    for node in ast.iter_child_nodes(function):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in NO_FORMULA:
            continue
        if isinstance(node, ast.arguments | ast.Subscript | ast.JoinedStr):
            continue
        if isinstance(node, ast.If) and any(isinstance(n, ast.Raise) for n in node.body):  # a refusal
            continue
        if _number(node) and abs(node.value) > 1e-6:  # type: ignore[attr-defined]
            yield node  # type: ignore[misc]
        yield from _coefficients(node)


def _changed(value: float, by: float) -> str:
    if isinstance(value, int):
        return str(value + max(1, round(value * (by - 1))))
    if by == CONSTANT and 0.5 <= value < 1.0:  # a share or a sureness: it stays one
        return repr(round(value * 0.8, 6))
    return repr(round(value * by, 9))


def _offsets(text: str) -> Callable[[int, int], int]:
    """From line and column in bytes, as `ast` counts, to an index into the text."""
    lines = text.splitlines(keepends=True)
    starts = [0]
    for line in lines:
        starts.append(starts[-1] + len(line))

    def at(line: int, column: int) -> int:
        return starts[line - 1] + len(lines[line - 1].encode()[:column].decode())

    return at


def of_procedure(path: Path) -> Iterator[Mutant]:
    """The mutants of a shipped file: every number in its settings, guards and limits."""
    text = path.read_text(encoding="utf-8")
    for number in numbers_of(text):
        value = float(number.text)
        new = repr(value * CONSTANT) if "." in number.text else str(round(value) + max(1, round(abs(value) / 2)))
        yield Mutant(f"{path.stem} {number.name}", path, number.start, number.start + len(number.text), new)
