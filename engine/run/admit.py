"""Whether an answer may become an event: kinds, names, row lengths, ranges, dangers; it changes no state.

What passes is exact: numbers in base units, rounded once to the reading's step.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from engine.procedure.source.problems import did_you_mean
from engine.quantity.exact import exact, rounded
from engine.quantity.units import from_base, to_base
from engine.run.answer import Answer, AnswerRefused
from engine.run.events import Event
from engine.run.layout import ReadPlan, RunLayout
from engine.run.machine import cautions, dangers, way_of
from engine.run.names import bound
from engine.run.reported import fitted_by, moved_by
from engine.run.state import State
from engine.run.texts import number, said

#: The words that an answer is made of, in the order in which they are named to the person.
_KINDS = ("done", "readings", "symptom", "undo", "redo", "lost", "abandon", "note", "suspend")
#: What may be answered without having understood a danger: nothing of it lets the work go on.
_SAFE = frozenset({"undo", "redo", "lost", "abandon", "note", "suspend"})


def admit(plan: RunLayout, state: State, answer: Answer, at: str = "") -> Event:
    """The event that an answer is, or `AnswerRefused` with a sentence. `at` is the clock's text, never read."""
    kind = _kind(answer)
    if state.end is not None and kind not in ("undo", "note", "suspend"):
        raise AnswerRefused("This run is over. Undo the last answer to go back into it, or start another run.")
    if kind not in _SAFE and kind != "understood" and not answer.understood:
        _danger(plan, state)
    moved = None if answer.moved is None else moved_by(plan, state, answer.moved)
    fitted = None if answer.fitted is None else fitted_by(plan, answer.fitted)
    event = Event("done", None, None, answer.understood, moved, fitted, None, (), "", at)
    if kind == "readings":
        readings, lacking = _readings(plan, state, answer)
        if not readings:
            return event
        return event._replace(kind="readings", readings=readings, lacking=lacking or None)
    if kind == "done":
        return _done(plan, state, event)
    if kind == "symptom":
        return _symptom(state, answer.symptom, event)
    if kind == "lost":
        return _lost(plan, answer.lost, event)
    return _rest(state, answer, kind, event)


def _kind(answer: Answer) -> str:
    given = [k for k in _KINDS if getattr(answer, k) not in (None, False)]
    if len(given) > 1:
        raise AnswerRefused(f"An answer is one thing, but this one gives {' and '.join(given)}. Give one of them.")
    if given:
        return given[0]
    for kind in ("moved", "fitted", "waited"):
        if getattr(answer, kind) is not None:
            return kind
    if answer.understood is True:
        return "understood"
    raise AnswerRefused("The answer is empty. Give the readings, done, a symptom, undo, lost, a note or abandon.")


def _danger(plan: RunLayout, state: State) -> None:
    open_ = dangers(plan, state)
    if open_:
        declared = state.frame.at.file.procedure.cautions
        text = said(next(declared[n].text for n in cautions(plan, state) if n in open_), state.frame.env)
        raise AnswerRefused(
            f"There is a danger to understand first: {text} Say that it is understood, with the answer."
        )


# ---- readings


def asks(plan: RunLayout, state: State) -> tuple[ReadPlan, ...]:
    """The readings that the step in force takes."""
    reads = state.frame.at.reads
    if all(r.when is None for r in reads):
        return reads
    names = bound(state.frame.env, state.world.positions)
    return tuple(r for r in reads if r.when is None or r.when(names))


def asked(state: State, read: ReadPlan) -> str:
    """The question of a reading as it is put."""
    return said(read.reading.ask, state.frame.env)


def _readings(plan: RunLayout, state: State, answer: Answer) -> tuple[dict[str, Any], dict[str, str]]:
    given = answer.readings
    if not isinstance(given, Mapping):
        raise AnswerRefused("Readings belong by name: one value, or one row, for each name asked.")
    wanted = asks(plan, state)
    if not wanted and given:
        raise AnswerRefused("This step takes no readings. Do what it says and answer done.")
    names = [r.name for r in wanted]
    for name in given:
        if name not in names:
            raise AnswerRefused(f"'{name}' is not asked here. {did_you_mean(str(name), names, 'Asked')}".strip())
    reasons = answer.lacking or {}
    taken, lacking = {}, {}
    for read in wanted:
        if read.name not in given and not (read.may_lack and read.name in reasons):
            raise AnswerRefused(f"'{read.name}' ({asked(state, read)}) is missing. Take that reading, too.")
        taken[read.name] = _row(plan, state, read, given.get(read.name))
        if read.name in reasons:
            lacking[read.name] = str(reasons[read.name])[:500]
    return taken, lacking


