"""Random programs of several files, walked through the real run by answers that mean no good.

    python tests/engine/check/random_programs.py 5000 [PROCESSES]

Each is checked; one that is called sound is walked to its end with random answers, with a symptom at every step where
one may be given, and with the same answer every time. It must always end, never meet an internal error, and never use
a value that nobody took. And where one proof alone refuses a program, some walk must meet the harm: else nobody would
notice that the proof were gone. 5,000 take some minutes on two quiet cores.
"""

from __future__ import annotations

import random
import sys
from multiprocessing import Pool

from walk_kit import telling, walk

from engine.carburation.registry import shipped
from engine.procedure.build.load import load_texts
from engine.procedure.check import check

ADVISERS = {name: adviser for name, adviser in shipped().items() if name in ("idle_speed", "jet_numbers")}

HEAD = """\
procedure: {name}
title: Random
revision: 1
for: {{family: any, carbs: {{from: 1, to: {carbs}}}, barrels_per_carb: {{from: 1, to: 2}}}}
{here}facts:
  meter: instruments.flow_meter
  stem: {{is: bank.stem, choices: [coarse, fine]}}
cautions:
  fumes: {{word: danger, text: Fumes kill., demanded_by: ["engine: running"]}}
settings:
  apart: {{value: 1 L/min, range: [0, 4], source: common practice}}
  by_stem: {{by: stem, coarse: 2 L/min, fine: 3 L/min, range: [0, 9], source: common practice}}
parameters:
  least: {{unit: L/min, range: [0, 10], default: 3}}
  mode: {{choices: [short, long], default: short}}
screws:
  needle: {{each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 4], when: meter}}
  by: {{each: barrel, acts: water, at: bypass, in: less water, unit: turn, zero: seated, range: [0, 4]}}
  link: {{each: gap, acts: water, at: lever, in: less water, unit: turn, zero: seated, range: [0, 4]}}
  knob: {{each: bank, acts: water, at: stop, in: less water, unit: turn, zero: seated, range: [0, 4]}}
readings:
  flow: {{ask: Flow, {carb}unit: L/min, range: [0, 10], step: 0.5}}
  x: {{ask: X, unit: L/min, range: [0, 10], step: 1}}
  sound: {{ask: Sound, choices: [steady, rough, silent], healthy: steady}}
  drips: {{ask: Drips, choices: ['no', 'yes'], healthy: 'no', may_lack: true}}
  draw: {{ask: Draw, {carb}unit: L/min, range: [0, 10], step: 1, may_lack: true}}
  play: {{ask: Play, {gap}unit: L/min, range: [0, 10], step: 1}}
  co: {{ask: CO, unit: L/min, range: [0, 10], step: 1, over_range: true}}
  row: {{ask: Row, {barrel}unit: L/min, range: [0, 10], step: 1, over_range: true, may_lack: true}}
  turns: {{ask: Turns, {carb}unit: turn, range: [0, 4], position_of: needle, may_lack: true}}
  speed: {{ask: Speed, quantity: engine speed, unit: rpm, range: [0, 5000]}}
  gap_: {{ask: Clearance, quantity: valve clearance, choices: [right, wrong]}}
values:
  gap: {gap_is}
"""
#: Guards over single values and rows, for a file along the bank.
ATOMS = (
    "gap > apart",
    "gap <= apart",
    "any(flow < 3)",
    "all(flow >= 3)",
    "x > 4",
    "x <= 4",
    "x == 7",
    "x < by_stem",
    "sound == 'rough'",
    "sound != 'silent'",
    "meter",
    "not meter",
    "stem == 'fine'",
    "drips == 'yes'",
    "drips == 'no'",
    "kept > 3 L/min",
    "kept <= 3 L/min",
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
    "known(play)",
    "known(co) and co > 5",
    "co <= 5",
    "over(co)",
    "over(row)",
    "known(row)",
    "any(row >= 10)",
    "max(mean(row, per: carb)) > 5",
    "done_it",
    "not done_it",
    "was == 'rough'",
    "was != 'silent'",
    "least > 3",
    "least <= x",
    "mode == 'short'",
    "known(needle)",
    "any(position(needle) > 1 turn)",
    "all(position(needle) <= 1 turn)",
    "known(knob) and position(knob) > 1 turn",
    "position(knob) <= 1 turn",
    "max(position(link)) > 1 turn",
    "known(link)",
    "any(turns - position(needle) != 0)",
    "next.verdict == 'turn'",
    "next.verdict != 'turn'",
    "speed > 900",
)
#: What of them has another form in a file that works at one place.
ALONE = {
    "any(flow < 3)": "flow < 3",
    "all(flow >= 3)": "flow >= 3",
    "max(flow) > 2 * apart": "flow > 2 * apart",
    "mean(flow) > 5": "flow > 5",
    "count(flow > 5) >= 2": "flow > 8",
    "min(flow) < x": "flow < x",
    "any(draw > 5)": "draw > 5",
    "count(draw <= 5) >= 1": "draw <= 5",
    "max(draw) - max(draw) < 1": "draw - draw < 1",
    "any(play > 5)": "play > 5",
    "max(play) <= 5": "play <= 5",
    "count(play > 2) == 0": "not (play > 2)",
    "any(row >= 10)": "row >= 10",
    "max(mean(row, per: carb)) > 5": "row > 5",
    "any(position(needle) > 1 turn)": "position(needle) > 1 turn",
    "all(position(needle) <= 1 turn)": "position(needle) <= 1 turn",
    "any(turns - position(needle) != 0)": "turns - position(needle) != 0",
}
#: A file that mostly asks nothing: how long it goes round in itself, and when it asks after all.
QUIET = """\
procedure: quiet
title: Quiet
revision: 1
for: {{family: any, carbs: {{from: 1, to: 3}}, barrels_per_carb: {{from: 1, to: 2}}}}
facts:
  meter: instruments.flow_meter
  stem: {{is: bank.stem, choices: [coarse, fine]}}
readings:
  x: {{ask: X, unit: L/min, range: [0, 10], step: 1}}
gives: {{it: meter, far: 1 L/min}}
start: s0
steps:
  s0: {{title: Pass, read: [{read}], go: s1}}
  s1:
    limit: {{visits: {visits}, then: {then}}}
    branch:
      - {{when: {when}, go: {back}}}
      - {{otherwise: done}}
  done: {{end: ok, say: Done.}}
  bad: {{end: failed, say: Bad.}}
"""
GIVEN = ("it.it", "not it.it", "it.far > 4", "known(it.far)", "it.far <= 4")
GIVEN_ROW = (
    "known(along.far)",
    "any(along.far > 4)",
    "all(along.far <= 4)",
    "max(along.far) > 2",
    "count(along.far > 4) >= 1",
)
#: What names a reading, and how a step may take it.
NAMES = ("flow", "sound", "drips", "draw", "play", "co", "row", "turns", "x")
READS = (
    *NAMES,
    "{x: meter}",
    "{flow: stem == 'fine'}",
    "{reading: sound, when: not meter}",
    "{reading: co, may_lack: true}",
    "{reading: play, when: known(draw)}",
)
MOVES = (
    "{screw: needle, each: carb, by: 1/8 turn, direction: in}",
    "{screw: needle, each: carb, to: 2 turn, when: known(needle)}",
    "{screw: knob, by: 1/8 turn, direction: out, when: meter}",
    "{screw: by, each: barrel, to: seated}",
    "{screw: link, each: gap, to: 1 turn}",
)
MOVES_ALONE = tuple(
    m.replace("each: carb, ", "").replace("each: barrel, ", "").replace("each: gap, ", "") for m in MOVES
)
ADVISE = "{name: next, adviser: idle_speed, with: {speed: speed, screw: SCREW, speed_tolerance: 30 rpm}}"
SPEED_SCREW = """\
  idle: {each: carb, acts: air, at: plate, in: more air, unit: turn, zero: first contact, range: [-3, 5]}
"""


