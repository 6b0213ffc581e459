"""Tries every mutant of every shipped file and prints what became of each operator: for a person to run, not the suite.

    python tests/engine/check/every_mutant.py [--list] [FILE ...]

Caught: the right code at the right line. Any other that is not missed keeps every promise that the checks make, by the
judgement of random runs and of a second, simple look at its ways; it is shown to be the same, or shown to be another
procedure (by a run that differs, or by z3 at one step), or neither, which is said and counted. Missed must stay 0.
`--list` names each that was not caught.
"""

import sys
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[3]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

import mutant_fates  # noqa: E402
import mutant_kits  # noqa: E402
import mutant_operators  # noqa: E402
import mutant_trade  # noqa: E402
import mutant_work  # noqa: E402

from engine.carburation.registry import shipped  # noqa: E402


def main(names: list[str], listed: bool = False) -> int:
    shelf = mutant_fates.Shelf(ROOT / "procedures", shipped())
    count: Counter[tuple[str, str]] = Counter()
    every = {**shelf.texts, **shelf.kits}
    for name in names or every:
        own = mutant_kits.KIT if name in shelf.kits else (*mutant_operators.OPERATORS, *mutant_work.WORK)
        operators = (*own, *mutant_trade.TRADE)
        for mutant in mutant_operators.mutants(name, every[name], operators):
            fate = mutant_fates.fate(shelf, mutant)
            count[mutant.operator, fate] += 1
            if fate == "missed" or (listed and fate != "caught"):
                print(f"{fate}: {mutant.file}:{mutant.line}: {mutant.operator}: {mutant.note}")
        print(f"{name}: {sum(count.values())} mutants so far", file=sys.stderr)
    fates = mutant_fates.FATES
    print(f"{'operator':36}" + "".join(f"{f:>11}" for f in fates))
    for operator in sorted({o for o, _ in count}):
        print(f"{operator:36}" + "".join(f"{count[operator, f]:11}" for f in fates))
    print(f"{'all':36}" + "".join(f"{sum(n for (_, x), n in count.items() if x == f):11}" for f in fates))
    return 1 if any(f == "missed" for _, f in count) else 0


if __name__ == "__main__":
    sys.exit(main([a for a in sys.argv[1:] if a != "--list"], "--list" in sys.argv))
