"""Whether an answer may become an event: kinds, names, row lengths, ranges, dangers; it changes no state.

What passes is exact: numbers in base units, as fine as they were given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from operator import attrgetter
from typing import Any

from engine.procedure.source.problems import did_you_mean
from engine.quantity.exact import exact
from engine.quantity.units import NotAQuantity
from engine.quantity.values import NOT_TAKEN, OVER_RANGE, Missing, OverRange
from engine.quantity.wording import decimal
from engine.run import gate
from engine.run.answer import ALONE, KINDS, Answer, AnswerRefused, Kind
from engine.run.events import GO_ON, Event
from engine.run.layout import ReadPlan, RunLayout
from engine.run.machine import cautions, dangers, way_of
from engine.run.reported import fitted_by, moved_by
from engine.run.scope import scope
from engine.run.state import Gate, State, spoken_name, visit_of_run, walk
from engine.run.texts import said

#: The longest text that is kept of a note or a reason, in characters; a longer one is refused, never cut.
LONGEST_NOTE, LONGEST_REASON, LONGEST_NAME = 10_000, 500, 80
#: Nobody waits longer than this at a step (seconds): a week.
_LONGEST_WAIT = 7 * 24 * 3600

_GIVEN = attrgetter(*(k.key for k in KINDS))


def admit(plan: RunLayout, state: State, answer: Answer, at: str = "") -> Event:
    """The event that an answer is, or `AnswerRefused` with a sentence. `at` is the clock's text, never read."""
    kind = _kind(answer)
    if state.gate is not None and kind.key == "readings":
        answer, kind = _through(state.gate, answer)
    _in_place(state, kind)
    if answer.answers is not None:
        _fresh(state, answer.answers)
    if kind.works and not answer.understood:
        if kind.key == "symptom":
            answer = _before_it_began(plan, state, answer)
        else:
            _danger(plan, state)
    if answer.lacking is not None or answer.reason is not None or answer.about is not None or answer.photo is not None:
        _beside(kind, answer)
    moved = None if answer.moved is None else moved_by(plan, state, answer.moved)
    fitted = None if answer.fitted is None else fitted_by(plan, answer.fitted)
    by = "" if answer.by is None else _text(answer.by, "Who answers is a short name or a number.", LONGEST_NAME)
    event = Event(kind.event, None, None, answer.understood is True, moved, fitted, None, (), "", at, "", (), by)
    return _ADMIT[kind.key](plan, state, answer, event)


def _kind(answer: Answer) -> Kind:
    values = _GIVEN(answer)
    given = [k for k, value in zip(KINDS, values, strict=True) if value is not None and value is not False]
    if len(given) > 1:
        names = " and ".join(k.key for k in given)
        raise AnswerRefused(f"An answer is one thing, but this one gives {names}. Give one of them.")
    if given:
        return given[0]
    for kind in ALONE:
        if getattr(answer, kind.key) not in (None, False):
            return kind
    raise AnswerRefused("The answer is empty. Give the readings, done, a symptom, undo, lost, a note or abandon.")


def _beside(kind: Kind, answer: Answer) -> None:
    for rider in ("lacking", "reason", "about", "photo"):
        if getattr(answer, rider) is not None and rider not in kind.beside:
            raise AnswerRefused(f"'{rider}' says nothing beside '{kind.key}'. Leave it out.")


def _in_place(state: State, kind: Kind) -> None:
    """Refuse what can't be given now: the run is over, or waits for parts."""
    if state.end is not None and not kind.ended:
        raise AnswerRefused("This run is over. Undo the last answer to go back into it, or start another run.")
    if state.gate is not None and kind.works:
        raise AnswerRefused(f"A stop stands here: {state.gate.say} Answer it first: {_ways(state.gate)}.")
    if state.waiting is not None and not kind.paused:
        parts = ", ".join(state.waiting.parts)
        raise AnswerRefused(f"This run waits for parts: {parts}. Say 'resume' when the work goes on, then answer.")


def _ways(stop: Gate) -> str:
    *others, last = (f"'{way}'" for way in gate.choices(stop))
    return f"{', '.join(others)} or {last}"


def _through(stop: Gate, answer: Answer) -> tuple[Answer, Kind]:
    """The answer to a stop gate that came as the one reading that it shows."""
    given = answer.readings
    if not isinstance(given, Mapping) or given.keys() != {gate.NAME}:
        raise AnswerRefused(f"A stop stands here: {stop.say} Answer it first: '{gate.NAME}' is {_ways(stop)}.")
    return replace(answer, readings=None, gate=given[gate.NAME]), next(k for k in KINDS if k.key == "gate")


