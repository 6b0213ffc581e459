"""The way through a procedure as a drawing: a tree of text, Mermaid's text; the same file always gives the same
drawing."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal

from engine.contract import Registry
from engine.procedure.build.kits import SECTIONS
from engine.procedure.build.load import load
from engine.procedure.program import Call, End, Procedure, Step
from engine.procedure.report.rendering import full
from engine.procedure.route.parts import Link, Route, Stop
from engine.vocabulary.vocabulary import SHIPPED

OTHERWISE = "otherwise"
#: The widest line of the tree; a longer guard is cut.
WIDEST = 100


def route_of(procedure: Procedure) -> Route:
    """The route of one file; files that it calls are single stops in it."""
    steps = procedure.steps
    order = [procedure.start, *(n for n in steps if n != procedure.start)]
    links = [link for n in order if n in steps for link in _links(steps[n])]
    symptoms = tuple((s.ask, _led(s.way)) for s in procedure.symptoms.values() if s.way is not None)
    return Route(
        procedure.name,
        procedure.title,
        procedure.start,
        tuple(_stop(steps[n]) for n in order if n in steps),
        tuple(links),
        symptoms,
        tuple(procedure.uses.items()),
    )


def _stop(step: Step) -> Stop:
    visits = step.limit.visits if step.limit else None
    if isinstance(step.way, Call):
        return Stop(step.name, step.title, "call", step.way.file, visits=visits)
    if isinstance(step.way, End):
        return Stop(step.name, step.title, "end", outcome=step.way.outcome, visits=visits)
    return Stop(step.name, step.title, "step", visits=visits)


def _links(step: Step) -> Iterator[Link]:
    way = step.way
    if isinstance(way, tuple):
        for branch in way:
            yield Link(step.name, branch.go, branch.when.text if branch.when else OTHERWISE, "way")
    elif isinstance(way, str):
        yield Link(step.name, way, "", "way")
    elif isinstance(way, Call):
        yield from _ends(step.name, way)
    if step.limit:
        yield Link(step.name, step.limit.then, f"after {step.limit.visits} visits", "limit")
    for name, led in step.symptoms.items():
        if isinstance(led, str):
            yield Link(step.name, led, name, "symptom")


def _ends(source: str, call: Call) -> Iterator[Link]:
    """The ends of a call, those with one target on one link."""
    grouped: dict[str, list[str]] = {}
    for end, target in call.ends.items():
        grouped.setdefault(call.go or source if target == "next" else target, []).append(end)
    for target, ends in grouped.items():
        yield Link(source, target, ", ".join(ends), "way")


def _led(way: str | Call | None) -> str:
    if not isinstance(way, Call):
        return str(way)
    ends = ", ".join(f"{end}: {target}" for end, target in way.ends.items())
    limit = f", at most {way.limit.visits} times, then {way.limit.then}" if way.limit else ""
    return f"{way.file} ({ends}){limit}"


# ---- text


def as_text(route: Route) -> str:
    """The route as a tree: each step once, its ways below it. A step that only one way leads to hangs on that way; one
    where ways meet again comes after them at the same depth. `↺` goes to a step drawn above, `→` to one drawn below."""
    lines = [f"{route.name}: {route.title}"]
    for kit, names in route.kits:
        lines += textwrap.wrap(", ".join(names), WIDEST, initial_indent=f"from {kit}: ", subsequent_indent="  ")
    lines.append("")
    tree = _Tree(route, lines)
    tree.draw(route.start, "")
    loose = [s.name for s in route.stops if s.name not in tree.drawn and s.kind != "end"]
    for name in loose:
        if name not in tree.drawn:
            lines += ["", "by a symptom:"]
            tree.draw(name, "")
    if route.symptoms:
        lines += ["", "at any step:", *(f"  {ask} → {where}" for ask, where in route.symptoms)]
    return "\n".join(lines) + "\n"


class _Tree:
    """Draws the steps along the tree of dominators: a step stands below the last one that every way to it passes."""

    def __init__(self, route: Route, lines: list[str]) -> None:
        self.route, self.lines = route, lines
        self.stops = {s.name: s for s in route.stops}
        self.out = {s.name: [x for x in route.out(s.name) if x.target in self.stops] for s in route.stops}
        self.drawn: set[str] = set()

    def draw(self, root: str, indent: str) -> None:
        """A step and all that hangs on it and was not drawn."""
        below, direct = self._below(root)
        self._step(root, indent, below, direct)

    def _below(self, root: str) -> tuple[dict[str, list[str]], set[str]]:
        """For each step those right below it in the tree; and those that just one way leads to."""
        order: list[str] = []
        seen = {root}
        stack = [(root, iter(self.out[root]))]
        while stack:
            name, rest = stack[-1]
            link = next((x for x in rest if x.target not in seen and x.target not in self.drawn), None)
            if link is None:
                order.append(name)
                stack.pop()
            else:
                seen.add(link.target)
                stack.append((link.target, iter(self.out[link.target])))
        order.reverse()
        place = {n: i for i, n in enumerate(order)}
        into: dict[str, list[str]] = {n: [] for n in order}
        for name in order:
            for link in self.out[name]:
                if link.target in into:
                    into[link.target].append(name)
        above: dict[str, str] = {root: root}
        changed = True
        while changed:
            changed = False
            for name in order[1:]:
                new = ""
                for source in into[name]:
                    if source in above:
                        new = source if not new else _meeting(new, source, above, place)
                if above.get(name) != new:
                    above[name], changed = new, True
        below: dict[str, list[str]] = {}
        for name in order[1:]:
            below.setdefault(above[name], []).append(name)
        direct = {n for n in order[1:] if sum(place[s] < place[n] for s in set(into[n])) == 1}
        return below, direct

    def _step(self, name: str, indent: str, below: dict[str, list[str]], direct: set[str]) -> None:
        while True:
            self.drawn.add(name)
            self.lines.append(indent + headline(self.stops[name]))
            mine = [n for n in below.get(name, []) if self.stops[n].kind != "end"]
            order = [x.target for x in self.out[name]]
            here = sorted((n for n in mine if n in direct and n in order), key=order.index)
            later = [n for n in mine if n not in here]
            if here and not later:
                later = [here.pop()]
            self._ways(name, indent, here, below, direct)
            for other in later[:-1]:
                self._step(other, indent, below, direct)
            if not later:
                return
            name = later[-1]

    def _ways(self, name: str, indent: str, here: list[str], below: dict[str, list[str]], direct: set[str]) -> None:
        links = self.out[name]
        for i, link in enumerate(links):
            last = i == len(links) - 1
            room = max(WIDEST - len(indent) - len(link.target) - 8, 24)
            self.lines.append(indent + ("└ " if last else "├ ") + _way(link, self.stops, self.drawn, room))
            if link.target in here and link.target not in self.drawn:
                self._step(link.target, indent + ("    " if last else "│   "), below, direct)


def _meeting(a: str, b: str, above: dict[str, str], place: dict[str, int]) -> str:
    """The nearest step that stands above both."""
    while a != b:
        while place[a] > place[b]:
            a = above[a]
        while place[b] > place[a]:
            b = above[b]
    return a


def headline(stop: Stop) -> str:
    """A stop in one line."""
    said = f"■ {stop.name} ({stop.outcome})" if stop.kind == "end" else f"● {stop.name}"
    if stop.kind == "call":
        said += f"  [{stop.file}]"
    if stop.visits is not None:
        said += f"  at most {stop.visits} visits"
    return said


def _way(link: Link, stops: dict[str, Stop], drawn: set[str], room: int) -> str:
    stop = stops[link.target]
    label = link.label if len(link.label) <= room else link.label[: room - 1] + "…"
    label = f"{'! ' if link.kind == 'symptom' else ''}{label}: " if label else ""
    if stop.kind == "end":
        return f"{label}■ {stop.name} ({stop.outcome})"
    return f"{label}{'↺' if link.target in drawn else '→'} {link.target}"


# ---- Mermaid


def as_mermaid(route: Route) -> str:
    """The route as a Mermaid flowchart."""
    ids = {s.name: f"s{i}" for i, s in enumerate(route.stops)}
    lines = ["flowchart TD", f"  %% {route.name}: {_plain(route.title)}"]
    shapes = {"step": ("[", "]"), "call": ("[[", "]]"), "end": ("([", "])")}
    for stop in route.stops:
        left, right = shapes[stop.kind]
        extra = stop.file or stop.outcome
        if stop.visits is not None:
            extra = f"{extra}, at most {stop.visits}" if extra else f"at most {stop.visits}"
        text = _plain(stop.title) + (f"<br/>{_plain(extra)}" if extra else "")
        lines.append(f'  {ids[stop.name]}{left}"{text}"{right}')
    arrows = {"way": "-->", "limit": "-.->", "symptom": "-.->"}
    for link in route.links:
        if link.target in ids:
            label = f'|"{_plain(link.label)}"|' if link.label else ""
            lines.append(f"  {ids[link.source]} {arrows[link.kind]}{label} {ids[link.target]}")
    return "\n".join(lines) + "\n"


def _plain(text: str) -> str:
    """A text as Mermaid takes it between quotes."""
    for sign, entity in (("#", "#35;"), ("&", "#amp;"), ('"', "#quot;"), ("<", "#lt;"), (">", "#gt;"), ("\n", " ")):
        text = text.replace(sign, entity)
    return text


def declared(kit: Procedure) -> str:
    """What a kit declares, by section, one name a line."""
    lines = [f"{kit.name}: {kit.title}"]
    for section in SECTIONS:
        entries = _declared(kit, section)
        if entries:
            lines += ["", f"{section}:"]
        for name, entry in entries.items():
            said = getattr(entry, "text", None) or getattr(entry, "ask", None) or getattr(entry, "path", None) or entry
            lines.append(f"  {name}{f'  {said}' if isinstance(said, str) else ''}"[:WIDEST].rstrip())
    return "\n".join(lines) + "\n"


def _declared(kit: Procedure, section: str) -> Mapping[str, Any]:
    """What stands in a section of a kit; of its own words for the trade those that the shipped vocabulary lacks."""
    head, _, table = section.partition(".")
    if not table:
        entries: Mapping[str, Any] = getattr(kit, head)
        return entries
    table = "mixture_screws" if table == "screws" else table
    known = getattr(SHIPPED, table)
    return {name: entry.about for name, entry in getattr(kit.vocabulary, table).items() if name not in known}


# ---- the command


def run_route(
    path: str | Path,
    search: Sequence[Path],
    advisers: Registry,
    format: Literal["text", "mermaid", "svg"] = "text",
) -> tuple[str, int]:
    """The drawing of a file and exit code 0; or what is wrong with it and exit code 3, where it does not load."""
    loaded = load(path, search, advisers)
    if loaded.kit is not None:
        return declared(loaded.kit), 0
    if loaded.program is None:
        return full(loaded.problems, loaded.sources, proved=False), 3
    route = route_of(loaded.program.files[loaded.program.main])
    if format == "mermaid":
        return as_mermaid(route), 0
    if format == "svg":
        from engine.procedure.route.route_svg import as_svg

        return as_svg(route), 0
    return as_text(route), 0
