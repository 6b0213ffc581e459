"""Whatever stands in a file, load and check answer with problems in words: no traceback, no hang, nothing run.

A thousand files: random bytes, mutated bytes and lines of real files, expressions of any signs, structures of any
shape, and the classics. Each may take two seconds of processor time; nothing in any of them may start a program, open
a socket or write a file.
"""

import os
import random
import signal
import sys
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import pytest

from engine.carburation.registry import shipped
from engine.procedure.report.checking import FORMATS, check_file, run_check
from engine.procedure.source.problems import Problem

ROOT = Path(__file__).parents[3]
SMALL = sorted((ROOT / "procedures").glob("*.yaml"), key=lambda p: p.stat().st_size)[:8]
SEEDS = [p.read_text(encoding="utf-8") for p in SMALL] + [
    (ROOT / "tests/engine/conformance/balance_two_valves.yaml").read_text(encoding="utf-8")
]
ADVISERS = shipped()
#: Processor seconds that one file may take.
LIMIT = 2

#: What a file must never make the program do.
WATCHED = {"os.system", "subprocess.Popen", "socket.connect", "os.exec", "os.posix_spawn", "os.remove", "os.rename"}
_watched: list[str] = []
_watching = False


def _audit(event, arguments):
    if not _watching:
        return
    if event in WATCHED:
        _watched.append(event)
    if event == "open" and isinstance(arguments[1], str) and set(arguments[1]) & set("wax+"):
        _watched.append(f"open {arguments[0]} {arguments[1]}")


sys.addaudithook(_audit)


@contextmanager
def watched():
    """Nothing run, nothing written, no more than `LIMIT` seconds of processor time, where the system counts them."""
    global _watching

    def over(*_):
        raise AssertionError(f"more than {LIMIT} s of processor time")

    timer = getattr(signal, "setitimer", None)
    if timer:
        signal.signal(signal.SIGVTALRM, over)
        timer(signal.ITIMER_VIRTUAL, LIMIT)
    _watched.clear()
    _watching = True
    try:
        yield
    finally:
        _watching = False
        if timer:
            timer(signal.ITIMER_VIRTUAL, 0)
    assert not _watched


def answered(path):
    """The problems of a file; every one of them a sentence at a place."""
    with watched():
        problems = check_file(path, [], ADVISERS).problems
    for p in problems:
        assert isinstance(p, Problem) and p.message and p.code and p.span.line >= 1 and p.span.column >= 1
        assert "Traceback" not in p.message and "object at 0x" not in p.message
    return problems


def put(tmp_path, data):
    path = tmp_path / "fuzzed.yaml"
    path.write_bytes(data if isinstance(data, bytes) else data.encode("utf-8", "surrogatepass"))
    return path


# ---- a thousand files


def random_bytes(r):
    return bytes(r.randrange(256) for _ in range(r.choice((0, 1, 3, 40, 400))))


SIGNS = (b"{", b"}", b"[", b"]", b":", b"#", b"'", b'"', b"&a ", b"*a", b"!!x ", b"\t", b"\n", b"- ")


def mutated_bytes(r):
    data = bytearray(r.choice(SEEDS).encode())
    for _ in range(r.randint(1, 8)):
        at = r.randrange(len(data))
        kind = r.randrange(4)
        if kind == 0:
            data[at] = r.randrange(256)
        elif kind == 1:
            del data[at : at + r.randint(1, 60)]
        elif kind == 2:
            data[at:at] = r.choice(SIGNS)
        else:
            data[at:at] = data[at : at + r.randint(1, 200)]
    return bytes(data)


def mutated_lines(r):
    lines = r.choice(SEEDS).split("\n")
    for _ in range(r.randint(1, 6)):
        at = r.randrange(len(lines))
        kind = r.randrange(5)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, r.choice(lines))
        elif kind == 2:
            lines[at] = "  " + lines[at]
        elif kind == 3:
            lines[at] = lines[at].lstrip()
        else:
            other = r.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
    return "\n".join(lines)


