"""A file means the same, place by place, whichever of the two parsers has read it."""

import random
from pathlib import Path

import pytest

from engine.procedure.report.explain import pages
from engine.procedure.report.pages import files_of
from engine.procedure.source import tree
from engine.procedure.source.spans import Source

ROOT = Path(__file__).parents[3]
FILES = [*sorted(ROOT.glob("procedures/**/*.yaml")), *sorted((ROOT / "tests/engine/conformance").glob("**/*.yaml"))]
pytestmark = pytest.mark.skipif(tree.CParser is None, reason="libyaml is not there")


def shape(node):
    """All that a tree holds, with its places."""
    if node is None:
        return None
    if isinstance(node, tree.Scalar):
        return str(node), node.span, node.quoted, node.exact
    if isinstance(node, tree.Map):
        return node.span, [(shape(k), shape(v)) for k, v in node.items()], sorted(node.lost)
    return node.span, [shape(v) for v in node], node.lost


def differ(text):
    """Whether the faster parser reads a text otherwise; where it gives up it does not."""
    source = Source("x", "x.yaml", text)
    fast = tree._read_fast(source)
    if fast is None:
        return False
    well = tree._read_well(source)
    return shape(fast[0]) != shape(well[0]) or bool(well[1])


@pytest.mark.parametrize("path", FILES[::6], ids=lambda p: p.stem)
def test_a_shipped_file_is_read_alike_and_by_the_faster_one(path):
    text = path.read_text(encoding="utf-8")
    if path.parent.name != "conformance":
        assert tree._read_fast(Source("x", "x.yaml", text)) is not None
    assert not differ(text)


def test_the_examples_of_the_pages_are_read_alike():
    examples = [text for page in pages().values() for text in files_of(page.example).values()]
    assert not [text for text in random.Random(1).sample(examples, 40) if differ(text)]


SIGNS = "{}[]:,-#'\"|>&*!%@`?\n \t\u2028\u00e9\U0001f527ab0~"


def test_slips_of_the_hand_are_read_alike():
    """Signs put in, taken out and doubled at random places: what the faster parser lets pass means what it means."""
    r = random.Random(7)
    base = (ROOT / "procedures" / "spits-back.yaml").read_text(encoding="utf-8")
    base = base[: base.index("steps:") + 400]
    wrong = []
    for _ in range(150):
        text = base
        for _ in range(r.choice((1, 1, 2, 4))):
            at = r.randrange(len(text))
            kind = r.random()
            if kind < 0.5:
                text = text[:at] + r.choice(SIGNS) + text[at:]
            elif kind < 0.8:
                text = text[:at] + text[at + r.randint(1, 3) :]
            else:
                text = text[:at] + text[at : at + r.randint(1, 20)] + text[at:]
        if differ(text):
            wrong.append(text)
    assert not wrong, wrong[0]
