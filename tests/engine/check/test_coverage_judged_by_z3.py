"""z3 (an SMT solver, general purpose) judges the coverage proofs over thousands of random guard lists.

Two promises. Over single readings, choices, facts and `any` / `all` of one row the checker agrees exactly: uncovered,
dead and overlapping branches, no more and no fewer. Over everything else it is sound: a gap that z3 finds is reported,
a branch that z3 can take is never called dead, and "nothing matches" without "may" is a real gap.
"""

import random

import pytest
import z3
from check_kit import TRUTH, Kit, choice, number
from z3_judge import OVER, Judge

from engine.procedure.build.load import load_texts
from engine.procedure.check import check

CHOICES = ("steady", "hammering", "silent")
LEVELS = ("0", "1", "2", "2.5", "3", "7/2", "10")


def kit(carbs):
    """Names of every kind, some of which may be missing."""
    return Kit(
        {
            "x": number(0, 10),
            "y": number(-1, 10),
            "z": number(0, 3, holes=True),
            "sound": choice(*CHOICES),
            "drips": choice("no", "yes", holes=True),
            "flow": number(0, 10, each="carb"),
            "draw": number(0, 5, each="carb", holes=True),
            "noise": choice(*CHOICES, each="carb"),
            "spark": choice("yes", "no", each="carb"),
            "ring": choice("yes", "no", each="carb", holes=True),
            "play": number(0, 5, each="gap"),
            "link": number(0, 5, each="gap", holes=True),
            "co": number(0, 10),
            "row": number(0, 10, each="carb", holes=True),
        },
        facts={"meter": TRUTH, "stem": choice("coarse", "fine")},
        values={"gap": "spread(flow)", "most": "max(play)"},
        carbs=carbs,
        over=OVER,
    )


# ---- random guards

OPS = ("<", "<=", ">", ">=", "==", "!=")


def plain_atom(r):
    """An atom for which the checker promises to agree exactly."""
    kind = r.randrange(9)
    if kind == 0:
        return f"sound {r.choice(('==', '!='))} '{r.choice(CHOICES)}'"
    if kind == 1:
        return f"drips {r.choice(('==', '!='))} '{r.choice(('yes', 'no'))}'"
    if kind == 2:
        return r.choice(("meter", "stem == 'coarse'", "known(z)", "known(drips)"))
    if kind == 3:
        return f"{r.choice(('any', 'all'))}(noise {r.choice(('==', '!='))} '{r.choice(CHOICES)}')"
    if kind in (4, 5):
        return f"{r.choice(('any', 'all'))}(flow {r.choice(OPS)} {r.choice(LEVELS)})"
    if kind == 6:
        low, high = sorted(r.sample(range(5), 2))
        return f"{r.choice(('any', 'all'))}({low} {r.choice(('<', '<='))} flow {r.choice(('<', '<='))} {high})"
    if kind == 7:
        low, high = sorted(r.sample(range(5), 2))
        return f"{low} {r.choice(('<', '<='))} {r.choice('xyz')} {r.choice(('<', '<='))} {high}"
    return f"{r.choice('xyz')} {r.choice(OPS)} {r.choice(LEVELS)}"


def any_atom(r):
    """An atom of any kind that the language has."""
    level, op = r.choice(LEVELS), r.choice(OPS)
    return r.choice(
        (
            plain_atom(r),
            plain_atom(r),
            f"gap {op} {level}",
            f"min(flow) {op} {level}",
            f"max(flow) {op} {level}",
            f"mean(flow) {op} {level}",
            f"count(flow > {level}) {op} {r.randrange(4)}",
            f"x - y {op} {level}",
            f"x {op} y",
            f"abs(x - 3) {op} {level}",
            f"spread(flow) {op} 20 % * mean(flow)",
            f"any(flow {op} x)",
            f"all(draw {op} {level})",
            f"min(draw) {op} {level}",
            f"spread(draw) {op} {level}",
            f"mean(draw) {op} {level}",
            f"any(flow - draw {op} {level})",
            "known(draw)",
            "known(most)",
            "known(link)",
            f"most {op} {level}",
            f"any(play {op} {level})",
            f"all(link {op} {level})",
            f"count(link {op} {level}) {op} {r.randrange(3)}",
            f"spread(link) {op} {level}",
            f"co {op} {level}",
            "over(co)",
            "over(row)",
            "known(row)",
            f"max(row) {op} {level}",
            f"any(row {op} {level})",
            f"2 * x + z {op} {level}",
            f"max(flow) - min(draw) {op} {level}",
            f"all(abs(flow - mean(flow)) {op} {level})",
            together(r),
            together(r),
            f"count(noise == 'silent') {op} {r.randrange(3)}",
        )
    )


