"""A plugin of pytest that lets one module of the trade be read from a changed text: `-p tests.mutation.plugin`.

The environment says which: EVENDRAW_MUTANT is the path of the module, a bar, and the path of the changed text.
"""

from __future__ import annotations

import importlib.abc
import importlib.machinery
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from types import ModuleType

_ROOT = Path(__file__).resolve().parents[2]


class _Changed(importlib.abc.MetaPathFinder, importlib.abc.InspectLoader):
    """Finds and loads one module from another text than its own."""

    def __init__(self, module: Path, text: Path) -> None:
        self._name = ".".join(module.relative_to(_ROOT).with_suffix("").parts)
        self._module, self._text = module, text

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        """The spec of the changed module; nothing of any other."""
        if fullname != self._name:
            return None
        return importlib.machinery.ModuleSpec(fullname, self, origin=str(self._module))

    def get_source(self, fullname: str) -> str:
        """The changed text."""
        return self._text.read_text(encoding="utf-8")

    def exec_module(self, module: ModuleType) -> None:
        """Run the changed text as the module."""
        module.__file__ = str(self._module)
        exec(compile(self.get_source(module.__name__), str(self._module), "exec"), module.__dict__)


_told = os.environ.get("EVENDRAW_MUTANT", "")
if _told:
    _path, _, _changed = _told.partition("|")
    sys.meta_path.insert(0, _Changed(Path(_path), Path(_changed)))
