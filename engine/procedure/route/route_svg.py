"""A route as an SVG file: steps in layers from the start down, ways as curves, ways back along the right; nothing
random.

The layout is Sugiyama's: layers by the longest way from the start, long ways cut by waypoints, each layer ordered by
the mean place of its neighbours. Colours say little and shapes much, so that it prints in black."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from xml.sax.saxutils import escape

from engine.procedure.route.parts import Link, Route, Stop

BOX, GAP, LAYER, MARGIN, CHAR = 36, 28, 96, 24, 7.2
#: The most characters of a label or a title that are written; the rest is shown when pointed at.
LABEL, TITLE = 34, 26


@dataclass(slots=True)
class _Node:
    """A stop or a waypoint, with its layer and where it comes to lie."""

    name: str
    stop: Stop | None
    layer: int
    width: float
    x: float = 0.0


@dataclass(slots=True)
class _Drawing:
    nodes: dict[str, _Node]
    layers: list[list[str]]
    #: For each forward link the nodes that it passes, ends included; back links by themselves.
    forward: list[tuple[Link, list[str]]] = field(default_factory=list)
    back: list[Link] = field(default_factory=list)


def as_svg(route: Route) -> str:
    """The drawing as the text of an SVG file."""
    drawing = _layered(route)
    _order(drawing)
    _place(drawing)
    return _written(route, drawing)


def _layered(route: Route) -> _Drawing:
    stops = {s.name: s for s in route.stops}
    links = [x for x in route.links if x.target in stops]
    back = _backward(route, links)
    ahead = [x for x in links if id(x) not in back]
    layer = dict.fromkeys(stops, 0)
    for _ in stops:
        moved = False
        for link in ahead:
            if layer[link.target] < layer[link.source] + 1:
                layer[link.target], moved = layer[link.source] + 1, True
        if not moved:
            break
    nodes = {n: _Node(n, s, layer[n], _width(s)) for n, s in stops.items()}
    drawing = _Drawing(nodes, [[] for _ in range(max(layer.values(), default=0) + 1)])
    drawing.back = [x for x in links if id(x) in back]
    for i, link in enumerate(ahead):
        path = [link.source]
        for level in range(layer[link.source] + 1, layer[link.target]):
            name = f"{i}@{level}"
            nodes[name] = _Node(name, None, level, 12)
            path.append(name)
        drawing.forward.append((link, [*path, link.target]))
    for node in nodes.values():
        drawing.layers[node.layer].append(node.name)
    return drawing


def _backward(route: Route, links: list[Link]) -> set[int]:
    """The links that close a loop, found by a walk in depth from the start."""
    out: dict[str, list[Link]] = {s.name: [] for s in route.stops}
    for link in links:
        out[link.source].append(link)
    back: set[int] = set()
    done: set[str] = set()
    for root in out:
        if root in done:
            continue
        open_: dict[str, None] = {root: None}
        stack = [(root, iter(out[root]))]
        while stack:
            name, rest = stack[-1]
            onward = next(rest, None)
            if onward is None:
                stack.pop()
                open_.pop(name)
                done.add(name)
            elif onward.target in open_:
                back.add(id(onward))
            elif onward.target not in done:
                open_[onward.target] = None
                stack.append((onward.target, iter(out[onward.target])))
    return back


def _order(drawing: _Drawing) -> None:
    """Sort each layer by the mean place of its neighbours, down and up a few times."""
    near: dict[str, dict[str, list[str]]] = {n: {"up": [], "down": []} for n in drawing.nodes}
    for _, path in drawing.forward:
        for a, b in pairwise(path):
            near[a]["down"].append(b)
            near[b]["up"].append(a)
    for sweep in range(6):
        way = "up" if sweep % 2 == 0 else "down"
        for layer in drawing.layers if way == "up" else reversed(drawing.layers):
            place = {n: i for names in drawing.layers for i, n in enumerate(names)}
            means = {
                n: sum(place[m] for m in near[n][way]) / len(near[n][way]) if near[n][way] else place[n] for n in layer
            }
            layer.sort(key=lambda n: (means[n], place[n]))


def _place(drawing: _Drawing) -> None:
    """Give each node its place across: layers centred, boxes apart."""
    widths = [sum(drawing.nodes[n].width for n in names) + GAP * (len(names) - 1) for names in drawing.layers]
    widest = max(widths, default=0)
    for names, width in zip(drawing.layers, widths, strict=True):
        x = MARGIN + (widest - width) / 2
        for name in names:
            node = drawing.nodes[name]
            node.x = x + node.width / 2
            x += node.width + GAP


def _width(stop: Stop) -> float:
    return max(len(_short(stop.title, TITLE)), len(_second(stop))) * CHAR + 24


def _second(stop: Stop) -> str:
    said = [f"calls {stop.file}" if stop.kind == "call" else stop.outcome]
    if stop.visits is not None:
        said.append(f"at most {stop.visits}")
    return ", ".join(x for x in said if x)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


# ---- writing


def _written(route: Route, drawing: _Drawing) -> str:
    right = max((n.x + n.width / 2 for n in drawing.nodes.values()), default=100.0)
    width = right + MARGIN + 18 * len(drawing.back) + 60
    height = len(drawing.layers) * LAYER + 2 * MARGIN + 30
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.0f}" height="{height}" '
        f'viewBox="0 0 {width:.0f} {height}" font-family="sans-serif" font-size="12">',
        f"<title>{escape(route.title)}</title>",
        '<defs><marker id="tip" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="8" markerHeight="8" orient="auto">'
        '<path d="M0 0 L8 4 L0 8 z" fill="#333"/></marker></defs>',
        f'<rect width="{width:.0f}" height="{height}" fill="#fff"/>',
        f'<text x="{MARGIN}" y="{MARGIN}" font-size="16" font-weight="bold">{escape(route.title)}</text>',
    ]
    drawn = [_forward(drawing, link, path) for link, path in drawing.forward]
    drawn += [_backwards(drawing, link, right + MARGIN + 18 * i) for i, link in enumerate(drawing.back)]
    parts += [path for path, _ in drawn]
    parts += [_box(n) for n in drawing.nodes.values() if n.stop is not None]
    parts += [label for _, label in drawn if label]
    return "\n".join([*parts, "</svg>"]) + "\n"


def _top(node: _Node) -> float:
    return MARGIN + 30 + node.layer * LAYER


def _stroke(link: Link) -> str:
    dash = "" if link.kind == "way" else ' stroke-dasharray="5 4"'
    return f'fill="none" stroke="#333" stroke-width="1.2"{dash} marker-end="url(#tip)"'


def _forward(drawing: _Drawing, link: Link, path: list[str]) -> tuple[str, str]:
    nodes = [drawing.nodes[n] for n in path]
    siblings = [x for x, p in drawing.forward if p[0] == path[0]]
    spread = nodes[0].width / (len(siblings) + 1)
    x, y = nodes[0].x - nodes[0].width / 2 + spread * (siblings.index(link) + 1), _top(nodes[0]) + BOX
    d, start = f"M{x:.1f} {y:.1f}", (x, y)
    for node in nodes[1:]:
        to = _top(node) if node.stop else _top(node) + BOX / 2
        bend = (to - y) / 2
        d += f" C{x:.1f} {y + bend:.1f} {node.x:.1f} {to - bend:.1f} {node.x:.1f} {to:.1f}"
        x, y = node.x, to
    # Labels of one step's ways stand below each other, so that they don't cover each other.
    label = _label(link, start[0] + 4, start[1] + 14 + 13 * (siblings.index(link) % 3))
    return f'<path d="{d}" {_stroke(link)}/>', label


def _backwards(drawing: _Drawing, link: Link, lane: float) -> tuple[str, str]:
    a, b = drawing.nodes[link.source], drawing.nodes[link.target]
    x1, y1, x2, y2 = a.x + a.width / 2, _top(a) + BOX * 0.7, b.x + b.width / 2, _top(b) + BOX * 0.3
    d = (
        f"M{x1:.1f} {y1:.1f} C{lane:.1f} {y1:.1f} {lane:.1f} {y1:.1f} {lane:.1f} {y1 - 14:.1f} "
        f"L{lane:.1f} {y2 + 14:.1f} C{lane:.1f} {y2:.1f} {lane:.1f} {y2:.1f} {x2 + 2:.1f} {y2:.1f}"
    )
    nth = [x for x in drawing.back if x.source == link.source].index(link)
    return f'<path d="{d}" {_stroke(link)}/>', _label(link, x1 + 6, y1 - 4 + 12 * nth)


def _label(link: Link, x: float, y: float) -> str:
    if not link.label:
        return ""
    text = ("! " if link.kind == "symptom" else "") + link.label
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="10" fill="#333" stroke="#fff" stroke-width="3" '
        f'paint-order="stroke"><title>{escape(text)}</title>'
        f"{escape(_short(text, LABEL))}</text>"
    )


def _box(node: _Node) -> str:
    stop = node.stop
    assert stop is not None
    x, y = node.x - node.width / 2, _top(node)
    round_ = {"step": 3, "call": 3, "end": BOX / 2}[stop.kind]
    thick = "2" if stop.kind == "end" else "1.2"
    parts = [
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{node.width:.1f}" height="{BOX}" rx="{round_}" fill="#f6f6f2" '
        f'stroke="#333" stroke-width="{thick}"/>'
    ]
    if stop.kind == "call":
        parts += [f'<path d="M{x + d:.1f} {y:.1f} v{BOX}" stroke="#333"/>' for d in (5, node.width - 5)]
    second = _second(stop)
    first = y + (15 if second else 22)
    parts.append(
        f'<text x="{node.x:.1f}" y="{first:.1f}" text-anchor="middle"><title>{escape(stop.title)}</title>'
        f"{escape(_short(stop.title, TITLE))}</text>"
    )
    if second:
        parts.append(
            f'<text x="{node.x:.1f}" y="{y + 29:.1f}" text-anchor="middle" font-size="10" fill="#555">'
            f"{escape(second)}</text>"
        )
    return "".join(parts)
