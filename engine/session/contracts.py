"""The contracts that advisers had when a run was started, as data of its first event and back; it asks no adviser.

A run's texts were written against those contracts, so they are read with them for as long as the run is kept, whatever
the advisers have become since. Runs of before contracts were recorded had those of `contracts_before.json`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

from engine.book import codec
from engine.contract import Adviser, Input, Output, Registry
from engine.evidence import Evidence, Inputs
from engine.job.model import Job
from engine.judgement import Judged
from engine.procedure.language.expr import Type
from engine.procedure.program import Program

Json = dict[str, Any]


def recorded(program: Program, advisers: Registry) -> Json:
    """What the first event keeps of the contracts of the advisers that a program asks, by name."""
    asked = {a.adviser for file in program.files.values() for step in file.steps.values() for a in step.advise}
    return {name: _contract_out(advisers[name]) for name in sorted(asked & advisers.keys())}


def of_then(started: Mapping[str, Any]) -> Registry:
    """The contracts of the run with this first event. Its advisers can't be asked: today's answer, or nobody."""
    kept = started.get("advisers")
    return _before() if kept is None else contracts_in(kept)


def contracts_in(kept: Mapping[str, Any]) -> Registry:
    """What `recorded` made."""
    return {name: _contract_in(name, contract) for name, contract in kept.items()}


@cache
def _before() -> Registry:
    path = Path(__file__).with_name("contracts_before.json")
    return contracts_in(json.loads(path.read_text(encoding="utf-8")))


def _contract_out(adviser: Adviser) -> Json:
    return {
        "version": adviser.version,
        "inputs": {n: {"kind": i.kind, **_type_out(i.type)} for n, i in adviser.inputs.items()},
        "outputs": {n: _type_out(o.type) for n, o in adviser.outputs.items()},
    }


def _contract_in(name: str, kept: Json) -> Adviser:
    inputs = {n: Input(i["kind"], "", _type_in(i), optional=True) for n, i in kept["inputs"].items()}
    outputs = {n: Output(kind, "") for n, o in kept["outputs"].items() if (kind := _type_in(o)) is not None}
    return Adviser(name, kept["version"], "", inputs, outputs, frozenset({"moves", "parts"}), _nobody, {})


def _nobody(job: Job, inputs: Inputs, evidence: Evidence) -> Judged:
    raise NotImplementedError("the contract of then is no adviser of today")


#: What of a type is kept where it is not as usual.
_KEPT = ("dimension", "unit", "low", "high", "choices", "each", "holes", "whole")
_USUAL = Type("number")


def _type_out(kind: Type | None) -> Json:
    if kind is None:
        return {}
    said = {key: codec.value_out(v) for key in _KEPT if (v := getattr(kind, key)) != getattr(_USUAL, key)}
    return {"is": kind.kind, **said}


def _type_in(kept: Json) -> Type | None:
    if "is" not in kept:
        return None
    return Type(kept["is"], **{key: codec.value_in(kept[key]) for key in _KEPT if key in kept})


def with_today(then: Registry, today: Registry) -> Registry:
    """Today's contracts, the outputs of then as they were then: in which unit each is shown."""
    found = {**then, **today}
    for name in then.keys() & today.keys():
        found[name] = replace(today[name], outputs={**today[name].outputs, **then[name].outputs})
    return found


def decides_on(program: Program, adviser: str) -> frozenset[str]:
    """The outputs of an adviser that some guard of a program reads; what only a text shows is not among them."""
    from engine.procedure.check.guards.study import guards_of

    found: set[str] = set()
    for file in program.files.values():
        names = {a.name for step in file.steps.values() for a in step.advise if a.adviser == adviser}
        dotted = (name.partition(".") for guard in guards_of(file) for name in guard.uses)
        found |= {output for name, _, output in dotted if name in names}
    return frozenset(found)
