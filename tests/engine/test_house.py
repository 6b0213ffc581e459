"""What holds the house together: who may import whom, what stands at the top, and that no file is left unreadable."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOP = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "tui", "procedures", "engine", "tests"}


def tracked() -> list[str]:
    """Files that belong to the project; without git (a source archive) there is nothing to look at."""
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, encoding="utf-8")
    return listed.stdout.split("\n")[:-1] if listed.returncode == 0 else []


def test_dependencies_point_one_way() -> None:
    from importlinter.cli import EXIT_STATUS_SUCCESS, lint_imports

    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == EXIT_STATUS_SUCCESS


def test_nothing_else_stands_at_the_top() -> None:
    others = {path.split("/")[0] for path in tracked()} - TOP
    assert {name for name in others if not name.startswith(".")} == set()


def test_the_code_passes_the_linter() -> None:
    result = subprocess.run([sys.executable, "-m", "ruff", "check", "."], cwd=ROOT, capture_output=True, text=True)
    assert result.returncode == 0, result.stdout


def test_every_module_says_what_it_does() -> None:
    silent = []
    for path in tracked():
        if path.startswith(("engine/", "tui/")) and path.endswith(".py") and not path.endswith("__init__.py"):
            text = (ROOT / path).read_text(encoding="utf-8")
            if text.strip() and not text.startswith(('"""', 'r"""')):
                silent.append(path)
    assert silent == []
