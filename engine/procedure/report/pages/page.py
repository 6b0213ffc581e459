"""What a page says, and how its example becomes whole files; it knows no code."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

#: What an example does not say itself. An example's top keys take the place of these; its steps are added to these.
BASE = """\
procedure: example
title: Example
revision: 1
for: {family: any, carbs: 2}
start: gate
steps:
  gate:
    do: Look at it.
    go: done
  done: {end: ok, say: Done.}
"""

#: A row of readings that most examples are about.
FLOW = """\
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20], step: 0.1}
"""

_FILE = re.compile(r"^# file: ([\w/-]+)\.yaml\n", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Page:
    """One code explained: what it means, why it matters at the engine, how to mend it, and a piece of a file that
    has it.

    An example holds only what matters; `files_of` fills in the rest. One that begins with `procedure:`, `kit:` or `%`
    is whole.
    """

    code: str
    title: str
    means: str
    why: str
    mend: str
    example: str = ""
    severity: Literal["error", "warning"] = "error"


def files_of(example: str) -> dict[str, str]:
    """The files that an example stands for, by name; `example` is the main one."""
    parts = _FILE.split(example)
    texts = {"example": parts[0]} | dict(zip(parts[1::2], parts[2::2], strict=True))
    return {name: _whole(name, text) for name, text in texts.items()}


def _whole(name: str, text: str) -> str:
    if text.startswith(("procedure:", "kit:", "%", "- ", "\t")):
        return text
    base, mine = _sections(BASE.replace("procedure: example", f"procedure: {name}")), _sections(text)
    if "steps" in mine:
        mine["steps"] = _steps(mine["steps"], base["steps"])
    return "".join((base | mine).values())


def _sections(text: str) -> dict[str, str]:
    """A text cut at the keys that stand at its left edge."""
    found: dict[str, str] = {}
    key = ""
    for line in text.splitlines(keepends=True):
        match = re.match(r"([\w-]+):", line)
        key = match.group(1) if match and match.group(1) not in found else key
        found[key] = found.get(key, "") + line
    return found


def _steps(mine: str, base: str) -> str:
    names = set(re.findall(r"^  ([\w-]+):", mine, re.MULTILINE))
    kept = re.split(r"^(?=  \w)", base, flags=re.MULTILINE)[1:]
    return mine + "".join(part for part in kept if part.strip().partition(":")[0] not in names)
