"""What must hold between the files of a program: a screw's name means one screw, banks fit; it looks inside no step."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from engine.procedure.program import Call, Layout, Procedure, Screw
from engine.procedure.source.problems import Problem
from engine.procedure.source.spans import NOWHERE

#: What two declarations of one screw must agree in.
_AGREE = {
    "each": "each",
    "acts": "acts",
    "at": "at",
    "inward": "in",
    "outward": "out",
    "unit": "unit",
    "zero": "zero",
    "step": "step",
    "range": "range",
}


def check_closure(procedures: Mapping[str, Procedure]) -> list[Problem]:
    """Faults between files; a call that can't be followed is none of them."""
    return [*_screws(procedures), *_layouts(procedures)]


def _screws(procedures: Mapping[str, Procedure]) -> Iterator[Problem]:
    first: dict[str, tuple[str, Screw]] = {}
    for procedure in procedures.values():
        for name, screw in procedure.screws.items():
            file, known = first.setdefault(name, (procedure.name, screw))
            differs = [key for field, key in _AGREE.items() if getattr(known, field) != getattr(screw, field)]
            if differs:
                yield Problem(
                    "screw-mismatch",
                    procedure.source.path,
                    screw.span,
                    f"The screw `{name}` differs from the one in `{file}` in {', '.join(differs)}.",
                    hint="One name is one screw in all files of a run: make them agree, or rename one.",
                )


def _layouts(procedures: Mapping[str, Procedure]) -> Iterator[Problem]:
    for caller in procedures.values():
        for call in calls(caller):
            callee = procedures.get(call.file)
            if callee is None or NOWHERE in (caller.layout.span, callee.layout.span):  # told already
                continue
            lacks = _not_covered(caller.layout, callee.layout)
            if lacks:
                yield Problem(
                    "layout-mismatch",
                    caller.source.path,
                    call.span,
                    f"`{callee.name}` is not for every bank that this file is for: {lacks}.",
                    hint=f"Widen `for` in `{callee.name}`, or narrow it here.",
                )


def _not_covered(outer: Layout, inner: Layout) -> str:
    if inner.families and not (outer.families and set(outer.families) <= set(inner.families)):
        odd = sorted(set(outer.families) - set(inner.families))
        return f"not for the family {odd[0]}" if odd else "not for any family"
    for what, a, b in (
        ("carbs", outer.carbs, inner.carbs),
        ("barrels a carb", outer.barrels_per_carb, inner.barrels_per_carb),
    ):
        if a[0] < b[0] or a[1] > b[1]:
            return f"not for {a[0] if a[0] < b[0] else a[1]} {what}"
    return ""


def calls(procedure: Procedure) -> Iterator[Call]:
    """Every call of a file: of its steps, its symptoms and its steps' symptoms."""
    for step in procedure.steps.values():
        if isinstance(step.way, Call):
            yield step.way
        yield from (w for w in step.symptoms.values() if isinstance(w, Call))
    yield from (s.way for s in procedure.symptoms.values() if isinstance(s.way, Call))
