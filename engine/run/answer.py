"""What a technician, a screen or a program answers, and the kinds of answers there are, once; it checks nothing
(`admit` does).

Each field of `Answer` says what it is: a kind of answer or a rider, and how it is written on a line. Admission, the
line protocol with its model and its schema, and the tables below are made from that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Annotated, Any, Literal, get_args, get_type_hints

from pydantic import Field

from engine.run.events import Kind as EventKind
from engine.run.events import Way
from engine.run.spoken import Awaited, Count, Given, Number, ReportedMove, ReportedPart, Spoken, Visit, Words


class AnswerRefused(ValueError):
    """An answer that can't be taken; the message is a sentence that says what is wrong and what to do. Nothing
    changed.
    """


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of answer: what it becomes, and its key (the name of its field). `works`: it lets the work go on, so a
    danger must be understood first (but what is seen or heard is told at any time). `paused`, `ended`: it may be given
    while the run waits for parts, or is over. `aside`: it answers nothing, so no step is sent after it. `beside`: the
    riders that it alone takes; what was understood, turned or fitted may stand beside any. `plain`: it needs nothing
    more to become its event; any other has its admission in `admit`. `rider`: it stands beside others, and alone
    answers nothing.
    """

    event: EventKind
    works: bool = False
    paused: bool = False
    ended: bool = False
    aside: bool = False
    beside: tuple[str, ...] = ()
    plain: bool = False
    rider: bool = False
    key: str = ""


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer to a step: exactly one kind, with riders beside it.

    `readings`: by name, in the reading's declared unit (Fraction, int, float or Decimal), a choice's word, or a row
    of them; a place that was not taken is None, `Missing(reason)` or `{"not taken": reason}`, a needle beyond its scale
    `"over range"`. `lacking` gives a reason by name. `gate` answers a stop gate, with its `reason`. `moved` and
    `fitted` (`Move`, `Part`, or mappings with their keys) say what was done where it differs from what was asked; `()`
    or `[]`: nothing. `lost` names screws whose count was lost. `wait_for_parts`: `{"parts": [words], "note": words}`.
    `strike` is the number of an earlier answer: it and what followed are struck. A `note` may be `about` the answer of
    that number, with the file name of a `photo`.
    `key` makes the answer safe to send twice; `answers` is the step that it answers: the `seq` that was shown with it,
    or its `{"step", "visit"}`; `by` who answers.
    """

    done: Annotated[
        bool,
        Kind("done", works=True),
        Spoken(Literal[True], "true: the step was done; for a step that reads nothing, or only what may lack."),
    ] = False
    readings: Annotated[
        Mapping[str, Any] | None,
        Kind("readings", works=True, beside=("lacking",)),
        Spoken(
            dict[str, Given | list[Given]],
            "an object: each name asked with its value, or a row as long as count; where a place may lack, null or "
            '{"not taken": reason}; where the scale may be too short, "over range".',
        ),
    ] = None
    symptom: Annotated[
        str | None,
        Kind("symptom", works=True),
        Spoken(str, "the id of a symptom of the step; its readings are void."),
    ] = None
    gate: Annotated[
        str | None,
        Kind("gate", beside=("reason",)),
        Spoken(
            Way,
            "the way on from a stop: mended (it is read again), ends here, or go on knowingly, with a reason.",
        ),
    ] = None
    undo: Annotated[
        bool,
        Kind("undo", ended=True),
        Spoken(Literal[True], "true: strike the last answer. No screw is turned back."),
    ] = False
    strike: Annotated[
        int | None,
        Kind("strike", ended=True),
        Spoken(
            Count,
            "the number of an earlier answer (its seq, as recorded): it and all that followed are struck. No screw is "
            "turned back; redo takes them up again.",
        ),
    ] = None
    redo: Annotated[bool, Kind("redo"), Spoken(Literal[True], "true: take the struck answer up again.")] = False
    lost: Annotated[
        Sequence[str] | None,
        Kind("lost"),
        Spoken(
            Annotated[list[str], Field(min_length=1)],
            "a list of screw ids: their count was lost, and their positions are unknown from here on.",
        ),
    ] = None
    abandon: Annotated[
        str | None,
        Kind("abandoned", paused=True),
        Spoken(Words, "a text, the reason: the run is given up."),
    ] = None
    note: Annotated[
        str | None,
        Kind("note", paused=True, ended=True, aside=True, beside=("about", "photo")),
        Spoken(Words, "a text; it is recorded and answers nothing, so no step is sent after it."),
    ] = None
    wait_for_parts: Annotated[
        Mapping[str, Any] | None,
        Kind("waiting", paused=True),
        Spoken(Awaited, "an object: the parts that the run waits for, and a note. It goes on with resume."),
    ] = None
    resume: Annotated[
        bool,
        Kind("resumed", paused=True, plain=True),
        Spoken(Literal[True], "true: the work goes on after a pause; dangers are to be understood again."),
    ] = False
    #: Seconds that were waited, where the step has a wait.
    waited: Annotated[
        Any,
        Kind("waited", aside=True),
        Spoken(
            Annotated[Number, Field(ge=0)],
            "a number of seconds that were waited; it answers nothing, so no step is sent after it.",
        ),
    ] = None
    suspend: Annotated[
        bool,
        Kind("suspended", paused=True, ended=True, plain=True),
        Spoken(Literal[True], "true: the technician leaves; the run stays where it is."),
    ] = False
    # ---- riders
    understood: Annotated[
        bool,
        Kind("understood", rider=True, plain=True),
        Spoken(bool, "true or false: the dangers of the step are understood; without it such a step is refused."),
    ] = False
    moved: Annotated[
        Sequence[Any] | None,
        Kind("moved", rider=True, plain=True),
        Spoken(
            list[ReportedMove],
            "a list of moves: what was turned, where it differs from what was asked; an empty list: nothing.",
        ),
    ] = None
    fitted: Annotated[
        Sequence[Any] | None,
        Kind("fitted", rider=True, plain=True),
        Spoken(
            list[ReportedPart],
            "a list of parts: what was fitted, where it differs from what was asked; an empty list: nothing.",
        ),
    ] = None
    lacking: Annotated[
        Mapping[str, Any] | None,
        Spoken(dict[str, str], "an object: why a reading was not taken, by the reading's name; beside readings."),
    ] = None
    reason: Annotated[
        str | None, Spoken(str, "a text: why a stop is gone on from, or ended at; beside the choice of a stop.")
    ] = None
    about: Annotated[int | None, Spoken(Count, "the number of the answer that a note is about; beside note.")] = None
    photo: Annotated[str | None, Spoken(Words, "the file name of a photograph; beside note.")] = None
    key: Annotated[
        str | None,
        Spoken(
            Annotated[str, Field(min_length=1, max_length=200)],
            "a text of 1 to 200 characters: the same key is recorded once, however often it is sent.",
        ),
    ] = None
    answers: Annotated[
        Any,
        Spoken(
            Annotated[int, Field(ge=0)] | Visit,
            "the seq of the step that is answered, or its step and visit: a stale one is refused.",
            called="for",
        ),
    ] = None
    by: Annotated[
        str | None, Spoken(Annotated[str, Field(min_length=1, max_length=80)], "a short text: who answers.")
    ] = None


_HINTS = get_type_hints(Answer, include_extras=True)
_SAID = {one.name: get_args(_HINTS[one.name])[1:] for one in fields(Answer)}
#: How each key of an answer is written on a line.
SPOKEN: dict[str, Spoken] = {key: s for key, said in _SAID.items() for s in said if isinstance(s, Spoken)}
_EVERY = [replace(k, key=key) for key, said in _SAID.items() for k in said if isinstance(k, Kind)]
KINDS = tuple(k for k in _EVERY if not k.rider)
#: What may also stand alone, and then answers nothing: a danger understood, a screw turned, a part fitted.
ALONE = tuple(k for k in _EVERY if k.rider)
#: Riders that stand beside an answer of any kind.
RIDERS = tuple(key for key in SPOKEN if key not in {k.key for k in KINDS})
