"""Full sweeps of harm to a book: `python -m tests.durability [kills|cuts|flips|disk|lines] ...`; ends with 1 where any
of it was silent. The suite runs fixed samples of the same.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from pathlib import Path


def main() -> int:
    """Run what the arguments name."""
    top = argparse.ArgumentParser(prog="python -m tests.durability", description=__doc__)
    top.add_argument("what", choices=("kills", "cuts", "flips", "disk", "lines"))
    top.add_argument("--kills", type=int, default=500, help="how many kills, each of line protocol and screen")
    top.add_argument("--lines", type=int, default=20_000, help="how many lines to the line protocol")
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

            found = [
                *disk.full(folder / "full", a.every),
                *disk.read_only(folder / "read-only", a.every),
                *disk.program(folder / "program", a.every),
            ]
        elif a.what == "lines":
            from tests.durability import lines

            found = list(lines.sweep(a.lines, a.seed))
        else:
            found = list(_files(a.what, folder, a.every))
    for sentence in found:
        print(sentence)
    print(f"{a.what}: {len(found)} wrong")
    return 1 if found else 0


def _files(what: str, folder: Path, every: int) -> Iterator[str]:
    """The log of a small book cut, or its bits and those of a book at rest flipped."""
    from tests.durability import books, files

    live, rest = books.small(folder / "a", True), books.small(folder / "b", False)
    if what == "cuts":
        at = range(0, len(live.log) + 1, every)
        yield from files.timed(files.cuts(live, folder / "cut", at), len(at))
        return
    bits = list(files.every_flip(rest, every))
    yield from files.timed(files.flips(rest, folder / "flip", bits), len(bits))
    bits = list(files.untold_of_the_log(live, every))
    print(f"{8 * len(live.log) // every} bits of the log; {len(bits)} are looked at with the book opened")
    yield from files.timed(files.flips(live, folder / "flip", bits), len(bits))


if __name__ == "__main__":
    raise SystemExit(main())
