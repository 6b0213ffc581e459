"""A fault put into a shipped file is caught, with the right code at the right line, or shown to do no harm.

The suite tries a spread of sites of every operator; `every_mutant.py` beside this file tries all of them.
"""

import random
from collections import Counter
from pathlib import Path

import pytest
from mutant_fates import Shelf, fate
from mutant_kits import KIT
from mutant_operators import OPERATORS, mutants
from mutant_trade import TRADE
from mutant_work import WORK

from engine.carburation.registry import shipped

SHIPPED = Path(__file__).parents[3] / "procedures"
#: Sites of each operator that the suite tries, in procedures and in kits, each of which many files use.
EACH, EACH_KIT, EACH_TRADE = 6, 3, 1
#: Operators that always make a file unsound, wherever they are applied.
ALWAYS = {"shadow", "contradict", "then into its loop", "drop an end", "misname", "drop an entry", "read while stopped"}


@pytest.fixture(scope="module")
def shelf():
    return Shelf(SHIPPED, shipped())


@pytest.fixture(scope="module")
def sample(shelf):
    """Mutants by operator, spread over all files by a fixed seed."""
    found = {}
    for name, text in shelf.texts.items():
        for mutant in mutants(name, text, (*OPERATORS, *WORK)):
            found.setdefault(mutant.operator, []).append(mutant)
    for name, text in shelf.kits.items():
        for mutant in mutants(name, text, KIT):
            found.setdefault(f"{mutant.operator}, kit", []).append(mutant)
    most = {op: EACH_KIT if op.endswith("kit") else EACH for op in found}
    return {op: random.Random(op).sample(made, min(most[op], len(made))) for op, made in found.items()}


def test_the_shipped_files_give_no_alarm(shelf):
    for name, problems in shelf.base.items():
        assert not problems, [str(p) for p in problems if p.path.startswith(name)]


def test_every_operator_finds_sites(sample):
    assert len(sample) >= len(OPERATORS) + len(WORK) + len(KIT)
    assert sample.keys() >= ALWAYS


def test_no_slip_of_the_trade_is_missed(shelf):
    """What always has to be caught is; anything else is caught, the same, or another procedure that is sound."""
    found = {}
    for name, text in {**shelf.texts, **shelf.kits}.items():
        for mutant in mutants(name, text, TRADE):
            found.setdefault((mutant.operator, mutant.strict), []).append(mutant)
    assert len(found) >= 105
    for (operator, strict), made in found.items():
        for mutant in random.Random(operator).sample(made, min(EACH_TRADE, len(made))):
            fated = fate(shelf, mutant)
            assert fated == "caught" or (fated != "missed" and not strict), f"{mutant.file}:{mutant.line}: {operator}"


def test_no_mutant_is_missed(shelf, sample):
    count = Counter()
    for operator, made in sample.items():
        for mutant in made:
            found = fate(shelf, mutant)
            assert found != "missed", f"{mutant.file}:{mutant.line}: {operator}: {mutant.note}"
            count[operator, found] += 1
            if operator in ALWAYS:
                assert found == "caught"
    assert sum(n for (_, f), n in count.items() if f == "caught") > 0.7 * sum(count.values())
