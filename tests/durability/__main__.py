"""Full sweeps of harm to a book: `python -m tests.durability [kills|cuts|flips|disk] ...`; ends with 1 where any of it
was silent. The suite runs fixed samples of the same.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path


def main() -> int:
    """Run what the arguments name."""
    top = argparse.ArgumentParser(prog="python -m tests.durability", description=__doc__)
    top.add_argument("what", choices=("kills", "cuts", "flips", "disk"))
    top.add_argument("--kills", type=int, default=500, help="how many kills, each of line protocol and screen")
    top.add_argument("--only", choices=("talk", "screen"), help="kill only one of them")
    top.add_argument("--every", type=int, default=1, help="every so many-th byte (cuts) or bit (flips)")
    top.add_argument("--seed", type=int, default=1)
    a = top.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if a.what == "kills":
            from tests.durability import kills

            return kills.main(a.kills, a.seed, folder, (a.only,) if a.only else ("talk", "screen"))
        if a.what == "disk":
            from tests.durability import disk

            found = list(disk.full(folder / "full", a.every)) + list(disk.read_only(folder / "read-only", a.every))
        else:
            from tests.durability import books, files

            live, rest = books.made(folder / "a", True), books.made(folder / "b", False)
            if a.what == "cuts":
                found = list(files.cuts(live, folder / "cut", range(0, len(live.log) + 1, a.every)))
            else:
                found = []
                for which in (rest, live):
                    bits = range(a.seed % a.every, 8 * (len(which.book) + len(which.log)), a.every)
                    found += files.flips(which, folder / "flip", bits)
    for sentence in found:
        print(sentence)
    print(f"{a.what}: {len(found)} wrong")
    return 1 if found else 0


if __name__ == "__main__":
    raise SystemExit(main())
