"""Loads the kit of hand-built procedures beside this file, so that the tests of this folder can import it by name."""

import importlib.util
import sys
from pathlib import Path

for _name in (
    "check_kit",
    "walk_kit",
    "random_programs",
    "z3_judge",
    "mutant_text",
    "mutant_operators",
    "mutant_work",
    "mutant_trade",
    "mutant_kits",
    "mutant_runs",
    "mutant_fates",
):
    if _name not in sys.modules:
        _spec = importlib.util.spec_from_file_location(_name, Path(__file__).with_name(f"{_name}.py"))
        _module = importlib.util.module_from_spec(_spec)
        sys.modules[_name] = _module
        _spec.loader.exec_module(_module)