NASTY = (
    "",
    "null",
    "~",
    "{}",
    "[]",
    "[[[]]]",
    "{a: {b: c}}",
    "-1",
    "1e999",
    "9" * 400,
    "0x10",
    ".inf",
    ".nan",
    "1/0",
    "true",
    "'",
    "yes",
    "back",
    "next",
    "here",
    "{here}",
    "{x",
    "x}",
    "{{}}",
    "{__class__}",
    "any",
    "\\u0000",
    "*",
    "&a x",
    "..",
    "!!python/object/apply:os.system [id]",
    "\u202e",
    "😀",
    "a" * 3000,
    "1 2 3",
    "../../etc",
    "con",
    "().__class__",
    "open('x','w')",
    "__import__('os').system('id')",
    "lambda: 0",
    "x if y else z",
    "1 turn turn",
)


def mutated_values(r):
    lines = r.choice(SEEDS).split("\n")
    for _ in range(r.randint(1, 5)):
        at = r.randrange(len(lines))
        key, colon, rest = lines[at].partition(": ")
        if colon:
            kind = r.randrange(3)
            value = r.choice(NASTY)
            lines[at] = (
                f"{key}: {value}"
                if kind == 0
                else f"{key}: {value}{rest}"
                if kind == 1
                else f"{key.replace(key.strip(), value or 'x')}: {rest}"
            )
    return "\n".join(lines)


SPOKEN = """
flow x sound gap any all count which min max mean spread abs position known ( ) ( ) < <= == != > and or not + - * / 1 0
2.5 1/4 turn L/min % rpm 'steady' 'rough' True , : per carb . spindle meter ** if [ ] \\ é apart 0.1 1e9 "
"""
WORDS = tuple(SPOKEN.split())
GATE = """\
procedure: fuzzed
title: Fuzzed
revision: 1
for: {family: any, carbs: {from: 1, to: 4}}
facts: {meter: instruments.meter}
settings: {apart: {value: 1 L/min, range: [0, 2], source: common practice}}
screws: {spindle: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 8]}}
readings:
  flow: {ask: F, each: carb, unit: L/min, range: [0, 20]}
  x: {ask: X, unit: L/min, range: [0, 10], may_lack: true}
  sound: {ask: S, choices: [steady, rough]}
values: {gap: spread(flow)}
start: gate
steps:
  gate:
    do: Read.
    read: [flow, x, sound]
    branch:
      - {when: GUARD, go: done}
      - {when: GUARD, go: gate}
      - {otherwise: done}
  done: {end: ok, say: Done.}
"""


def guards(r):
    def guard():
        kind = r.random()
        if kind < 0.15:
            text = " ".join(r.choice(WORDS) for _ in range(r.randint(1, 14)))
        else:
            text = expression(r, 0) if kind < 0.3 else truth(r, r.randint(0, 4))
        return '"' + text.replace("\\", "\\\\").replace('"', "'") + '"'

    text = GATE
    while "GUARD" in text:
        text = text.replace("GUARD", guard(), 1)
    return text


def expression(r, depth):
    """An expression that is mostly well formed, of any kind."""
    kind = r.randrange(9 if depth < 5 else 3)
    if kind == 0:
        return r.choice(("flow", "x", "gap", "apart", "meter", "position(spindle)", "sound"))
    if kind == 1:
        return r.choice(("1", "0.5", "3 L/min", "1/4 turn", "5 %", "'steady'", "True", "0"))
    if kind == 2:
        return f"{r.choice(('any', 'all', 'known', 'abs'))}({expression(r, depth + 1)})" if depth < 6 else "x > 1"
    if kind == 3:
        return f"{r.choice(('min', 'max', 'mean', 'spread', 'count'))}({expression(r, depth + 1)})"
    if kind == 4:
        return f"not ({expression(r, depth + 1)})"
    op = r.choice((" and ", " or ", " < ", " <= ", " > ", " == ", " != ", " + ", " - ", " * ", " / "))
    return f"({expression(r, depth + 1)}{op}{expression(r, depth + 1)})"


