"""A shortest way through a file that shows a fault, in words; it finds no fault itself."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Hashable
from typing import Any

from engine.procedure.check.edges import Edge, Edges

#: Carries what a path has come to along an edge: the next value, or None where the edge is not part of the way.
Follow = Callable[[Any, Edge], Hashable | None]


def shortest(edges: Edges, start: str, target: str, first: Hashable, follow: Follow, shows: Callable[[Any], bool],
             worlds: int, through: Callable[[Edge], int] = lambda edge: edge.worlds) -> list[Edge] | None:
    """The shortest path from `start` to `target` at whose end `shows` holds of what `follow` carried there, starting
    with `first`. All of it is possible in one world; `through` says in which an edge is. None where there is none."""
    queue: deque[tuple[str, Hashable, int]] = deque([(start, first, worlds)])
    before: dict[tuple[str, Hashable], tuple[tuple[str, Hashable], Edge] | None] = {(start, first): None}
    while queue:
        name, value, mask = queue.popleft()
        if name == target and shows(value):
            return _back(before, (name, value))
        for edge in edges.out.get(name, ()):
            left = mask & through(edge)
            carried = follow(value, edge) if left else None
            key = (edge.target, carried)
            if carried is not None and key not in before:
                before[key] = ((name, value), edge)
                queue.append((edge.target, carried, left))
    return None


def _back(before: dict[Any, Any], key: Any) -> list[Edge]:
    path: list[Edge] = []
    while before[key] is not None:
        key, edge = before[key]
        path.append(edge)
    return path[::-1]


def said(path: list[Edge] | None, start: str) -> str:
    """A path in words: `zero → open → (hammer: bleed_line, bled) → open`."""
    if not path:
        return start if path is not None else ""
    words = [start]
    for edge in path:
        if edge.kind == "symptom":
            words.append(f"({edge.symptom}: {edge.call.file}, {edge.end})" if edge.call else f"({edge.symptom})")
        elif edge.kind == "call" and edge.call:
            words.append(f"({edge.call.file}: {edge.end})")
        elif edge.kind == "then":
            words.append("(visits used up)")
        words.append(edge.target)
    if len(words) > 14:
        words = [*words[:3], "...", *words[-9:]]
    return " → ".join(words)
