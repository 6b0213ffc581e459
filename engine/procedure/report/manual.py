"""`evendraw words`: the words of a procedure file, each with one line and an example; it checks no file.

The keys come from the models that the schema is made of, states, quantities, hazards and families from the vocabulary,
the functions from the table beside them: what is taught here is what the checker knows.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from engine.procedure.language.functions import TAUGHT
from engine.procedure.model import declares, file, steps
from engine.procedure.model.base import Part
from engine.procedure.report.rendering import WIDTH
from engine.procedure.source.problems import did_you_mean
from engine.vocabulary.phases import PHASES
from engine.vocabulary.vocabulary import SHIPPED

#: The kinds of words, in the order in which they are printed, with their headings.
KINDS = {
    "key": "Keys, by what they stand in",
    "function": "Functions of guards",
    "state": "States",
    "quantity": "Quantities",
    "hazard": "Hazards",
    "family": "Families",
    "phase": "Phases of the work",
}
_SHOWN = re.compile(r"`([^`]+)`")
#: Examples of the keys whose page shows none, or shows something else; a test holds each against its key's model.
EXAMPLES = {
    "about": "how near is near enough",
    "adviser": "air_balance",
    "advise.name": "next",
    "advise.with": "{flow: airflow, screw: speed_screw, tolerance: 5 %}",
    "ask": "Flow at the valve",
    "barrel": "2",
    "barrels_per_carb": "2",
    "branch": "[{when: gap < 1, go: done}, {otherwise: turn}]",
    "by": "stem",
    "move.by": "1/4 turn",
    "step.by": "abs(gap)",
    "call": "bleed-line",
    "carb": "1",
    "caution": "Stop at the end of the thread.",
    "cautions": "{scald: {word: warning, text: The outlet scalds.}}",
    "step.cautions": "[scald]",
    "checklist": "[drips, strainer]",
    "choices": "[steady, silent]",
    "clear": "[gland-drips]",
    "declares": "{states: {pump: [running, stopped]}}",
    "default": "coarse",
    "demanded_by": "['pump: running', scald]",
    "do": "Close both valves.",
    "each": "carb",
    "end": "ok",
    "ends": "{mended: measure, worn: worn}",
    "symptom.ends": "{noted: back}",
    "exclusive": "true",
    "facts": "{has_meter: instruments.flow_meter}",
    "finding": "{code: gland-drips, severity: adjust, say: The gland drips.}",
    "findings": "[{code: gland-drips, severity: adjust, say: The gland drips.}]",
    "from": "1",
    "gives": "{left_at: flow}",
    "go": "done",
    "hear": "The hiss stops.",
    "here": "carb",
    "how": "Cup square to the outlet, read mid-swing.",
    "give.is": "max(flow)",
    "kit": "valves",
    "limit": "{visits: 10, then: worn}",
    "make": "next",
    "move.screw": "spindle",
    "needs": "[flow meter, 10 mm spanner]",
    "note": "The far valve settles last.",
    "on_stop": "{say: No water., do: Open the main cock.}",
    "order": "worst",
    "otherwise": "turn",
    "out": "more water",
    "over_range": "true",
    "parameters": "{least: {unit: L/min, range: [0, 20]}}",
    "part": "washer",
    "position_of": "spindle",
    "procedure": "two-valves",
    "reading": "flow",
    "readings": "{flow: {ask: Flow, unit: L/min, range: [0, 20]}}",
    "revision": "1",
    "safety": "true",
    "say": "Even.",
    "screws": "{s1: {each: carb, acts: water, at: plate, in: less water, unit: turn, zero: seated, range: [0, 8]}}",
    "declares.screws": "{needle: {out: richer, start: 1, rest: [1, 2], doubt: [0, 3], source: common practice}}",
    "read.may_lack": "true",
    "tools": "[propane]",
    "new quantity.needs": "{engine: running}",
    "hazard": "fuel",
    "screw kind.out": "richer",
    "screw kind.start": "1.5 turn",
    "doubt": "[0.5, 3]",
    "dangers": "{running: a moving belt}",
    "quantity": "airflow",
    "families": "{twin valve header: Two valves on one header.}",
    "settings": "{target: {value: 6 L/min, range: [2, 20], source: common practice}}",
    "severity": "adjust",
    "size": "12",
    "source": "common practice",
    "start": "measure",
    "states": "{pump: [running, stopped]}",
    "step": "0.5",
    "steps": "{measure: {do: Read both., go: done}, done: {end: ok, say: Done.}}",
    "step.symptoms": "{hammer: bleed}",
    "symptoms": "{hammer: {kind: hunting, ask: The pipe hammers, go: bleed}}",
    "take": "3",
    "text": "The outlet scalds. Gloves on.",
    "then": "worn",
    "title": "Balance two valves",
    "to": "4",
    "move.to": "2 turn",
    "unit": "L/min",
    "screw.unit": "turn",
    "uses": "[dangers, symptoms]",
    "values": "{gap: spread(flow)}",
    "visits": "10",
    "when": "has_meter",
    "branch.when": "gap > 0.5 L/min",
    "why": "The header fills.",
    "with": "{target: 6 L/min}",
    "word": "warning",
    "words": "{stand: on its stand}",
    "yes_no": "true",
    "range": "[0, 20]",
    "as": "valve",
}


@dataclass(frozen=True, slots=True)
class Word:
    """One word: what kind of word it is, where it stands ("step" for a key of a step), one line, an example."""

    kind: str
    name: str
    within: str
    line: str
    example: str


@cache
def words() -> tuple[Word, ...]:
    """Every word of the language and the vocabulary."""
    return tuple([*_keys(), *_functions(), *_vocabulary()])


def parts() -> dict[str, type[Part]]:
    """The mappings of a file by what a technician calls them: `step`, `reading`."""
    rooms = {**vars(steps), **vars(declares), **vars(file)}
    found = [p for p in rooms.values() if isinstance(p, type) and issubclass(p, Part) and p is not Part]
    return {re.sub(r"(?<!^)(?=[A-Z])", " ", p.__name__.removesuffix("Part")).lower(): p for p in found}


def _keys() -> Iterator[Word]:
    for within, part in sorted(parts().items(), key=lambda p: p[0]):
        for name, field in part.model_fields.items():
            key = field.alias or name
            about = field.description or ""
            yield Word("key", key, within, _first(about), _example(within, key, about))


def _first(text: str) -> str:
    """The first sentence of a text."""
    return re.split(r"(?<=[.`\")]) (?=[A-Z`])", text, maxsplit=1)[0]


def _example(within: str, key: str, about: str) -> str:
    """What stands under a key: as the table says, else as the page of the key shows it."""
    own = EXAMPLES.get(f"{within}.{key}") or EXAMPLES.get(key)
    return f"{key}: {own or next(iter(_SHOWN.findall(about)), '')}"


def _functions() -> Iterator[Word]:
    for name, (line, example) in TAUGHT.items():
        yield Word("function", name, "", line, example)


def _vocabulary() -> Iterator[Word]:
    for state in SHIPPED.states.values():
        said = f"{state.about} {', '.join(state.choices)}{f', or a number of {state.unit}' if state.unit else ''}."
        word = f"1800 {state.unit}" if state.unit else state.choices[0]
        quoted = f"'{word}'" if word in ("on", "off") else word
        yield Word("state", state.name, "", said.strip(), f"state: {{{state.name}: {quoted}}}")
    for q in SHIPPED.quantities.values():
        facts = [f"in {q.unit}" if q.unit else "a plain number" if q.low is not None else "choices of the file's own"]
        facts += [f"with {q.needs[0]}: {q.needs[1]}"] if q.needs else []
        facts += [f"hazard {q.hazard}"] if q.hazard else []
        yield Word("quantity", q.name, "", f"{q.about} {'; '.join(facts).capitalize()}.".strip(), f"quantity: {q.name}")
    for hazard in SHIPPED.hazards.values():
        tools = f" Comes with: {', '.join(hazard.tools)}." if hazard.tools else ""
        yield Word("hazard", hazard.name, "", f"{hazard.about}{tools}".strip(), f"hazards: [{hazard.name}]")
    for family in SHIPPED.families.values():
        yield Word("family", family.name, "", family.about, f"for: {{family: {family.name}, carbs: 2}}")
    for phase, about in PHASES.items():
        yield Word("phase", phase, "", f"{about[0].upper()}{about[1:]}.", f"phase: {phase}")


def run_words(name: str | None) -> tuple[str, int]:
    """The text of `evendraw words` and its exit code: all words, those of one kind, one word; 2 for an unknown one."""
    every = words()
    if name is None:
        return _listed(every), 0
    plain = " ".join(name.split())
    kind = next((k for k in KINDS if plain in (k, f"{k}s") or (k.endswith("y") and plain == f"{k[:-1]}ies")), None)
    found = [w for w in every if w.kind == kind or w.name == plain or w.within == plain]
    if not found:
        known = [*KINDS, *(w.name for w in every), *parts()]
        return f"There is no word '{plain[:60]}'. {did_you_mean(plain, known)}".strip() + "\n", 2
    return _listed(found), 0


def _listed(found: Any) -> str:
    lines: list[str] = []
    for kind, heading in KINDS.items():
        mine = [w for w in found if w.kind == kind]
        if mine:
            lines += [*([""] if lines else []), heading]
        within = None
        for word in mine:
            if word.within != within:
                within = word.within
                lines += ["", f" of a {within}:"]
            lines.append(f"  {word.name}")
            lines += textwrap.wrap(word.line, WIDTH, initial_indent="    ", subsequent_indent="    ")
            lines += textwrap.wrap(word.example, WIDTH, initial_indent="      ", subsequent_indent="        ")
    return "\n".join(lines) + "\n"