def _fresh(state: State, answers: Any) -> None:
    """Refuse an answer to a step that is no longer in force."""
    if type(answers) is int:
        if answers != state.seq:
            raise AnswerRefused(
                f"This answers the step after event {answers}, but the step in force came after event {state.seq}. "
                "Nothing was recorded: look at the step, then answer it."
            )
        return
    if isinstance(answers, Mapping) and answers.keys() == {"step", "visit"}:
        step, visit = spoken_name(state), visit_of_run(state)
        if (answers["step"], answers["visit"]) != (step, visit):
            raise AnswerRefused(
                f"This answers '{str(answers['step'])[:40]}', visit {str(answers['visit'])[:12]}, but the step in "
                f"force is '{step}', visit {visit}. Nothing was recorded: look at the step, then answer it."
            )
        return
    raise AnswerRefused("'for' is the seq of the step that is answered, or its step and visit.")


def _text(value: Any, wanted: str, longest: int) -> str:
    """A text that a record can hold, stripped. Raises `AnswerRefused`: `wanted` where there are no words."""
    if not isinstance(value, str) or not value.strip():
        raise AnswerRefused(wanted)
    text = value.strip()
    if len(text) > longest:
        raise AnswerRefused(
            f"The text has {len(text)} characters; at most {longest} are kept. Nothing was recorded: shorten it, or "
            "give it in parts."
        )
    try:
        text.encode()
    except UnicodeEncodeError:
        raise AnswerRefused("The text holds half of a character, which can't be written down. Type it again.") from None
    return text


def _before_it_began(plan: RunLayout, state: State, answer: Answer) -> Answer:
    """A symptom waits for nobody's reading: where a danger is still to be understood, nothing of the step was done."""
    if not dangers(plan, state):
        return answer
    return replace(
        answer,
        moved=() if answer.moved is None else answer.moved,
        fitted=() if answer.fitted is None else answer.fitted,
    )


def _danger(plan: RunLayout, state: State) -> None:
    open_ = dangers(plan, state)
    if open_:
        declared = state.frame.at.file.procedure.cautions
        text = said(next(declared[n].text for n in cautions(plan, state) if n in open_), state.frame.names)
        raise AnswerRefused(
            f"There is a danger to understand first: {text} Say that it is understood, with the answer."
        )


# ---- readings


def asks(plan: RunLayout, state: State) -> tuple[ReadPlan, ...]:
    """The readings that the step in force takes."""
    if state.gate is not None:
        return ()
    reads = state.frame.at.reads
    if all(r.when is None for r in reads):
        return reads
    names = scope(state.frame, state.world.positions).names
    return tuple(r for r in reads if r.when is None or r.when(names))


def asked(state: State, read: ReadPlan) -> str:
    """The question of a reading as it is put."""
    return said(read.reading.ask, state.frame.names)


def _readings(
    plan: RunLayout, state: State, answer: Answer
) -> tuple[dict[str, Any], dict[str, str | tuple[str | None, ...]]]:
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
    reasons = {} if answer.lacking is None else _reasons(answer.lacking, names)
    taken: dict[str, Any] = {}
    lacking: dict[str, str | tuple[str | None, ...]] = {}
    for read in wanted:
        if read.name not in given and not (read.may_lack and read.name in reasons):
            raise AnswerRefused(f"'{read.name}' ({asked(state, read)}) is missing. Take that reading, too.")
        value, whys = _row(plan, state, read, given.get(read.name))
        taken[read.name] = value
        why = reasons.get(read.name)
        if whys:
            row = value if isinstance(value, tuple) else (value,)
            lacking[read.name] = tuple(w or (why if v is None else None) for v, w in zip(row, whys, strict=True))
        elif why is not None:
            lacking[read.name] = why
        if read.reading.lack_needs_reason:
            _all_reasons(state, read, value, lacking.get(read.name))
    return taken, lacking


def _reasons(lacking: Any, names: list[str]) -> dict[str, str]:
    """Why readings were not taken, by name."""
    if not isinstance(lacking, Mapping):
        raise AnswerRefused("'lacking' gives a reason by the name of a reading.")
    for name in lacking:
        if name not in names:
            raise AnswerRefused(f"'lacking' names '{str(name)[:40]}', which is not asked here.")
    return {name: _text(why, _WHY, LONGEST_REASON) for name, why in lacking.items() if why not in (None, "")}


