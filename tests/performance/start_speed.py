"""How long a command takes to start, beside the bare interpreter."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from figure import Figure

ROOT = Path(__file__).parents[2]
ROUNDS = 15


def _took(*arguments: str) -> float:
    best = float("inf")
    for _ in range(ROUNDS):
        began = time.perf_counter()
        subprocess.run([sys.executable, *arguments], cwd=ROOT, stdout=subprocess.DEVNULL, check=True)
        best = min(best, time.perf_counter() - began)
    return best


def figures() -> Iterator[Figure]:
    """The lines of the table."""
    bare = _took("-c", "pass")
    yield Figure("the bare interpreter", f"{bare * 1000:.0f} ms")
    version = _took("-m", "tui", "--version")
    yield Figure("evendraw --version", f"{version * 1000:.0f} ms", "under 4 bare interpreters", version < 4 * bare)
    yield Figure("evendraw check idle-speed", f"{_took('-m', 'tui', 'check', 'idle-speed') * 1000:.0f} ms")
