"""A file's text with one thing changed, for mutants. Lines are blanked, never taken out, so that a site and what is
said of it have the same number.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from engine.procedure.source.spans import Source, Span
from engine.procedure.source.tree import Map, Scalar, Seq, read_tree


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
        lines[span.line - 1] = line[: span.column - 1] + new + line[span.end_column - 1 :]
        return "\n".join(lines)

    def flow(self, node: Map | Seq) -> bool:
        """Whether a node stands in brackets."""
        return self.lines[node.span.line - 1][node.span.column - 1 : node.span.column] in ("{", "[")

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
        return "\n".join([*self.lines[: line - 1], new, *self.lines[line - 1 :]])


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


QUOTES = ("'", '"')


def quoted(text: str) -> str:
    """A text as a YAML scalar in double quotes."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