def guard(r, atoms):
    """A random guard over a few names."""
    parts = [r.choice(atoms) for _ in range(r.choice((1, 1, 1, 2)))]
    text = r.choice((" and ", " or ")).join(parts)
    return f"not ({text})" if r.random() < 0.15 else text


def quiet(r):
    """A file that passes by itself, where the job is such."""
    return QUIET.format(
        read=r.choice(("{x: meter}", "{x: stem == 'fine'}", "{x: meter and stem == 'fine'}")),
        visits=r.choice((1, 3, 40, 40)),
        then=r.choice(("done", "bad")),
        when=r.choice(("meter", "not meter", "stem == 'fine'", "stem == 'coarse'")),
        back=r.choice(("s0", "s1", "bad")),
    )


class File:
    """One random file, mostly near to being sound: ways lead on more often than back."""

    def __init__(self, r, name, callees=(), per=None, here=""):
        self.r, self.name, self.callees, self.per, self.here = r, name, callees, per, here
        self.names = [f"s{i}" for i in range(r.randint(2, 5))]
        self.whole = r.random() < 0.9
        self.engine = r.random() < 0.3
        self.advised = not here and self.engine and r.random() < 0.7
        self.calls = bool(callees) and r.random() < 0.4
        self.calls_along = bool(per) and r.random() < 0.4
        self.spins = bool(callees) and r.random() < 0.25
        self.everywhere = [n for n in NAMES if self.whole or n == "sound" or r.random() < 0.8]
        gone = {"speed > 900"} if not self.engine else set()
        if not self.advised:
            gone |= {"next.verdict == 'turn'", "next.verdict != 'turn'"}
        self.atoms = [ALONE.get(a, a) if here else a for a in ATOMS if a not in gone]
        if here == "barrel":
            self.atoms = [a for a in self.atoms if "per: carb" not in a]

    def ahead(self, i):
        r, names = self.r, self.names
        if self.spins and r.random() < 0.2:
            return "q0"
        return r.choice((*names[i + 1 :], "done", "bad") if r.random() < 0.9 else names[1:] or names)

    def text(self):
        """The whole file."""
        return "".join(self.lines())

    def lines(self):
        here = self.here
        each = ("", "", "") if here else ("each: carb, ", "each: gap, ", "each: barrel, ")
        head = HEAD.format(
            name=self.name,
            carbs=3,
            here=f"here: {here}\n" if here else "",
            carb=each[0],
            gap=each[1],
            barrel=each[2],
            gap_is="abs(flow - draw)" if here else "spread(flow)",
        )
        if here == "barrel":
            head = head.replace(", position_of: needle", "")
        yield head.replace("readings:\n", SPEED_SCREW + "readings:\n", 1)
        symptoms = list(self.symptoms())
        if symptoms:
            yield "symptoms:\n" + "".join(symptoms)
        self.symptom_names = [s.strip().partition(":")[0] for s in symptoms]
        yield "gives: {it: done_it, far: kept}\n"
        yield 'start: begin\nsteps:\n  begin:\n    keep: {done_it: "False", kept: apart}\n    go: before\n'
        after = "along_it" if self.calls_along else "s0"
        if self.calls:
            yield f"  before:\n    call: {self.callees[0]}\n    as: it\n    ends: {{done: {after}, bad: {after}}}\n"
        else:
            yield f"  before:\n    go: {after}\n"
        if self.calls_along:
            yield f"  along_it:\n    call: one\n    each: {self.per[0]}\n    as: along\n"
            yield "    ends: {done: next, bad: next}\n    go: s0\n"
        for i, step in enumerate(self.names):
            yield from self.step(i, step)
        if self.spins:
            yield from self.spin()
        yield "  done: {end: ok, say: Done.}\n  bad: {end: failed, say: Bad.}\n"

    def spin(self):
        """A loop that asks nothing, or only in the file that it calls."""
        r = self.r
        then, visits = r.choice(("done", "bad")), r.choice((1, 2, 30, 300))
        inner = "call: quiet, ends: {done: q1, bad: q1}" if r.random() < 0.7 else "go: q1"
        yield f"  q0: {{limit: {{visits: {visits}, then: {then}}}, {inner}}}\n"
        when = r.choice(("meter", "not meter", "done_it"))
        yield f"  q1: {{branch: [{{when: {when}, go: q0}}, {{otherwise: {then}}}]}}\n"

    def symptoms(self):
        r = self.r
        for symptom, kind in (("stall", "stall"), ("hiss", "leak")):
            if r.random() < 0.1:
                yield f"  {symptom}: {{kind: {kind}, ask: It is so}}\n"  # left to those that call
            elif r.random() < 0.5:
                way = f"go: {r.choice((self.names[-1], 'bad'))}"
                if self.callees and r.random() < 0.6:
                    limit = ", limit: {visits: 2, then: bad}" if r.random() < 0.8 else ""
                    back = r.choice(("back", "back", "bad", self.names[-1]))
                    way = f"call: {r.choice(self.callees)}, ends: {{done: {back}, bad: bad}}{limit}"
                yield f"  {symptom}: {{kind: {kind}, ask: It is so, {way}}}\n"

    def step(self, i, step):
        r = self.r
        first = i == 0
        told = first or r.random() < 0.75
        yield f"  {step}:\n" + ("    do: Look.\n" if told else "    title: Pass\n")
        if r.random() < 0.6 and i:
            then = r.choice((*self.names[i + 1 :], "bad", "bad"))
            yield f"    limit: {{visits: {r.randint(1, 3)}, then: {then}}}\n"
        if self.engine and (first or r.random() < 0.3):
            yield f"    state: {{engine: {'running' if first else r.choice(('running', 'stopped'))}}}\n"
        reads = list(self.everywhere) if first else [x for x in READS if r.random() < 0.15]
        reads += ["speed"] if self.engine and (first or r.random() < 0.1) else []
        reads += ["gap_"] if self.engine and not first and r.random() < 0.1 else []
        seen = {}
        for x in reads:
            seen.setdefault(
                next((n for n in (*NAMES, "speed", "gap_") if x == n or f"{n}:" in x or f": {n}," in x), x), x
            )
        listed = [n for n in ("sound", "drips") if seen.get(n) == n and r.random() < 0.3]
        taken = [x for n, x in seen.items() if n not in listed]
        if taken:
            yield f"    read: [{', '.join(taken)}]\n"
        if listed:
            yield f"    checklist: [{', '.join(listed)}]\n"
        if first and self.symptom_names and self.whole:
            yield "    symptoms: {" + ", ".join(f"{s}: bad" for s in self.symptom_names) + "}\n"
        if not first and r.random() < 0.3:
            moves = r.sample(MOVES_ALONE if self.here else MOVES, r.choice((1, 1, 2)))
            if len({m.partition(",")[0] for m in moves}) == len(moves):
                yield f"    moves: [{', '.join(moves)}]\n"
        yield from self.kept(i)
        if self.advised and first:
            yield f"    advise: {ADVISE.replace('SCREW', 'idle')}\n"
        elif self.advised and r.random() < 0.2:
            yield "    make: next\n"
        if r.random() < 0.25:
            severity = r.choice(("note", "adjust", "stop", "stop"))
            yield (
                f"    findings:\n      - {{code: {r.choice(('f-one', 'f-two'))}, severity: {severity}, say: So., "
                f'do: Mend it., when: "{guard(r, self.atoms)}"}}\n'
            )
        yield from self.way(i)

    def kept(self, i):
        r = self.r
        if i == 0 or r.random() < 0.2 or i == len(self.names) - 1:
            flag = r.choice(('"True"', '"False"'))
            word = ", was: sound" if "sound" in self.everywhere else ""
            most = (
                ("x", "gap", "apart", "co")
                if self.here
                else ("x", "gap", "apart", "max(flow)", "max(play)", "co", "max(row)")
            )
            kept = r.choice(most if self.whole else ("apart", "least"))
            yield f"    keep: {{kept: {kept}, done_it: {flag}{word}}}\n"
        elif r.random() < 0.3:
            yield f"    keep: {{done_it: {r.choice(('meter', chr(34) + 'True' + chr(34)))}}}\n"

    def way(self, i):
        r = self.r
        kind = r.random()
        if kind < 0.2:
            yield f"    go: {self.ahead(i)}\n"
            return
        if kind < 0.35 and self.callees:
            handed = r.choice(("", "    with: {least: apart}\n", "    with: {mode: \"'long'\", least: x}\n"))
            name = r.choice(("", "    as: it\n"))
            yield f"    call: {r.choice(self.callees) if not name else self.callees[0]}\n{handed}{name}"
            yield f"    ends: {{done: {self.ahead(i)}, bad: {self.ahead(i)}}}\n"
            return
        if kind < 0.5 and self.per and not self.here:
            order = r.choice(("", f"    order: worst\n    by: {'flow' if self.per[0] == 'carb' else 'row'}\n"))
            yield f"    call: {self.per[1]}\n    each: {self.per[0]}\n    as: along\n{order}"
            yield f"    ends: {{done: next, bad: {r.choice(('next', self.ahead(i)))}}}\n    go: {self.ahead(i)}\n"
            return
        atoms = [*self.atoms]
        atoms += GIVEN * 3 if self.calls else ()
        atoms += GIVEN_ROW * 3 if self.calls_along else ()
        guards = [guard(r, atoms) for _ in range(r.randint(1, 3))]
        branches = [f'when: "{g}", go: {self.ahead(i)}' for g in guards]
        if r.random() < 0.2:
            branches[0] += ", finding: {code: g-one, severity: stop, say: So., do: Mend it.}"
        yield "    branch:\n" + "".join(f"      - {{{b}}}\n" for b in branches)
        if r.random() < 0.84:
            yield f"      - {{otherwise: {self.ahead(i)}}}\n"
        elif r.random() < 0.7:
            yield f'      - {{when: "not ({" or ".join(f"({g})" for g in guards)})", go: {self.ahead(i)}}}\n'


