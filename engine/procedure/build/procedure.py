"""One file, from model to `Procedure`: its names, its guards, its steps, all faults noted; it reads no file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import PurePath
from typing import Any

from engine.contract import Registry
from engine.procedure.build import declarations, gear, vocabulary
from engine.procedure.build.kits import taken
from engine.procedure.build.making import TRUTH, Maker, Want, check
from engine.procedure.build.steps import Steps
from engine.procedure.build.symbols import Symbols
from engine.procedure.build.ways import symptom_way
from engine.procedure.model.file import GivePart, ProcedurePart
from engine.procedure.program import Guard, Procedure, Screw, Symptom
from engine.procedure.source.problems import Problem, did_you_mean
from engine.procedure.source.spans import Source
from engine.quantity.units import UNITS
from engine.vocabulary.vocabulary import SHIPPED, Vocabulary

#: The places that a family may call by its own words.
TERMS = ("carb", "barrel", "gap", "cylinder", "bank", "front")


def build(
    source: Source,
    part: ProcedurePart,
    registry: Registry,
    called: Mapping[str, Procedure | None],
    words: Vocabulary = SHIPPED,
    judged: bool = True,
) -> tuple[Procedure, list[Problem]]:
    """The procedure of a file and what is wrong with it. `called`: the files that it calls; None for one with faults.
    `words` are those that are declared outside it.

    Not `judged`, it is read by its structure only: what a contract, a range or a vocabulary says of it is not asked.
    With any error among the problems the procedure lacks the parts that have it, and must not be run.
    """
    known = Symbols(part, source.path, registry, called, words, judged)
    make = known.make
    if part.procedure != source.name:
        make.fault(
            "name-not-file",
            part.procedure.span,
            f"The file is called `{source.name}`, not `{part.procedure}`.",
            "Rename one of them.",
            source.name,
        )
    for term in part.terms:
        if term not in TERMS:
            make.judge(
                "unknown-word",
                term.span,
                f"`{term}` is no place that has a word of its own.",
                did_you_mean(term, TERMS, "There are"),
            )
    values = known.derived.values()
    constants = {*known.facts, *known.settings, *known.parameters}
    screws = {n: _finish_screw(make, s, part) for n, s in known.screws.items() if s is not None}
    readings = {
        str(n): gear.finish_reading(make, known_reading, p, constants)
        for n, p in part.readings.items()
        if (known_reading := known.readings.get(n)) is not None
    }
    _positions(known)
    steps = Steps(known)
    symptoms = {
        str(n): Symptom(
            str(n), str(p.kind), make.plain(p.ask), symptom_way(known, p, steps.target, steps.limit), p.span
        )
        for n, p in part.symptoms.items()
    }
    cautions = {str(n): declarations.caution(make, n, p) for n, p in part.cautions.items()}
    if judged:
        vocabulary.judge(make, part, make.vocabulary, known.advised())
    procedure = Procedure(
        source,
        str(part.procedure),
        make.plain(part.title),
        int(part.revision),
        known.layout,
        tuple(str(n) for n in part.needs),
        cautions,
        {str(k): str(v) for k, v in part.terms.items()},
        _sound(known.facts),
        _sound(known.settings),
        {str(k): v for k, v in screws.items()},
        readings,
        symptoms,
        values,
        {str(n): g for n, p in part.gives.items() if (g := _give(make, p)) is not None},
        str(part.start),
        steps.all(),
        make.here,
        frozenset(str(c) for c in steps.raised),
        _sound(known.parameters),
        make.phase(part.phase),
        {str(n): str(w) for n, w in make.words.items()},
        {PurePath(path).stem: names for path, names in taken(part).items()},
        make.vocabulary,
        steps.on_stop(part.on_stop, whole=True),
    )
    return procedure, make.problems


def _sound(table: Mapping[str, Any]) -> dict[str, Any]:
    return {str(k): v for k, v in table.items() if v is not None}


def _finish_screw(make: Maker, screw: Screw, part: ProcedurePart) -> Screw:
    """A screw with its guards, which could not be made before all names were known."""
    given = next(p for name, p in part.screws.items() if name == screw.name)
    return replace(screw, when=make.guard(given.when, TRUTH), band=gear.band(make, given, screw))


def _positions(known: Symbols) -> None:
    """A reading that tells positions is laid out as the screw is, within its travel."""
    make = known.make
    for name, part in known.part.readings.items():
        reading = known.readings.get(name)
        if part.position_of is None or reading is None:
            continue
        text, kind = part.position_of, reading.type
        if text not in known.screws:
            make.fault("unknown-screw", text.span, f"There is no screw `{text}`.")
            continue
        screw = known.screws[text]
        if screw is None:
            continue
        where = make.scope.screws[text]
        if kind.dimension != "angle":
            make.fault("unit-mismatch", text.span, "A position is counted in turns or flats.", "Write `unit: turn`.")
        elif kind.each != where.each:
            wanted = "a single one" if where.each is None else f"`each: {where.each}`"
            make.fault("place-mismatch", text.span, f"The positions of `{text}` are {wanted}; this reading is not.")
        elif (kind.low is not None and kind.low < screw.range[0]) or (
            kind.high is not None and kind.high > screw.range[1]
        ):
            make.fault(
                "out-of-range",
                part.key_span("range"),
                f"`{text}` can't stand everywhere in it: its own range is narrower.",
            )


def _give(make: Maker, part: GivePart) -> Guard | None:
    """A result, typed as the file declares it; what it can really be must lie within that."""
    unit = str(part.unit) if part.unit is not None else None
    want = None if unit is None else Want("number", UNITS[unit].dimension, unit, "any", True)
    guard = make.guard(part.expression, want)
    if guard is None:
        return None
    if make.here is not None and guard.type.each is not None:
        make.judge(
            "row-not-single",
            part.expression.span,
            f"A file that works at one {make.here} gives single values back; this is one for each {guard.type.each}.",
            "Take its max, min, mean or spread, or `any(...)` or `all(...)` of it.",
        )
    kind = guard.type if unit is None or guard.type.kind != "number" else replace(guard.type, unit=unit or None)
    if part.range:
        pair = make.pair(part, "range", kind.unit)
        if pair is not None:
            with make.catching(part.expression):
                if make.judged:
                    check(guard.node, Want("number", None, unit, "any", True, pair))
            kind = replace(kind, low=pair[0], high=pair[1])
    if part.choices:
        words = tuple(str(c) for c in part.choices)
        if len(set(words)) < len(words):
            make.fault("bad-choices", part.key_span("choices"), "Choices are words, each once.")
        if guard.type.kind != "choice" or not set(guard.type.choices) <= set(words):
            make.judge(
                "wrong-kind", part.key_span("choices"), "The expression can be something else than these choices."
            )
        kind = replace(kind, choices=words)
    return replace(guard, type=kind)
