"""A number that names a published source leads somewhere: every S-number is in the list, every line of it is used."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from engine.procedure.report.explain import explain
from engine.vocabulary.sources import GRADES, cited, numbers_in, sources

ROOT = Path(__file__).resolve().parents[2]
LIST = ROOT / "engine" / "vocabulary" / "sources.yaml"
ROOMS = ("engine", "tui", "procedures", "tests")
TEXTS = [
    path
    for room in ROOMS
    for path in sorted((ROOT / room).rglob("*"))
    if path.suffix in (".py", ".yaml", ".md") and path != LIST and "kept" not in path.parts
] + [ROOT / "README.md", ROOT / "DEVELOPERS.md"]
#: A source as a page or a comment names it.
NAMED = re.compile(r"\bS\d{1,2}\b")


def named_in(paths: list[Path]) -> dict[str, set[str]]:
    """S-numbers by the files that name them."""
    found: dict[str, set[str]] = {}
    for path in paths:
        text = path.read_text(encoding="utf-8")
        if "Protocol" in path.name or not NAMED.search(text):
            continue
        for number in numbers_in(text):
            found.setdefault(number, set()).add(path.relative_to(ROOT).as_posix())
    return found


NAMES = named_in([path for path in TEXTS if path != Path(__file__)])


def test_every_source_that_is_named_is_in_the_list() -> None:
    assert {n: sorted(where) for n, where in NAMES.items() if n not in sources()} == {}


def test_every_source_of_the_list_is_named_where_its_number_stands() -> None:
    assert [number for number in sources() if number not in NAMES] == []


@pytest.mark.parametrize("number", sources())
def test_a_source_has_kind_author_title_year_and_grade(number: str) -> None:
    entry = sources()[number]
    assert all((entry.kind, entry.author, entry.title, entry.year)) and entry.grade in GRADES
    assert re.search(r"\d{4}|undated", entry.year)


def test_a_number_on_a_page_names_author_and_year() -> None:
    assert cited("published: S24, two turns down") == "published: S24 (classic car mailing list, 1991), two turns down"
    assert cited("nothing published, from memory") == "nothing published, from memory"


def test_a_span_of_sources_names_each_of_them() -> None:
    said = cited("published: S40 to S43; they disagree")
    assert [said.count(sources()[n].short) for n in ("S40", "S41", "S42", "S43")] == [1, 1, 1, 1]


def test_what_is_cited_once_is_not_cited_twice() -> None:
    once = cited("published: S24, S26 and S40 to S43")
    assert cited(once) == once


def test_explain_knows_a_source_by_its_number() -> None:
    assert "Warneford" in explain("S4") and "A Guide to Tuning" in explain("s4")
