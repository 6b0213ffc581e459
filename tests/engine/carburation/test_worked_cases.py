"""Every adviser, case by case, as a technician would work it out; and its contract, held against all its cases at once.

The cases stand in `cases/ADVISER.yaml`, for people of the trade to read and to add to.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from engine.carburation.registry import ADVISERS, ALL
from engine.carburation.sentences import sentences
from engine.evidence import Advice
from tests.engine.carburation.recorded import answer, differs, every, kept
from tests.engine.carburation.worked import Case, Taken, cases, in_unit, said_move, said_place, unit_of

EVERY = every()
KEPT = kept()


@pytest.mark.parametrize("case", EVERY, ids=str)
def test_an_adviser_says_what_the_case_says(case: Case) -> None:
    advice = case.put()
    for key, told in case.told["says"].items():
        assert _meets(case.adviser, advice, key, told), f"{key}: {_said(case.adviser, advice, key)}, not {told}"


@pytest.mark.parametrize("case", EVERY, ids=str)
def test_what_else_it_answers_is_what_it_answered(case: Case) -> None:
    """Kept, not right: `python -m tests.engine.carburation.recorded` writes it anew after a change that is meant."""
    assert differs(answer(case.put()), KEPT[str(case)]) == []


def test_no_answer_is_kept_of_a_case_that_is_not_there() -> None:
    assert set(KEPT) == {str(case) for case in EVERY}


def _meets(adviser: str, advice: Advice, key: str, told: Any) -> bool:
    said = _said(adviser, advice, key)
    if key == "moves":
        return len(said) == len(told) and all(m.startswith(t) for m, t in zip(said, told, strict=True))
    if isinstance(said, float) and isinstance(told, list):
        return bool(told[0] <= said <= told[1])
    if isinstance(said, float):
        return abs(said - told) <= 0.01 * abs(told) + 1e-9
    return bool(said == told)


def _said(adviser: str, advice: Advice, key: str) -> Any:
    """What an advice says under a key, as a case writes it."""
    if key == "moves":
        return [said_move(m) for m in advice.moves]
    if key == "parts":
        return [f"{p.part} {said_place(p.place)}: {float(p.size):g}" for p in advice.parts]
    if key == "findings":
        where: dict[str, list[float]] = {}
        for finding in advice.findings:
            where.setdefault(finding.code, []).extend(float(said_place(p)) for p in finding.where)
        return where
    if key == "sure of":
        return {finding.code: finding.sureness for finding in advice.findings}
    if key == "next speed":
        return float(advice.expect["engine speed"][0])
    value = advice.outputs[key]
    if isinstance(value, Fraction):
        return in_unit(value, unit_of(adviser, key))
    return list(value) if isinstance(value, tuple) else value


@pytest.mark.parametrize("case", EVERY, ids=str)
def test_a_finding_comes_with_the_word_that_its_contract_says_and_the_word_with_it(case: Case) -> None:
    advice = case.put()
    found = {f.code for f in advice.findings}
    for code, raised in ADVISERS[case.adviser].findings.items():
        if raised.told is not None:
            output, word = raised.told
            assert (advice.outputs[output] == word) == (code in found)


# --- contracts ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ADVISERS)
def test_every_adviser_has_worked_cases(name: str) -> None:
    assert cases(name)


@pytest.mark.parametrize("name", ADVISERS)
def test_an_adviser_takes_what_its_contract_says_and_nothing_else(name: str) -> None:
    """Over all its cases: each declared input and quantity is asked for, and nothing that is not declared."""
    taken = Taken()
    for case in cases(name):
        case.put(taken)
    assert taken.inputs == set(ADVISERS[name].inputs)
    assert taken.quantities == set(ADVISERS[name].reads)


@pytest.mark.parametrize("name", ADVISERS)
def test_every_finding_of_a_contract_is_raised_by_a_case(name: str) -> None:
    """None is declared that nothing raises; one that is raised undeclared breaks the case itself."""
    raised = {f.code for case in cases(name) for f in case.put().findings}
    assert raised == set(ADVISERS[name].findings)


def test_an_adviser_is_called_what_its_module_and_its_function_are_called() -> None:
    assert len(ADVISERS) == len(ALL)
    for adviser in ALL:
        run: Any = adviser.run
        assert run.__module__ == f"engine.carburation.advisers.{adviser.name}"
        assert run.__name__ == adviser.name


def test_every_sentence_of_the_catalogue_is_said_by_a_case() -> None:
    """And none is missing: a finding that nothing says breaks the case itself."""
    catalogue = {(code, way) for code, ways in sentences().items() for way in ways}
    assert catalogue - {(f.code, f.way) for case in EVERY for f in case.judged().findings} == set()