def _all_reasons(state: State, read: ReadPlan, value: Any, said: str | tuple[str | None, ...] | None) -> None:
    """Refuse a place that was not taken without its reason."""
    row = value if isinstance(value, tuple) else (value,)
    whys = said if isinstance(said, tuple) else (said,) * len(row)
    if any(v is None and not why for v, why in zip(row, whys, strict=True)):
        raise AnswerRefused(f"{asked(state, read)}: a place that is not taken needs its reason.")


_WHY = "The reason why a reading was not taken is a text of a few words."


def _row(plan: RunLayout, state: State, read: ReadPlan, value: Any) -> tuple[Any, tuple[str | None, ...]]:
    """A reading, single or a row, and why its places were not taken."""
    each = read.reading.type.each
    whole, why = _why(value)
    if each is None:
        if isinstance(value, list | tuple):
            if len(value) != 1:
                raise AnswerRefused(f"{asked(state, read)}: one value is asked, not a row of {len(value)}.")
            whole, why = _why(value[0])
        return _one(read, whole, asked(state, read)), (why,) if why else ()
    places = plan.bank.places(each, state.frame.here)
    if whole is None and read.may_lack:
        return (None,) * len(places), (why,) * len(places) if why else ()
    if not isinstance(value, list | tuple):
        if len(places) != 1 or value is None:
            raise AnswerRefused(f"{asked(state, read)}: a row of {len(places)} is asked, one value for each {each}.")
        value = (value,)
    if len(value) != len(places):
        raise AnswerRefused(
            f"{asked(state, read)}: the row has {len(value)} values, but {len(places)} are asked, one for each {each}."
        )
    words, ask = state.frame.at.file.place_words, asked(state, read)
    pairs = [_why(v) for v in value]
    row = tuple(
        _one(read, v, f"{ask}, {words(p)}" if each != "cylinder" else f"{ask}, cylinder {p.carb}")
        for (v, _), p in zip(pairs, places, strict=True)
    )
    if places and all(v is None for v in row) and not read.may_lack:
        raise AnswerRefused(f"{asked(state, read)}: no value was given.")
    whys = tuple(w for _, w in pairs)
    return row, whys if any(whys) else ()


def _why(value: Any) -> tuple[Any, str | None]:
    """A value, and its reason where it says that the place was not taken."""
    if isinstance(value, Missing):
        return None, _text(value.reason, _WHY, LONGEST_REASON)
    if isinstance(value, dict) and value.keys() == {NOT_TAKEN}:
        return None, _text(value[NOT_TAKEN], _WHY, LONGEST_REASON)
    return value, None


def _one(read: ReadPlan, value: Any, what: str) -> Any:
    reading = read.reading
    if value is None or value == "":
        if read.may_lack:
            return None
        raise AnswerRefused(f"{what}: a value is needed; this place can't be left out.")
    if reading.over_range and reading.type.high is not None and value == OVER_RANGE:
        return OverRange(reading.type.high)
    if reading.type.choices:
        if value not in reading.type.choices:
            hint = did_you_mean(str(value), reading.type.choices, "It may be")
            raise AnswerRefused(
                f"{what}: '{str(value)[:40]}' is not one of its answers. {hint or 'Choose one of the list.'}"
            )
        return value
    return _number(read, value, what)


def _number(read: ReadPlan, value: Any, what: str) -> Fraction:
    try:
        return read.measure.base(read.measure.given(value))
    except NotAQuantity as fault:
        raise AnswerRefused(f"{what}: {fault}") from None


# ---- each kind

_Admit = Callable[[RunLayout, State, Answer, Event], Event]
_ADMIT: dict[str, _Admit] = {k.key: lambda plan, state, answer, event: event for k in (*KINDS, *ALONE) if k.plain}


def _admits(key: str) -> Callable[[_Admit], _Admit]:
    """What a kind of answer still needs to become its event."""

    def bind(admits: _Admit) -> _Admit:
        _ADMIT[key] = admits
        return admits

    return bind


