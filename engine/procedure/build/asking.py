"""What a step asks of an adviser and what it finds wrong, from model to program; bindings typed by a registry.

In a file that is only read (a run's own), an adviser or an input that nobody knows any more is taken for what it looks
like: whether anybody can answer is found out where it is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TypeVar, cast

from engine.contract import Adviser, Input
from engine.evidence import Severity
from engine.procedure.build.making import TRUTH, Maker, Want
from engine.procedure.build.symbols import Symbols
from engine.procedure.language.expr import Type
from engine.procedure.model.steps import AdvisePart, FindingPart, PlacePart
from engine.procedure.program import Advise, Binding, FindingSpec, Reading, Screw
from engine.procedure.source.problems import did_you_mean
from engine.procedure.source.tree import Scalar

_Part = TypeVar("_Part", Reading, Screw)


def advise(make: Maker, known: Symbols, part: AdvisePart) -> Advise | None:
    """A call of an adviser with its inputs typed against the contract."""
    when = make.guard(part.when, TRUTH)
    adviser = known.registry.get(part.adviser)
    if adviser is None:
        make.judge(
            "unknown-adviser",
            part.adviser.span,
            f"There is no adviser `{part.adviser}`.",
            did_you_mean(part.adviser, known.registry),
        )
        if make.judged:
            return None
    inputs = adviser.inputs if adviser is not None else {}
    bindings: dict[str, Binding] = {}
    for name, text in part.bindings.items():
        if adviser is not None and name in adviser.retired:
            if make.judged:
                make.warn(
                    "retired-input",
                    name.span,
                    f"`{part.adviser}` no longer takes `{name}`: {adviser.retired[name]}.",
                    "It is left out of account. Take it away.",
                )
            continue
        wanted = inputs.get(name)
        if wanted is None:
            make.judge(
                "unknown-input",
                name.span,
                f"`{part.adviser}` takes no `{name}`.",
                did_you_mean(name, inputs, "It takes"),
            )
            if make.judged:
                continue
        bound = _bind(make, known, name, text, wanted or _looks_like(known, text))
        if bound is not None:
            bindings[str(name)] = bound
    if adviser is not None:
        _complete(make, part, adviser)
    return Advise(str(part.name), str(part.adviser), bindings, when, part.span)


def _looks_like(known: Symbols, text: Scalar) -> Input:
    """An input that takes anything that stands there: a reading, a screw or an expression."""
    return Input("reading" if text in known.readings else "screw" if text in known.screws else "value", "")


def _complete(make: Maker, part: AdvisePart, adviser: Adviser) -> None:
    missing = [
        n for n, i in adviser.inputs.items() if not i.optional and n not in part.bindings and not part.lost("with")
    ]
    if missing:
        make.judge(
            "missing-input",
            part.adviser.span,
            f"`{part.adviser}` needs {', '.join(missing)}.",
            f"Add `with: {{{missing[0]}: ...}}`. It is: {adviser.inputs[missing[0]].about}.",
        )


def _bind(make: Maker, known: Symbols, name: Scalar, text: Scalar, wanted: Input) -> Binding | None:
    if wanted.kind == "reading":
        return _bind_reading(make, known, name, text, wanted)
    if wanted.kind == "screw":
        return _bind_screw(make, known, name, text, wanted)
    kind = wanted.type
    guard = make.guard(text, None if kind is None else _wanted(kind))
    if guard is None:
        return None
    if kind is not None and kind.kind == "choice" and not set(guard.type.choices) <= set(kind.choices):
        odd = sorted(set(guard.type.choices) - set(kind.choices))
        make.judge(
            "wrong-binding",
            text.span,
            f"`{text}` can be '{odd[0]}', which `{name}` does not know.",
            f"It knows {', '.join(kind.choices)}.",
        )
    return Binding(str(name), "value", str(text), guard, text.span)


def _wanted(kind: Type) -> Want:
    dimension = kind.dimension if kind.kind == "number" else None
    pair = (kind.low, kind.high)
    return Want(kind.kind, dimension, kind.unit, kind.each, kind.holes, pair, or_single=False, words=kind.choices)


def _declared(
    make: Maker, known: Symbols, name: Scalar, text: Scalar, what: str, among: Mapping[str, _Part | None]
) -> _Part | None:
    """What an input is bound to by name, among what the file declares of its kind; None, and said, where it is none."""
    if text in among:
        return among[text]
    if not known.spoilt(f"{what}s", text):
        make.fault(
            "wrong-binding",
            text.span,
            f"`{name}` is bound to a {what}; `{text}` is none.",
            did_you_mean(text, among, f"{what.title()}s"),
        )
    return None


def _bind_reading(make: Maker, known: Symbols, name: Scalar, text: Scalar, wanted: Input) -> Binding | None:
    reading = _declared(make, known, name, text, "reading", known.readings)
    if reading is None:
        return None
    if make.judged and wanted.quantities and reading.quantity not in wanted.quantities:
        make.fault(
            "wrong-binding",
            text.span,
            f"`{name}` takes a reading of {_list(wanted.quantities)}; `{text}` is of {reading.quantity}.",
            f"Declare its `quantity: {wanted.quantities[0]}`.",
        )
        return None
    if make.judged and wanted.each and reading.type.each not in wanted.each:
        make.fault(
            "wrong-binding",
            text.span,
            f"`{name}` is {_list(_row(e) for e in wanted.each)}; `{text}` is {_row(reading.type.each)}.",
        )
        return None
    return Binding(str(name), "reading", str(text), None, text.span)


def _bind_screw(make: Maker, known: Symbols, name: Scalar, text: Scalar, wanted: Input) -> Binding | None:
    screw = _declared(make, known, name, text, "screw", known.screws)
    if screw is None:
        return None
    for what, given, allowed in (
        ("acts on", screw.acts, wanted.acts),
        ("works at", screw.at, wanted.at),
        ("is there for each", screw.each, wanted.each),
    ):
        if make.judged and allowed and given not in allowed:
            make.fault(
                "wrong-binding",
                text.span,
                f"`{name}` takes a screw that {what} {_list(allowed)}; `{text}` {what} {given}.",
            )
            return None
    return Binding(str(name), "screw", str(text), None, text.span)


def _row(each: str | None) -> str:
    return "a single value" if each is None else f"a row over each {each}"


def _list(words: Iterable[object]) -> str:
    return " or ".join(str(w) for w in words)


def finding(make: Maker, known: Symbols, part: FindingPart) -> FindingSpec | None:
    """A finding that the file itself raises."""
    where, place = None, None
    if isinstance(part.where, PlacePart):
        place = known.place(part.where)
    elif part.where is not None:
        where = make.guard(part.where, Want("bool", each="any"))
        if where is not None and where.type.each is None:
            make.fault(
                "single-not-row",
                part.where.span,
                "`where` is a row of places: `which(flow < 1 L/min)`.",
                "For one place write `{carb: 1}`; for a condition use `when`.",
            )
    say, do = make.template(part.say), make.template(part.do)
    when = make.guard(part.when, TRUTH)
    if say is None:
        return None
    return FindingSpec(str(part.code), cast(Severity, str(part.severity)), where, say, do, when, part.span, place)