def together(r):
    """Several comparisons asked of the same place, some of rows with holes."""
    parts = (
        f"flow {r.choice(OPS)} {r.choice(LEVELS)}",
        f"draw {r.choice(OPS)} {r.choice(LEVELS)}",
        f"noise {r.choice(('==', '!='))} '{r.choice(CHOICES)}'",
        f"ring {r.choice(('==', '!='))} '{r.choice(('yes', 'no'))}'",
        f"row {r.choice(OPS)} {r.choice(LEVELS)}",
        f"flow - draw {r.choice(OPS)} {r.choice(LEVELS)}",
        f"draw {r.choice(OPS)} z",
    )
    some = [f"not ({p})" if r.random() < 0.2 else p for p in r.choices(parts, k=r.choice((2, 2, 3)))]
    if len(some) == 3 and r.random() < 0.5:
        some = [f"({some[0]} {r.choice(('and', 'or'))} {some[1]})", some[2]]
    inside = r.choice((" and ", " and ", " or ")).join(some)
    function = r.choice(("any", "all", "count"))
    return f"{function}({inside})" + (f" {r.choice(OPS)} {r.randrange(4)}" if function == "count" else "")


def guard(r, atom, depth=2):
    """A random guard of at most three levels."""
    if depth == 0 or r.random() < 0.45:
        return atom(r)
    kind = r.randrange(4)
    if kind == 0:
        return f"not ({guard(r, atom, depth - 1)})"
    word = " and " if kind < 3 else " or "
    return "(" + word.join(guard(r, atom, depth - 1) for _ in range(2)) + ")"


def guards(r, atom):
    """A random list; half of them made to cover, or nearly so, since gaps are else the rule."""
    found = [guard(r, atom) for _ in range(r.choice((1, 2, 2, 3)))]
    kind = r.randrange(4)
    if kind == 0:
        found.append("not (" + " or ".join(f"({g})" for g in found) + ")")
    elif kind == 1:
        found.append(f"not ({found[0]})")
    return [g for g in found if len(g) <= 300]


def verdicts(names, lengths, texts):
    """What z3 says over all lengths that a row may have: is there a gap, which branches are dead, which overlap."""
    gap, alive, never, pairs = False, set(), set(range(len(texts))), set()
    for n in lengths:
        judge = Judge(names.types, names.values, n)
        truths = [judge.truth(names.guard(t).node) for t in texts]
        gap = gap or judge.can(z3.Not(z3.Or(truths)))
        for i, t in enumerate(truths):
            if i not in alive and judge.can(t, z3.Not(z3.Or(truths[:i]))):
                alive.add(i)
            if i in never and (i in alive or judge.can(t)):
                never.discard(i)
            pairs |= {(j, i) for j in range(i) if (j, i) not in pairs and judge.can(t, truths[j])}
    return gap, set(range(len(texts))) - alive, never, pairs


def found_by_checker(names, texts):
    """What the checker says, in the same shape; `sure` is a gap that it has no doubt of."""
    problems = names.problems(texts, exclusive=True)
    by_line = [(p.code, p.span.line - 1) for p in problems]
    dead = {i for code, i in by_line if code in ("never-true", "shadowed-branch")}
    gaps = [p for p in problems if p.code == "uncovered-reading"]
    assert not any(code == "too-complex" for code, _ in by_line)
    return (
        bool(gaps),
        bool(gaps) and "May match" not in gaps[0].message,
        dead,
        {i for code, i in by_line if code == "never-true"},
        [p for p in problems if p.code == "overlapping-branches"],
    )


SUITE = {"exact": 400, "sound": 320, "kept": 120, "places": 160}


