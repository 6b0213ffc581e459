"""A view in the units that a shop chose, and what was typed in them back in the file's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

from engine.evidence import Aim, Because, Finding, Move
from engine.job.model import Job
from engine.quantity.chosen import OWN_SCALE, ChosenUnits
from engine.run.scope import scope
from engine.run.state import Past, State, walk
from engine.run.texts import render
from engine.session.shown import said_of
from engine.session.view import Advised, Ask, Latest, View


def units_of(job: Job, chosen: ChosenUnits) -> ChosenUnits:
    """The units in which a job's readings are shown: those that the shop chose, but a gauge with a scale of its own is
    read in its divisions."""
    if job.instruments.airflow_scale == "kg/h":
        return chosen
    return ChosenUnits({**chosen.by, "airflow": OWN_SCALE})


def in_units(view: View, state: State, chosen: ChosenUnits) -> View:
    """The view of a state, its readings asked for, shown and told in the chosen units, and so what advisers and
    findings say of them; what is stored are their words in the file's."""
    if not chosen:
        return view
    if state.gate is None and state.end is None:
        step, look = state.frame.at.step, scope(state.frame, state.world.positions)
        view = replace(
            view,
            do=render(step.do, look, chosen=chosen),
            why=render(step.why, look, chosen=chosen),
            hear=render(step.hear, look, chosen=chosen),
            note=render(step.note, look, chosen=chosen),
            caution=render(step.caution, look, chosen=chosen),
        )
    trail = tuple(replace(m, said=said_of(p, chosen)) for m, p in zip(view.trail, _oldest_first(state), strict=False))
    read = tuple(_ask(ask, chosen) for ask in view.read)
    latest = tuple(_latest(row, chosen) for row in view.latest)
    moves = tuple(_move(move, view, chosen) for move in view.moves)
    rows: tuple[Ask | Latest, ...] = (*view.latest, *view.read)
    seen = [(x.quantity, x.unit) for x in rows if x.unit]

    def said(text: str) -> str:
        return chosen.in_text(text, seen)

    return replace(
        view,
        read=read,
        latest=latest,
        moves=moves,
        trail=trail,
        findings=findings_in(view.findings, said),
        advice=tuple(_advised(a, said) for a in view.advice),
        because=tuple(map(said, view.because)),
        gate=view.gate
        and replace(
            view.gate, say=said(view.gate.say), do=said(view.gate.do), findings=findings_in(view.gate.findings, said)
        ),
        end=view.end and replace(view.end, say=said(view.end.say), findings=findings_in(view.end.findings, said)),
    )


def findings_in(findings: Iterable[Finding], said: Callable[[str], str]) -> tuple[Finding, ...]:
    """Findings with what they say, and say to do, put otherwise."""
    return tuple(replace(f, say=said(f.say), do=said(f.do)) for f in findings)


def _advised(advice: Advised, said: Callable[[str], str]) -> Advised:
    b = advice.because
    if b is None:
        return advice
    return replace(advice, because=Because(said(b.used), said(b.concluded), said(b.sure), said(b.would_change)))


def _oldest_first(state: State) -> list[Past]:
    return list(walk(state.past))[::-1]


def declared(view: View, readings: Mapping[str, Any], chosen: ChosenUnits) -> dict[str, Any]:
    """Readings typed in the chosen units, in the units that the file declares. `view` is the file's own."""
    asks = {ask.name: ask for ask in view.read}
    return {
        name: chosen.typed(value, asks[name].unit, asks[name].quantity) if name in asks else value
        for name, value in readings.items()
    }


def _ask(ask: Ask, chosen: ChosenUnits) -> Ask:
    unit = chosen.unit(ask.unit, ask.quantity)
    if unit == ask.unit:
        return ask

    def shown(value: Any) -> Any:
        return chosen.shown(value, ask.unit, ask.quantity)

    return replace(
        ask,
        unit=unit,
        range=shown(ask.range),
        healthy=shown(ask.healthy),
        step=None if ask.step is None else chosen.mark(ask.step, ask.unit, ask.quantity),
        last=shown(ask.last),
        expect=shown(ask.expect),
        rounds=False,  # the run rounds to the file's own step
    )


def _latest(row: Latest, chosen: ChosenUnits) -> Latest:
    unit = chosen.unit(row.unit, row.quantity)
    if unit == row.unit:
        return row

    def width(value: Fraction) -> Fraction:
        return chosen.width(value, row.unit, row.quantity)

    return replace(
        row,
        unit=unit,
        row=chosen.shown(row.row, row.unit, row.quantity),
        tolerance=None if row.tolerance is None else width(row.tolerance),
        spreads=tuple(width(s) for s in row.spreads),
        step=None if row.step is None else chosen.mark(row.step, row.unit, row.quantity),
    )


def _move(move: Move, view: View, chosen: ChosenUnits) -> Move:
    """A move with its aim; a reading's unit is that of this step's question, else of its newest row."""
    aim = move.aim
    if aim is None:
        return move
    seen: tuple[Ask | Latest, ...] = (*view.read, *view.latest)
    known = next((x for x in seen if x.name == aim.reading), None)
    if known is None:
        return move
    return replace(move, aim=Aim(aim.reading, chosen.shown(aim.value, known.unit, known.quantity), aim.place))
