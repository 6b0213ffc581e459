"""Full sweeps of harm to a book: `python -m tests.durability [kills|cuts|flips|disk|lines] ...`; ends with 1 where any
of it was silent. The suite runs fixed samples of the same.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Iterator
from itertools import chain
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

            ways = ((disk.full, "full"), (disk.read_only, "read-only"), (disk.program, "program"))
            found = chain.from_iterable(way(folder / name, a.every) for way, name in ways)
        elif a.what == "lines":
            from tests.durability import lines

            found = lines.sweep(a.lines, a.seed)
        else:
            found = _files(a.what, folder, a.every)
        wrong = 0
        for sentence in found:
            print(sentence, flush=True)
            wrong += 1
    print(f"{a.what}: {wrong} wrong")
    return 1 if wrong else 0


def _files(what: str, folder: Path, every: int) -> Iterator[str]:
    """The log of a small book cut, or its bits and those of a book at rest flipped."""
    from tests.durability import books, files

    live, rest = books.small(folder / "a", True), books.small(folder / "b", False)
    if what == "cuts":
        at = range(0, len(live.log) + 1, every)
        yield from files.timed(files.cuts(live, folder / "cut", at), f"{len(at)} cuts of the log")
        return
    bits = list(files.untold_of_the_log(live, every))
    said = f"{8 * len(live.log) // every} bits of the log, {len(bits)} of them with the book opened"
    yield from files.timed(files.flips(live, folder / "log", bits), said)
    bits = list(files.every_flip(rest, every))
    # One by one, so that what was looked at is known where a sweep is stopped.
    for n in range(0, len(bits), 20_000):
        part = bits[n : n + 20_000]
        yield from files.timed(
            files.flips(rest, folder / f"{n}", part, 9), f"{n + len(part)} of {len(bits)} of the book"
        )


if __name__ == "__main__":
    raise SystemExit(main())