@_admits("readings")
def _given(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    readings, lacking = _readings(plan, state, answer)
    if not readings:
        return event._replace(kind="done")
    _, _, _, understood, moved, fitted, _, _, _, at, _, _, by = event
    return Event("readings", readings, None, understood, moved, fitted, lacking or None, (), "", at, "", (), by)


@_admits("done")
def _done(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    if answer.done is not True:
        raise AnswerRefused("'done' is true or left out.")
    wanted = asks(plan, state)
    if wanted and not all(r.may_lack for r in wanted):
        names = ", ".join(f"'{r.name}'" for r in wanted)
        raise AnswerRefused(f"This step takes readings: {names}. Give them instead of done.")
    if wanted:
        return _given(plan, state, Answer(readings={r.name: None for r in wanted}), event._replace(kind="readings"))
    return event


@_admits("symptom")
def _symptom(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    offered = symptoms(state)
    if answer.symptom not in offered:
        hint = did_you_mean(str(answer.symptom), offered, "Here it may be")
        raise AnswerRefused(f"The symptom '{str(answer.symptom)[:40]}' leads nowhere at this step. {hint}".strip())
    return event._replace(symptom=answer.symptom)


def symptoms(state: State) -> tuple[str, ...]:
    """The symptoms that lead somewhere from the step in force, nearest first."""
    found: dict[str, None] = {}
    frame = state.frame
    if state.gate is not None:
        return ()
    here: Any = frame
    while here is not None:
        for name in (*here.at.step.symptoms, *here.at.file.procedure.symptoms):
            if name not in found and way_of(frame, name) is not None:
                found[name] = None
        here = here.caller
    return tuple(found)


@_admits("gate")
def _gate(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    stop = state.gate
    if stop is None:
        raise AnswerRefused("No stop stands here, so there is none to answer.")
    if answer.gate not in gate.choices(stop):
        hint = did_you_mean(str(answer.gate), gate.choices(stop), "It may be")
        raise AnswerRefused(f"'{str(answer.gate)[:40]}' is no way on from a stop. {hint or _ways(stop)}".strip())
    reason = answer.reason
    if answer.gate == GO_ON or reason not in (None, ""):
        reason = _text(reason, "To go on knowingly needs a reason: it stands on the sheet.", LONGEST_REASON)
    return event._replace(gate=answer.gate, text=reason or "")


@_admits("lost")
def _lost(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    lost = answer.lost
    if isinstance(lost, str) or not isinstance(lost, list | tuple) or not lost:
        raise AnswerRefused("Name the screws whose count was lost, as a list.")
    for name in lost:
        if not isinstance(name, str) or name not in plan.screws:
            hint = did_you_mean(str(name), plan.screws, "Its screws")
            raise AnswerRefused(f"'{str(name)[:40]}' is no screw of this procedure. {hint}".strip())
    return event._replace(lost=tuple(lost))


@_admits("undo")
def _undo(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    if state.past is None:
        raise AnswerRefused("There is nothing to undo: this is the first step.")
    return event


@_admits("strike")
def _strike(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    seq = answer.strike
    if type(seq) is not int or seq not in (p.seq for p in walk(state.past)):
        raise AnswerRefused(
            f"'{str(seq)[:20]}' is the number of no answer that stands. Name one by the number of its event."
        )
    return event._replace(text=str(seq))


@_admits("redo")
def _redo(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    if state.redo is None:
        raise AnswerRefused("There is nothing to take up again.")
    return event


@_admits("note")
def _note(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    text = _text(answer.note, "A note needs words.", LONGEST_NOTE)
    if answer.about is not None:
        about = next((p for p in walk(state.past) if p.seq == answer.about), None)
        if about is None:
            raise AnswerRefused(f"'{str(answer.about)[:20]}' is the number of no answer that stands: note about which?")
        at = about.state.frame.at
        text = f"{at.step.title or spoken_name(about.state)} (answer {about.seq}): {text}"
    if answer.photo is not None:
        text += f" [photograph: {_text(answer.photo, 'A photograph is named by its file.', LONGEST_REASON)}]"
    return event._replace(text=text)


@_admits("abandon")
def _abandon(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    return event._replace(text=_text(answer.abandon, "Say why the run is given up.", LONGEST_NOTE))


@_admits("wait_for_parts")
def _wait_for_parts(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    asked = answer.wait_for_parts
    sentence = "Say which parts the run waits for: a list of names, and a note beside it if you like."
    if not isinstance(asked, Mapping) or not asked.keys() <= {"parts", "note"}:
        raise AnswerRefused(sentence)
    parts = asked.get("parts")
    if not isinstance(parts, list | tuple) or not parts:
        raise AnswerRefused(sentence)
    named = tuple(_text(p, sentence, LONGEST_REASON) for p in parts)
    note = asked.get("note")
    return event._replace(awaited=named, text=_text(note, sentence, LONGEST_NOTE) if note not in (None, "") else "")


@_admits("waited")
def _waited(plan: RunLayout, state: State, answer: Answer, event: Event) -> Event:
    seconds = exact(answer.waited)
    if seconds is None or not 0 <= seconds <= _LONGEST_WAIT:
        raise AnswerRefused("A wait is a number of seconds, from 0 up to a week.")
    return event._replace(text=decimal(seconds))