#: More answers than a run of such a small program can take, its limits being what they are.
MOST = 20_000
#: Errors that harm no run: a step that can't be reached, a dead branch, a figure of before.
HARMLESS = {
    "unreachable-step",
    "never-true",
    "shadowed-branch",
    "kept-for-nothing",
    "stale-reading",
    "stale-advice",
    "advice-not-made",
    "made-twice",
    "not-at-idle",
    "mixed-hold",
    "missing-caution",
    "ok-over-stop",
}


#: Each proof by the errors that it raises.
PROOFS = {
    "it ends": {"endless-loop", "endless-symptom", "limit-in-loop", "no-way-to-end"},
    "it asks": {"silent-loop", "passes-unseen"},
    "every answer leads on": {"uncovered-reading"},
    "what is used is known": {"used-before-read", "may-be-missing"},
    "every symptom leads on": {"symptom-leads-nowhere"},
    "the engine stands so": {"read-while-stopped", "read-while-running", "unknown-state"},
}
#: A program that this proof alone refuses, and whose walks meet the harm.
NOTICED = {
    "it ends": 9,
    "it asks": 647,
    "every answer leads on": 31,
    "what is used is known": 66,
    "every symptom leads on": 35,
    "the engine stands so": 36,
}
#: Of so many programs it is looked whether the walks meet harm where one proof alone refuses them.
REFUSED = 1500


