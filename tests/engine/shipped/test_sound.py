"""What holds for every shipped procedure: it is proved sound, and what is said twice is said alike."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from engine.procedure.build.load import load
from engine.procedure.report.checking import check_file

FILES = sorted(p.stem for p in (Path(__file__).parents[3] / "procedures").glob("*.yaml"))
#: A main file for every family: what a technician starts.
FAMILIES = {
    "twin-choke-sidedraught": ["twin-choke sidedraught"],
    "constant-depression": ["constant depression"],
    "motorcycle-bank": ["motorcycle bank"],
    "progressive-downdraught": ["progressive downdraught"],
    "single-carburettor": ["single sidedraught", "single downdraught"],
}
LABEL = re.compile(r"(common practice|from memory|derived|assumed|published: S\d+)")
BRANDS = re.compile(r"\b[A-Z]{2,}\d*[-/]?\d*\b")
#: Words in capitals that are the trade's: CO, idle CO, a stop at once.
CAPITALS = {"CO", "CO2", "HC", "O2", "SAE", "STOP", "OK"} | {f"S{n}" for n in range(1, 80)}


@pytest.fixture(scope="module")
def loaded(folder, advisers):
    """Every shipped file as a program of its own."""
    return {name: load(name, (folder,), advisers).program for name in FILES}


@pytest.mark.parametrize("name", FILES)
def test_it_is_proved_sound_without_a_word_of_complaint(name, folder, advisers):
    """Loaded, proved, and not even a warning or a note."""
    checked = check_file(folder / f"{name}.yaml", (folder,), advisers)
    assert [str(p) for p in checked.problems] == []
    assert checked.sound


def test_every_family_has_a_file_to_start(loaded):
    """The families of the design, each by the name that a job gives it."""
    assert {n: list(loaded[n].files[n].layout.families) for n in FAMILIES} == FAMILIES


def test_the_sidedraught_file_serves_one_to_four_bodies(loaded):
    """Two to four as the trade has them, and one alone."""
    layout = loaded["twin-choke-sidedraught"].files["twin-choke-sidedraught"].layout
    assert (layout.carbs, layout.barrels_per_carb) == ((1, 4), (2, 2))


def test_a_caution_of_one_name_says_the_same_in_every_file_of_a_run(loaded):
    """A danger that was understood stays understood where the next file shows it again, in the family's own words."""
    for name, program in loaded.items():
        said, words = {}, program.files[name].words
        for file in program.files.values():
            for caution in file.cautions.values():
                text = re.sub(r"\{(\w+)\}", lambda m, words=words: words.get(m[1], m[0]), caution.text)
                said.setdefault(caution.name, set()).add((caution.word, text, caution.demanded_by))
        assert {n: v for n, v in said.items() if len(v) > 1} == {}, name


def test_a_setting_of_one_name_has_one_range_and_one_meaning(loaded):
    """A shop that sets `mixture_high` sets it everywhere; only its value may differ with the file's own purpose."""
    seen = {}
    for name, program in loaded.items():
        for s in program.files[name].settings.values():
            seen.setdefault(s.name, set()).add((s.type.dimension, s.type.unit))
    assert {n: v for n, v in seen.items() if len(v) > 1} == {}


@pytest.mark.parametrize("name", FILES)
def test_every_number_says_where_it_comes_from(name, loaded):
    """A published source by its number, or common practice, from memory, derived: nothing bare."""
    settings = loaded[name].files[name].settings.values()
    assert [s.name for s in settings if not LABEL.search(s.source)] == []


@pytest.mark.parametrize("name", FILES)
def test_every_reading_names_its_healthy_answer_but_where_none_is_right(name, loaded):
    """A jet's number, airflow and compression have none: what is right depends on the engine, or is equality."""
    lacking = {r.quantity for r in loaded[name].files[name].readings.values() if r.healthy is None}
    assert lacking <= {"idle jet size", "airflow", "compression"}


@pytest.mark.parametrize("name", FILES)
def test_the_healthy_choice_comes_first(name, loaded):
    """Choices run from healthy to worst, and the screen counts on it."""
    readings = loaded[name].files[name].readings.values()
    assert [r.name for r in readings if r.type.choices and r.healthy != r.type.choices[0]] == []


@pytest.mark.parametrize("name", FILES)
def test_no_word_in_capitals_that_could_be_a_brand(name, folder):
    """No maker, no model, no part code."""
    text = "\n".join(
        line for line in (folder / f"{name}.yaml").read_text(encoding="utf-8").splitlines() if "$schema" not in line
    )
    assert {w for w in BRANDS.findall(text)} - CAPITALS == set()


def test_screws_by_one_name_are_declared_alike(loaded):
    """Files that are never called together, too: a shop may call any of them from its own."""
    seen = {}
    for name, program in loaded.items():
        for s in program.files[name].screws.values():
            seen.setdefault(s.name, set()).add((s.each, s.acts, s.at, s.inward, s.outward, s.unit, s.zero, s.range))
    assert {n: v for n, v in seen.items() if len(v) > 1} == {}
