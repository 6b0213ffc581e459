"""Changes a number or a sign of the trade at a time, and ends with 1 where no test says so: `python -m tests.mutation`.

`--sample N` takes N of them at random (the same ones for the same seed), for a check on every change. A survivor passes
only if it stands in `survivors.yaml` with its reason; one that stands there and is killed is reported as well. A
command for who works on the program: it needs an operating system that can fork.
"""

from __future__ import annotations

import argparse
import importlib
import os
import random
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import pytest
from ruamel.yaml import YAML

from tests.engine.shipped.numbers import PROCEDURES, kept, numbers_of
from tests.mutation.mutants import ROOT, Mutant, every

HERE = Path(__file__).parent
KEPT = kept()
_TRADE = "tests/engine/carburation/test_"
_CASES = (f"{_TRADE}worked_cases.py", f"{_TRADE}properties.py")
#: Which tests guard which room.
GUARDS = {
    "rules": (
        *(f"{_TRADE}{x}.py" for x in ("exhaust", "sizing", "sizing_report", "air", "load", "limits")),
        "tests/published/test_*.py",
        *_CASES,
    ),
    "advisers": _CASES,
    "estimation": (
        *_CASES,
        *(f"{_TRADE}{x}.py" for x in ("mixture", "bank", "belief", "belief_decides", "masks", "circuits")),
    ),
    "policy": (*_CASES, *(f"{_TRADE}{x}.py" for x in ("mixture", "mixture_decides", "believed_place"))),
}
#: A test run that computes longer hangs on the mutant, s of processor time, so that a busy machine kills none.
LONGEST = 240
#: What the tests load besides the program, once for all of them.
LOADED = ("hypothesis", "pydantic", "cantera", "chemicals.iapws", "fluids.safety_valve", "ambiance")


def guards(mutant: Mutant, near: bool = False) -> list[list[str]]:
    """The tests that are put to a mutant: those that name its module, then the others that guard its room, where not
    only the `near` ones are asked for."""
    word = mutant.path.stem.split("_")[0]
    tests = [str(t.relative_to(ROOT)) for g in GUARDS[mutant.path.parent.name] for t in sorted(ROOT.glob(g))]
    groups = [g for g in ([t for t in tests if word in t], [t for t in tests if word not in t]) if g]
    return groups[:1] if near else groups


def fates(mutants: Sequence[Mutant], workers: int, near: bool = False) -> Iterator[tuple[Mutant, bool]]:
    """Each mutant, and whether a test fails on it or hangs, as it is known; so many test runs at a time.

    The numbers of a shipped file are held against those that were kept. A test run of a module is a fork of this
    process, which has everything loaded but the program itself.
    """
    modules = []
    for mutant in mutants:
        if mutant.path.suffix == ".yaml":
            name = mutant.path.relative_to(PROCEDURES).with_suffix("").as_posix()
            yield mutant, {n.name: n.text for n in numbers_of(mutant.text())} != KEPT.get(name, {})
        else:
            modules.append(mutant)
    for name in LOADED[:2] if near else LOADED:
        importlib.import_module(name)
    running: dict[int, Mutant] = {}
    with tempfile.TemporaryDirectory() as folder:
        while modules or running:
            while modules and len(running) < workers:
                mutant = modules.pop(0)
                running[_run(mutant, Path(folder), near)] = mutant
            time.sleep(0.05)
            for process, mutant in list(running.items()):
                ended, status = os.waitpid(process, os.WNOHANG)
                if ended:
                    del running[process]
                    yield mutant, status != 0


def _run(mutant: Mutant, folder: Path, near: bool) -> int:
    """Start the tests of a mutant; the id of their process."""
    changed = folder / f"changed-{time.monotonic_ns()}"
    changed.write_text(mutant.text(), encoding="utf-8")
    process = os.fork()
    if process:
        return process
    resource = importlib.import_module("resource")
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST, LONGEST))
    silent = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silent, 1)
    os.dup2(silent, 2)
    os.chdir(ROOT)
    os.environ["EVENDRAW_MUTANT"] = f"{mutant.path}|{changed}"
    words = ["-p", "tests.mutation.plugin", "-p", "no:cacheprovider", "-x", "-q", "-n0", "--hypothesis-seed=1"]
    code = 1
    try:
        code = 1 if _drifts() else next((1 for group in guards(mutant, near) if pytest.main([*words, *group])), 0)
    finally:
        os._exit(int(code))


def _drifts() -> bool:
    """Whether an adviser's answer to a worked case is another than the one that is kept: what a test of those cases
    says as well, asked first since it takes two seconds."""
    importlib.import_module("tests.mutation.plugin")
    recorded = importlib.import_module("tests.engine.carburation.recorded")
    was = recorded.kept()
    return any(recorded.differs(recorded.answer(case.put()), was[str(case)]) for case in recorded.every())


def main() -> int:
    """Put the tests to every mutant asked for; 1 where one survives that is not excused."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("names", nargs="*", help="only mutants whose name holds one of these")
    parser.add_argument("--sample", type=int, metavar="N", help="so many at random")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="which ones")
    parser.add_argument("--workers", type=int, default=2, metavar="W", help="test runs at a time")
    parser.add_argument("--near", action="store_true", help="put only the tests that name a module to its mutants")
    parser.add_argument("--list", action="store_true", help="only list them")
    a = parser.parse_args()
    mutants = [m for m in every() if not a.names or any(n in m.name for n in a.names)]
    if a.sample is not None:
        mutants = random.Random(a.seed).sample(mutants, min(a.sample, len(mutants)))
    if a.list:
        print("\n".join(map(str, mutants)))
        return 0
    excused = YAML(typ="safe").load((HERE / "survivors.yaml").read_text(encoding="utf-8")) or {}
    return report(mutants, excused, a.workers, a.near)


def report(mutants: Sequence[Mutant], excused: Mapping[str, str], workers: int, near: bool = False) -> int:
    """Print what became of each mutant as it is known, and the sum; 1 where one survives that is not excused."""
    counted = {"killed": 0, "excused": 0, "SURVIVED": 0, "excused, but killed": 0}
    for mutant, dead in fates(mutants, workers, near):
        listed = mutant.name in excused
        fate = ("excused, but killed" if listed else "killed") if dead else ("excused" if listed else "SURVIVED")
        counted[fate] += 1
        print(f"{fate:<20} {mutant}", flush=True)
    print("; ".join(f"{n} {fate}" for fate, n in counted.items()))
    return 1 if counted["SURVIVED"] or counted["excused, but killed"] else 0


if __name__ == "__main__":
    raise SystemExit(main())
