"""Kits: declarations that files share, taken over into the mapping of each file that uses them; it opens no file.

What a file declares itself takes the place of a kit's. Of a kit it takes all cautions, terms, words and the symptoms
that lead somewhere, and else only what it names, so that a kit may hold more than one file needs.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from engine.procedure.model.file import ProcedurePart
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span
from engine.procedure.source.tree import Map, Scalar, Seq, Tree, mapping, scalar

#: The sections that a kit may hold; in all of them together a name stands once.
DECLARED = tuple(f"declares.{s}" for s in ("states", "quantities", "hazards", "families", "screws"))
SECTIONS = (*DECLARED, "terms", "words", "cautions", "facts", "settings", "screws", "readings", "symptoms", "values")
#: What is taken over whole.
_WHOLE = frozenset({*DECLARED, "terms", "words", "cautions"})
#: Whose names are apart from all others.
_APART = frozenset({*DECLARED, "terms"})
#: Keys under which names stand: in expressions, as a reading, a screw, a fact. Elsewhere only what is in `{}` is one.
NAMING = frozenset(
    {"when", "to", "by", "size", "is", "where", "reading", "screw", "band", "position_of", "read", "checklist"}
    | {"with", "keep", "state", "values", "gives", "from"}
)
#: Of these what stands under their own keys names something, too; under the last two the keys themselves do.
_THROUGH = frozenset({"with", "keep", "state", "values", "gives", "read", "checklist"})
_KEYS = frozenset({"read", "checklist"})
_QUOTED = re.compile(r"'[^']*'|\"[^\"]*\"")
_SHOWN = re.compile(r"\{\s*(\w+)")
_WORD = re.compile(r"[^\W\d]\w*")


def under(own: Map, kits: Sequence[tuple[Scalar, Map]], path: str) -> tuple[Map, list[Problem]]:
    """What the kits that a file or kit uses declare together, less what it declares itself; `kits` holds the sections
    of each by the name that uses it.

    A name that two of them declare is a problem, unless both have it from one place.
    """
    made = mapping(own.span, {})
    mine = set(_names(own))
    first: dict[str, tuple[Scalar, Scalar]] = {}
    clashes: dict[tuple[Scalar, Scalar], list[str]] = {}
    for by, kit in kits:
        for section, name, entry in _entries(kit):
            hidden = name in _section(own, section) if section in _APART else name in mine
            if hidden and not (section == "symptoms" and name in _section(own, section)):
                continue  # of a symptom it may say only where it leads
            old, known = first.setdefault(f"{section if section in _APART else ''} {name}", (by, name))
            if known.span != name.span and not hidden:
                clashes.setdefault((old, by), []).append(str(name))
            else:
                _into(made, section).setdefault(name, entry)
        for section in SECTIONS:
            if _section(kit, section).lost - mine:
                _into(made, section).lost |= _section(kit, section).lost - mine
    return made, [_clash(old, by, names, path) for (old, by), names in clashes.items()]


def _clash(old: Scalar, by: Scalar, names: list[str], path: str) -> Problem:
    said = ", ".join(f"`{n}`" for n in names[:5]) + (" ..." if len(names) > 5 else "")
    return Problem(
        "kits-clash",
        path,
        by.span,
        f"The kits `{old}` and `{by}` both declare {said}.",
        hint="Declare it here, which takes the place of both, or rename one.",
    )


def merged(kit: Map, below: Map) -> Map:
    """All that a kit declares: what it has from the kits below it, and its own."""
    made = mapping(kit.span, {})
    for part in (below, kit):
        for section, name, entry in _entries(part):
            _into(made, section)[name] = entry
        for section in SECTIONS:
            if _section(part, section).lost:
                _into(made, section).lost |= _section(part, section).lost
    return made


def take_over(file: Map, kits: Map) -> None:
    """Put into a file's mapping what it takes of the kits that it uses, given as `under` makes it."""
    declared = {(section, str(name)): entry for section, name, entry in _entries(kits)}
    for name, entry in _section(kits, "symptoms").items():
        mine = _section(file, "symptoms").get(name)
        if mine is not None and isinstance(entry, Map):
            _section(file, "symptoms")[name] = _with_its_words(mine, entry)
    for section, wanted in _taken(file, declared):
        known = next(k for k in _section(kits, section) if k == wanted)
        into = _into(file, section)
        if wanted not in into and wanted not in into.lost:
            into[known] = declared[section, wanted]
    for section in SECTIONS:
        if _section(kits, section).lost:
            _into(file, section).lost |= _section(kits, section).lost


def _with_its_words(mine: Tree, kit: Map) -> Tree:
    """A symptom of a kit for which a file says only where it leads: a step, or a mapping without kind and question."""
    if isinstance(mine, Scalar):
        mine = mapping(mine.span, {"go": mine})
    if isinstance(mine, Map) and not ({"kind", "ask"} & mine.keys()):
        for key in ("kind", "ask"):
            if key in kit:
                mine[next(k for k in kit if k == key)] = kit[key]
    return mine