def truth(r, depth):
    """A guard that is well formed."""
    if depth and r.random() < 0.8:
        word = r.choice((" and ", " or "))
        text = word.join(truth(r, depth - 1) for _ in range(r.randint(1, 3)))
        return f"not ({text})" if r.random() < 0.3 else f"({text})"
    op = r.choice(("<", "<=", ">", ">=", "==", "!="))
    return r.choice(
        (
            f"{number(r, 2)} {op} {number(r, 1)}",
            f"{r.choice(('any', 'all'))}({row(r)} {op} {number(r, 1)})",
            f"count({row(r)} {op} {number(r, 0)}) {op} {r.randint(0, 5)}",
            "sound != 'rough'",
            "sound == 'rough'",
            "meter",
            "known(x)",
            "known(position(spindle))",
            "known(flow)",
            f"any(position(spindle) {op} {r.randint(0, 9)} turn)",
        )
    )


def number(r, depth):
    """A number in L/min that is well formed."""
    if depth and r.random() < 0.4:
        return f"({number(r, depth - 1)} {r.choice('+-')} {number(r, depth - 1)})"
    return r.choice(
        (
            "x",
            "gap",
            "apart",
            f"{r.choice(('min', 'max', 'mean', 'spread'))}({row(r)})",
            f"{r.randint(0, 25)} L/min",
            f"{r.randint(0, 9)} * apart",
            "50 % * gap",
            "abs(x - apart)",
            "x / 3",
            "2.5 L/min",
        )
    )


def row(r):
    """A row in L/min that is well formed."""
    return r.choice(
        ("flow", "flow", "flow - x", "2 * flow", "abs(flow - mean(flow))", "flow - mean(flow)", "0 L/min - flow")
    )


LANGUAGE = """
procedure title revision for start steps readings branch when go limit visits then call ends do read each unit range
choices symptoms facts settings by values screws state x gate done end otherwise with keep advise findings
"""
KEYS = tuple(LANGUAGE.split())


def structure(r, depth=0):
    """YAML of any shape whose keys are often the language's own."""
    kind = r.randrange(4) if depth < 5 else 3
    if kind < 2:
        items = [f"{r.choice(KEYS)}: {structure(r, depth + 1)}" for _ in range(r.randint(0, 6 if depth == 0 else 3))]
        return "{" + ", ".join(items) + "}" if depth else "\n".join(items) + "\n"
    if kind == 2:
        return "[" + ", ".join(structure(r, depth + 1) for _ in range(r.randint(0, 3))) + "]"
    return r.choice(("x", "gate", "done", "1", "ok", "'y'", "flow > 1", "[0, 5]", "2 turn", "any", "running", "{}"))


KINDS = {random_bytes: 120, mutated_bytes: 250, mutated_lines: 160, mutated_values: 160, guards: 200, structure: 110}


@pytest.mark.parametrize("make", KINDS, ids=lambda f: f.__name__)
def test_fuzzed_files_get_answers(tmp_path, make):
    r = random.Random(make.__name__)
    for _ in range(KINDS[make]):
        answered(put(tmp_path, make(r)))


# ---- the classics


LETTERS = "abcdefghijklmnopq"
BOMB = "a: &a [x, x]\n" + "".join(f"{c}: &{c} [*{p}, *{p}]\n" for p, c in pairwise(LETTERS))
NINES = "9" * 5000
SOUND = GATE.replace("GUARD", "meter")


def guarded(text):
    """A file with this for its guards."""
    return GATE.replace("GUARD", f'"{text}"')


