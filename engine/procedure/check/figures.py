"""That a file's figures can be meant: moves that a hand can count, bands and pairs the right way up, times that
somebody would wait; it follows no path."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import product
from math import prod

from engine.procedure.check.guards.forms import ONE, combine, constant
from engine.procedure.check.guards.study import Study, guards_of
from engine.procedure.language.expr import Call, Compare, Name, Node, Number, walk
from engine.procedure.pairs import named, pairs
from engine.procedure.program import Guard, Reading, Screw, Setting, Step
from engine.procedure.source.problems import Problem
from engine.quantity.units import UNITS, from_base

#: The units that a screw is counted in: a flat is a sixth of a turn, and only a nut has one.
TURNING = ("turn", "flat")
#: Nobody averages a needle longer, or waits longer at a step (seconds) [assumed].
LONGEST_AVERAGE, LONGEST_WAIT = 300, 24 * 3600
#: The most choices of facts by which tables of settings are gone through.
MOST_CHOICES = 256


def problems(study: Study) -> Iterator[Problem]:
    """Every figure of a file that can't be meant."""
    for step in study.procedure.steps.values():
        yield from _moves(study, step)
        if step.wait is not None and step.wait.seconds > LONGEST_WAIT:
            yield _error(
                study,
                "unlikely-time",
                step.wait.span,
                f"'{step.name}' waits longer than a day.",
                "Nobody stands at a bench so long.",
                "Correct the time or its unit.",
            )
        if step.wait is not None and step.wait.seconds <= 0:
            yield _error(
                study,
                "unlikely-time",
                step.wait.span,
                f"'{step.name}' waits no time at all.",
                "It would be over before it began.",
                "Correct the time or its unit, or delete `wait`.",
            )
        yield from _bound(study, step)
    yield from _compared(study)
    for reading in study.procedure.readings.values():
        yield from _reading(study, reading)
    for screw in study.procedure.screws.values():
        yield from _band(study, screw)
    yield from _upside_down(study)


def _error(study: Study, code: str, span: object, message: str, why: str, hint: str) -> Problem:
    return Problem(code, study.path, span, message, why, hint)  # type: ignore[arg-type]


# ---- moves


def _moves(study: Study, step: Step) -> Iterator[Problem]:
    for move in step.moves:
        screw = study.procedure.screws.get(move.screw)
        for guard in (move.to, move.by):
            if screw is not None and guard is not None:
                yield from _unit(study, screw, guard)
                yield from _countable(study, screw, guard, move.by is not None)


def _unit(study: Study, screw: Screw, guard: Guard) -> Iterator[Problem]:
    odd = next((u for u in _units(guard.node) if u in TURNING and u != screw.unit), None)
    if odd is None:
        return
    yield _error(
        study,
        "turned-in-other-unit",
        guard.span,
        f"`{guard.text}` is said in {odd}s; `{screw.name}` is counted in {screw.unit}s.",
        "A flat is a sixth of a turn: somebody would turn six times too far, or a sixth of the way.",
        f"Say it in {screw.unit}s.",
    )


def _units(node: Node) -> Iterator[str | None]:
    """The units of everything in an expression that is an angle."""
    for part, _ in walk(node):
        if isinstance(part, Number):
            yield part.unit
        elif isinstance(part, Name) and part.type is not None and part.type.dimension == "angle":
            yield part.type.unit


def _countable(study: Study, screw: Screw, guard: Guard, amount: bool) -> Iterator[Problem]:
    """A move that a hand can't count: a figure of the file, or what a setting is as shipped."""
    values: list[Fraction] = []
    if isinstance(guard.node, Number):
        values = [guard.node.value]
    elif isinstance(guard.node, Name) and guard.node.name in study.procedure.settings:
        values = _values(study.procedure.settings[guard.node.name])
    fine = next((v for v in values if v % screw.step and (amount or v)), None)
    if fine is None:
        return
    unit = UNITS[screw.unit]
    yield _error(
        study,
        "finer-than-step",
        guard.span,
        f"`{guard.text}` is {_said(fine, screw.unit)}; `{screw.name}` is counted in steps of "
        f"{_said(screw.step, unit.name)}.",
        "A hand can't set what it can't count.",
        f"Say a whole number of steps, or correct the screw's `step: {_said(screw.step, unit.name)}`.",
    )


def _said(value: Fraction, unit: str) -> str:
    number = from_base(value, unit)
    return f"{number} {unit}".strip()


def _values(setting: Setting) -> list[Fraction]:
    return [setting.value] if setting.value is not None else list(setting.table.values())


def _compared(study: Study) -> Iterator[Problem]:
    """A screw's place compared with a figure in a unit that it is not counted in."""
    for guard in guards_of(study.procedure):
        for part, _ in walk(guard.node):
            if not isinstance(part, Compare):
                continue
            inside = [n for item in part.items for n, _ in walk(item)]
            named = [n.argument.name for n in inside if _is_position(n)]  # type: ignore[attr-defined]
            screws = [study.procedure.screws[n] for n in named if n in study.procedure.screws]
            if screws and len({s.unit for s in screws}) == 1:
                yield from _unit(study, screws[0], guard)
                break