@pytest.mark.parametrize("part", range(4))
def test_exact_agreement_on_single_readings_choices_facts_any_and_all(part):
    r = random.Random(f"exact {part}")
    for _ in range(SUITE["exact"] // 4):
        lengths = r.choice(((1, 1), (2, 2), (3, 3), (1, 3)))
        names = kit(lengths)
        texts = guards(r, plain_atom)
        gap, dead, never, pairs = verdicts(names, range(lengths[0], lengths[1] + 1), texts)
        says_gap, sure, says_dead, says_never, overlaps = found_by_checker(names, texts)
        assert (says_gap, sure) == (gap, gap), texts
        assert says_dead == dead, texts
        assert says_never == never, texts
        assert len(overlaps) == len(pairs), texts
        assert all("may both" not in p.message for p in overlaps), texts


def places_atom(r):
    """One or two comparisons asked of the same place of rows that are all there."""

    def part():
        name = r.choice(("noise", "spark", "spark", "flow"))
        if name == "flow":
            return f"flow {r.choice(('<', '>='))} 3"
        return f"{name} {r.choice(('==', '!='))} '{r.choice(CHOICES[:2] if name == 'noise' else ('yes', 'no'))}'"

    return f"{r.choice(('any', 'all'))}({r.choice((' and ', ' or ')).join(part() for _ in range(r.choice((1, 2, 2))))})"


@pytest.mark.parametrize("part", range(2))
def test_exact_agreement_on_what_is_asked_of_one_place(part):
    r = random.Random(f"places {part}")
    for _ in range(SUITE["places"] // 2):
        lengths = r.choice(((1, 1), (2, 2), (2, 4), (1, 4)))
        names = kit(lengths)
        texts = guards(r, places_atom)
        gap, dead, never, _ = verdicts(names, range(lengths[0], lengths[1] + 1), texts)
        says_gap, sure, says_dead, says_never, _ = found_by_checker(names, texts)
        assert (says_gap, says_dead, says_never) == (gap, dead, never), texts
        assert gap or not sure, texts


@pytest.mark.parametrize("part", range(4))
def test_sound_on_everything_else(part):
    r = random.Random(f"sound {part}")
    for _ in range(SUITE["sound"] // 4):
        lengths = r.choice(((1, 1), (2, 2), (3, 3), (1, 3)))
        names = kit(lengths)
        texts = guards(r, any_atom)
        gap, dead, never, pairs = verdicts(names, range(lengths[0], lengths[1] + 1), texts)
        says_gap, sure, says_dead, says_never, overlaps = found_by_checker(names, texts)
        assert says_gap or not gap, texts
        assert gap or not sure, texts
        assert says_dead <= dead, texts
        assert says_never <= never, texts
        assert len(overlaps) >= len(pairs), texts
        assert len([p for p in overlaps if "may both" not in p.message]) <= len(pairs), texts


# ---- what was kept, and what an earlier step has settled

SETTLED = """\
procedure: settled
title: Settled
revision: 1
for: {{family: any, carbs: {{from: 1, to: 3}}}}
start: gate
facts: {{meter: instruments.flow_meter}}
readings:
  x: {{ask: X, unit: mm, range: [0, 10]}}
  y: {{ask: Y, unit: mm, range: [0, 10], may_lack: true}}
  sound: {{ask: Sound, choices: [steady, hammering, silent]}}
  flow: {{ask: Flow, each: carb, unit: mm, range: [0, 10]}}
  play: {{ask: Play, each: gap, unit: mm, range: [0, 10]}}
steps:
  gate:
    do: Look.
    read: [x, y, sound, flow, play]
    keep: {{k: {k}, w: sound, b: {b}}}
    branch:
      - {{when: "{first}", go: look}}
      - {{otherwise: done}}
  look:
    do: Look again.
    branch:
{branches}
  done: {{end: ok, say: Done.}}
"""


def settled_atom(r):
    """An atom over readings and what is kept of them."""
    op, level = r.choice(OPS), r.choice(LEVELS)
    return r.choice(
        (
            f"k {op} {level} mm",
            f"k {op} {level} mm",
            f"x {op} {level} mm",
            f"k {op} x",
            f"w {r.choice(('==', '!='))} '{r.choice(CHOICES)}'",
            f"sound {r.choice(('==', '!='))} '{r.choice(CHOICES)}'",
            "b",
            "not b",
            "meter",
            "known(k)",
            "known(y)",
            f"y {op} {level} mm",
            f"any(flow {op} {level} mm)",
            f"all(play {op} {level} mm)",
            f"max(play) {op} {level} mm",
        )
    )


@pytest.mark.parametrize("part", range(2))
def test_what_was_kept_and_settled_is_judged_where_it_is_looked_at(part):
    """A gap that z3 finds at a later step is told there, and a branch that it can take is never called dead."""
    r = random.Random(f"kept {part}")
    for _ in range(SUITE["kept"] // 2):
        texts = [g.replace("7/2", "3.5") for g in guards(r, settled_atom)]
        text = SETTLED.format(
            k=r.choice(("x", "y", "2 mm", "max(flow)", "max(play)", "x - y", "2 * x")),
            b=r.choice(("meter", "'\"True\"'", "x > 5 mm", "sound == 'steady'", "any(flow > 3 mm)")),
            first=guard(r, settled_atom, 1).replace("7/2", "3.5") if r.random() < 0.8 else "True",
            branches="\n".join(f'      - {{when: "{t}", go: done}}' for t in texts),
        )
        text = text.replace("'\"True\"'", '"True"')
        loaded = load_texts({"settled": text}, "settled", {})
        assert loaded.program is not None, (text, [str(p) for p in loaded.problems])
        problems = check(loaded.program, {})
        file = loaded.program.files["settled"]
        gate, look = file.steps["gate"], file.steps["look"]
        gap, alive, reached = False, set(), False
        for n in (1, 2, 3):
            judge = Judge({k: v.type for k, v in (*file.readings.items(), *file.facts.items())}, {}, n)
            for name, kept in gate.keep:
                judge.env[name] = (
                    (judge.truth(kept.node), z3.BoolVal(True)) if kept.type.kind == "bool" else judge.number(kept.node)
                )
            first = judge.truth(gate.way[0].when.node)
            truths = [judge.truth(b.when.node) for b in look.way]
            reached = reached or judge.can(first)
            gap = gap or judge.can(first, z3.Not(z3.Or(truths)))
            alive |= {i for i, t in enumerate(truths) if judge.can(first, t, z3.Not(z3.Or(truths[:i])))}
        told = {p.code for p in problems if p.span.line >= look.span.line}
        dead = {p.span.line for p in problems if p.code in ("never-true", "shadowed-branch")}
        assert not gap or "uncovered-reading" in told, text
        assert not reached or "unreachable-step" not in told, text
        assert not any(look.way[i].when.span.line in dead for i in alive), text
