"""A shortest way through a file that shows a fault, in words; it finds no fault itself."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable, Iterable
from typing import Any

from engine.procedure.check.ways.edges import Edge, Edges

#: What a path may have come to at the end of an edge, by what it had come to before; nothing where the edge is no way.
Follow = Callable[[Any, Edge], Iterable[Hashable]]
#: The edges of a path, each with what was carried along it.
Path = list[tuple[Edge, Any]]


def shortest(
    edges: Edges,
    start: str,
    target: str,
    first: Hashable,
    follow: Follow,
    shows: Callable[[Any], bool],
    worlds: int,
    through: Callable[[Edge], int] = lambda edge: edge.worlds,
) -> Path | None:
    """The shortest path from `start` to `target` at whose end `shows` holds of what `follow` carried there, starting
    with `first`. All of it is possible in one world; `through` says in which an edge is. None where there is none."""
    queue: deque[tuple[str, Hashable, int]] = deque([(start, first, worlds)])
    before: dict[Any, Any] = {(start, first): None}
    while queue:
        name, value, mask = queue.popleft()
        if name == target and shows(value):
            return _back(before, (name, value))
        for edge in edges.out.get(name, ()):
            left = mask & through(edge)
            for carried in follow(value, edge) if left else ():
                key = (edge.target, carried)
                if key not in before:
                    before[key] = ((name, value), edge)
                    queue.append((edge.target, carried, left))
    return None


def _back(before: dict[Any, Any], key: Any) -> Path:
    path: Path = []
    while before[key] is not None:
        earlier, edge = before[key]
        path.append((edge, key[1]))
        key = earlier
    return path[::-1]


def said(path: Path | None, start: str, within: Callable[[Any], str] = lambda carried: "") -> str:
    """A path in words: `zero → open → (hammer: bleed_line, bled) → open`. `within` names the file that a symptom was
    given in, by what was carried along its edge; "" where it was given at the step itself."""
    if path is None:
        return ""
    words = [start]
    for edge, carried in path:
        if edge.kind == "symptom":
            inside = f" within {within(carried)}" if within(carried) else ""
            words.append(f"({edge.symptom}{inside}{f': {edge.call.file}, {edge.end}' if edge.call else ''})")
        elif edge.kind == "call" and edge.call:
            words.append(f"({edge.call.file}: {edge.end})")
        elif edge.kind == "then":
            words.append("(visits used up)")
        words.append(edge.target)
    if len(words) > 14:
        words = [*words[:3], "...", *words[-9:]]
    return " → ".join(words)
