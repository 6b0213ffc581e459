"""How a rehearsal is chosen: procedure, engine, hidden fault, by hand or by itself; the home screen does it, no run is
known here.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.control.questions import Find, Line, Option, Pick

if TYPE_CHECKING:
    from tui.catalogue.shop import Shop
    from tui.control.desk import Desk
    from tui.control.sitting import Sitting

BY_HAND = Option("I do it", False, "+ takes the readings of the virtual engine")
BY_ITSELF = Option("it plays by itself", True, "+ stops it and goes on, PgUp faster, PgDn slower")


class Rehearsing:
    """The part of the home screen that asks how to rehearse."""

    shop: Shop
    lay: Callable[..., None]
    opening: Callable[[Callable[[], object]], None]
    run_: Callable[[Sitting], None]
    back: Callable[..., None]
    _find: Callable[[], Find]

    @property
    def _desk(self) -> Desk:
        raise NotImplementedError

    def rehearse(self) -> None:
        """Which procedure, or which rehearsal to go on with."""

        def listed() -> None:
            from tui.catalogue.shelf import mains

            entries = [*mains(self.shop.procedures), *self._desk.open_rehearsals()]
            options = tuple(Option(e.label, e.key, e.hint) for e in entries)
            self.lay(Pick("REHEARSE WHICH PROCEDURE", options), self._rehearse_what)

        self.opening(listed)

    def _rehearse_what(self, key: Path | str) -> None:
        if isinstance(key, str):
            self.opening(lambda: self.rehearse_again(key))
            return
        options = (
            BY_HAND,
            BY_ITSELF,
            Option("choose what is wrong with it", "fault", "one hidden fault, from a list"),
            Option("on the engine of a job", "job", "a job of the book or a job file"),
            Option("the engine of a number", "seed", "the same number gives the same engine again"),
        )

        def chosen(what: bool | str) -> None:
            if isinstance(what, bool):
                self.opening(lambda: self.rehearse_on(key, by_itself=what))
            else:
                {"fault": self._fault, "job": self._engine, "seed": self._seed}[what](key)

        self.lay(Pick("HOW", options), chosen)

    def _then(self, procedure: Path, **how: Any) -> None:
        """By hand or by itself, the rest being chosen."""
        self.lay(
            Pick("HOW", (BY_HAND, BY_ITSELF)),
            lambda plays: self.opening(lambda: self.rehearse_on(procedure, by_itself=plays, **how)),
        )

    def _fault(self, procedure: Path) -> None:
        from engine.bench.plant.faults import KINDS

        def look(text: str) -> tuple[Option, ...]:
            words = text.casefold().split()
            return tuple(
                Option(name, name, kind.says)
                for name, kind in KINDS.items()
                if all(w in f"{name} {kind.says}".casefold() for w in words)
            )

        self.lay(
            Find("WHAT IS WRONG WITH IT", look, nothing="No fault is called so."),
            lambda name: self._then(procedure, faults=(name,)),
        )

    def _engine(self, procedure: Path) -> None:
        def found(key: Any) -> None:
            if key is None:
                self.lay(Line("PATH OF THE JOB FILE"), lambda text: self.opening(lambda: on(Path(text))))
            else:
                self.opening(lambda: on(key))

        def on(key: Path | int) -> None:
            job, _ = self._desk.job(key)
            self._then(procedure, job=job)

        self.lay(self._find(), found)

    def _seed(self, procedure: Path) -> None:
        def numbered(text: str) -> None:
            if text.isascii() and text.isdecimal() and len(text) < 10:
                self._then(procedure, seed=int(text))
            else:
                self.lay(Line("NUMBER OF THE ENGINE"), numbered, cue=f"'{text[:20]}' is no number. Write it like 7.")

        self.lay(Line("NUMBER OF THE ENGINE"), numbered)

    def rehearse_on(self, procedure: str | Path, **how: Any) -> None:
        """Begin a rehearsal."""
        from tui.control.rehearsal import rehearse

        self.run_(rehearse(self._desk, procedure, **how))

    def rehearse_again(self, run: str) -> None:
        """Go on with a rehearsal."""
        from tui.control.rehearsal import go_on

        self.run_(go_on(self._desk, run))
