"""From a run's state to what is shown of it: final words, numbers in their declared units; it decides nothing.

Every screen, the line protocol and the rehearsal read the `View` made here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from engine.contract import Registry
from engine.evidence import Aim, Move, Place
from engine.procedure.program import Guard, Reading
from engine.quantity.chosen import ChosenUnits
from engine.quantity.wording import quantity
from engine.run import gate
from engine.run.admit import asks, symptoms
from engine.run.events import GO_ON
from engine.run.layout import ReadPlan, RunLayout
from engine.run.machine import cautions
from engine.run.moves import asked
from engine.run.scope import Scope, scope
from engine.run.state import Frame, Gate, Past, Recorded, State, standing, visit_of_run, walk
from engine.run.texts import render, said
from engine.session.ahead import steps_left
from engine.session.declared import shown, width
from engine.session.hours import hours
from engine.session.latest import latest, phase
from engine.session.sweep import sweeps
from engine.session.view import (
    Advised,
    Ask,
    CautionView,
    EndView,
    GateView,
    Line,
    ScrewRow,
    SymptomView,
    TrailMark,
    View,
    WaitView,
)

#: What is asked again first where a pause let the engine cool.
WARM_UP = "warm up first"


def show(plan: RunLayout, state: State, run: str, advisers: Registry, started: str = "") -> View:
    """What the technician is shown at this state of a run. `advisers` only say in which unit their outputs are
    given; `started` is when the run was, by its clock.
    """
    if state.gate is not None:
        return _at_gate(_show(plan, state, run, advisers, started), state, state.gate)
    return _show(plan, state, run, advisers, started)


def _at_gate(view: View, state: State, stop: Gate) -> View:
    """The step that raised a stop, with nothing left of it but the stop and its one choice."""
    choices = gate.choices(stop)
    ask = Ask(
        name=gate.NAME,
        ask="How does it go on from here?",
        how="What is mended is read again. To go on knowingly needs a reason, which stands on the sheet.",
        quantity="other",
        each=None,
        of=Place(),
        count=1,
        places=(Place(),),
        unit=None,
        range=None,
        choices=choices,
        healthy=choices[0],
        average=None,
        take=None,
        step=None,
        may_lack=False,
        safety=True,
    )
    shown = GateView(stop.say, stop.do, choices, (GO_ON,), gate.stops(state))
    said = " ".join(filter(None, (stop.say, stop.do)))
    none: dict[str, Any] = {"why": "", "hear": "", "note": "", "caution": "", "wait": None, "symptoms": ()}
    return replace(view, step=gate.NAME, title="Stop", do=said, read=(ask,), gate=shown, limit=None, **none)


def _show(plan: RunLayout, state: State, run: str, advisers: Registry, started: str) -> View:
    frame = state.frame
    at, step = frame.at, frame.at.step
    look = scope(frame, state.world.positions)
    moves, parts = asked(plan, state)
    made = False
    if state.made is not None and not (moves or parts):
        moves, parts = state.made.moves, state.made.parts
        made = bool(moves or parts)
    warned, standing_dangers = _cautions(plan, state)
    over = state.end is not None
    return View(
        run=run,
        seq=state.seq,
        procedure=plan.program.main,
        file=at.file.name,
        step=at.name,
        visit=frame.visits.get(at.name, 1),
        limit=step.limit.visits if step.limit else None,
        title=step.title,
        do=render(step.do, look),
        why=render(step.why, look),
        hear=render(step.hear, look),
        note=render(step.note, look),
        source=step.source,
        caution=render(step.caution, look),
        here=frame.here,
        cautions=() if over else warned,
        standing=standing_dangers,
        state=dict(state.world.conditions),
        changes=() if over else state.world.changed,
        moves=() if over else tuple(_in_words(at.file.procedure.readings, m) for m in moves),
        moves_made=made,
        fit=() if over else parts,
        wait=None if over else _wait(step.wait),
        read=() if over else tuple(_ask(plan, state, look, r) for r in asks(plan, state)),
        symptoms=() if over else tuple(_symptom(state, s) for s in symptoms(state)),
        findings=standing(state),
        terms={**plan.main.procedure.terms, **at.file.procedure.terms},
        screws=tuple(_screws(plan, state)),
        latest=latest(plan, state),
        parts=dict(state.world.parts),
        advice=_advice(state, advisers),
        trail=_trail(plan, state.past),
        can_undo=state.past is not None,
        can_redo=state.redo is not None,
        end=_end(plan, state),
        because=state.because,
        phase=phase(state),
        sweeps=() if over else sweeps(plan, state, () if made else moves),
        hours=hours(state, started),
        steps_left=steps_left(plan, state),
        waiting=state.waiting.parts if state.waiting is not None else (),
        again=WARM_UP if state.world.rested and state.world.conditions.get("engine") == "running" else "",
        visit_of_run=visit_of_run(state),
    )


def _in_words(readings: Mapping[str, Reading], move: Move) -> Move:
    """The same move, its aim in the unit that the reading is declared in."""
    if move.aim is None or move.aim.reading not in readings:
        return move
    unit = readings[move.aim.reading].type.unit
    return replace(move, aim=Aim(move.aim.reading, shown(move.aim.value, unit), move.aim.place))


def _cautions(plan: RunLayout, state: State) -> tuple[tuple[CautionView, ...], tuple[CautionView, ...]]:
    declared = state.frame.at.file.procedure.cautions
    shown: list[CautionView] = []
    stands: list[CautionView] = []
    for name in cautions(plan, state):
        c = declared[name]
        danger = c.word == "danger"
        understood = danger and name in state.world.understood
        (stands if understood else shown).append(
            CautionView(name, c.word, said(c.text, state.frame.names), danger and not understood)
        )
    return tuple(shown), tuple(stands)


def _wait(wait: Any) -> WaitView | None:
    return None if wait is None else WaitView(wait.seconds, wait.until, wait.why, wait.cut)


def _ask(plan: RunLayout, state: State, look: Scope, read: ReadPlan) -> Ask:
    reading, kind = read.reading, read.reading.type
    unit, here = kind.unit, state.frame.here
    of = Place(*reading.of) if reading.of is not None else here if kind.each is None else None
    places = plan.bank.places(kind.each, here) if kind.each else (of or Place(),)
    span = None
    if kind.low is not None and kind.high is not None:
        span = (shown(kind.low, unit), shown(kind.high, unit))
    healthy: str | tuple[Fraction | None, Fraction | None] | None
    if isinstance(reading.healthy, tuple):
        low, high = (end.run(look.names) if isinstance(end, Guard) else end for end in reading.healthy)
        healthy = (shown(low, unit), shown(high, unit))
    else:
        healthy = reading.healthy
    last = look.names.get(read.name)
    if last is not None and not isinstance(last, tuple):
        last = (last,)
    return Ask(
        read.name,
        said(reading.ask, look.names),
        said(reading.how, look.names),
        reading.quantity,
        kind.each,
        of,
        len(places),
        places,
        unit,
        span,
        kind.choices,
        healthy,
        reading.average,
        reading.take,
        None if reading.step is None else width(reading.step, unit),
        read.may_lack,
        listed=read.listed,
        safety=reading.safety,
        over_range=reading.over_range,
        lack_needs_reason=reading.lack_needs_reason,
        reasons=reading.reasons,
        last=shown(last, unit),
        expect=_expected(state.frame, reading, len(places)),
        rounds=reading.rounds,
        source=reading.source,
    )


def _expected(frame: Frame, reading: Reading, count: int) -> tuple[Any, ...] | None:
    """What the newest advice that says so expects of this quantity now."""
    for given in frame.advice:
        row = given.advice.expect.get(reading.quantity)
        if row is not None:
            return shown(tuple(row), reading.type.unit) if len(row) == count else None
    return None


def _symptom(state: State, name: str) -> SymptomView:
    frame: Any = state.frame
    while frame is not None:
        declared = frame.at.file.procedure.symptoms.get(name)
        if declared is not None:
            return SymptomView(name, declared.kind, said(declared.ask, frame.names))
        frame = frame.caller
    return SymptomView(name, name, name)


def _screws(plan: RunLayout, state: State) -> Iterable[ScrewRow]:
    for file in plan.files.values():
        for name, screw in file.screws.items():
            places = file.places(name, None)
            if plan.screws[name] is not screw or not places:
                continue
            unit, positions = screw.unit, state.world.positions
            row = tuple(shown(positions.get((name, p)), unit) for p in places)
            yield ScrewRow(
                name,
                screw.each,
                screw.acts,
                screw.at,
                unit,
                screw.zero,
                places,
                row,
                _band(screw.band, file.base, unit),
                width(screw.step, unit),
                (shown(screw.range[0], unit), shown(screw.range[1], unit)),
            )


def _band(band: tuple[Guard, Guard] | None, base: Mapping[str, Any], unit: str) -> tuple[Fraction, Fraction] | None:
    if band is None:
        return None
    low, high = band[0].run(base), band[1].run(base)
    return None if low is None or high is None else (shown(low, unit), shown(high, unit))


def _advice(state: State, advisers: Registry) -> tuple[Advised, ...]:
    """The advice that is in force in this frame, the newest first."""
    found = []
    for given in state.frame.advice:
        advice = given.advice
        declared = advisers[advice.adviser].outputs if advice.adviser in advisers else {}
        units = {k: o.type.unit for k, o in declared.items()}
        outputs = {k: quantity(v, units.get(k)) for k, v in advice.outputs.items()}
        values = {k: shown(v, units.get(k)) for k, v in advice.outputs.items()}
        found.append(Advised(given.name, advice.adviser, advice.version, outputs, advice.because, values))
    return tuple(found)


def _trail(plan: RunLayout, past: Past | None) -> tuple[TrailMark, ...]:
    return tuple(mark(p) for p in walk(past))[::-1]


def mark(past: Past) -> TrailMark:
    """One answer, as a trail shows it."""
    if "mark" not in past.memo:
        frame = past.state.frame
        at_stop = past.state.gate is not None
        past.memo["mark"] = TrailMark(
            past.seq,
            frame.at.file.name,
            gate.NAME if at_stop else frame.at.name,
            "Stop" if at_stop else frame.at.step.title,
            frame.visits.get(frame.at.name, 1),
            said_of(past),
            past.event.at,
        )
    mark: TrailMark = past.memo["mark"]
    return mark


def said_of(past: Past, chosen: ChosenUnits | None = None) -> str:
    """What was answered, in words; numbers in the `chosen` units, else in the file's."""
    event = past.event
    declared = past.state.frame.at.file.procedure.readings
    if event.kind == "symptom":
        return _symptom(past.state, event.symptom or "").ask
    if event.kind == "gate":
        return f"{event.gate}: {event.text}" if event.text else event.gate
    if event.kind == "lost":
        return f"count lost: {', '.join(event.lost)}"
    if event.kind == "abandoned":
        return f"given up: {event.text}"
    if event.readings:
        units = {n: declared[n].type.unit for n in event.readings}
        if chosen is not None:
            units = {n: chosen.unit(u, declared[n].quantity) for n, u in units.items()}
        said = [quantity(v, units[n]) for n, v in event.readings.items()]
        return f"all {said[0]}" if len(said) > 2 and len(set(said)) == 1 else "; ".join(said)
    return "done"


def _end(plan: RunLayout, state: State) -> EndView | None:
    if state.end is None:
        return None
    found, left = (lines(state.record.get(which, {}), plan) for which in ("as found", "as left"))
    return EndView(state.end.outcome, state.end.say, found, left, standing(state))


def lines(record: Mapping[str, Recorded], plan: RunLayout) -> dict[str, Line]:
    """As found or as left in declared units, each a row over its places."""
    found = {}
    for name, line in record.items():
        places = plan.bank.places(line.each) if line.each else tuple(line.by_place)
        row = tuple(shown(line.by_place.get(p), line.unit) for p in places)
        found[name] = Line(line.quantity, line.unit, line.each, places, row)
    return found