def _row(plan: RunLayout, state: State, read: ReadPlan, value: Any) -> Any:
    each = read.reading.type.each
    if each is None:
        if isinstance(value, list | tuple):
            if len(value) != 1:
                raise AnswerRefused(f"{asked(state, read)}: one value is asked, not a row of {len(value)}.")
            value = value[0]
        return _one(read, value, asked(state, read))
    places = plan.bank.places(each, state.frame.here)
    if value is None and read.may_lack:
        return (None,) * len(places)
    if not isinstance(value, list | tuple):
        if len(places) != 1 or value is None:
            raise AnswerRefused(f"{asked(state, read)}: a row of {len(places)} is asked, one value for each {each}.")
        value = (value,)
    if len(value) != len(places):
        raise AnswerRefused(
            f"{asked(state, read)}: the row has {len(value)} values, but {len(places)} are asked, one for each {each}."
        )
    words, ask = state.frame.at.file.place_words, asked(state, read)
    row = tuple(
        _one(read, v, f"{ask}, {words(p)}" if each != "cylinder" else f"{ask}, cylinder {p.carb}")
        for v, p in zip(value, places, strict=True)
    )
    if places and all(v is None for v in row) and not read.may_lack:
        raise AnswerRefused(f"{asked(state, read)}: no value was given.")
    return row


def _one(read: ReadPlan, value: Any, what: str) -> Any:
    reading = read.reading
    if value is None or value == "":
        if read.may_lack:
            return None
        raise AnswerRefused(f"{what}: a value is needed; this place can't be left out.")
    if reading.type.choices:
        if value not in reading.type.choices:
            hint = did_you_mean(str(value), reading.type.choices, "It may be")
            raise AnswerRefused(
                f"{what}: '{str(value)[:40]}' is not one of its answers. {hint or 'Choose one of the list.'}"
            )
        return value
    return _number(read, value, what)


def _number(read: ReadPlan, value: Any, what: str) -> Fraction:
    kind = read.reading.type
    unit = kind.unit or ""
    found = exact(value)
    if found is None:
        raise AnswerRefused(f"{what}: '{str(value)[:40]}' is not a number. Give a number in {unit or 'plain figures'}.")
    base = to_base(found, unit)
    if (kind.low is not None and base < kind.low) or (kind.high is not None and base > kind.high):
        low, high = (number(from_base(v, unit)) if v is not None else "no limit" for v in (kind.low, kind.high))
        raise AnswerRefused(
            f"{what}: {number(found)} {unit} is outside {low} to {high} {unit}. Look at the reading again.".replace(
                "  ", " "
            ).replace(" .", ".")
        )
    return rounded(base, read.reading.step, kind.low, kind.high, to_base(Fraction(0), unit))


# ---- the other kinds


def _done(plan: RunLayout, state: State, event: Event) -> Event:
    wanted = asks(plan, state)
    if wanted and not all(r.may_lack for r in wanted):
        names = ", ".join(f"'{r.name}'" for r in wanted)
        raise AnswerRefused(f"This step takes readings: {names}. Give them instead of done.")
    if wanted:
        places = {r.name: plan.bank.places(r.reading.type.each, state.frame.here) for r in wanted}
        empty = {r.name: None if r.reading.type.each is None else (None,) * len(places[r.name]) for r in wanted}
        return event._replace(kind="readings", readings=empty)
    return event


def _symptom(state: State, symptom: Any, event: Event) -> Event:
    offered = symptoms(state)
    if symptom not in offered:
        hint = did_you_mean(str(symptom), offered, "Here it may be")
        raise AnswerRefused(f"The symptom '{str(symptom)[:40]}' leads nowhere at this step. {hint}".strip())
    return event._replace(kind="symptom", symptom=symptom)


def symptoms(state: State) -> tuple[str, ...]:
    """The symptoms that lead somewhere from the step in force, nearest first."""
    found: dict[str, None] = {}
    frame = state.frame
    here: Any = frame
    while here is not None:
        for name in (*here.at.step.symptoms, *here.at.file.procedure.symptoms):
            if name not in found and way_of(frame, name) is not None:
                found[name] = None
        here = here.caller
    return tuple(found)


def _lost(plan: RunLayout, lost: Any, event: Event) -> Event:
    if isinstance(lost, str) or not isinstance(lost, list | tuple) or not lost:
        raise AnswerRefused("Name the screws whose count was lost, as a list.")
    for name in lost:
        if name not in plan.screws:
            hint = did_you_mean(str(name), plan.screws, "Its screws")
            raise AnswerRefused(f"'{str(name)[:40]}' is no screw of this procedure. {hint}".strip())
    return event._replace(kind="lost", lost=tuple(lost))


def _rest(state: State, answer: Answer, kind: str, event: Event) -> Event:
    if kind == "undo":
        if state.past is None:
            raise AnswerRefused("There is nothing to undo: this is the first step.")
        return Event("undo", at=event.at)
    if kind == "redo":
        if state.redo is None:
            raise AnswerRefused("There is nothing to take up again.")
        return Event("redo", at=event.at)
    if kind in ("note", "abandon"):
        text = getattr(answer, kind)
        if not isinstance(text, str) or not text.strip():
            raise AnswerRefused("A note needs words." if kind == "note" else "Say why the run is given up.")
        return Event("note" if kind == "note" else "abandoned", text=text.strip()[:2000], at=event.at)
    if kind == "waited":
        seconds = exact(answer.waited)
        if seconds is None or seconds < 0:
            raise AnswerRefused("A wait is a number of seconds.")
        return Event("waited", text=number(seconds), at=event.at)
    return event._replace(kind="suspended" if kind == "suspend" else kind)  # type: ignore[arg-type]
