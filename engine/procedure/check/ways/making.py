"""That advice is made, and made once, and that a step turns no screw and takes no reading twice; it knows no screw."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from engine.contract import Registry
from engine.procedure.check.guards.formulas import Formula, TooComplex, negation
from engine.procedure.check.guards.study import Study
from engine.procedure.check.ways import traces
from engine.procedure.check.ways.flow import ENTRY, Found, possible, standing
from engine.procedure.program import Advise, FitSpec, Guard, MoveSpec, Step
from engine.procedure.source.problems import Problem

Made = MoveSpec | FitSpec
#: The output and the word by which an adviser says that it has moves to make.
VERDICT, TURN = "verdict", "turn"


def problems(study: Study, found: Found, advisers: Registry) -> Iterator[Problem]:
    """Advice that is never made or made twice, screws that one step turns twice, readings that it takes twice."""
    for name, step in study.procedure.steps.items():
        here = found.here[name]
        if not here.reach:
            continue
        yield from _twice(study, found, step)
        yield from _read_twice(study, found, step)
        if step.make:
            stands = standing(here, step).get(traces.ADVICE + step.make, {ENTRY: here.reach})
            if traces.DONE in stands and traces.NEW not in stands:
                yield Problem(
                    "made-twice",
                    study.path,
                    step.spans.get("make", step.span),
                    f"When '{name}' is reached, the moves of `{step.make}` were made already, and it was not asked "
                    "again.",
                    "There is nothing left to turn, and the step would show no move.",
                    "Read again and ask the adviser before its moves are made again.",
                )
            yield from _overtaken(study, step, step.make, standing(here, step))
            yield from _without_moves(study, found, step, step.make)
        for advise in step.advise:
            adviser = advisers.get(advise.adviser)
            if adviser is None or not adviser.makes:
                continue
            told = list(_never(study, found, step, advise)) if VERDICT in adviser.outputs else []
            yield from told
            if not told and not any(s.make == advise.name for s in study.procedure.steps.values()):
                yield Problem(
                    "advice-not-made",
                    study.path,
                    advise.span,
                    f"`{advise.adviser}` says here what to turn or fit, and no step makes it.",
                    "It judges what comes next by moves that nobody was told to make.",
                    f"Lead to a step with `make: {advise.name}`, if it is asked for more than its verdict.",
                    "warning",
                )


def _overtaken(study: Study, step: Step, name: str, stands: traces.State) -> Iterator[Problem]:
    """Moves of an advice that something else was turned after, on every way that leads here."""
    made, said = (set(stands.get(key + name, {ENTRY: -1})) for key in (traces.ADVICE, traces.SAID))
    if made == {traces.NEW} and said == {traces.BEFORE}:
        yield Problem(
            "stale-advice",
            study.path,
            step.spans.get("make", step.span),
            f"'{step.name}' makes `{name}`, and screws were turned or parts changed since it was asked.",
            "Its moves were worked out for an engine that is another one since.",
            "Make its moves first, or read again and ask it anew.",
        )


def _without_moves(study: Study, found: Found, step: Step, name: str) -> Iterator[Problem]:
    """A step that makes an advice which, on every branch that leads here, says something else than `turn`."""
    axis = ("c", f"{name}.{VERDICT}")
    words = study.normal.choices.get(axis, ())
    asked = [s for s in study.procedure.steps.values() if any(a.name == name for a in s.advise)]
    into = [(s, e) for s in study.procedure.steps.values() for e in found.edges.out[s.name] if e.target == step.name]
    if TURN not in words or not into or any(s not in asked or e.branch is None for s, e in into):
        return
    turn: Formula = ("enum", axis, frozenset({TURN}), True)
    for source, edge in into:
        branches = source.way[: (edge.branch or 0) + 1] if isinstance(source.way, tuple) else ()
        try:
            formulas = [study.formula(b.when) for b in branches if b.when is not None]
        except TooComplex:
            return
        last = branches[-1].when is not None if branches else False
        ahead = formulas[:-1] if last else formulas
        if study.possible([*(negation(f) for f in ahead), *formulas[len(ahead) :], turn]):
            return
    yield Problem(
        "advice-not-made",
        study.path,
        step.spans.get("make", step.span),
        f"'{step.name}' makes `{name}`, and wherever it is led to from `{name}` says something else than '{TURN}'.",
        "There are no moves then, and the step would show none.",
        f"Lead here where `{name}.{VERDICT} == '{TURN}'`, or delete `make`.",
    )


def _never(study: Study, found: Found, step: Step, advise: Advise) -> Iterator[Problem]:
    """A branch that is taken where an adviser says `turn`, and from which its moves are never asked for."""
    axis = ("c", f"{advise.name}.{VERDICT}")
    if not isinstance(step.way, tuple) or TURN not in study.normal.choices.get(axis, ()):
        return
    turn: Formula = ("enum", axis, frozenset({TURN}), True)
    for edge in found.edges.out[step.name]:
        branch = step.way[edge.branch] if edge.branch is not None else None
        if branch is None or branch.when is None:
            continue
        try:
            formula = study.formula(branch.when)
        except TooComplex:
            continue
        if study.possible([formula, negation(turn)]) or _makes(study, found, edge.target, advise.name):
            continue
        yield Problem(
            "advice-not-made",
            study.path,
            branch.when.span,
            f"`{advise.name}` says '{TURN}' here, and no way from '{branch.go}' asks for its moves.",
            "The adviser would wait for an answer to a move that nobody was told to make.",
            f"Lead to a step with `make: {advise.name}`.",
        )


def _makes(study: Study, found: Found, start: str, name: str) -> bool:
    """Whether some way from a step makes an advice before it is asked for anew."""
    seen, queue = {start}, [start]
    while queue:
        step = study.procedure.steps[queue.pop()]
        if step.make == name:
            return True
        if any(a.name == name for a in step.advise):
            continue
        for edge in found.edges.out[step.name]:
            if edge.target not in seen:
                seen.add(edge.target)
                queue.append(edge.target)
    return False


def _twice(study: Study, found: Found, step: Step) -> Iterator[Problem]:
    """Two moves of one screw, or two of one part, at one place that may both be asked for."""
    turned: list[tuple[str, str, Made]] = [(m.screw, "turns", m) for m in step.moves]
    fitted: list[tuple[str, str, Made]] = [(f.part, "fits", f) for f in step.fit]
    for made in (turned, fitted):
        for i, (name, what, one) in enumerate(made):
            for other, _, two in made[:i]:
                if other == name and _meet(one, two) and _both(study, found, step, one, two):
                    yield Problem(
                        "screw-twice",
                        study.path,
                        one.span,
                        f"'{step.name}' {what} `{name}` twice, and both may be asked for at one place.",
                        "Which comes first, and whether the second starts from the first, nobody could tell.",
                        "Make them two steps, or give them conditions that exclude each other.",
                    )
                    break


def _read_twice(study: Study, found: Found, step: Step) -> Iterator[Problem]:
    """A reading that is asked for twice at once, each time under a condition of its own."""
    for i, read in enumerate(step.read):
        for other in step.read[:i]:
            if other.reading == read.reading and _at_once(study, found, step, (read.when, other.when)):
                yield Problem(
                    "name-used-twice",
                    study.path,
                    read.span,
                    f"`{read.reading}` may be read twice in '{step.name}' at once.",
                    "It would be asked for twice, and one of the two answers would be lost.",
                    "Give the two conditions that exclude each other, or delete one.",
                )
                break


def _meet(a: Made, b: Made) -> bool:
    return not a.only or not b.only or bool(set(a.only) & set(b.only))


def _both(study: Study, found: Found, step: Step, a: Made, b: Made) -> bool:
    """Whether the conditions of two moves may hold at once; of rows, whether they do at one place, is not asked."""
    rows = [m.when for m in (a, b) if m.when is not None and m.when.type.each is not None]
    if rows and a.when is not None and b.when is not None and a.when.text != b.when.text:
        return False
    return _at_once(study, found, step, [m.when for m in (a, b) if m.when not in rows])


def _at_once(study: Study, found: Found, step: Step, conditions: Iterable[Guard | None]) -> bool:
    """Whether conditions may hold at once as a step is entered; false where that is too complex to tell."""
    formulas: list[Formula] = []
    for condition in conditions:
        try:
            formulas.append(study.formula(condition))
        except TooComplex:
            return False
    together = ("and", tuple(f for f in formulas if not isinstance(f, bool)))
    if any(f is False for f in formulas):
        return False
    whole: Formula = together if len(together[1]) > 1 else together[1][0] if together[1] else True
    return possible(study, found.carried, whole, found.before(step))
