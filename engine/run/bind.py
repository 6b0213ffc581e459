"""What a run is bound to at its start: facts of the job, settings with where each came from; it refuses in
sentences.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any, NamedTuple

from engine.job.model import Job
from engine.procedure.build.facts import value_of
from engine.procedure.given import given, in_words
from engine.procedure.pairs import pairs
from engine.procedure.program import Fact, Layout, Procedure, Program, Setting
from engine.procedure.source.problems import did_you_mean
from engine.quantity.units import from_base


class NotForThisJob(ValueError):
    """The procedure can't be run on this job; the message says why and what to do, in sentences."""


class InForce(NamedTuple):
    """A setting as it stands in a run: its value in base units and who gave it."""

    value: Fraction
    origin: str


#: file -> setting -> value and origin.
Settings = Mapping[str, Mapping[str, InForce]]


def fits(layout: Layout, job: Job, title: str) -> None:
    """Refuse a job whose bank this file is not for."""
    bank = job.bank
    if layout.families and "any" not in layout.families and bank.family not in layout.families:
        raise NotForThisJob(
            f"'{title}' is for {' or '.join(layout.families)}, but the job's bank is "
            f"'{bank.family}'. Choose another procedure, or correct bank.family in the job."
        )
    for name, (low, high), count in (
        ("carbs", layout.carbs, bank.carbs),
        ("barrels_per_carb", layout.barrels_per_carb, bank.barrels_per_carb),
    ):
        if not low <= count <= high:
            wanted = str(low) if low == high else f"{low} to {high}"
            raise NotForThisJob(f"'{title}' is for {wanted} {name.replace('_', ' ')}, but the job has {count}.")


def complete(main: Procedure) -> None:
    """Refuse a file that only another can start: nobody else says what its parameters are."""
    lacking = [n for n, p in main.parameters.items() if p.default is None]
    if lacking:
        raise NotForThisJob(
            f"'{main.title}' is a part of other procedures: they tell it {', '.join(lacking)}. Start one that calls it."
        )


def engine_said(program: Program, job: Job) -> None:
    """Refuse a job without its engine where an adviser would reckon with it, or its cylinders are read."""
    if job.has_engine:
        return
    for file in program.files.values():
        rows = any(r.type.each == "cylinder" for r in file.readings.values())
        if rows or any(step.advise for step in file.steps.values()):
            raise NotForThisJob(
                f"The job does not say its engine, which '{file.title}' reckons with. Add the section `engine` to it."
            )


def facts(procedure: Procedure, job: Job, judged: bool = True) -> dict[str, Any]:
    """Every fact of a file as this job gives it: a bool, a choice, or a number in base units. A run's own job is not
    `judged` again.
    """
    return {name: _fact(fact, job, judged) for name, fact in procedure.facts.items()}


def _fact(fact: Fact, job: Job, judged: bool) -> Any:
    try:
        value = value_of(fact, job, judged)
    except ValueError as fault:
        raise NotForThisJob(str(fault)) from None
    if value is None:
        known = f" ({', '.join(fact.type.choices)})" if fact.type.choices else ""
        raise NotForThisJob(f"The job does not say {fact.path}{known}, which this procedure needs. Add it to the job.")
    return value


def _span(kind: Any, unit: str) -> str:
    low, high = (None if v is None else f"{float(from_base(v, unit)):g}" for v in (kind.low, kind.high))
    return f"{low or 'no limit'} to {high or 'no limit'} {unit}".strip()


def settings(program: Program, known: Mapping[str, Mapping[str, Any]], shop: Mapping[str, Any], job: Job) -> Settings:
    """The settings in force for every file: the file's own, then the shop's, then the job's, each within its range.

    `known` are the facts by file, for tables. A key is a setting's name, or `file.name` for one file only.
    """
    names = [n for p in program.files.values() for n in p.settings] + [
        f"{p.name}.{n}" for p in program.files.values() for n in p.settings
    ]
    for key in job.settings:
        if key not in names:
            raise NotForThisJob(
                f"The job sets '{key}', but no file of '{program.main}' has such a setting. "
                f"{did_you_mean(key, names)}".strip()
            )
    layers = (("shop", shop), ("job", job.settings))
    in_force = {
        p.name: {n: _in_force(p, s, known[p.name], layers) for n, s in p.settings.items()}
        for p in program.files.values()
    }
    for procedure in program.files.values():
        _in_order(procedure, in_force[procedure.name])
    return in_force


def _in_order(procedure: Procedure, in_force: Mapping[str, InForce]) -> None:
    """Refuse a pair of settings whose lesser one is above its greater: nothing would lie between them."""
    for low, high in pairs(procedure):
        a, b = in_force[low.name], in_force[high.name]
        if a.value > b.value:
            given, other = (low, high) if a.origin != "file" else (high, low)
            origin = in_force[given.name].origin
            shown = {s.name: in_words(in_force[s.name].value, s) for s in (low, high)}
            raise NotForThisJob(
                f"The {origin}'s setting '{given.name}: {shown[given.name]}' does not go with '{other.name}: "
                f"{shown[other.name]}': {low.name} must not be above {high.name}. Correct one of them."
            )


def _in_force(
    procedure: Procedure, setting: Setting, known: Mapping[str, Any], layers: Iterable[tuple[str, Mapping[str, Any]]]
) -> InForce:
    found = InForce(_own(setting, known), "file")
    for origin, layer in layers:
        for key in (setting.name, f"{procedure.name}.{setting.name}"):
            if key in layer:
                found = InForce(_given(setting, layer[key], origin, key), origin)
    return found


def _own(setting: Setting, known: Mapping[str, Any]) -> Fraction:
    if setting.by is None:
        assert setting.value is not None
        return setting.value
    choice = known[setting.by]
    if isinstance(choice, bool):
        choice = "holds" if choice else "holds_not"
    if choice not in setting.table:
        raise NotForThisJob(
            f"The setting '{setting.name}' has no value for {choice}; it has for {', '.join(setting.table)}. Add it to "
            "the file."
        )
    return setting.table[choice]


def _given(setting: Setting, value: Any, origin: str, key: str) -> Fraction:
    try:
        return given(setting, value)
    except ValueError as fault:
        raise NotForThisJob(f"The {origin}'s setting '{key}: {value}' {fault}") from None


def parts_of(job: Job) -> dict[tuple[str, int, int], Fraction]:
    """The sizes that the job gives for its bank, by part, carb and barrel: every field that is a size or a row of
    them.
    """
    found: dict[tuple[str, int, int], Fraction] = {}
    per = job.bank.barrels_per_carb
    for name in type(job.bank).model_fields:
        row = getattr(job.bank, name)
        if isinstance(row, tuple) and row and all(isinstance(v, Fraction) for v in row):
            for index in range(job.bank.barrels):
                size = row[index] if len(row) > 1 else row[0]
                found[name.replace("_", " "), index // per + 1, index % per + 1] = size
    return found
