"""The route of a procedure: every step drawn once, loops and limits shown, the same file always drawn the same."""

import re
import xml.etree.ElementTree as Xml
from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.procedure.build.load import load, load_texts
from engine.procedure.route.route import as_mermaid, as_text, route_of, run_route
from engine.procedure.route.route_svg import as_svg

SHIPPED = Path(__file__).parents[3] / "procedures"
ADVISERS = shipped()
TEXT = """\
procedure: pipe
title: Bleed & fill
revision: 1
for: {family: any, carbs: 2}
readings:
  flow: {ask: Flow, each: carb, unit: L/min, range: [0, 20]}
symptoms:
  burst: {kind: leak, ask: It bursts, go: off}
start: gate
steps:
  gate:
    limit: {visits: 5, then: worn}
    do: Read both.
    read: [flow]
    branch:
      - {when: spread(flow) < 1, go: done}
      - {when: any(flow < 1), go: bleed}
      - {otherwise: turn}
  turn: {do: Turn it., go: gate}
  bleed: {do: Bleed it., go: gate}
  off: {limit: {visits: 2, then: worn}, do: Shut it off., go: worn}
  done: {end: ok, say: Done.}
  worn: {end: failed, say: Worn.}
"""


@pytest.fixture
def route():
    loaded = load_texts({"pipe": TEXT}, "pipe", {})
    assert loaded.program is not None
    return route_of(loaded.program.files["pipe"])


def test_the_tree_hangs_each_step_on_the_way_that_leads_to_it(route):
    assert (
        as_text(route)
        == """\
pipe: Bleed & fill

● gate  at most 5 visits
├ spread(flow) < 1: ■ done (ok)
├ any(flow < 1): → bleed
│   ● bleed
│   └ ↺ gate
├ otherwise: → turn
└ after 5 visits: ■ worn (failed)
● turn
└ ↺ gate

by a symptom:
● off  at most 2 visits
├ ■ worn (failed)
└ after 2 visits: ■ worn (failed)

at any step:
  It bursts → off
"""
    )


def test_mermaid_has_a_node_for_each_step_and_a_link_for_each_way(route):
    text = as_mermaid(route)
    assert text.startswith("flowchart TD\n")
    assert '  s0["Gate<br/>at most 5"]' in text and '(["Done<br/>ok"])' in text
    assert '|"spread(flow) #lt; 1"|' in text and "-.->" in text
    assert len(re.findall(r"^  s\d+[\[(]", text, re.MULTILINE)) == 6
    assert "Bleed #amp; fill" in text


def test_svg_is_well_formed_and_names_every_step(route):
    tree = Xml.fromstring(as_svg(route))
    assert tree.tag == "{http://www.w3.org/2000/svg}svg"
    texts = {"".join(t.itertext()) for t in tree.iter("{http://www.w3.org/2000/svg}text")}
    for title in ("Gate", "Turn", "Bleed", "Off", "Done", "Worn"):
        assert any(title in t for t in texts)
    assert float(tree.get("width")) > 100 and "NaN" not in as_svg(route)


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.yaml")), ids=lambda p: p.stem)
def test_every_shipped_file_is_drawn_whole_and_always_the_same(path):
    procedure = load(path, [SHIPPED], ADVISERS).program.files[path.stem]
    drawn = route_of(procedure)
    tree = as_text(drawn)
    heads = re.findall(r"● (\w+)", tree)
    ends = {s.name for s in drawn.stops if s.kind == "end"}
    assert sorted(heads) == sorted(procedure.steps.keys() - ends)
    assert all(len(line) <= 140 for line in tree.split("\n") if not line.startswith("  "))
    again = route_of(procedure)
    assert (as_text(again), as_mermaid(again), as_svg(again)) == (tree, as_mermaid(drawn), as_svg(drawn))
    Xml.fromstring(as_svg(drawn))


def test_a_file_that_does_not_load_says_why(tmp_path):
    path = tmp_path / "pipe.yaml"
    path.write_text(TEXT.replace("go: worn", "go: warn"), encoding="utf-8")
    text, code = run_route(path, [], {})
    assert code == 3 and "unknown-step" in text
    assert run_route(SHIPPED / "stalled.yaml", [SHIPPED], ADVISERS, "mermaid")[1] == 0
