"""Opening runs from jobs, procedures and the book, and what the home screen lists; it paints nothing.

The engine is imported inside the functions: the home screen is painted before any of it is loaded. What goes wrong
outside the technician's hands comes out as `Trouble` with a sentence.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.catalogue.shop import Shop
from tui.control import board
from tui.control.board import Board, Told
from tui.control.sitting import Sitting, Trouble, sentences

if TYPE_CHECKING:
    from engine.book.book import Book
    from engine.job.model import Job
    from engine.procedure.program import Program
    from engine.sheet.history import Visit


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of a list: what it is called, a word more, and what stands for it."""

    label: str
    hint: str
    key: Any


class Desk:
    """Jobs, runs and procedures of a shop. The book is opened when it is first needed."""

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self._book: Book | None = None
        self._rehearsals: Book | None = None

    @property
    def book(self) -> Book:
        """The job book; raises `Trouble` where it can't be opened."""
        if self._book is None:
            from engine.book.book import Book

            with sentences():
                self._book = Book.open(self.shop.book)
        return self._book

    @property
    def rehearsals(self) -> Book:
        """The book of rehearsals, beside the job book; in memory where it can't be kept."""
        if self._rehearsals is None:
            from engine.book.book import Book
            from engine.book.trouble import BookTrouble

            try:
                self._rehearsals = Book.open(self._rehearsals_path, backups=False)
            except BookTrouble:
                self._rehearsals = Book.memory()
        return self._rehearsals

    @property
    def _no_book_yet(self) -> bool:
        """Whether there is none; one that can't be reached says so when it is opened."""
        try:
            os.stat(self.shop.book)
        except (FileNotFoundError, NotADirectoryError):
            return True
        except OSError:
            return False
        return False

    @property
    def _rehearsals_path(self) -> Path:
        return self.shop.book.with_name(f"{self.shop.book.stem}.rehearsals{self.shop.book.suffix}")

    def open_rehearsals(self) -> list[Entry]:
        """Rehearsals that can be gone on with, the newest first."""
        if not os.path.exists(self._rehearsals_path):
            return []
        with sentences():
            runs = [r for r in self.rehearsals.unended() if r.problem is None]
            return [
                Entry(f"Go on: {r.title}", f"{board.where(self.rehearsals, r)}, {board.moment(r)}", r.run) for r in runs
            ]

    # ---- what the book tells; nothing, where there is no book yet

    def home(self) -> Board:
        """What stands open, waits, is due, was done lately, and who works here."""
        if self._no_book_yet:
            return Board()
        with sentences():
            return board.board(self.book)

    def unfinished(self) -> list[Told]:
        """Runs that can go on, the newest first."""
        if self._no_book_yet:
            return []
        with sentences():
            return board.unfinished(self.book)

    def find(self, words: str, most: int = board.MANY) -> list[Told]:
        """The jobs that hold these words, or the newest."""
        if self._no_book_yet:
            return []
        with sentences():
            return board.found(self.book, words, most)

    def visits(self, job: int) -> list[Told]:
        """The visits of the vehicle of a job, newest first."""
        with sentences():
            return board.visits_of(self.book, job)

    def history(self, job: int) -> list[Visit]:
        """The visits of the vehicle of a job with their figures, oldest first."""
        from engine.carburation.registry import shipped
        from engine.sheet.history import visits

        with sentences():
            return visits(self.book, job, shipped())

    def newest_of(self, registration: str) -> int | None:
        """The newest job of the vehicle with this registration, where it was here before."""
        if self._no_book_yet:
            return None
        with sentences():
            return self.book.newest_of(registration)

    def returning(self, job: int) -> Job:
        """What a vehicle begins its next visit with: the facts of its last job, jets as they were left."""
        from engine.carburation.registry import shipped
        from engine.sheet.returning import returning

        with sentences():
            return returning(self.book, job, shipped())

    def notices(self) -> list[str]:
        """What was found at the opening of the book, told once."""
        if self._book is None:
            return []
        told, self._book.notices = self._book.notices, []
        return told

    def look(self, run: str) -> Sitting:
        """A run to look at, which another window may be working on; nothing can be answered."""
        from engine.carburation.registry import shipped
        from engine.session.session import Session

        with sentences():
            sitting = Sitting(Session.reopen(self.book, run, advisers=shipped(), reading=True))
        sitting.looks = True
        return sitting

    def answered_since(self, sitting: Sitting) -> bool:
        """Whether another window has gone on with a run since it was looked at."""
        with sentences():
            return self.book.count(sitting.session.run) - 1 > sitting.session.state.seq

    def newest_run(self, job: int) -> str:
        """The newest run of a job."""
        from engine.sheet.gather import newest_run

        with sentences():
            return newest_run(self.book, str(job))

    def add_staff(self, name: str) -> None:
        """Write somebody of the shop down."""
        with sentences():
            self.book.add_staff(name)

    def files(self) -> list[Entry]:
        """Job files of the shop's folder, newest first."""
        found = sorted((p for p in self.shop.jobs.glob("*.yaml") if os.path.isfile(p)), key=_when, reverse=True)
        return [Entry(p.stem.replace("-", " "), str(p.parent), p) for p in found]

    def job(self, key: Path | int) -> tuple[Job, int | None]:
        """A job by its file, or by its number in the book; with the number if it has one."""
        from engine.job import job_file
        from engine.procedure.build.vocabulary import of_folders

        with sentences():
            if isinstance(key, int):
                return self.book.job(key), key
            return job_file.read(Path(key).expanduser(), of_folders(self.shop.procedures)[0]), None

    def program(self, name: str | Path) -> Program:
        """A procedure by name or path; raises `Trouble` with its first problem."""
        from tui.catalogue import shelf

        loaded = shelf.loaded(Path(name), self.shop.procedures)
        if loaded.program is None:
            errors = [p for p in loaded.problems if p.severity == "error"]
            more = f" ({len(errors) - 1} more; the procedures screen lists them.)" if len(errors) > 1 else ""
            raise Trouble(f"{errors[0]}{more}")
        return loaded.program

    def start(self, program: Program, job: Job, number: int | None) -> Sitting:
        """Begin a run of a procedure on a job; the job is taken into the book if it has no number there."""
        from engine.carburation.registry import shipped
        from engine.session.session import Session

        with sentences():
            return Sitting(
                Session.start(
                    program, job, book=self.book, advisers=shipped(), shop=self.shop.settings, job_number=number
                ),
                self.shop.units,
            )

    def reopen(self, run: str) -> Sitting:
        """Go on with a run where it stood."""
        from engine.carburation.registry import shipped
        from engine.session.session import Session

        with sentences():
            return Sitting(Session.reopen(self.book, run, advisers=shipped()), self.shop.units)

    def close(self) -> None:
        """Let go of the book."""
        for book in (self._book, self._rehearsals):
            if book is not None:
                book.close()
        self._book = self._rehearsals = None


def _when(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0
