"""Loops of a graph of edges: its strongly connected parts and a shortest loop within one; it knows no file."""

from __future__ import annotations

from collections.abc import Mapping

from engine.procedure.check.ways.edges import Edge


def components(graph: Mapping[str, list[Edge]], every: bool = False) -> list[list[str]]:
    """The strongly connected parts that hold a cycle, by Tarjan's algorithm without recursion, in the order of the
    file; or `every` part, each after those that its edges lead to."""
    order = list(graph)
    place = {name: i for i, name in enumerate(order)}
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    on: set[str] = set()
    parts: list[list[str]] = []
    for root in order:
        if root in index:
            continue
        work = [(root, iter(graph[root]))]
        index[root] = low[root] = len(index)
        stack.append(root)
        on.add(root)
        while work:
            node, rest = work[-1]
            edge = next((e for e in rest if e.target in graph), None)
            if edge is None:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[node])
                if low[node] == index[node]:
                    part = []
                    while True:
                        name = stack.pop()
                        on.discard(name)
                        part.append(name)
                        if name == node:
                            break
                    if every or len(part) > 1 or any(e.target == node for e in graph[node]):
                        parts.append(sorted(part, key=place.__getitem__))
            elif edge.target not in index:
                index[edge.target] = low[edge.target] = len(index)
                stack.append(edge.target)
                on.add(edge.target)
                work.append((edge.target, iter(graph[edge.target])))
            elif edge.target in on:
                low[node] = min(low[node], index[edge.target])
    return parts if every else sorted(parts, key=lambda p: place[p[0]])


def cycle_in(graph: Mapping[str, list[Edge]], names: list[str], worlds: int) -> list[Edge] | None:
    """A shortest cycle within a part that is possible in one world; None if no world has one."""
    inside = set(names)
    masks = {e.worlds for n in names for e in graph[n] if e.target in inside}
    for world in _classes(masks, worlds):
        best: list[Edge] | None = None
        for start in names:
            before: dict[str, Edge] = {}
            queue = [start]
            while queue and start not in before:
                following = []
                for node in queue:
                    for edge in graph[node]:
                        if edge.target in inside and edge.worlds & world and edge.target not in before:
                            before[edge.target] = edge
                            following.append(edge.target)
                queue = following
            if start in before:
                path = [before[start]]
                while path[-1].source != start:
                    path.append(before[path[-1].source])
                if best is None or len(path) < len(best):
                    best = path[::-1]
        if best:
            return best
    return None


def _classes(masks: set[int], worlds: int) -> list[int]:
    """Worlds that the masks do not tell apart, one class each."""
    classes = [worlds]
    for mask in masks:
        classes = [part for c in classes for part in (c & mask, c & ~mask) if part][:256]
    return classes
