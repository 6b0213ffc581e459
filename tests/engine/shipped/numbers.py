"""The numbers of a shipped file that decide something: its settings, and the figures of its guards.

python -m tests.engine.shipped.numbers     writes them all down anew, in numbers.yaml
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

HERE = Path(__file__).parent
PROCEDURES = Path(__file__).resolve().parents[3] / "procedures"
#: Keys whose text is a guard.
GUARDS = frozenset({"when", "is", "where"})
_NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?![\w.])")


@dataclass(frozen=True)
class Number:
    """One number: `name` is its way through the file, `text` stands at `start`."""

    name: str
    text: str
    start: int


def numbers_of(text: str) -> list[Number]:
    """Every number of settings and guards in a file's text, in order."""
    seen: Counter[str] = Counter()
    out = []
    for way, node in _scalars(YAML().compose(text), ()):
        if not (way and ((way[0] == "settings" and way[-1] not in ("source", "by")) or way[-1] in GUARDS)):
            continue
        span = text[node.start_mark.index : node.end_mark.index]
        for found in _NUMBER.finditer(span):
            name = " ".join(way)
            seen[name] += 1
            out.append(Number(f"{name} {seen[name]}", found[0], node.start_mark.index + found.start()))
    return out


def _scalars(node: Node, way: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(node, MappingNode):
        for key, value in node.value:
            yield from _scalars(value, (*way, str(key.value)))
    elif isinstance(node, SequenceNode):
        for item in node.value:
            yield from _scalars(item, way)
    elif isinstance(node, ScalarNode):
        yield way, node


def now() -> dict[str, dict[str, str]]:
    """The numbers of every shipped file, as it stands: by file and name."""
    return {
        str(path.relative_to(PROCEDURES).with_suffix("").as_posix()): {
            n.name: n.text for n in numbers_of(path.read_text(encoding="utf-8"))
        }
        for path in sorted(PROCEDURES.rglob("*.yaml"))
    }


def kept() -> dict[str, dict[str, str]]:
    """The numbers as they were written down."""
    told: dict[str, dict[str, str]] = YAML(typ="safe").load((HERE / "numbers.yaml").read_text(encoding="utf-8"))
    return told


if __name__ == "__main__":
    yaml = YAML()
    yaml.width = 200
    with (HERE / "numbers.yaml").open("w", encoding="utf-8", newline="\n") as file:
        file.write("# Every number that decides something in the shipped files. Written by `python -m ")
        file.write("tests.engine.shipped.numbers`;\n# read the difference before you keep it.\n")
        yaml.dump({name: row for name, row in now().items() if row}, file)
