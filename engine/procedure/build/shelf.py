"""The kits that the files of a program use: each found, read and merged with its own once; it builds no procedure."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from engine.procedure.build.kits import SECTIONS, merged, under, used
from engine.procedure.model.base import read_model
from engine.procedure.model.file import KitPart
from engine.procedure.program import Kit
from engine.procedure.source.files import KITS, SUFFIX
from engine.procedure.source.problems import Problem, did_you_mean
from engine.procedure.source.spans import Source
from engine.procedure.source.tree import Map, Scalar, placed, read_tree, scalar

#: Finds a kit by the name in `uses`: (name, the file or kit that uses it) -> its text, what is wrong with it, or None.
FindKit = Callable[[str, Source], Source | Problem | None]


class Shelf:
    """Kits by name. `problems` are those of the kits that were read and of the names by which none was found."""

    def __init__(self, find: FindKit, known: Callable[[Source], list[str]]) -> None:
        self.find, self.known = find, known
        self.problems: list[Problem] = []
        self.kits: dict[str, Kit] = {}
        #: name -> the sections of a kit and of all that it uses; empty while it is being read, or with a fault.
        self.merged: dict[str, Map] = {}
        self.open: list[str] = []

    def below(self, tree: Map, source: Source) -> Map:
        """All that the kits which a file or kit uses declare, less what it declares itself."""
        kits = [(name, self.merged[str(name)]) for name in used(tree) if self._fetched(name, source)]
        made, problems = under(tree, kits, source.path)
        self.problems += problems
        return made

    def _fetched(self, name: Scalar, user: Source) -> bool:
        """Whether there is such a kit, read now if it was not."""
        if name in self.open:
            circle = " uses ".join([*self.open[self.open.index(str(name)) :], str(name)])
            self._fault("kit-cycle", user, name, f"Kits use each other in a circle: {circle}.", "Take one out.")
            return False
        if name in self.merged:
            return True
        found = self.find(str(name), user)
        if found is None:
            hint = did_you_mean(name, self.known(user)) or f"It should be {KITS}/{name}{SUFFIX} beside this file."
            self._fault("unknown-kit", user, name, f"There is no kit `{name}`.", hint)
            return False
        if isinstance(found, Problem):
            self.problems.append(found)
            return False
        return self.read(found)[1] is not None

    def read(self, source: Source) -> tuple[Map | None, Map | None]:
        """A kit from its text: what stands in it, and its sections with all that it uses; None where it can't be
        read."""
        tree, problems = read_tree(source)
        self.problems += problems
        if tree is None:
            return None, None
        placed(tree, source.path)
        fill = {k: scalar(v, tree.head) for k, v in (("kit", source.name), ("title", source.name), ("revision", "1"))}
        part, faults = read_model(KitPart, tree, source.path, fill)
        self.problems += faults
        if part is None:
            return None, None
        if part.kit != source.name:
            self._fault(
                "name-not-file",
                source,
                part.kit,
                f"The file is called `{source.name}`, not `{part.kit}`.",
                "Rename one of them.",
            )
        self.kits[source.name] = Kit(source, source.name, str(part.title), int(part.revision))
        self.open.append(source.name)
        below = self.below(tree, source)
        self.open.pop()
        self.merged[source.name] = made = merged(tree, below)
        return tree, made

    def _fault(self, code: str, user: Source, name: Scalar, message: str, hint: str) -> None:
        self.problems.append(Problem(code, user.path, name.span, message, hint=hint))

    def unused(self, file: Map) -> list[Scalar]:
        """The kits of which a file took nothing."""
        taken = {(s, n) for s in SECTIONS for n in _names(file, s) if n.span.path}
        ways = _names(file, "symptoms")  # of which the kit gives kind and question
        taken |= {("symptoms", n) for n in ways if any(k.span.path for k in _names(file["symptoms"], n))}
        kits = {name: self.merged[str(name)] for name in used(file) if name in self.merged}
        return [k for k, tree in kits.items() if not any((s, n) in taken for s in SECTIONS for n in _names(tree, s))]


def _names(tree: Map, section: str) -> list[Scalar]:
    found: Any = tree
    for key in section.split("."):
        found = found.get(key) if isinstance(found, Map) else None
    return list(found) if isinstance(found, Map) else []
