"""What a technician, a screen or a program answers, and the kinds of answers there are, once; it checks nothing
(`admit` does).

`KINDS` is the one table of them: admission, events, record and line protocol all read it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from engine.run.events import Kind as EventKind


class AnswerRefused(ValueError):
    """An answer that can't be taken; the message is a sentence that says what is wrong and what to do. Nothing
    changed.
    """


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer to a step: exactly one of the keys of `KINDS`, with riders beside it.

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

    done: bool = False
    readings: Mapping[str, Any] | None = None
    symptom: str | None = None
    gate: str | None = None
    undo: bool = False
    strike: int | None = None
    redo: bool = False
    lost: Sequence[str] | None = None
    abandon: str | None = None
    note: str | None = None
    wait_for_parts: Mapping[str, Any] | None = None
    resume: bool = False
    #: Seconds that were waited, where the step has a wait.
    waited: Any = None
    suspend: bool = False
    # ---- riders
    understood: bool = False
    moved: Sequence[Any] | None = None
    fitted: Sequence[Any] | None = None
    lacking: Mapping[str, Any] | None = None
    reason: str | None = None
    about: int | None = None
    photo: str | None = None
    key: str | None = None
    answers: Any = None
    by: str | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of answer. `key` is its name in an answer, `event` what it becomes. `works`: it lets the work go on, so
    a danger must be understood first. `paused`, `ended`: it may be given while the run waits for parts, or is over.
    `beside`: the riders that it alone takes; what was understood, turned or fitted may stand beside any.
    """

    key: str
    event: EventKind
    works: bool = False
    paused: bool = False
    ended: bool = False
    beside: tuple[str, ...] = ()


KINDS = (
    Kind("done", "done", works=True),
    Kind("readings", "readings", works=True, beside=("lacking",)),
    Kind("symptom", "symptom", works=True),
    Kind("gate", "gate", beside=("reason",)),
    Kind("undo", "undo", ended=True),
    Kind("strike", "strike", ended=True),
    Kind("redo", "redo"),
    Kind("lost", "lost"),
    Kind("abandon", "abandoned", paused=True),
    Kind("note", "note", paused=True, ended=True, beside=("about", "photo")),
    Kind("wait_for_parts", "waiting", paused=True),
    Kind("resume", "resumed", paused=True),
    Kind("waited", "waited"),
    Kind("suspend", "suspended", paused=True, ended=True),
)
#: What may also stand alone, and then answers nothing: a danger understood, a screw turned, a part fitted.
ALONE = (Kind("moved", "moved"), Kind("fitted", "fitted"), Kind("understood", "understood"))
#: Riders that stand beside an answer of any kind.
RIDERS = ("understood", "moved", "fitted", "lacking", "reason", "about", "photo", "key", "answers", "by")
