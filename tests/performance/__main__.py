"""The speed of the program: `python -m tests.performance` prints a table, and ends with 1 where a goal is missed.

Benchmarks, not tests: nothing here runs with the suite, since a busy machine is no fault of the code.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE)]

import check_speed  # noqa: E402
import machine_speed  # noqa: E402
import many_jobs  # noqa: E402
import screen_speed  # noqa: E402
import start_speed  # noqa: E402
from figure import Figure  # noqa: E402

PARTS: dict[str, Callable[[], Iterator[Figure]]] = {
    "machine": machine_speed.figures,
    "check": check_speed.figures,
    "start": start_speed.figures,
    "screen": screen_speed.figures,
    "book": many_jobs.figures,
}


def main() -> int:
    """Run the parts named on the command line, or all of them."""
    parser = argparse.ArgumentParser(prog="python -m tests.performance", description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which parts (all)")
    missed = 0
    for name in parser.parse_args().parts or PARTS:
        for figure in PARTS[name]():
            missed += figure.met is False
            print(figure, flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    raise SystemExit(main())
