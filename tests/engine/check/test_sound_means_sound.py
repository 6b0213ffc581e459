"""What the proofs promise, seen from outside: random procedures, and random answers to those that are called sound.

Whatever is answered, a sound program finds a way on, comes to an end, and never works with a value that nobody took.
The shipped files are held to the same.
"""

import random
from pathlib import Path

import pytest
from walk_kit import walk

from engine.carburation.registry import shipped
from engine.procedure.build.load import load_texts
from engine.procedure.check import check
from engine.procedure.language import compile
from engine.procedure.report.checking import check_file

SHIPPED = Path(__file__).parents[3] / "procedures"

HEAD = """\
procedure: {name}
title: Random
revision: 1
for: {{family: any, carbs: {{from: 1, to: 3}}}}
facts:
  meter: instruments.flow_meter
  stem: {{is: bank.stem, choices: [coarse, fine]}}
settings:
  apart: {{value: 1 L/min, range: [0, 4], source: common practice}}
readings:
  flow: {{ask: Flow, each: carb, unit: L/min, range: [0, 10], step: 0.5}}
  x: {{ask: X, unit: L/min, range: [0, 10], step: 1}}
  sound: {{ask: Sound, choices: [steady, rough, silent]}}
  drips: {{ask: Drips, choices: ['no', 'yes'], may_lack: true}}
values:
  gap: spread(flow)
"""
ATOMS = (
    "gap > apart",
    "gap <= apart",
    "any(flow < 3)",
    "all(flow >= 3)",
    "x > 4",
    "x <= 4",
    "x == 7",
    "sound == 'rough'",
    "sound != 'silent'",
    "meter",
    "not meter",
    "stem == 'fine'",
    "drips == 'yes'",
    "drips == 'no'",
    "kept > 3 L/min",
    "max(flow) > 2 * apart",
    "x - apart > 3",
    "mean(flow) > 5",
    "count(flow > 5) >= 2",
    "min(flow) < x",
)
READS = ("flow", "x", "sound", "drips", "{x: meter}", "{flow: stem == 'fine'}", "{reading: sound, when: not meter}")


def guard(r):
    """A random guard over a few names."""
    parts = [r.choice(ATOMS) for _ in range(r.choice((1, 1, 1, 2)))]
    text = r.choice((" and ", " or ")).join(parts)
    return f"not ({text})" if r.random() < 0.15 else text


def procedure(r, name, callee=None):
    """A random file of three to seven steps, mostly near to being sound: ways lead on more often than back."""
    names = [f"s{i}" for i in range(r.randint(3, 7))]
    everywhere = [n for n in ("flow", "x", "sound", "drips") if r.random() < 0.8]

    def ahead(i):
        return r.choice((*names[i + 1 :], "done", "bad") if r.random() < 0.8 else names)

    lines = [HEAD.format(name=name)]
    if r.random() < 0.5:
        way = f"go: {r.choice((names[-1], 'bad'))}"
        if callee and r.random() < 0.6:
            way = f"call: {callee}, ends: {{done: back, bad: bad}}, limit: {{visits: 2, then: bad}}"
        lines.append(f"symptoms:\n  stall: {{kind: stall, ask: It stalls, {way}}}\n")
    lines.append("start: s0\nsteps:\n")
    for i, step in enumerate(names):
        lines.append(f"  {step}:\n    do: Look.\n")
        if r.random() < 0.4:
            then = r.choice((*names[i + 1 :], "bad", "bad"))
            lines.append(f"    limit: {{visits: {r.randint(1, 3)}, then: {then}}}\n")
        reads = everywhere if i == 0 else [x for x in READS if r.random() < 0.25]
        seen = {}
        for x in reads:
            seen.setdefault("flow" if "flow" in x else "x" if "x" in x else "sound" if "sound" in x else "drips", x)
        if seen:
            lines.append(f"    read: [{', '.join(seen.values())}]\n")
        if r.random() < (0.9 if i == 0 else 0.2) or i == len(names) - 1:
            lines.append(f"    keep: {{kept: {r.choice(('x', 'gap', 'apart', 'max(flow)'))}}}\n")
        kind = r.random()
        if kind < 0.2:
            lines.append(f"    go: {ahead(i)}\n")
        elif kind < 0.35 and callee:
            lines.append(f"    call: {callee}\n    ends: {{done: {ahead(i)}, bad: {ahead(i)}}}\n")
        else:
            guards = [guard(r) for _ in range(r.randint(1, 3))]
            lines.append("    branch:\n" + "".join(f'      - {{when: "{g}", go: {ahead(i)}}}\n' for g in guards))
            if r.random() < 0.75:
                lines.append(f"      - {{otherwise: {ahead(i)}}}\n")
            elif r.random() < 0.7:
                lines.append(f'      - {{when: "not ({" or ".join(f"({g})" for g in guards)})", go: {ahead(i)}}}\n')
    lines.append("  done: {end: ok, say: Done.}\n  bad: {end: failed, say: Bad.}\n")
    return "".join(lines)


@pytest.fixture
def missing(monkeypatch):
    """Names that a guard asked for and nobody had given, in the runs of programs that are compiled after this."""
    found = []

    def fetch(name):
        def run(names):
            if name not in names:
                found.append(name)
            return names.get(name)

        return run

    monkeypatch.setattr(compile, "_fetch", fetch)
    return found


#: More answers than a run of such a small program can take, its limits being what they are.
MOST = 1500

#: Errors of the ways that make a file unsound. A step that can't be reached, or a dead branch, harms no run.
HARMLESS = {"unreachable-step", "never-true", "shadowed-branch"}


@pytest.mark.parametrize("part", range(4))
def test_a_random_program_that_is_called_sound_never_strands_anybody(missing, part):
    r = random.Random(f"programs {part}")
    sound = stranded = 0
    for _ in range(60):
        texts = {"inner": procedure(r, "inner"), "outer": procedure(r, "outer", "inner")}
        loaded = load_texts(texts, "outer", {})
        assert loaded.program is not None, [str(p) for p in loaded.problems]
        problems = check(loaded.program, {})
        errors = {p.code for p in problems if p.severity == "error"} - HARMLESS
        unreached = {(Path(p.path).stem, p.span) for p in problems if p.code == "unreachable-step"}
        missing.clear()
        seen: set[str] = set()
        for seed in range(6):
            try:
                walk(random.Random(seed), loaded.program, {}, MOST, seen)
            except Exception:
                assert errors, texts["outer"]
                stranded += 1
        assert not seen & {
            f"{f.name}.{s.name}"
            for f in loaded.program.files.values()
            for s in f.steps.values()
            if (f.name, s.span) in unreached
        }
        assert errors or not missing, (missing, texts["outer"])
        sound += not errors
    # The test means something only while both kinds turn up.
    assert sound >= 4 and stranded >= 4


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.yaml")), ids=lambda p: p.stem)
def test_a_shipped_file_comes_to_an_end_whatever_is_answered(path, missing):
    checked = check_file(path, [SHIPPED], shipped())
    assert checked.program is not None
    for seed in range(8):
        walk(random.Random(seed), checked.program, shipped())
    assert not missing
