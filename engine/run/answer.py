"""What a technician, a screen or a program answers, as it comes in; it checks nothing (`admit` does)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer to a step.

    `readings`: by name, in the reading's declared unit (Fraction, int, float or Decimal), a choice's word, or a row
    of them with None where a place was not taken; `lacking` gives the reason by name. `moved` and `fitted` (`Move`,
    `Part`, or mappings with their keys) say what was done where it differs from what was asked; `()` or `[]`:
    nothing. `lost` names screws whose count was lost. `key` makes the answer safe to send twice.
    """

    done: bool = False
    readings: Mapping[str, Any] | None = None
    symptom: str | None = None
    undo: bool = False
    redo: bool = False
    lost: Sequence[str] | None = None
    abandon: str | None = None
    note: str | None = None
    understood: bool = False
    moved: Sequence[Any] | None = None
    fitted: Sequence[Any] | None = None
    key: str | None = None
    lacking: Mapping[str, str] | None = None
    #: Seconds that were waited, where the step has a wait.
    waited: Any = None
    suspend: bool = False


class AnswerRefused(ValueError):
    """An answer that can't be taken; the message is a sentence that says what is wrong and what to do. Nothing
    changed.
    """
