"""A file that the program starts for an author is sound as it stands, for every bank, family and gauge, and its job
fits it."""

from __future__ import annotations

import pytest

from engine.bench.trial.fleet import faulted
from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.job.job_file import parse
from engine.procedure.authoring import GAUGES, MANNERS, NotAStart, starting_file, starting_job
from engine.procedure.build.load import load_texts
from engine.procedure.check import check
from engine.run.layout import prepare
from engine.session.session import Session
from engine.vocabulary.families import FAMILIES


@pytest.mark.parametrize("gauge", GAUGES)
@pytest.mark.parametrize("barrels", [1, 2])
@pytest.mark.parametrize("carbs", [1, 2, 4])
def test_it_passes_the_checker(carbs: int, barrels: int, gauge: str) -> None:
    text = starting_file("my-bank", "my own family", carbs, barrels, gauge)
    loaded = load_texts({"my-bank": text}, "my-bank", shipped())
    assert loaded.program is not None, loaded.problems
    assert [*loaded.problems, *check(loaded.program, shipped())] == []


@pytest.mark.parametrize("family", [f.name for f in FAMILIES] + ["my own family", "any"])
def test_each_family_gets_its_own_file_and_a_job_that_an_engine_can_be_made_of(family: str) -> None:
    text, said = starting_file("mine", family), starting_job("mine", family)
    loaded = load_texts({"mine": text}, "mine", shipped())
    assert loaded.program is not None, loaded.problems
    assert [*loaded.problems, *check(loaded.program, shipped())] == []
    job = parse(said, "mine-job.yaml")
    specimen = faulted(job, [], 1)
    session = Session.start(loaded.program, specimen.job, book=Book.memory(), advisers=shipped())
    assert session.view.moves, "the mixture screws of this family are set first"


@pytest.mark.parametrize(("carbs", "barrels"), [(1, 1), (1, 4), (2, 3), (5, 1), (8, 2), (6, 3), (12, 1), (12, 4)])
def test_whatever_bank_it_is_for_file_and_job_fit_each_other(carbs: int, barrels: int) -> None:
    text, said = (make("mine", "twin-choke sidedraught", carbs, barrels) for make in (starting_file, starting_job))
    loaded = load_texts({"mine": text}, "mine", shipped())
    assert loaded.program is not None and [*loaded.problems, *check(loaded.program, shipped())] == []
    plan = prepare(loaded.program, parse(said, "mine-job.yaml"))
    assert len(plan.bank.places("barrel")) == carbs * barrels


def test_the_families_differ_where_their_work_does() -> None:
    texts = {word: starting_file("mine", f"{word} bank") for word in MANNERS}
    assert len(set(texts.values())) == len(texts)
    assert "wheels chocked" not in texts["motorcycle"] and "depression" in texts["motorcycle"]
    assert "jet_nut" in texts["constant depression"] and "mixture_screw" not in texts["constant depression"]


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"name": "../up"}, "can't name a procedure"),
        ({"name": "x", "carbs": 0}, "is no bank"),
        ({"name": "x", "barrels": 9}, "is no bank"),
        ({"name": "x", "family": "a: {b"}, "can't name a family"),
        ({"name": "x", "gauge": "ruler"}, "There is no gauge"),
    ],
)
def test_what_can_not_be_started_is_refused_in_a_sentence(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(NotAStart, match=says):
        starting_file(**wrong)
