"""How long a procedure file takes to be loaded and proved, in processor time beyond imports."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from figure import Figure

from engine.carburation.registry import shipped
from engine.procedure.build.load import load
from engine.procedure.check import check

SHIPPED = Path(__file__).parents[2] / "procedures"
LINES, GOAL = 300, 0.150


def figures() -> Iterator[Figure]:
    """The shipped files: the longest one by itself, and the longest closure of calls."""
    advisers = shipped()
    counts = {p.stem: p.read_text(encoding="utf-8").count("\n") for p in SHIPPED.glob("*.yaml")}
    load(SHIPPED / "warm-up.yaml", [SHIPPED], advisers)  # so that what is imported late is imported
    for name in sorted(counts, key=lambda n: -counts[n])[:3]:
        seconds, lines = _closure(name, counts, advisers)
        share = seconds * LINES / lines
        yield Figure(
            f"load and prove {name} with all it calls, {lines} lines",
            f"{seconds * 1000:.0f} ms",
            f"<= {GOAL * 1000:.0f} ms for {LINES} lines",
            share <= GOAL,
        )
        yield Figure("  of it, for 300 lines", f"{share * 1000:.0f} ms")


def _closure(name: str, counts: dict[str, int], advisers: object) -> tuple[float, int]:
    best, lines = 1e9, 0
    for _ in range(5):
        start = time.process_time()
        loaded = load(SHIPPED / f"{name}.yaml", [SHIPPED], advisers)  # type: ignore[arg-type]
        assert loaded.program is not None
        check(loaded.program, advisers)  # type: ignore[arg-type]
        best = min(best, time.process_time() - start)
        lines = sum(counts[n] for n in loaded.program.files)
    return best, lines