def _is_position(node: Node) -> bool:
    return isinstance(node, Call) and node.function == "position" and isinstance(node.argument, Name)


# ---- readings


def _reading(study: Study, reading: Reading) -> Iterator[Problem]:
    if reading.average is not None and not 0 < reading.average <= LONGEST_AVERAGE:
        yield _error(
            study,
            "unlikely-time",
            reading.span,
            f"'{reading.name}' is averaged over {_said(reading.average, 'min')}.",
            f"Nobody watches a needle longer than {LONGEST_AVERAGE // 60} minutes.",
            "Correct the time or its unit.",
        )
    bottom, top = reading.type.low, reading.type.high
    if reading.step is not None and bottom is not None and top is not None and reading.step > top - bottom:
        yield _error(
            study,
            "step-past-range",
            reading.span,
            f"The scale of '{reading.name}' has no second mark: its step is wider than its range.",
            "Every answer would be the same.",
            "Correct the step or the range.",
        )
    if isinstance(reading.healthy, tuple):
        room = _room(study, *reading.healthy)
        if room is not None and room < 0:
            yield _error(
                study,
                "upside-down",
                reading.span,
                f"The healthy answer of '{reading.name}' goes from its greater to its lesser end.",
                "No engine would be healthy.",
                "Swap `from` and `to`.",
            )


# ---- bands and pairs


def _bound(study: Study, step: Step) -> Iterator[Problem]:
    """Two ends that an adviser is given the wrong way round."""
    for advise in step.advise:
        for low, high in named(advise.bindings):
            ends = [advise.bindings[n].guard for n in (low, high)]
            room = _room(study, *ends) if all(e is not None and e.type.kind == "number" for e in ends) else None
            if room is not None and room < 0:
                yield _error(
                    study,
                    "upside-down",
                    advise.bindings[low].span,
                    f"`{advise.adviser}` is given a `{low}` that is above its `{high}`.",
                    "Nothing lies between the two, so whatever is read would be judged wrong.",
                    "Swap them, or correct one.",
                )


def _band(study: Study, screw: Screw) -> Iterator[Problem]:
    if screw.band is None:
        return
    for end in screw.band:
        yield from _unit(study, screw, end)
    low, high = screw.band
    room = _room(study, low, high)
    if room is not None and room <= 0:
        yield _upside(study, low, f"The band of `{screw.name}`, `[{low.text}, {high.text}]`, holds no place.")


def _room(study: Study, low: Guard | Fraction | None, high: Guard | Fraction | None) -> Fraction | None:
    """How far apart two ends can be at the most, where that is known."""
    if low is None or high is None:
        return None
    a, b = (study.normal.number(e.node) if isinstance(e, Guard) else constant(e) for e in (low, high))
    room = combine(b, a, -ONE)
    settings = [(study.procedure.settings.get(atom[1]) if atom[0] == "s" else None, c) for atom, c in room[0]]
    known = [(s, c) for s, c in settings if s is not None]
    if len(known) == len(settings):  # what the file itself says of its settings, for whatever fact their tables go by
        return min((sum((c * v for c, v in at), room[1]) for at in _tabled(known)), default=None)
    return study.normal.range(room)[1]


def _tabled(settings: list[tuple[Setting, Fraction]]) -> Iterator[list[tuple[Fraction, Fraction]]]:
    """Settings, each with its factor, by their values: once for every choice of the facts that their tables go by."""
    facts = {s.by: tuple(s.table) for s, _ in settings if s.by is not None}
    if prod(len(keys) for keys in facts.values()) > MOST_CHOICES:
        return
    for keys in product(*facts.values()):
        at = dict(zip(facts, keys, strict=True))
        values = [(c, s.value if s.value is not None else s.table.get(at.get(s.by or "", ""))) for s, c in settings]
        found = [(c, v) for c, v in values if v is not None]
        if len(found) == len(values):
            yield found


def _upside(study: Study, guard: Guard, message: str) -> Problem:
    return _error(study, "upside-down", guard.span, message, "Every screw would rest outside it.", "Swap its two ends.")


def _upside_down(study: Study) -> Iterator[Problem]:
    """Pairs of settings whose lesser one is the greater, for some choice of the fact that a table goes by."""
    for low, high in pairs(study.procedure):
        units = low.type.unit or "", high.type.unit or ""
        for a, b in _together(low, high):
            if a > b:
                yield _error(
                    study,
                    "upside-down",
                    high.span,
                    f"`{low.name}` is {_said(a, units[0])}, above `{high.name}`, {_said(b, units[1])}.",
                    "Nothing lies between the two, so whatever is read would be judged wrong.",
                    "Swap them, or correct one.",
                )
                break


def _together(low: Setting, high: Setting) -> Iterator[tuple[Fraction, Fraction]]:
    """The values that two settings have at once."""
    if low.by is not None and low.by == high.by:
        yield from ((low.table[k], high.table[k]) for k in low.table if k in high.table)
    else:
        yield from ((a, b) for a in _values(low) for b in _values(high))
