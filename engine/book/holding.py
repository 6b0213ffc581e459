"""One window a job: a lock beside the book that goes when its holder dies; it writes nothing into the book."""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path

from engine.book.trouble import BookHeld, explained


class Holds:
    """The jobs that this window holds, of the book at a path."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._held: dict[int, sqlite3.Connection] = {}

    def hold(self, job: int) -> None:
        """Keep every other window off a job until `release`, or until this process ends, however it ends."""
        if job in self._held:
            return
        lock = self._lock(job)
        with explained(self.path):
            # An exclusive lock on an empty database beside the book: the system lets go of it when the process dies.
            with suppress(FileExistsError):
                os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
            connection = sqlite3.connect(lock, timeout=0, isolation_level=None, check_same_thread=False)
        try:
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as fault:
            connection.close()
            if "locked" not in str(fault):
                with explained(self.path):
                    raise
            raise BookHeld(
                f"Job {job} is open in another window. Go on there, or close it first; 'evendraw sheet {job}' shows "
                "where it stands."
            ) from None
        if not lock.exists():
            # Its last holder removed it between our opening and our locking; whoever comes next would not see ours.
            connection.close()
            return self.hold(job)
        self._held[job] = connection

    def release(self, job: int) -> None:
        """Let another window have the job."""
        connection = self._held.pop(job, None)
        if connection is not None:
            with suppress(OSError):  # some systems don't remove an open file; then it stays, and is empty
                self._lock(job).unlink()
            connection.close()

    def close(self) -> None:
        """Let go of every job."""
        for job in list(self._held):
            self.release(job)

    def _lock(self, job: int) -> Path:
        return self.path.with_name(f"{self.path.name}.job{job}.lock")
