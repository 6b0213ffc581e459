"""A view in the units that a shop chose, and what was typed in them back in the file's."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
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


@dataclass(frozen=True, slots=True)
class _Scale:
    """From the unit of a question or a row to the chosen one."""

    chosen: ChosenUnits
    here: str | None
    quantity: str
    unit: str | None

    def shown(self, value: Any) -> Any:
        return self.chosen.shown(value, self.here, self.quantity)

    def width(self, value: Fraction) -> Fraction:
        return self.chosen.width(value, self.here, self.quantity)

    def mark(self, step: Fraction | None) -> Fraction | None:
        return None if step is None else self.chosen.mark(step, self.here, self.quantity)


def _scale(of: Ask | Latest, chosen: ChosenUnits) -> _Scale | None:
    """None where the unit stays."""
    unit = chosen.unit(of.unit, of.quantity)
    return None if unit == of.unit else _Scale(chosen, of.unit, of.quantity, unit)


def _ask(ask: Ask, chosen: ChosenUnits) -> Ask:
    to = _scale(ask, chosen)
    if to is None:
        return ask
    return replace(
        ask,
        unit=to.unit,
        range=to.shown(ask.range),
        healthy=to.shown(ask.healthy),
        step=to.mark(ask.step),
        last=to.shown(ask.last),
        expect=to.shown(ask.expect),
        rounds=False,  # the run rounds to the file's own step
    )


def _latest(row: Latest, chosen: ChosenUnits) -> Latest:
    to = _scale(row, chosen)
    if to is None:
        return row
    tolerance = None if row.tolerance is None else to.width(row.tolerance)
    spreads = tuple(map(to.width, row.spreads))
    return replace(
        row, unit=to.unit, row=to.shown(row.row), tolerance=tolerance, spreads=spreads, step=to.mark(row.step)
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
