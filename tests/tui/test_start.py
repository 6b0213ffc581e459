"""What is loaded before the first paint: the terminal library and the home screen, and nothing of the engine that
costs."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
LATER = (
    "pydantic",
    "ruamel",
    "yaml",
    "sqlite3",
    "numpy",
    "engine.job.model",
    "engine.session.view",
    "engine.session.session",
    "engine.book.book",
    "engine.procedure.build.load",
    "engine.bench.plant.engine",
    "tui.screens.run",
    "tui.control.desk",
)


def test_the_home_screen_loads_nothing_that_is_not_painted() -> None:
    code = f"import sys, tui.app, tui.screens.home; print([m for m in {LATER!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_screen_is_kept_out_of_the_engine_and_drawings_out_of_the_terminal_library() -> None:
    code = (
        "import sys, tui.drawing.step_lines, tui.drawing.bank, tui.drawing.card, tui.drawing.padview; "
        "import tui.drawing.handover_lines, tui.control.job_form, tui.control.stages; "
        "import tui.screens.pages; print([m for m in sys.modules if m == 'textual' or m.startswith('textual.')])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_command_loads_the_arguments_of_no_other() -> None:
    code = (
        "import sys; from tui.commandline.cli import main; main(['--version']); "
        "print([m for m in ('tui.commandline.book_commands', 'textual', 'pydantic') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