CLASSICS = {
    "nothing": b"",
    "a comment": b"# nothing\n",
    "only ---": b"---\n",
    "a scalar": b"hello",
    "a list": b"- a\n- b\n",
    "a null": b"~",
    "a NUL": b"title: a\x00b",
    "a bomb of aliases": BOMB,
    "deep lists": "title: " + "[" * 5000 + "]" * 5000,
    "deep mappings": "title: " + "{a: " * 3000 + "x" + "}" * 3000,
    "deep guards": guarded("(" * 140 + "x" + ")" * 140),
    "many nots": guarded("not " * 70 + "meter"),
    "a huge number": SOUND.replace("[0, 20]", f"[0, {NINES}]"),
    "a huge exponent": SOUND.replace("[0, 20]", "[0, 1e999999999]"),
    "a huge limit": SOUND.replace("    do: Read.", f"    limit: {{visits: {NINES}, then: done}}"),
    "UTF-16": "title: x".encode("utf-16"),
    "UTF-32": "title: x".encode("utf-32"),
    "Latin-1": "title: Düse".encode("latin-1"),
    "a BOM": b"\xef\xbb\xbf" + SOUND.encode(),
    "CRLF": SOUND.replace("\n", "\r\n"),
    "lone surrogates": b"title: \xed\xa0\x80",
    "overlong UTF-8": b"title: \xc0\xaf",
    "tabs": "steps:\n\tgate:\n\t\tdo: x\n",
    "a tag that runs": "title: !!python/object/apply:os.system ['touch ran']\n",
    "merge keys": "<<: {a: b}\ntitle: x\n",
    "directives": "%YAML 1.1\n---\ntitle: x\n",
    "ten megabytes": b"# " + b"x" * 10_000_000,
    "ten megabytes of brackets": b"[" * 10_000_000,
    "a quarter megabyte of keys": "".join(f"k{i}: v\n" for i in range(30_000)),
    "long lines": "title: " + "x " * 100_000,
    "many steps": SOUND + "".join(f"  s{i}: {{do: x, go: s{i + 1}}}\n" for i in range(3000)),
}


@pytest.mark.parametrize("name", CLASSICS)
def test_the_classics_get_answers(tmp_path, name):
    problems = answered(put(tmp_path, CLASSICS[name]))
    assert problems
    assert not (tmp_path / "ran").exists() and not Path("ran").exists()


def test_what_is_no_file_gets_an_answer(tmp_path):
    assert [p.code for p in answered(tmp_path)] == ["not-a-file"]
    assert [p.code for p in answered(tmp_path / "none.yaml")] == ["not-a-file"]
    for odd in ("", "\0", "x" * 5000, "a/\0b.yaml", "name-of-nothing"):
        assert answered(odd)
    for device in ("/dev/zero", "/dev/stdin", "/dev/full"):
        if Path(device).exists():
            assert [p.code for p in answered(Path(device))] == ["not-a-file"]
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.yaml")
        assert [p.code for p in answered(tmp_path / "pipe.yaml")] == ["not-a-file"]
    if hasattr(os, "symlink") and os.name == "posix":
        (tmp_path / "a.yaml").symlink_to(tmp_path / "b.yaml")
        (tmp_path / "b.yaml").symlink_to(tmp_path / "a.yaml")
        assert answered(tmp_path / "a.yaml")


def test_files_that_call_each_other_get_an_answer(tmp_path):
    text = (
        "procedure: {0}\ntitle: X\nrevision: 1\nfor: {{family: any, carbs: 2}}\nstart: s\nsteps:\n"
        "  s: {{call: {1}, ends: {{e: e}}}}\n  e: {{end: ok, say: Done.}}\n"
    )
    for a, b in (("one", "two"), ("two", "three"), ("three", "one"), ("self", "self")):
        (tmp_path / f"{a}.yaml").write_text(text.format(a, b), encoding="utf-8")
    assert "call-cycle" in [p.code for p in answered(tmp_path / "one.yaml")]
    assert "call-cycle" in [p.code for p in answered(tmp_path / "self.yaml")]
    for i in range(120):
        (tmp_path / f"c{i}.yaml").write_text(text.format(f"c{i}", f"c{i + 1}"), encoding="utf-8")
    assert answered(tmp_path / "c0.yaml")


@pytest.mark.parametrize("format", FORMATS)
def test_every_format_can_show_any_problem(tmp_path, format):
    r = random.Random(format)
    for make in (mutated_bytes, mutated_lines, mutated_values, guards):
        for _ in range(6):
            path = put(tmp_path, make(r))
            text, code = run_check([path], [], ADVISERS, format)
            assert text.encode("utf-8") and code in (0, 1)