def _taken(file: Map, declared: Mapping[tuple[str, str], Tree]) -> Iterator[tuple[str, str]]:
    """What a file takes: what is taken whole, what it names, and what that names in turn."""
    by_name: dict[str, list[tuple[str, str]]] = {}
    for section, name in declared:
        if section != "symptoms":
            by_name.setdefault(name, []).append((section, name))
    led = {str(n) for s in _section(file, "steps").values() if isinstance(s, Map) for n in _section(s, "symptoms")}
    taken = dict.fromkeys(
        k for k in declared if k[0] in _WHOLE or (k[0] == "symptoms" and (_leads(declared[k]) or k[1] in led))
    )
    queue = [mentioned(file), *(mentioned(declared[k]) for k in taken)]
    while queue:
        for name in queue.pop():
            for key in by_name.get(name, ()):
                if key not in taken:
                    taken[key] = None
                    queue.append(mentioned(declared[key]))
    return (k for k in declared if k in taken)


def _leads(symptom: Tree) -> bool:
    return isinstance(symptom, Map) and bool({"go", "call"} & symptom.keys())


def mentioned(node: Tree, key: str = "") -> set[str]:
    """Every word in a part of a file that may be a name; some are none, and no name is left out."""
    if isinstance(node, Scalar):
        return set(_WORD.findall(_QUOTED.sub("", node)) if key in NAMING else _SHOWN.findall(node))
    if isinstance(node, Map):
        found = {str(k) for k in node} if key in _KEYS else set()
        return found.union(*(mentioned(v, key if key in _THROUGH else str(k)) for k, v in node.items()))
    return set().union(*(mentioned(i, key) for i in node or ()))


def taken(part: ProcedurePart) -> dict[str, tuple[str, ...]]:
    """By each kit that a file uses, the names that it took, wherever the kit has them from."""
    found: dict[str, list[str]] = {}
    for section in SECTIONS:
        for name in _of_part(part, section):
            path = name.span.path or (part.symptoms[name].kind.span.path if section == "symptoms" else "")
            if path:
                found.setdefault(path, []).append(str(name))
    return {path: tuple(names) for path, names in found.items()}


def _of_part(part: ProcedurePart, section: str) -> Iterable[Scalar]:
    """The names in a section of a file's model."""
    here: Any = part
    for key in section.split("."):
        here = getattr(here, key, None)
    return here or ()


def alone(kit: Map, sections: Map, name: str) -> Map:
    """A kit as a file of its own that does nothing, so that its declarations can be checked: for the largest bank, and
    with a step for each that a symptom leads to."""
    at = kit.head

    def word(text: str) -> Scalar:
        return scalar(text, at)

    end = mapping(at, {"end": word("ok")})
    steps = {str(s): end for s in _targets(_section(sections, "symptoms"))} or {"done": end}
    bank = {"family": word("any"), "carbs": _counts(at, "12"), "barrels_per_carb": _counts(at, "4")}
    made = mapping(
        at,
        {
            "procedure": word(name),
            "title": kit.get("title", word(name)),
            "revision": word("1"),
            "for": mapping(at, bank),
            "start": word(next(iter(steps))),
            "steps": mapping(at, steps),
        },
    )
    for section in SECTIONS:
        if _section(sections, section):
            _into(made, section).update(_section(sections, section))
    return made


def _counts(at: Span, most: str) -> Map:
    return mapping(at, {"from": scalar(most, at), "to": scalar(most, at)})


def _targets(symptoms: Map) -> set[str]:
    found: set[str] = set()
    for way in symptoms.values():
        if isinstance(way, Map):
            ends, limit = way.get("ends"), way.get("limit")
            found |= {str(way["go"])} if "go" in way else set()
            found |= {str(t) for t in ends.values() if t not in ("next", "back")} if isinstance(ends, Map) else set()
            found |= {str(limit["then"])} if isinstance(limit, Map) and "then" in limit else set()
    return found


def _entries(kit: Map) -> Iterator[tuple[str, Scalar, Tree]]:
    for section in SECTIONS:
        for name, entry in _section(kit, section).items():
            yield section, name, entry


def _names(file: Map) -> Iterator[str]:
    for section in SECTIONS:
        if section not in _APART:
            yield from (str(n) for n in _section(file, section))
            yield from _section(file, section).lost


def _section(file: Map, section: str) -> Map:
    found: Tree = file
    for key in section.split("."):
        found = found.get(key) if isinstance(found, Map) else None
    return found if isinstance(found, Map) else Map()


def _into(file: Map, section: str) -> Map:
    """A section to put something into, made where there is none."""
    for key in section.split("."):
        found = file.get(key)
        if not isinstance(found, Map):
            found = mapping(file.span, {})
            file[scalar(key, file.head)] = found
        file = found
    return file


def is_kit(tree: Tree) -> bool:
    """Whether a mapping is a kit's."""
    return isinstance(tree, Map) and "kit" in tree and "procedure" not in tree


def used(tree: Map) -> list[Scalar]:
    """The kits that a file or kit says it uses."""
    found = tree.get("uses")
    return [n for n in found if isinstance(n, Scalar)] if isinstance(found, Seq) else []
