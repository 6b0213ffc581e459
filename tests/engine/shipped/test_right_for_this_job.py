"""What is called right is right for this job: a speed goes by its idle speed; of air nothing but equality is right."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from engine.book.book import Book
from engine.procedure.build.load import load
from engine.session.session import Session
from tui.control.entry import Fields
from tui.control.stages import row_of
from tui.drawing.padview import draw

LOOK = """
procedure: look
title: Look
revision: 1
for: {family: any, carbs: {from: 1, to: 4}, barrels_per_carb: {from: 1, to: 2}}
uses: [dangers, instruments]
start: one
steps:
  one:
    state: {engine: running}
    do: Read.
    read: [speed, airflow]
    go: done
  done: {end: ok, say: Done.}
"""


@pytest.fixture
def asked(tmp_path: Path, folder: Path, advisers, invented):
    """The readings of the shipped kit on a job for so many revolutions, by name."""
    path = tmp_path / "look.yaml"
    path.write_text(LOOK.lstrip(), encoding="utf-8")
    program = load(path, (folder,), advisers).program

    def ask(idle: int, **settings: str):
        job = invented(settings=settings)
        job = job.model_copy(update={"engine": job.engine.model_copy(update={"idle_speed": Fraction(idle)})})
        view = Session.start(program, job, book=Book.memory(), advisers=advisers).view
        return {a.name: a for a in view.read}, view

    return ask


@pytest.mark.parametrize(("idle", "right"), [(1200, (1170, 1230)), (750, (720, 780))])
def test_the_right_speed_is_that_of_the_job(asked, idle, right):
    assert asked(idle)[0]["speed"].healthy == right


def test_how_near_is_near_enough_is_the_shops(asked):
    assert asked(1200, speed_tolerance="50 rpm")[0]["speed"].healthy == (1150, 1250)


@pytest.mark.parametrize(("typed", "called"), [("1200", ""), ("1240", "high"), ("1100", "low")])
def test_1200_on_a_job_for_1200_is_not_called_high(asked, typed, called):
    reads, view = asked(1200)
    fields = Fields((row_of(reads["speed"], view),))
    fields.texts = [typed]
    said = "".join(text for line in draw(fields, 80, 12, {}) for text, _ in line)
    assert (called in said) if called else not ("high" in said or "low" in said)


def test_no_airflow_is_called_right(asked):
    assert asked(900)[0]["airflow"].healthy is None