def program(r):
    """The texts of a random program, and what the checks say of it: (texts, loaded program or None, problems, names
    that its walks ask for and nobody had given)."""
    place = r.choice(("carb", "barrel"))
    texts = {"one": File(r, "one", here=place).text(), "inner": File(r, "inner").text(), "quiet": quiet(r)}
    per = (place, "one") if r.random() < 0.7 else None
    texts["middle"] = File(r, "middle", ("inner",), per).text()
    texts["outer"] = File(r, "outer", ("middle", "inner"), per).text()
    with telling() as missing:
        loaded = load_texts(texts, "outer", ADVISERS)
    problems = list(loaded.problems)
    if loaded.program is not None:
        problems += check(loaded.program, ADVISERS)
    return texts, loaded.program, problems, missing


def errors_of(problems):
    """The codes of the errors that make a run unsound."""
    return {p.code for p in problems if p.severity == "error"} - HARMLESS


def harm(found, missing, walks=20):
    """What walks of a program meet that no sound one does: the first fault, or nothing. The later ones give a step the
    answer that it got before, which is how one goes round for ever."""
    missing.clear()
    for seed in range(walks):
        hostile, stubborn = (0.1, 1.0, 0.5, 0.3)[seed % 4], float(seed >= 8)
        try:
            walk(random.Random(seed), found, ADVISERS, MOST, hostile=hostile, stubborn=stubborn)
        except Exception as fault:
            return f"walk {seed}: {type(fault).__name__}: {fault}"
        if missing:
            return f"walk {seed}: {missing[0]} was used, and nobody had given it"
    return ""


