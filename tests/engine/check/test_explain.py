"""Every code that a check can give has a page, and the page's example yields exactly that code."""

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

import engine.procedure
from engine.contract import Adviser, Input, Output, Read
from engine.procedure.language.expr import Type
from engine.procedure.report.checking import check_file
from engine.procedure.report.explain import explain, listing, pages, run_explain
from engine.procedure.report.pages import files_of

FLOW = Type("number", "volume flow", "L/min", Fraction(0), Fraction(100))
#: An adviser of another trade, for the examples.
ADVISERS = {
    "even_flow": Adviser(
        "even_flow",
        1,
        "evens two flows",
        {
            "flow": Input("reading", "the flows", quantities=("other", "airflow"), each=("carb",)),
            "screw": Input("screw", "what sets them", acts=("water",)),
            "target": Input("value", "the aim", FLOW),
        },
        {"verdict": Output(Type("choice", choices=("even", "turn", "not even")), "whether they are even")},
        frozenset({"moves"}),
        lambda job, inputs, evidence: None,
        {},
        retired={"aim": "it is called `target`"},
    ),
    "even_steam": Adviser(
        "even_steam",
        1,
        "evens what it finds",
        {},
        {"verdict": Output(Type("choice", choices=("even", "not even")), "whether they are even")},
        frozenset(),
        lambda job, inputs, evidence: None,
        {},
        reads={"steam pressure": Read("the pressure of every boiler", wanted=True)},
    ),
}
ADVISERS["idle_flow"] = replace(ADVISERS["even_flow"], name="idle_flow", idle=True)

#: Pages of files that can't be shown as a piece of text.
WITHOUT_EXAMPLE = {"not-a-file", "cannot-read", "too-big", "not-utf-8", "called-otherwise"}


def codes_in_source():
    """Every word with dashes that the code of the language and the checker quotes as a problem's code."""
    found = set()
    makers = "Problem|fault|warn|refuse|_refuse|GuardFault|_fault|_misfit|add|_warn"
    quoted = re.compile(rf"""(?:{makers})\(\s*(?:\w+,\s*)?"([a-z]+(?:-[a-z0-9]+)+)\"""")
    for path in Path(engine.procedure.__file__).parent.rglob("*.py"):
        if path.parent.name != "pages":
            found |= set(quoted.findall(path.read_text(encoding="utf-8")))
    return found


def codes_of(tmp_path, example):
    for name, text in files_of(example).items():
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / f"{name}.yaml").write_text(text, encoding="utf-8", newline="\n")
    return check_file(tmp_path / "example.yaml", (), ADVISERS).problems


@pytest.mark.parametrize("code", sorted(pages()))
def test_the_example_of_a_page_yields_exactly_its_code(tmp_path, code):
    page = pages()[code]
    if code in WITHOUT_EXAMPLE:
        assert not page.example
        return
    problems = codes_of(tmp_path, page.example)
    assert {p.code for p in problems} == {code}, [str(p) for p in problems]
    assert {p.severity for p in problems} == {page.severity}


def test_every_code_in_the_source_has_a_page():
    assert codes_in_source() - pages().keys() == set()


def test_files_that_cannot_be_shown_yield_their_codes(tmp_path):
    def code(path):
        return [p.code for p in check_file(path, (), ADVISERS).problems]

    (tmp_path / "big.yaml").write_text("# " + "x" * 300_000, encoding="utf-8")
    (tmp_path / "latin.yaml").write_bytes("title: Düse".encode("latin-1"))
    assert code(tmp_path / "nothing.yaml") == ["not-a-file"]
    assert code(tmp_path) == ["not-a-file"]
    assert code(tmp_path / "big.yaml") == ["too-big"]
    assert code(tmp_path / "latin.yaml") == ["not-utf-8"]


def test_a_page_says_what_why_and_how_to_mend_within_a_terminal():
    text = explain("uncovered-reading")
    assert text.startswith("uncovered-reading (error)\nA reading that no branch takes\n")
    assert "At the engine: " in text and "Mend: " in text and "    readings:" in text
    for code, page in pages().items():
        prose = explain(code).partition("A piece of a file")[0]
        assert max(map(len, prose.splitlines())) <= 80, code
        assert page.means and page.why and page.mend


def test_an_unknown_code_is_refused_with_the_nearest():
    text, exit_code = run_explain("uncoverd-reading")
    assert exit_code == 2
    assert "Did you mean 'uncovered-reading'?" in text


def test_without_a_code_all_are_listed():
    assert listing().count("\n") == len(pages())
    assert run_explain(None) == (listing(), 0)
