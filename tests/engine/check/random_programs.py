"""Random programs of several files, walked through the real run by answers that mean no good.

    python tests/engine/check/random_programs.py 5000

Each is checked; one that is called sound is walked to its end with random answers, and with a symptom at every step
where one may be given. It must always end, never meet an internal error, and never use a value that nobody took.
"""

from __future__ import annotations

import random
import sys

from walk_kit import walk

from engine.procedure.build.load import load_texts
from engine.procedure.check import check

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
  draw: {{ask: Draw, each: carb, unit: L/min, range: [0, 10], step: 1, may_lack: true}}
  play: {{ask: Play, each: gap, unit: L/min, range: [0, 10], step: 1}}
  co: {{ask: CO, unit: L/min, range: [0, 10], step: 1, over_range: true}}
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
    "known(draw)",
    "not known(draw)",
    "any(draw > 5)",
    "count(draw <= 5) >= 1",
    "max(draw) - max(draw) < 1",
    "any(play > 5)",
    "max(play) <= 5",
    "count(play > 2) == 0",
    "known(co) and co > 5",
    "co <= 5",
    "done_it",
    "not done_it",
    "was == 'rough'",
    "was != 'silent'",
)
READS = (
    "draw",
    "play",
    "co",
    "flow",
    "x",
    "sound",
    "drips",
    "{x: meter}",
    "{flow: stem == 'fine'}",
    "{reading: sound, when: not meter}",
)


#: What names a reading in one of READS.
NAMES = ("flow", "sound", "drips", "draw", "play", "co", "x")


def guard(r):
    """A random guard over a few names."""
    parts = [r.choice(ATOMS) for _ in range(r.choice((1, 1, 1, 2)))]
    text = r.choice((" and ", " or ")).join(parts)
    return f"not ({text})" if r.random() < 0.15 else text


def procedure(r, name, callees=()):
    """A random file of three to seven steps, mostly near to being sound: ways lead on more often than back."""
    names = [f"s{i}" for i in range(r.randint(3, 7))]
    whole = r.random() < 0.9
    everywhere = [n for n in NAMES if whole or n == "sound" or r.random() < 0.8]
    callee = r.choice(callees) if callees else None

    def ahead(i):
        return r.choice((*names[i + 1 :], "done", "bad") if r.random() < 0.9 else names[1:])

    lines = [HEAD.format(name=name)]
    symptoms = []
    for symptom, kind in (("stall", "stall"), ("hiss", "leak")):
        if r.random() < 0.5:
            way = f"go: {r.choice((names[-1], 'bad'))}"
            if callee and r.random() < 0.6:
                limit = ", limit: {visits: 2, then: bad}" if r.random() < 0.8 else ""
                back = r.choice(("back", "back", "bad", names[-1]))
                way = f"call: {r.choice(callees)}, ends: {{done: {back}, bad: bad}}{limit}"
            symptoms.append(f"  {symptom}: {{kind: {kind}, ask: It is so, {way}}}\n")
    if symptoms:
        lines.append("symptoms:\n" + "".join(symptoms))
    if r.random() < 0.6:
        lines.append("gives: {it: done_it}\n")
    lines.append('start: begin\nsteps:\n  begin:\n    keep: {done_it: "False", kept: apart}\n    go: s0\n')
    for i, step in enumerate(names):
        lines.append(f"  {step}:\n" + ("    do: Look.\n" if i == 0 or r.random() < 0.8 else "    title: Pass\n"))
        if r.random() < 0.6 and i:
            then = r.choice((*names[i + 1 :], "bad", "bad"))
            lines.append(f"    limit: {{visits: {r.randint(1, 3)}, then: {then}}}\n")
        reads = everywhere if i == 0 else [x for x in READS if r.random() < 0.25]
        seen = {}
        for x in reads:
            for n in [n for n in NAMES if n in x][:1]:
                seen.setdefault(n, x)
        if seen:
            lines.append(f"    read: [{', '.join(seen.values())}]\n")
        if i == 0 and symptoms and whole:
            lines.append("    symptoms: {" + ", ".join(f"{s.strip().partition(':')[0]}: bad" for s in symptoms) + "}\n")
        if i == 0 or r.random() < 0.2 or i == len(names) - 1:
            flag, word = r.choice(('"True"', '"False"')), ", was: sound" if "sound" in everywhere else ""
            lines.append(f"    keep: {{kept: {r.choice(('x', 'gap', 'apart', 'max(flow)'))}, done_it: {flag}{word}}}\n")
        elif r.random() < 0.3:
            lines.append(f"    keep: {{done_it: {r.choice(('meter', chr(34) + 'True' + chr(34)))}}}\n")
        kind = r.random()
        if kind < 0.2:
            lines.append(f"    go: {ahead(i)}\n")
        elif kind < 0.35 and callee:
            lines.append(f"    call: {callee}\n    ends: {{done: {ahead(i)}, bad: {ahead(i)}}}\n")
        else:
            guards = [guard(r) for _ in range(r.randint(1, 3))]
            lines.append("    branch:\n" + "".join(f'      - {{when: "{g}", go: {ahead(i)}}}\n' for g in guards))
            if r.random() < 0.84:
                lines.append(f"      - {{otherwise: {ahead(i)}}}\n")
            elif r.random() < 0.7:
                lines.append(f'      - {{when: "not ({" or ".join(f"({g})" for g in guards)})", go: {ahead(i)}}}\n')
    lines.append("  done: {end: ok, say: Done.}\n  bad: {end: failed, say: Bad.}\n")
    return "".join(lines)


#: More answers than a run of such a small program can take, its limits being what they are.
MOST = 3000
#: Errors of the ways that make a file unsound. A step that can't be reached, or a dead branch, harms no run.
HARMLESS = {"unreachable-step", "never-true", "shadowed-branch", "kept-for-nothing"}


def program(r):
    """The texts of a random program, and what the checks say of it: (texts, loaded program, problems)."""
    texts = {"inner": procedure(r, "inner")}
    texts["middle"] = procedure(r, "middle", ("inner",))
    texts["outer"] = procedure(r, "outer", ("middle", "inner", "middle"))
    loaded = load_texts(texts, "outer", {})
    assert loaded.program is not None, [str(p) for p in loaded.problems]
    return texts, loaded.program, check(loaded.program, {})


def errors_of(problems):
    """The codes of the errors that make a run unsound."""
    return {p.code for p in problems if p.severity == "error"} - HARMLESS


def main(count: int) -> int:
    """Walk `count` programs; the number of those that were called sound and were not."""
    wrong = sound = 0
    for n in range(count):
        r = random.Random(f"program {n}")
        texts, found, problems = program(r)
        if errors_of(problems):
            continue
        sound += 1
        for seed in range(8):
            try:
                walk(random.Random(seed), found, {}, MOST, hostile=(0.1, 1.0, 0.5)[seed % 3])
            except Exception as fault:
                wrong += 1
                print(f"program {n}, walk {seed}: {fault}")
                print("\n".join(f"# file: {name}.yaml\n{text}" for name, text in texts.items()))
                break
    print(f"{count} programs, {sound} called sound, {wrong} of them wrongly")
    return wrong


if __name__ == "__main__":
    sys.exit(bool(main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)))
