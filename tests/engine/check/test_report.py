"""How problems are shown: to a person with the line underlined, to programs as JSON and SARIF, to CI as annotations."""

import json
from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.procedure.report import rendering
from engine.procedure.report.checking import check_files, run_check
from engine.procedure.report.rendering import render, uri
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Source, Span

SHIPPED = Path(__file__).parents[3] / "procedures"
TEXT = """\
procedure: pipe
title: Pipe
revision: 1
for: {family: any, carbs: 2}
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
start: gate
steps:
  gate:
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) <= 0.5 L/min, go: done}
      - {when: spread(flow) > 0.7 L/min, go: done}
  done: {end: ok, say: Done.}
"""


@pytest.fixture
def pipe(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("pipe.yaml").write_text(TEXT, encoding="utf-8", newline="\n")
    return "pipe.yaml"


def show(path, format):
    return run_check([path], [], {}, format)


def test_full_shows_the_line_what_is_wrong_why_it_matters_and_how_to_mend_it(pipe):
    text, code = show(pipe, "full")
    assert code == 1
    assert (
        text
        == """\
  error  Nothing matches spread(flow) = 0.6 L/min.
  where  pipe.yaml:12:5
   line      branch:
             ~~~~~~
    why  The technician would stand at a running engine with no way on.
   mend  Add a branch for it, or end the list with `- {otherwise: step}`.
   code  uncovered-reading

1 error. `evendraw explain CODE` says more about each.
"""
    )


def test_line_is_one_problem_a_line_at_a_place_that_editors_know(pipe):
    text, _ = show(pipe, "line")
    assert text == (
        "pipe.yaml:12:5: uncovered-reading: Nothing matches spread(flow) = 0.6 L/min. "
        "Add a branch for it, or end the list with `- {otherwise: step}`.\n"
    )


def test_json_holds_everything_a_problem_has(pipe):
    found = json.loads(show(pipe, "json")[0])
    assert found["errors"] == 1 and found["warnings"] == 0 and found["proved"] is True
    (problem,) = found["problems"]
    assert problem["code"] == "uncovered-reading" and problem["witness"] == "spread(flow) = 0.6 L/min"
    assert (problem["line"], problem["column"], problem["end_line"], problem["end_column"]) == (12, 5, 12, 11)


def test_sarif_is_a_log_of_version_2_1_0_with_a_rule_for_each_code(pipe):
    log = json.loads(show(pipe, "sarif")[0])
    assert log["version"] == "2.1.0"
    (run,) = log["runs"]
    (rule,) = run["tool"]["driver"]["rules"]
    (result,) = run["results"]
    assert result["ruleId"] == rule["id"] == "uncovered-reading" and result["ruleIndex"] == 0
    assert rule["shortDescription"]["text"] and rule["help"]["text"]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "pipe.yaml"
    assert place["region"] == {"startLine": 12, "startColumn": 5, "endLine": 12, "endColumn": 11}


def test_a_fix_goes_into_sarif_as_a_replacement():
    problem = Problem("unknown-step", "a.yaml", Span(3, 9, 3, 12), "There is no step `don`.", fix="done")
    log = json.loads(render([problem], {}, "sarif"))
    change = log["runs"][0]["results"][0]["fixes"][0]["artifactChanges"][0]["replacements"][0]
    assert change["insertedContent"]["text"] == "done" and change["deletedRegion"]["startColumn"] == 9


def test_annotations_escape_what_would_end_them_early():
    problem = Problem("bad-guard", "a,b:c.yaml", Span(1, 1, 1, 2), "100 % wrong\nhere", severity="warning")
    assert render([problem], {}, "annotations") == (
        "::warning file=a%2Cb%3Ac.yaml,line=1,endLine=1,col=1,endColumn=2,title=bad-guard::100 %25 wrong%0Ahere\n"
    )


def test_a_long_line_is_cut_round_its_fault_and_wide_signs_are_counted():
    text = "title: " + "x" * 150 + " 発進 FAULT " + "y" * 60
    at = text.index("FAULT") + 1
    problem = Problem("bad-guard", "a.yaml", Span(1, at, 1, at + 5), "Wrong.")
    shown = render([problem], {"a.yaml": Source("a", "a.yaml", text)}, "full").split("\n")
    line, under = shown[2], shown[3]
    wide = {c: 2 for c in "発進"}
    before = sum(wide.get(c, 1) for c in line[: line.index("FAULT")])
    assert under.index("~") == before and under.count("~") == 5
    assert sum(wide.get(c, 1) for c in line) <= 80


def test_a_problem_outside_its_text_is_shown_without_a_line():
    problem = Problem("not-a-file", "gone.yaml", Span(1, 1, 1, 1), "There is no such file.")
    assert render([problem], {}, "full").startswith("  error  There is no such file.\n  where  gone.yaml:1:1\n")


def test_a_problem_without_words_of_its_own_says_why_from_its_page():
    problem = Problem("unknown-step", "a.yaml", Span(1, 1, 1, 2), "There is no step `don`.")
    assert "why  The program would not know what to show or where to go.\n" in render([problem], {}, "full")


def test_sound_files_are_said_to_be_sound(tmp_path):
    path = tmp_path / "pipe.yaml"
    path.write_text(TEXT.replace("> 0.7", "> 0.5"), encoding="utf-8", newline="\n")
    text, code = run_check([path], [], {}, "full")
    assert code == 0 and text.startswith("Sound: ")
    assert run_check([path], [], {}, "line") == ("", 0)


def test_warnings_alone_leave_the_exit_code_at_zero(tmp_path):
    path = tmp_path / "pipe.yaml"
    path.write_text(
        TEXT.replace("> 0.7", "> 0.5").replace("Read both.", "Stop it, and then read both."),
        encoding="utf-8",
        newline="\n",
    )
    text, code = run_check([path], [], {}, "full")
    assert (
        code == 0
        and text.startswith("warning  ")
        and "code  two-actions" in text
        and text.endswith("No error and 1 warning. `evendraw explain CODE` says more about each.\n")
    )


def test_until_a_file_loads_nothing_is_said_to_be_proved(tmp_path):
    path = tmp_path / "pipe.yaml"
    path.write_text(TEXT.replace("go: done", "go: don"), encoding="utf-8", newline="\n")
    text, code = run_check([path], [], {}, "full")
    assert code == 1 and "were not proved yet: mend the errors first" in text


def test_an_unknown_format_is_refused():
    with pytest.raises(ValueError, match="there is no format 'xml'; there are full, line, json, sarif, annotations"):
        run_check([], [], {}, "xml")


def test_a_file_that_another_one_calls_is_not_looked_at_twice():
    found = check_files([SHIPPED / "fit-to-tune.yaml", SHIPPED / "stalled.yaml"], [SHIPPED], shipped())
    assert [Path(c.path).stem for c in found] == ["fit-to-tune"]


def test_paths_become_uris():
    assert uri("a b/c.yaml") == "a%20b/c.yaml"
    assert uri(str(Path("/tmp/x.yaml").absolute())).startswith("file:///")


def test_a_line_of_forty_thousand_signs_is_measured_only_where_it_is_shown(monkeypatch):
    """The work is counted, not the time: what lies outside the card is never looked at."""
    measured = []
    wide = rendering._wide
    monkeypatch.setattr(rendering, "_wide", lambda text: measured.append(len(text)) or wide(text))
    text = f"title: {'x' * 20_000} FAULT {'y' * 20_000}"
    at = text.index("FAULT") + 1
    problem = Problem("bad-guard", "a.yaml", Span(1, at, 1, at + 5), "Wrong.")
    assert "FAULT" in render([problem], {"a.yaml": Source("a", "a.yaml", text)}, "full")
    assert sum(measured) < 500


def test_the_line_of_success_says_what_no_check_can_prove(tmp_path):
    (tmp_path / "pipe.yaml").write_text(TEXT.replace("> 0.7", "> 0.5"), encoding="utf-8")
    text, code = run_check([tmp_path / "pipe.yaml"], [], {}, "full")
    assert code == 0 and text.startswith("Sound: ") and "Not proved" in text and "direction" in text
