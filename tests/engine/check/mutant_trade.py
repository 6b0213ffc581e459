"""Operators on what a file means to say: guards turned round, ways and ends exchanged, what is handed over, whom it is
for, what is asked of whom; each a slip that somebody could make, and none that only a program would.

Each says of itself whether it always has to be caught. What is not caught is another procedure, and keeps every
promise: which of two ways was meant, nobody can prove.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from mutant_operators import Made, Operator, Right
from mutant_text import Text
from mutant_work import each_match

from engine.procedure.source.problems import Problem
from engine.procedure.source.tree import Map

Change = str | Callable[[re.Match[str]], str]


def _told(problem: Problem) -> bool:
    """Anything at all that is said of the file and was not before."""
    return bool(problem.code)


def slip(name: str, pattern: str, change: Change, strict: bool = False, right: Right = _told) -> Operator:
    """An operator that changes each match of a pattern by itself."""

    def made(t: Text, steps: Map) -> Made:
        for line, text in each_match(t, pattern, change):
            yield name, line, text, right, strict, ""

    made.__name__ = name.replace(" ", "_").replace(":", "")
    return made


def _swapped(match: re.Match[str]) -> str:
    a, between, b = match.group("a", "between", "b")
    return match.group("head") + b + between + a


def _without(match: re.Match[str]) -> str:
    return match.group(1)


#: What somebody may take for what.
_OTHER = {
    a: b
    for pair in (
        ("fuel", "hot"),
        ("speed_screw", "mixture_screw"),
        ("carb", "barrel"),
        ("air", "mixture"),
        ("more air", "less air"),
        ("leaner", "richer"),
        ("seated", "first contact"),
        ("idle_speed", "air_balance"),
    )
    for a, b in (pair, pair[::-1])
}
_WORD = r"[a-z]\w*"
TRADE: tuple[Operator, ...] = (
    # guards
    slip("negate", r"when: ([^,}'\"\n]+)(?=[,}\n])", r"when: not (\1)"),
    slip("drop a term", r"(when: [^,}\n]*?) and [^,}\n]+?(?= and|[,}\n])", r"\1"),
    slip("drop the first term", r"(when: )[^,}\n']+? and ", r"\1"),
    slip("and for or", r"(when: [^,}\n]*?) or ", r"\1 and "),
    slip("or for and", r"(when: [^,}\n]*?) and ", r"\1 or "),
    slip("any for all", r"\b(any|all)\(", lambda m: "all(" if m.group(1) == "any" else "any("),
    slip("max for min", r"\b(min|max)\(", lambda m: "max(" if m.group(1) == "min" else "min("),
    slip("turn a comparison", r" ([<>])(=?) ", lambda m: f" {'>' if m.group(1) == '<' else '<'}{m.group(2)} "),
    slip("with or without equal", r" ([<>])(=?) (?=[\w.])", lambda m: f" {m.group(1)}{'' if m.group(2) else '='} "),
    slip("same for not same", r" (==|!=) ", lambda m: " != " if m.group(1) == "==" else " == "),
    slip("one equals sign", r"(when: [^=\n}]*)==", r"\1=", True),
    slip("misspell a choice", r"(== '')(\w+)('')", r"\1\2z\3", True),
    slip("misspell a choice", r"(?<!')(== ')(\w[\w ]*)(')(?!')", r"\1\2z\3", True),
    slip("unquote a choice", r"(?<!')== '(\w+)'(?!')", r"== \1", True),
    slip("known for unknown", r"\bnot known\(", "known("),
    # ways
    slip(
        "swap two ends", rf"(?P<head>ends: \{{{_WORD}: )(?P<a>{_WORD})(?P<between>, {_WORD}: )(?P<b>{_WORD})", _swapped
    ),
    slip("swap two branches", r"^( +- \{when: .*\}\n)( +- \{when: .*\}\n)", r"\2\1"),
    slip("ok for failed", r"end: (ok|failed)", lambda m: "end: failed" if m.group(1) == "ok" else "end: ok"),
    slip("misspell an outcome", r"end: ok", "end: okay", True),
    slip("one visit", r"visits: \d+", "visits: 1"),
    slip("many visits", r"visits: \d+", "visits: 1000"),
    slip("no visits", r"visits: \d+", "visits: 0", True),
    slip("drop an otherwise", r"^ +- \{otherwise: \w+.*\}\n", ""),
    slip("else for otherwise", r"- \{otherwise: ", "- {else: ", True),
    slip("drop a symptom's way", r"^(    symptoms: \{.*\})\n", ""),
    slip("symptom to no symptom", r"^(    symptoms: \{)(\w+)(?=:)", r"\1\2z", True),
    slip("call another file", r"\bcall: [\w-]+", "call: no-such-file", True),
    slip("drop each", r"^    each: (carb|barrel)\n(?=.*\n?.*ends:)", "", True),
    slip(
        "each for each",
        r"^( +each: )(carb|barrel)\n",
        lambda m: m.group(1) + {"carb": "barrel\n", "barrel": "carb\n"}[m.group(2)],
    ),
    slip("drop as", r"^ +as: \w+\n", ""),
    slip("misspell as", r"^( +as: \w+)\n", r"\1z\n"),
    # what is handed over and given back
    slip("drop with", r"^ +with: \{.*\}\n", ""),
    slip("misspell what is handed", r"(\bwith: \{\w+)(: )", r"\1z\2", True),
    slip("hand a number without unit", r"(\bwith: \{\w+: )[\d./ ]+ [a-zA-Z%/]+(?=[,}])", r"\g<1>'nothing'", True),
    slip("misspell an adviser", r"(adviser: )(\w)(\w+)", r"\1\3", True),
    slip(
        "swap two inputs",
        rf"(?P<head>with: \{{{_WORD}: )(?P<a>{_WORD})(?P<between>, {_WORD}: )(?P<b>{_WORD})(?=[,}}])",
        _swapped,
    ),
    slip("drop an input", r"(with: \{)\w+: [^,}]+, ", r"\1"),
    slip("misspell what is given", r"^(gives: ?\{?\n? *)(\w+)(?=:)", r"\1\2z"),
    # whom it is for
    slip("for one more", r"^(for: .*carbs: \{from: \d+, to: )(\d+)", lambda m: f"{m.group(1)}{int(m.group(2)) + 1}"),
    slip("for twelve", r"^(for: .*carbs: )(\{[^}]*\}|\d+)", r"\1{from: 1, to: 12}"),
    slip("upside down for", r"^(for: .*\{from: )(\d+), to: (\d+)", r"\1\g<3>9, to: \2", True),
    slip("no family", r"^(for: \{family: )(\[[^\]]*\]|[^,]+)", r"\1no such family"),
    slip("here gone", r"^here: .*\n", "", True),
    slip("kit gone", r"^(uses: \[)[\w-]+(?:, )?", r"\1"),
    slip("misspell a kit", r"^(uses: \[[\w-]+)", r"\1z", True),
    # how things stand
    slip("drop a state", r"^ +state: \{.*\}\n", ""),
    slip(
        "stopped for running",
        r"engine: (running|stopped)",
        lambda m: f"engine: {'stopped' if m.group(1) == 'running' else 'running'}",
    ),
    slip("hold not let go", r", hold: none", ""),
    slip("misspell a state", r"(state: \{\w+)(?=:)", r"\1z", True),
    slip("misspell a hazard", r"(hazards: \[\w+)", r"\1z", True),
    slip("drop hazards", r"^ +hazards: \[.*\]\n", ""),
    slip("misspell a phase", r"(phase: \w+)$", r"\1z", True),
    # screws
    slip("other way", r"direction: (in|out)", lambda m: f"direction: {'out' if m.group(1) == 'in' else 'in'}"),
    slip("no way", r", direction: (in|out)", "", True),
    slip("far too far", r"(by: )[\d/ ]+( turn)", r"\g<1>90\2", True),
    slip("screw of no name", r"(\{screw: \w+)", r"\1z", True),
    slip("moves never made", r"^ +moves: \[.*\]\n", ""),
    slip("negative amount", r"(by: )(\d)", r"\1-\2", True),
    # readings
    slip("read twice", r"(read: \[)(\w+)(?=[,\]])", r"\1\2, \2", True),
    slip("read only where never", r"(read: \[)(\w+)(?=[,\]])", r"\1{\2: 'False'}"),
    slip("upside down range", r"(range: \[)(-?[\d./]+), (-?[\d./]+)\]", r"\1\3, \2]", True),
    slip("another unit of the kind", r"unit: mm(?=[,}\n])", "unit: m"),
    slip("unit of another kind", r"unit: (mm|rpm|kg/h|bar|%|degC|V)(?=[,}\n])", "unit: deg"),
    slip("unit of no kind", r"(unit: [a-zA-Z/%]+)(?=[,}\n])", r"\1q", True),
    slip("may lack after all", r"(\{ask: [^}]*)\}$", r"\1, may_lack: true}"),
    slip("no scale's end", r", over_range: true", ""),
    slip("another quantity", r"quantity: [a-z ]+(?=[,}\n])", "quantity: battery voltage"),
    slip("quantity of nobody", r"(quantity: [a-z ]+)(?=[,}\n])", r"\1s", True),
    slip("healthy of no choice", r"(healthy: )([a-z]+)(?=[,}\n])", r"\1\2z", True),
    slip("one choice", r"choices: \[([^,\]]+), [^\]]*\]", r"choices: [\1]"),
    slip("same choice twice", r"choices: \[([^,\]]+), ", r"choices: [\1, \1, ", True),
    slip("position of no screw", r"(position_of: \w+)", r"\1z", True),
    # settings
    slip("value out of its range", r"(value: )[\d./ ]+( [a-zA-Z%/]+, range: )", r"\g<1>99999\2", True),
    slip("no source", r"^(  \w+: +\{(?:value|by): .*), source: [^}]+\}$", r"\1}", True),
    slip("no unit", r"(\{value: [\d./]+) [a-zA-Z%/]+(?=, range)", r"\1"),
    # findings and ends
    slip("misspell a severity", r"severity: (adjust|stop|note|change part)", "severity: grave", True),
    slip("milder", r"severity: (stop|change part)", "severity: note"),
    slip("clear another", r"(clear: \[[\w-]+)(?=[,\]])", r"\1z"),
    slip("word of no weight", r"word: (danger|warning|caution|notice)", "word: mind", True),
    slip("demanded by nothing", r"(demanded_by: \[\"?[\w: ]+)(?=\"?[,\]])", r"\1z", True),
    slip("name of nothing in a text", r"\{(\w+):(\w+)\}", r"{\1z:\2}", True),
    slip("show in another unit", r"\{(\w+):(rpm|mm|kg/h|bar|degC|turn|%)\}", r"{\1:hour}", True),
    slip("kept the other way", r"\"(True|False)\"", lambda m: '"False"' if m.group(1) == "True" else '"True"'),
    slip("not kept", r"^ +keep: \{.*\}\n", ""),
    slip(
        "recorded otherwise",
        r"record: as (found|left)",
        lambda m: f"record: as {'left' if m.group(1) == 'found' else 'found'}",
    ),
    slip("not recorded", r"^ +record: as (found|left)\n", ""),
    slip("for ever", r"(at_most: )\d+ min", r"\g<1>9999 h"),
    slip("average of nothing", r"average: [\w ]+", "average: 0 s", True),
    # times, speeds, places
    slip("wait in another kind", r"(wait: \{(?:for|until: [^,]+, at_most): \d+) (s|min)", r"\1 rpm", True),
    slip(
        "minutes for seconds",
        r"(wait: \{(?:for|until: [^,]+, at_most): \d+) (s|min)",
        lambda m: f"{m.group(1)} {'min' if m.group(2) == 's' else 's'}",
    ),
    slip("wait without end", r", at_most: \d+ min", ""),
    slip("hold what nobody holds", r"hold: (\d+) rpm", "hold: 15 rpm", True),
    slip("hold in another kind", r"hold: (\d+) rpm", r"hold: \1 mm", True),
    slip("hold more", r"hold: (\d+) rpm", lambda m: f"hold: {int(m.group(1)) * 2} rpm"),
    slip("another hazard", r"hazards: \[(fuel|hot)(?=[,\]])", lambda m: f"hazards: [{_OTHER[m.group(1)]}"),
    slip("another screw", r"\{screw: (speed_screw|mixture_screw)", lambda m: "{screw: " + _OTHER[m.group(1)]),
    slip("move elsewhere", r"(\{screw: \w+, each: )(carb|barrel)", lambda m: m.group(1) + _OTHER[m.group(2)]),
    slip("acts on the other", r"acts: (air|mixture)", lambda m: "acts: " + _OTHER[m.group(1)]),
    slip("works the other way", r"in: (more air|leaner|less air|richer)", lambda m: "in: " + _OTHER[m.group(1)]),
    slip("counted from elsewhere", r"zero: (seated|first contact)", lambda m: "zero: " + _OTHER[m.group(1)]),
    slip("place of another screw", r"position_of: \w+", "position_of: speed_screw"),
    slip("needs nothing", r"^needs: .*\n", ""),
    slip("read in another order", r"(read: \[)(\w+), (\w+)", r"\1\3, \2"),
    slip("low for high", r"low: (\w+), high: (\w+)", r"low: \2, high: \1", True),
    slip("another adviser", r"adviser: (idle_speed|air_balance)", lambda m: "adviser: " + _OTHER[m.group(1)], True),
    slip("make another", r"make: \w+", "make: nobody_said", True),
    slip("spent to the end", r"(limit: \{visits: \d+, then: )(\w+)", r"\1done"),
    slip("graver", r"severity: (note|adjust)", "severity: stop"),
    slip("a range too short", r"(range: \[-?[\d.]+, )(\d+)", lambda m: m.group(1) + str(max(1, int(m.group(2)) // 10))),
    slip("a step too wide", r"^( +step: )([\d./]+)", r"\g<1>1000"),
    slip("a caution without a word", r"text: [^,}\n]+", "text: ''", True),
    slip("no start", r"^start: \w+\n", "", True),
    # YAML
    slip("no space", r"((?:^ +(?:- )?\{?|\{|, )(?:when|go|otherwise|do)): (?=[a-z])", r"\1:", True),
    slip("a key twice", r"^(    do: .*\n)", r"\1\1", True),
    slip("a tab", r"^    (?=do:)", "\t", True),
    slip("a bracket too few", r"^( +- \{when: .*)\}$", r"\1", True),
    slip("a quote too few", r"^( +do: '.*)'$", r"\1", True),
    slip("misspell a key", r"^    (do|read|branch|state|moves|make|limit|call|ends):", r"    \1s:", True),
)
