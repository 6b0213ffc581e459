"""Tries every mutant of every shipped file and prints what became of each operator: for a person to run, not the suite.

    python tests/engine/check/every_mutant.py [FILE ...]

Caught: the right code at the right line. Same: shown to mean the same. Sound: another procedure, which keeps every
promise that the checks make, by the judgement of random runs and of a second, simple look at its ways. Missed must
stay 0.
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


def main(names: list[str]) -> int:
    shelf = mutant_fates.Shelf(ROOT / "procedures", shipped())
    count: Counter[tuple[str, str]] = Counter()
    every = {**shelf.texts, **shelf.kits}
    for name in names or every:
        own = mutant_kits.KIT if name in shelf.kits else (*mutant_operators.OPERATORS, *mutant_work.WORK)
        operators = (*own, *mutant_trade.TRADE)
        for mutant in mutant_operators.mutants(name, every[name], operators):
            fate = mutant_fates.fate(shelf, mutant)
            count[mutant.operator, fate] += 1
            if fate == "missed":
                print(f"missed: {mutant.file}:{mutant.line}: {mutant.operator}: {mutant.note}")
        print(f"{name}: {sum(count.values())} mutants so far", file=sys.stderr)
    fates = ("caught", "same", "sound", "missed")
    print(f"{'operator':20}" + "".join(f"{f:>8}" for f in fates))
    for operator in sorted({o for o, _ in count}):
        print(f"{operator:20}" + "".join(f"{count[operator, f]:8}" for f in fates))
    print(f"{'all':20}" + "".join(f"{sum(n for (_, x), n in count.items() if x == f):8}" for f in fates))
    return 1 if any(f == "missed" for _, f in count) else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
