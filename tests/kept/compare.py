"""Plays the runs of a kept state again with the program as it is, and tells where each first goes otherwise, answer by
answer. `python tests/kept/compare.py tests/kept/state_COMMIT`: exit 0 where every run is the same, else 1.

It is no test: a better adviser leads elsewhere, and that is meant. It is for changes that are meant to change nothing.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from itertools import zip_longest
from pathlib import Path
from typing import Any

import record
from kept_state import rows_of

#: What says which program and files a run is of, and nothing of what was answered.
_APART = frozenset({"advisers", "version", "files", "sha256"})


def differences(before: Path, after: Path) -> Iterator[str]:
    """One line for each run that goes otherwise: its first event that differs, and in what."""
    now = {row["run"]: row["events"] for row in rows_of(after, "events.jsonl.gz")}
    for row in rows_of(before, "events.jsonl.gz"):
        for seq, (a, b) in enumerate(zip_longest(row["events"], now.get(row["run"], []), fillvalue={})):
            a, b = _answered(a), _answered(b)
            differs = [key for key in (*a, *(b.keys() - a.keys())) if a.get(key) != b.get(key)]
            if differs:
                yield f"{row['run']}, event {seq} of {len(row['events'])}: {', '.join(_said(a, b, k) for k in differs)}"
                break


def _answered(event: Mapping[str, Any]) -> dict[str, Any]:
    """An event, and the advice in it, without what stands apart."""
    kept = {key: value for key, value in event.items() if key not in _APART}
    if "advice" in kept:
        kept["advice"] = [{k: v for k, v in a.items() if k not in _APART} for a in kept["advice"]]
    return kept


def _said(before: Mapping[str, Any], after: Mapping[str, Any], key: str) -> str:
    if key != "advice":
        return f"{key} {str(before.get(key))[:60]} -> {str(after.get(key))[:60]}"
    pairs = zip_longest(before.get(key, ()), after.get(key, ()), fillvalue={})
    parts = {f"{a.get('adviser', b.get('adviser'))}.{k}" for a, b in pairs for k in {*a, *b} if a.get(k) != b.get(k)}
    return f"advice ({', '.join(sorted(parts))})"


def main(state: Path) -> int:
    """Record anew from the state's jobs and shop, and compare."""
    with tempfile.TemporaryDirectory() as folder:
        again = Path(folder)
        for part in ("jobs", "shop"):
            shutil.copytree(state / part, again / part)
        record.record(again)
        found = list(differences(state, again))
    print("\n".join(found) or "Every run is the same, answer by answer.")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
