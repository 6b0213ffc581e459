"""Which settings the procedures along a path declare, by the lines of their text alone; it parses and checks
nothing.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from engine.procedure.source.files import KITS, SUFFIX, read_source
from engine.procedure.source.problems import Problem

_BLOCK = re.compile(r"^settings:(.*(?:\n(?:[ #].*)?)*)", re.MULTILINE)
_NAME = re.compile(r"(?:^ +|[{,] *)([A-Za-z_]\w*) *:", re.MULTILINE)


def settings_named(search: Sequence[Path]) -> frozenset[str]:
    """Every name under `settings` of any file or kit along a path, and some more (the keys of a setting): who is not
    among them is no setting. Each also stands behind the name of each file, `air-balance.tolerance`, for that file
    alone. A file that can't be read has none.
    """
    found: set[str] = set()
    files: set[str] = set()
    for folder in search:
        try:
            paths = [*folder.glob(f"*{SUFFIX}"), *folder.glob(f"kits/*{SUFFIX}")]
        except OSError:
            continue
        for path in paths:
            source = read_source(path)
            files |= set() if path.parent.name == KITS else {path.stem}
            if not isinstance(source, Problem):
                for block in _BLOCK.findall(source.text):
                    found.update(_NAME.findall(block))
    return frozenset(found | {f"{file}.{name}" for file in files for name in found})
