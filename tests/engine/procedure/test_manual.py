"""The manual of words: every key, function and word is there with a line and an example that its own model takes."""

from __future__ import annotations

from typing import Annotated

import pytest
from pydantic import TypeAdapter

from engine.procedure.language.expr import FUNCTIONS
from engine.procedure.language.functions import TAUGHT
from engine.procedure.language.parser import parse
from engine.procedure.report.manual import EXAMPLES, KINDS, Word, parts, run_words, words
from engine.procedure.source.spans import Source
from engine.procedure.source.tree import read_tree
from engine.vocabulary.phases import PHASES
from engine.vocabulary.vocabulary import SHIPPED


def test_every_word_is_there() -> None:
    named = {kind: {w.name for w in words() if w.kind == kind} for kind in KINDS}
    assert named["function"] == set(FUNCTIONS) == set(TAUGHT)
    assert named["state"] == set(SHIPPED.states)
    assert named["quantity"] == set(SHIPPED.quantities)
    assert named["hazard"] == set(SHIPPED.hazards)
    assert named["family"] == set(SHIPPED.families)
    assert named["phase"] == set(PHASES)
    keys = {(w.within, w.name) for w in words() if w.kind == "key"}
    assert keys == {(n, f.alias or k) for n, p in parts().items() for k, f in p.model_fields.items()}
    assert len(keys) > 150


def test_every_word_has_its_line_and_its_example() -> None:
    for word in words():
        assert word.line.strip() and word.example.strip(), word
        assert not word.line.startswith("None"), word


def _field(word: Word) -> object:
    part = parts()[word.within]
    return next(f for n, f in part.model_fields.items() if (f.alias or n) == word.name)


@pytest.mark.parametrize("word", [w for w in words() if w.kind == "key"], ids=lambda w: f"{w.within}.{w.name}")
def test_the_example_of_a_key_is_what_the_key_takes(word: Word) -> None:
    tree, problems = read_tree(Source("x", "x.yaml", word.example + "\n"))
    assert tree is not None and problems == [], word.example
    field = _field(word)
    value = tree[word.name]
    kind = field.annotation
    for more in field.metadata:
        kind = Annotated[kind, more]
    TypeAdapter(kind).validate_python(value)


@pytest.mark.parametrize("name", TAUGHT)
def test_the_example_of_a_function_is_an_expression(name: str) -> None:
    parse(TAUGHT[name][1])


def test_no_example_is_of_a_key_that_is_gone() -> None:
    keys = {w.name for w in words() if w.kind == "key"} | {f"{w.within}.{w.name}" for w in words() if w.kind == "key"}
    assert set(EXAMPLES) <= keys


def test_the_command_prints_all_one_kind_or_one_word() -> None:
    text, code = run_words(None)
    assert code == 0 and all(heading in text for heading in KINDS.values())
    text, code = run_words("quantities")
    assert code == 0 and "fuel level" in text and "Functions" not in text
    text, code = run_words("checklist")
    assert code == 0 and "checklist: [drips, strainer]" in text
    text, code = run_words("quantites")
    assert (code == 2 and "quantity" in text) or "quantities" in text
    assert all(len(line) <= 80 for line in run_words(None)[0].splitlines())