def judge(n):
    """The program of a number: whether it is called sound, the proof that alone refuses it (else ""), and the harm that
    its walks meet; they are looked for where it is sound, and in the first programs where one proof refuses it."""
    texts, found, problems, missing = program(random.Random(f"program {n}"))
    errors = errors_of(problems)
    proof = next((p for p, codes in PROOFS.items() if errors and errors <= codes), "")
    met = harm(found, missing) if found is not None and (not errors or (proof and n < REFUSED)) else ""
    whole = "\n".join(f"# file: {name}.yaml\n{text}" for name, text in texts.items())
    return not errors, proof, f"program {n}, {met}" + (f"\n{whole}" if not errors else "") if met else ""


def main(count: int, processes: int | None = None) -> int:
    """Walk `count` programs; the number of those that were called sound and were not, and of proofs whose absence the
    walks would not notice."""
    with Pool(processes) as pool:
        found = list(pool.imap_unordered(judge, range(count), chunksize=10))
    wrong = [met for sound, _, met in found if sound and met]
    print(*wrong, sep="\n")
    print(f"{count} programs, {sum(sound for sound, _, _ in found)} called sound, {len(wrong)} of them wrongly")
    idle = 0
    for proof in PROOFS:
        mine = [met for _, p, met in found if p == proof]
        idle += not any(mine)
        print(f"{proof}: {len(mine)} programs refused by it alone, harm met in {sum(map(bool, mine))}")
    return len(wrong) + idle


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[1:]]
    sys.exit(bool(main(numbers[0] if numbers else 5000, numbers[1] if len(numbers) > 1 else None)))
