"""The whole answer to every worked case, kept so that no figure drifts unseen.

A case says what a technician would check. What else an adviser answers with it (how sure it is, between where and where
a screw belongs, how far each move goes, what is expected next) was computed once and is kept here, right in no other
sense than that nobody changed it unawares. `python -m tests.engine.carburation.recorded` writes it anew after a change
that is meant, and the commit says why. A line a case in `answers.json`, so that the difference can be read.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path
from typing import Any

from engine.carburation.registry import ADVISERS
from engine.evidence import Advice
from tests.engine.carburation.worked import CASES, Case, cases, said_move, said_place

KEPT = Path(__file__).with_name("answers.json")
#: Two computers may differ in the last figures of a float.
NEAR, LEAST = 1e-3, 1e-3


def every() -> list[Case]:
    """Every worked case of every adviser."""
    return [case for name in ADVISERS if (CASES / f"{name}.yaml").exists() for case in cases(name)]


def answer(advice: Advice) -> dict[str, Any]:
    """All of an advice but its sentences, as JSON."""
    return {
        "outputs": {name: _plain(value) for name, value in advice.outputs.items()},
        "moves": [said_move(m) for m in advice.moves],
        "parts": [[p.part, said_place(p.place), _plain(p.size)] for p in advice.parts],
        "findings": [[f.code, *(said_place(p) for p in f.where), _plain(f.sureness)] for f in advice.findings],
        "expect": {name: _plain(row) for name, row in advice.expect.items()},
    }


def _plain(value: Any) -> Any:
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return float(f"{float(value):.6g}") if isinstance(value, Fraction | float) else value


def kept() -> dict[str, Any]:
    """The answers that are kept, by case."""
    found: dict[str, Any] = json.loads(KEPT.read_text(encoding="utf-8"))
    return found


def differs(told: Any, was: Any, at: str = "") -> list[str]:
    """Where an answer is not the one that was kept."""
    if isinstance(told, Mapping) and isinstance(was, Mapping) and told.keys() == was.keys():
        return [d for k in told for d in differs(told[k], was[k], f"{at} {k}")]
    if isinstance(told, list) and isinstance(was, list) and len(told) == len(was):
        return [d for n, (a, b) in enumerate(zip(told, was, strict=True), 1) for d in differs(a, b, f"{at} {n}")]
    if isinstance(told, float) and isinstance(was, float):
        return [] if abs(told - was) <= NEAR * abs(was) + LEAST else [f"{at.strip()}: {told}, was {was}"]
    return [] if told == was else [f"{at.strip()}: {told}, was {was}"]


def main() -> None:
    """Write every answer anew."""
    lines = [f"{json.dumps(str(case))}: {json.dumps(answer(case.put()))}" for case in every()]
    KEPT.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
