"""What stands between the screen and the engine: opening jobs, procedures, runs and rehearsals, and answering; it
paints nothing.

The engine is imported inside the functions: the home screen is painted before any of it is loaded.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from engine.evidence import Place
from engine.view import View


class Trouble(Exception):
    """Something outside the technician's hands went wrong; the message is a sentence. Nothing acknowledged is lost."""


class Sitting:
    """One run at the screen. `playing` is None unless a rehearsal can play by itself; `pace` is its beat in seconds."""

    rehearses = False
    playing: bool | None = None
    pace = 2.5

    def __init__(self, session: Any, layout: tuple[int, int], marks: Mapping[Place, str] | None = None) -> None:
        self.session = session
        self.layout = layout
        self.marks = dict(marks or {})

    @property
    def view(self) -> View:
        """The step in force."""
        return self.session.view

    def answer(self, **answer: Any) -> str | None:
        """Give an answer; a sentence where it was refused. Returns only after it is on the disk; raises `Trouble`."""
        from engine.book.trouble import BookTrouble
        from engine.session import Answer

        try:
            return self.session.answer(Answer(**answer)).problem
        except BookTrouble as trouble:
            raise Trouble(str(trouble)) from trouble

    def reading(self, name: str) -> tuple[Any, str | None]:
        """A rehearsal's reading by its name, and the reason where a place is not taken."""
        raise NotImplementedError

    def symptom(self) -> str | None:
        """A rehearsal: what the virtual engine does that would be seen or heard now."""
        return None

    def suspend(self) -> None:
        """Leave the run where it stands."""
        try:
            self.answer(suspend=True)
        except Trouble:
            return  # it stays where it stood either way: every answer is on the disk
