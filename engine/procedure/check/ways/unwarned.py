"""That a danger which stands is said in every file that somebody works in meanwhile, whoever brought it about: a
caller, a called file, the file itself; it follows no path of its own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways.edges import leading, waits
from engine.procedure.check.ways.flow import ENTRY, Found, Summary, anywhere_in, followed_from, standing
from engine.procedure.check.ways.hazards import WHY
from engine.procedure.program import Call, Procedure
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import Span
from engine.vocabulary.vocabulary import SHIPPED

#: How a key of the state may stand, and where it was seen: value -> (step, span).
Stands = dict[str, tuple[str, Span]]


@dataclass(frozen=True, slots=True)
class Works:
    """How things may stand where somebody works in a file: `at` by key at its steps, `below` by called file and key."""

    at: dict[str, Stands] = field(default_factory=dict)
    below: dict[str, dict[str, Stands]] = field(default_factory=dict)


def works_in(study: Study, found: Found, called: Mapping[str, Summary]) -> Works:
    """What stands at the steps of a file that ask, and where it calls others. `called` has their summaries."""
    works = Works()
    keys = {k for file in study.program.files.values() for s in file.steps.values() for k in s.state}
    for name, step in study.procedure.steps.items():
        here = found.here[name]
        if not here.reach:
            continue
        stands = standing(here, step)
        anywhere = anywhere_in(study, stands, followed_from(study, step), called)
        for key in sorted(keys):
            if not step.silent:
                for value in stands.get(key, {ENTRY: here.reach}):
                    works.at.setdefault(key, {}).setdefault(value, (name, step.span))
            if isinstance(step.way, Call):
                _below(works, step.way.file, key, stands.get(key), (name, step.way.span))
            for led in leading(study, step).values() if waits(step) else ():
                if isinstance(led, Call):
                    _below(works, led.file, key, anywhere.get(key), (name, led.span))
    return works


def _below(works: Works, file: str, key: str, values: Mapping[str, int] | None, where: tuple[str, Span]) -> None:
    into = works.below.setdefault(file, {}).setdefault(key, {})
    for value in values or (ENTRY,):
        into.setdefault(value, where)


def problems(files: Mapping[str, Procedure], works: Mapping[str, Works], order: list[str]) -> Iterator[Problem]:
    """Dangers that stand in a file without its saying so. `order` has each file after those that it calls."""
    dangerous = dict(_dangerous(files))
    entered: dict[str, dict[str, dict[str, str]]] = {name: {} for name in files}
    for name in reversed(order):
        file, entry = files[name], entered[name]
        for inner, keys in works[name].below.items():
            for key, values in keys.items():
                for value, (step, _) in values.items():
                    told = entry.get(key, {}) if value == ENTRY else {value: f"'{step}' of '{name}'"}
                    for stood, where in told.items():
                        entered.setdefault(inner, {}).setdefault(key, {}).setdefault(stood, where)
        yield from _unsaid(file, works[name], entry, dangerous)


def _dangerous(files: Mapping[str, Procedure]) -> Iterator[tuple[str, str]]:
    """The states in which somebody may come to grief, each with what it means: those of the vocabulary, and those that
    a file declares and gives a danger to."""
    for file in files.values():
        yield from file.vocabulary.dangerous_states.items()
        states = file.vocabulary.states
        own = {f"{k}: {v}" for k, s in states.items() for v in s.choices if k not in SHIPPED.states}
        for caution in file.cautions.values():
            for state in caution.demanded_by if caution.word == "danger" else ():
                if " ".join(state.split()) in own:
                    yield " ".join(state.split()), f"`{caution.text}`"


def _unsaid(
    file: Procedure, works: Works, entry: Mapping[str, Mapping[str, str]], dangerous: Mapping[str, str]
) -> Iterator[Problem]:
    grave = {" ".join(d.split()) for c in file.cautions.values() if c.word == "danger" for d in c.demanded_by}
    for state, means in dangerous.items():
        key, _, value = state.partition(": ")
        own = any(step.state.get(key) == value for step in file.steps.values())
        if state in grave or (own and state in file.vocabulary.dangerous_states):
            continue
        stands = works.at.get(key, {})
        who = "it" if own else "a file that it calls"
        where = stands.get(value)
        if where is None and ENTRY in stands and value in entry.get(key, {}):
            where, who = stands[ENTRY], entry[key][value]
        if where is None:
            continue
        yield Problem(
            "missing-caution",
            file.source.path,
            where[1],
            f"At '{where[0]}' `{state}` may stand, as {who} leaves it, and no danger among the cautions of this file "
            "is demanded by that.",
            f"It means {means}. {WHY}",
            f'Add a caution with `word: danger` and `demanded_by: ["{state}"]`, or take it from a kit.',
        )
