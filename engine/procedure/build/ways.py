"""Ways out of a file: calls of other files and where symptoms lead, from model to program; it opens no file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import cast

from engine.procedure.build.making import Want
from engine.procedure.build.replaced import stands_in
from engine.procedure.build.symbols import Symbols
from engine.procedure.model.file import SymptomPart
from engine.procedure.model.steps import LimitPart, StepPart, SymptomWayPart
from engine.procedure.program import Call, Guard, Here, Limit, Order, Procedure
from engine.procedure.source.problems import did_you_mean
from engine.procedure.source.tree import Scalar

NEXT, BACK = "next", "back"
_FROM_ABOVE = "Call it from a file without `here:`, the one that goes along the bank."
Target = Callable[[Scalar], str]


def call(known: Symbols, part: StepPart, target: Target) -> Call | None:
    """The call of a step, once or once a place."""
    make = known.make
    if part.call is None:
        return None
    callee = known.called.get(part.call)
    each = cast(Here, str(part.each)) if part.each is not None else None
    if part.lost("each") and callee is not None:  # what stood there was told; it was meant as the file wants it
        each = callee.here
    _place(known, part.call, each, callee)
    if part.order == "worst" and part.by is None and not part.lost("by"):
        make.fault("missing-key", part.key_span("order"), "Worst by what? `by` is missing.", "Add `by: abs(gap)`.")
    if each is None:
        for key in ("order", "by"):
            if key in part:
                make.fault("unknown-key", part.key_span(key), f"`{key}` says nothing without `each`.", "Delete it.")
    elif part.go is None and not part.lost("go"):
        make.fault(
            "missing-key", part.key_span("each"), "Where to after the last place? `go` is missing.", "Add `go: step`."
        )
    worst = make.guard(part.by, Want("number", None, None, each, True, or_single=False)) if each and part.by else None
    ends = _ends(known, part.call, part.ends, part.key_span("call"), part, target, NEXT if each else None)
    return Call(
        str(part.call),
        _bindings(known, part, part.call, callee, each),
        ends,
        str(part.name) if part.name is not None else None,
        each,
        cast(Order, str(part.order or "bank")),
        worst,
        target(part.go) if part.go is not None else None,
        part.call.span,
        {str(k): k.span for k in part.ends},
    )


def symptom_way(
    known: Symbols,
    part: SymptomWayPart | SymptomPart,
    target: Target,
    limit: Callable[[LimitPart | None], Limit | None],
) -> str | Call | None:
    """Where a symptom leads: a step, a call, or None where this file says nothing."""
    make = known.make
    if part.go is not None and part.call is not None:
        make.fault(
            "several-keys", part.key_span("go"), "A symptom leads to a step or to a file, not both.", "Keep one."
        )
    if part.call is None:
        for key in ("with", "ends", "limit"):
            if key in part and not part.lost("call"):
                make.fault("unknown-key", part.key_span(key), f"`{key}` says nothing without `call`.", "Delete it.")
        if part.go is None and isinstance(part, SymptomWayPart) and not (part.lost("go") or part.lost("call")):
            make.fault(
                "no-way-on", part.head, "The symptom leads nowhere from here.", "Name a step, or a file to call."
            )
        return target(part.go) if part.go is not None else None
    callee = known.called.get(part.call)
    _place(known, part.call, None, callee)
    ends = _ends(known, part.call, part.ends, part.key_span("call"), part, target, BACK)
    return Call(
        str(part.call),
        _bindings(known, part, part.call, callee),
        ends,
        None,
        None,
        "bank",
        None,
        None,
        part.call.span,
        {str(k): k.span for k in part.ends},
        limit(part.limit),
    )


def _place(known: Symbols, file: Scalar, wanted: Here | None, callee: Procedure | None) -> None:
    """A file that works at one place is called with its `each`, or from a file that works at the same."""
    if callee is None:
        return
    make = known.make
    if wanted is not None and callee.here != wanted:
        make.fault(
            "place-mismatch",
            file.span,
            f"`{file}` does not work at one {wanted}.",
            f"Write `here: {wanted}` at its top, or call it without `each`.",
        )
    within = make.here is None or (make.here, callee.here) == ("carb", "barrel")
    if wanted is None and callee.here is not None and callee.here != make.here:
        make.fault(
            "place-mismatch",
            file.span,
            f"`{file}` works at one {callee.here}" + ("." if within else ", and this file at one barrel."),
            f"Call it with `each: {callee.here}` and `go`." if within else _FROM_ABOVE,
        )
    if wanted is not None and not (within and (make.here is None or wanted == "barrel")):
        make.fault(
            "place-mismatch",
            file.span,
            f"A file that works at one {make.here} can't go along the bank.",
            "Delete `each` and `go`: it is called at the place at hand." if callee.here == make.here else _FROM_ABOVE,
        )


def _ends(
    known: Symbols,
    file: Scalar,
    given: Mapping[Scalar, Scalar],
    at: object,
    part: StepPart | SymptomWayPart | SymptomPart,
    target: Target,
    extra: str | None,
) -> dict[str, str]:
    """Every end of the called file, mapped."""
    make = known.make
    callee = known.called.get(file)
    ends: dict[str, str] = {}
    for end, where in given.items():
        if callee is not None and end not in callee.ends:
            make.fault(
                "unknown-end", end.span, f"`{file}` never ends in `{end}`.", did_you_mean(end, callee.ends, "Ends")
            )
        if where in (NEXT, BACK):
            if where != extra:
                needs = "`each`" if where == NEXT else "a symptom"
                make.fault(
                    "unknown-step", where.span, f"`{where}` has a meaning only in a call with {needs}.", "Name a step."
                )
            ends[str(end)] = str(where)
        else:
            ends[str(end)] = target(where)
    lost = part._map.get("ends")
    spoilt: set[str] = getattr(lost, "lost", set())
    missing = [
        e for e in (callee.ends if callee else ()) if e not in given and e not in spoilt and not part.lost("ends")
    ]
    if missing:
        make.fault(
            "unmapped-end",
            file.span,
            f"`{file}` can end in {', '.join(f'`{m}`' for m in missing)}, and this says nothing of it.",
            f"Add `{missing[0]}: step` to `ends`.",
        )
    return ends


def _bindings(
    known: Symbols,
    part: StepPart | SymptomWayPart | SymptomPart,
    file: Scalar,
    callee: Procedure | None,
    each: str | None = None,
) -> dict[str, Guard]:
    """Parameters and settings of the called file by expressions of this one."""
    make, given = known.make, part.bindings
    made: dict[str, Guard] = {}
    for name, text in given.items():
        if callee is None:
            make.guard(text)
            continue
        declared = callee.parameters.get(name) or callee.settings.get(name)
        if declared is None and stands_in(Path(callee.source.path), Path(make.path)):
            # A shop's file of before knows nothing of what a later caller gives it; it does its work without.
            make.warn(
                "called-otherwise",
                name.span,
                f"`{callee.name}` stands in for a file that takes `{name}`, and takes nothing of that name.",
                f"Give {callee.source.path} a parameter `{name}`, if it shall be heeded.",
            )
            make.guard(text)
            continue
        if declared is None:
            make.fault(
                "unknown-setting",
                name.span,
                f"`{callee.name}` has neither a parameter nor a setting `{name}`.",
                did_you_mean(name, [*callee.parameters, *callee.settings], "It has"),
            )
            continue
        kind = declared.type
        dimension = kind.dimension if kind.kind == "number" else None
        want = Want(kind.kind, dimension, kind.unit, each, False, (kind.low, kind.high), words=kind.choices)
        guard = make.guard(text, want)
        if guard is None:
            continue
        odd = sorted(set(guard.type.choices) - set(kind.choices)) if kind.kind == "choice" else []
        if odd:
            make.judge(
                "wrong-binding",
                text.span,
                f"`{text}` can be '{odd[0]}', which `{name}` of `{callee.name}` does not know.",
                f"It knows {', '.join(kind.choices)}.",
            )
        made[str(name)] = guard
    lacking = [n for n, p in (callee.parameters if callee else {}).items() if p.default is None and n not in given]
    if lacking and not part.lost("with"):
        make.judge(
            "missing-input",
            file.span,
            f"`{file}` needs {', '.join(lacking)}.",
            f"Add `with: {{{lacking[0]}: ...}}`.",
        )
    return made
