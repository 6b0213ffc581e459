"""What the proofs promise, seen from outside: random procedures, and random answers to those that are called sound.

Whatever is answered, a sound program finds a way on, comes to an end, and never works with a value that nobody took.
The shipped files are held to the same.
"""

import random
from pathlib import Path

import pytest
from random_programs import ADVISERS, MOST, NOTICED, PROOFS, errors_of, harm, program
from walk_kit import telling, walk

from engine.carburation.registry import shipped
from engine.procedure.build.load import load_texts
from engine.procedure.check import check
from engine.procedure.report.checking import check_file

SHIPPED = Path(__file__).parents[3] / "procedures"


@pytest.mark.parametrize("part", range(4))
def test_a_random_program_that_is_called_sound_never_strands_anybody(part):
    r = random.Random(f"programs {part}")
    sound = 0
    for _ in range(30):
        texts, found, problems, missing = program(r)
        errors = errors_of(problems)
        if found is None:
            assert errors
            continue
        met = harm(found, missing, 12)
        assert errors or not met, (met, texts["outer"])
        unreached = {(Path(p.path).stem, p.span) for p in problems if p.code == "unreachable-step"}
        seen: set[str] = set()
        for seed in range(0 if met else 3):
            walk(random.Random(seed), found, ADVISERS, MOST, seen, hostile=(0.1, 1.0)[seed % 2])
        assert not seen & {
            f"{f.name}.{s.name}"
            for f in found.files.values()
            for s in f.steps.values()
            if (f.name, s.span) in unreached
        }
        sound += not errors
    assert sound >= 3


@pytest.mark.parametrize(("proof", "number"), NOTICED.items())
def test_without_a_proof_the_walks_would_meet_the_harm_that_it_keeps_away(proof, number):
    """The judge is worth something: what one proof alone refuses, it sees by itself."""
    _, found, problems, missing = program(random.Random(f"program {number}"))
    assert errors_of(problems) and errors_of(problems) <= PROOFS[proof]
    assert harm(found, missing)


@pytest.mark.parametrize(
    "way",
    [
        "branch: [{when: x > 5, go: done}]",  # an answer without a way on
        "call: inner\n    ends: {done: done}",  # a symptom that may be given for ever
        "go: gate",  # a loop without a limit
    ],
)
def test_the_walk_strands_where_a_file_is_not_sound(way):
    """The judge is worth something: what the checks refuse, it sees by itself."""
    head = "title: T\nrevision: 1\nfor: {family: any, carbs: 2}\nreadings:\n  x: {ask: X, unit: mm, range: [0, 10]}\n"
    stall = "symptoms:\n  stall: {kind: stall, ask: It stalls, call: inner, ends: {done: done}}\n"
    gate = "start: gate\nsteps:\n  gate:\n    do: Look.\n"
    end = "  done: {end: ok, say: Done.}\n"
    texts = {
        "outer": f"procedure: outer\n{head}{stall}{gate}    read: [x]\n    {way}\n{end}",
        "inner": f"procedure: inner\n{head}{gate}    go: done\n{end}",
    }
    loaded = load_texts(texts, "outer", {})
    assert errors_of(check(loaded.program, {}))
    with pytest.raises((AssertionError, RuntimeError)):
        for seed in range(20):
            walk(random.Random(seed), loaded.program, {}, 500, hostile=1.0 if "call" in way else 0.0)


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.yaml")), ids=lambda p: p.stem)
def test_a_shipped_file_comes_to_an_end_whatever_is_answered(path):
    with telling() as missing:
        checked = check_file(path, [SHIPPED], shipped())
    assert checked.program is not None
    for seed in range(8):
        walk(random.Random(seed), checked.program, shipped())
    assert not missing
