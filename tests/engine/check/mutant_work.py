"""Operators on the work that a file asks for: freshness, moves, figures, words; each a small slip of the hand."""

from __future__ import annotations

import re
from collections.abc import Callable

from mutant_operators import LOOPS, WAYS, Made, anywhere
from mutant_text import Text

from engine.procedure.source.tree import Map

Change = Callable[[re.Match[str]], str]


def each_match(t: Text, pattern: str, change: str | Change) -> list[tuple[int, str]]:
    """The file with each match of a pattern changed by itself, and the line it stands on."""
    found = []
    for match in re.finditer(pattern, t.text, re.MULTILINE):
        new = match.expand(change) if isinstance(change, str) else change(match)
        text = t.text[: match.start()] + new + t.text[match.end() :]
        found.append((t.text.count("\n", 0, match.start()) + 1, text))
    return found


def unread(t: Text, steps: Map) -> Made:
    """What a turn changes is not read again after it."""
    for name, step in steps.items():
        if "make" in step and "read" in step:
            span = step.key_span("read")
            line = t.text.split("\n")[span.line - 1]
            if line.strip().startswith("read: [") and line.rstrip().endswith("]"):
                right = anywhere("stale-reading", "used-before-read", *WAYS)
                yield "unread", span.line, t.text.replace(line + "\n", "\n", 1), right, False, str(name)


def unmade(t: Text, steps: Map) -> Made:
    """An advice that says turn, and whose moves no step asks for."""
    for line, text in each_match(t, r"^ +make: .*$", ""):
        right = anywhere("advice-not-made", "unknown-advice", "stale-reading", "silent-loop", *WAYS)
        yield "unmade", line, text, right, False, ""


def held(t: Text, steps: Map) -> Made:
    """A row that is taken while the engine is held."""
    for line, text in each_match(t, r"hold: none", "hold: 1500 rpm"):
        yield (
            "held",
            line,
            text,
            anywhere("not-at-idle", "mixed-hold", "held-while-stopped", "speed-while-held", "stale-reading", *WAYS),
            False,
            "",
        )


def kept_slips(t: Text, steps: Map) -> Made:
    """A kept value misspelt where it is kept, and one that is kept the other way round."""
    for line, text in each_match(t, r"(keep: \{\w+)(\w: )", lambda m: m.group(1) + m.group(2)[1:]):
        right = anywhere("kept-for-nothing", "unknown-name", "unknown-choice", "used-before-read", *WAYS)
        yield "misspell kept", line, text, right, False, ""


def flats(t: Text, steps: Map) -> Made:
    """A move said in flats for a screw that turns, or in turns for a nut."""
    other = {"turn": "flat", "flat": "turn"}
    for line, text in each_match(t, r"(\b(?:by|to): [\d/ ]+ )(turn|flat)", lambda m: m.group(1) + other[m.group(2)]):
        yield "other unit", line, text, anywhere("turned-in-other-unit", "finer-than-step", "out-of-range"), True, ""


def finer(t: Text, steps: Map) -> Made:
    """A move finer than the screw is counted."""
    for line, text in each_match(t, r"(by: )[\d/ ]+( turn)", r"\g<1>1/1000\2"):
        yield "finer", line, text, anywhere("finer-than-step", "out-of-range"), True, ""


def doubled(t: Text, steps: Map) -> Made:
    """The same move written twice."""
    for line, text in each_match(t, r"^( +- \{screw: .*\}\n)", r"\1\1"):
        yield "move twice", line, text, anywhere("screw-twice"), True, ""


def turned_round(t: Text, steps: Map) -> Made:
    """The healthy answer upside down; where its ends are expressions, perhaps not for every shop."""
    for line, text in each_match(t, r"healthy: \{from: ([^,}]+), to: ([^,}]+)\}", r"healthy: {from: \2, to: \1}"):
        plain = re.search(r"from: -?[\d.]+[^,]*, to: -?[\d.]", text.split("\n")[line - 1]) is not None
        yield "upside down", line, text, anywhere("upside-down"), plain, ""


def for_ever(t: Text, steps: Map) -> Made:
    """An average over days, and a symptom's call without its limit."""
    for line, text in each_match(t, r"average: [\w ]+", "average: 9999 min"):
        yield "for ever", line, text, anywhere("unlikely-time"), True, ""
    for line, text in each_match(t, r"(kind: .*call: .*), limit: \{visits: \d+, then: \w+\}", r"\1"):
        yield "for ever", line, text, anywhere(*LOOPS, *WAYS), "back" in text.split("\n")[line - 1], "no limit"


def misworded(t: Text, steps: Map) -> Made:
    """A word of a state, and a quantity, with a letter left out."""
    for line, text in each_match(t, r"engine: runn?ing(?=[,}])", "engine: runing"):
        yield "misword", line, text, anywhere("unknown-choice", "unknown-word"), True, "state"
    for line, text in each_match(t, r"quantity: (\w)\w(\w+)", r"quantity: \1\2"):
        yield "misword", line, text, anywhere("unknown-quantity", "unknown-word"), True, "quantity"


def said_otherwise(t: Text, steps: Map) -> Made:
    """A screw that does the same both ways, a seat misspelt, a place of no screw, a healthy answer moved down."""
    for line, text in each_match(t, r"(in: )(\w+ \w+)(,? ?\n? *out: )(\w+ \w+)", r"\1\4\3\4"):
        yield "both ways", line, text, anywhere("same-effect", "upside-down"), True, ""
    for line, text in each_match(t, r"zero: seated", "zero: seatd"):
        yield "misword", line, text, anywhere("unknown-word"), True, "zero"
    for line, text in each_match(t, r"^ +position_of: \w+\n|, position_of: \w+", ""):
        yield "untold", line, text, anywhere("position-untold", "unused-name", "may-be-missing", *WAYS), False, ""
    first_two = r"choices: \[([^,\]']+), ([^,\]']+)(.*\n? *healthy: \1(?=[,}\n]))"
    for line, text in each_match(t, first_two, r"choices: [\2, \1\3"):
        yield "moved down", line, text, anywhere("healthy-not-first"), True, ""


def must_be_taken(t: Text, steps: Map) -> Made:
    """A reading that may lack places made one that may not: who asks whether it is known asks for nothing."""
    for line, text in each_match(t, r"^ +may_lack: true\n|, may_lack: true", ""):
        yield "drop may_lack", line, text, anywhere("idle-part", "never-true", *WAYS), False, ""


def too_mild(t: Text, steps: Map) -> Made:
    """A danger said more mildly than it is."""
    for line, text in each_match(
        t, r"word: danger(.*\n?.*\n? *demanded_by: \[(fuel|road load|\"engine: running\")\])", r"word: notice\1"
    ):
        yield "too mild", line, text, anywhere("mild-caution", "missing-caution"), True, ""


WORK = (
    said_otherwise,
    too_mild,
    must_be_taken,
    unread,
    unmade,
    held,
    kept_slips,
    flats,
    finer,
    doubled,
    turned_round,
    for_ever,
    misworded,
)
