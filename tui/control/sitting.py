"""One run at the screen, between the screen and the engine; it paints nothing.

The engine is imported inside the functions: the home screen is painted before any of it is loaded. What goes wrong
outside the technician's hands comes out as `Trouble` with a sentence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from engine.evidence import Place
from engine.quantity import wording
from engine.quantity.chosen import ChosenUnits
from engine.session.view import View
from tui.control.putting_right import Known, facts, put
from tui.drawing.where import Whose

if TYPE_CHECKING:
    from engine.job.model import Job
    from engine.session.corrected import Correction
    from engine.session.session import Session
    from engine.session.view import TrailMark
    from engine.sheet.document import Document


class Trouble(Exception):
    """Something outside the technician's hands went wrong; the message is a sentence. Nothing acknowledged is lost."""


class Busy(Trouble):
    """Another window works on the job; it can be looked at meanwhile."""


@contextmanager
def sentences() -> Iterator[None]:
    """Turn what the engine says into `Trouble`."""
    from engine.book.trouble import BookHeld, BookTrouble
    from engine.job.job_file import BadJob
    from engine.session.session import Drift, NotForThisJob

    try:
        yield
    except BookHeld as fault:
        raise Busy(str(fault)) from fault
    except (BookTrouble, NotForThisJob, Drift, BadJob) as fault:
        raise Trouble(str(fault)) from fault
    except OSError as fault:
        raise Trouble(f"{fault.filename or 'The file'}: {fault.strerror or fault}.") from fault


@dataclass(frozen=True, slots=True)
class HalfDone:
    """What was done at a step before its answer: the texts of its fields in their order, the reasons by reading,
    whether its moves were made, and what was turned or fitted otherwise than asked (fractions as texts)."""

    texts: list[str] = field(default_factory=list)
    reasons: dict[str, str] = field(default_factory=dict)
    begun: bool = False
    moved: list[str | None] | None = None
    fitted: list[str | None] | None = None


def _amounts(kept: Any) -> list[str | None] | None:
    return [None if a is None else str(a) for a in kept] if isinstance(kept, list) else None


class Sitting:
    """One run at the screen. `playing` is None unless a rehearsal can play by itself; `pace` is its beat in seconds."""

    rehearses = False
    playing: bool | None = None
    pace = 2.5
    #: It is only looked at: nothing can be answered.
    looks = False
    #: Dangers that were understood are asked again whenever the engine is started.
    each_start = False

    def __init__(self, session: Session, units: ChosenUnits | None = None) -> None:
        self._chosen = units or ChosenUnits()
        self._take_up(session)

    def _take_up(self, session: Session) -> None:
        from engine.session.in_units import units_of
        from tui.drawing.bank import cylinders_of

        self.session = session
        self.units = units_of(session.plan.job, self._chosen)
        self._shown: tuple[View, View] | None = None
        #: The step and visit at which dangers were understood last.
        self._understood: tuple[str, int] | None = None
        bank = session.plan.job.bank
        self.layout = (bank.carbs, bank.barrels_per_carb)
        self.whose = whose(self._named(), self.rehearses)
        self.card = sizes(session.plan.job)
        self.marks = {Place(p.carb, p.barrel): "reading disturbed here" for p in bank.disturbed}
        self.cylinders = cylinders_of(
            bank.carbs, bank.barrels_per_carb, session.plan.job.engine.cylinders, bank.manifold == "separate"
        )

    def _named(self) -> Job:
        """The job with its persons, who are in no run; without them where their row can't be read."""
        from engine.book.trouble import BookTrouble

        if not self.rehearses:
            with suppress(BookTrouble):
                return self.session.book.job(self.session.job_number)
        return self.session.plan.job

    @property
    def view(self) -> View:
        """The step in force, in the units that the shop chose, its dangers open where the shop asks at each start."""
        own = self.session.view
        if self._shown is None or self._shown[0] is not own:
            self._shown = own, self._as_the_shop_wants(own)
        return self._shown[1]

    def _as_the_shop_wants(self, own: View) -> View:
        shown = own
        if self.units:
            from engine.session.in_units import in_units

            shown = in_units(own, self.session.state, self.units)
        started = "engine" in own.changes and own.state.get("engine") == "running"
        if self.each_start and started and own.standing and self._understood != (own.step, own.visit):
            again = tuple(replace(caution, understand=True) for caution in own.standing)
            shown = replace(shown, cautions=(*again, *shown.cautions), standing=())
        return shown

    def answer(self, **answer: Any) -> str | None:
        """Give an answer; a sentence where it was refused. Returns only after it is on the disk; raises `Trouble`."""
        from engine.session.session import Answer

        if self.units and answer.get("readings"):
            from engine.session.in_units import declared

            answer["readings"] = declared(self.session.view, answer["readings"], self.units)
        here = (self.session.view.step, self.session.view.visit)
        with sentences():
            reply = self.session.answer(Answer(**answer))
        if reply.unsaved:
            raise Trouble(reply.problem or "It could not be recorded.")
        if answer.get("understood") and not reply.problem:
            self._understood = here
        return reply.problem

    def reading(self, name: str) -> tuple[Any, str | None]:
        """A rehearsal's reading by its name, and the reason where a place is not taken."""
        raise NotImplementedError

    def ahead(self) -> str | None:
        """A rehearsal: do the work of the step on the virtual engine; what it shows is a symptom, or None."""
        return None

    def play(self, playing: bool | None, pace: float | None = None) -> None:
        """A rehearsal: play by itself or stop, at a pace."""
        raise NotImplementedError

    def at_stop(self) -> dict[str, Any]:
        """A rehearsal: the way on from a stop, with its reason."""
        raise NotImplementedError

    def truth(self) -> list[tuple[str, list[str]]]:
        """A rehearsal: what was really wrong, and how the engine stands, as blocks of sentences."""
        return []

    def sheet(self, shop: Mapping[str, str] | None = None) -> Document:
        """The job sheet as one document; `shop`: what the shop says of itself on top of it."""
        from engine.carburation.registry import shipped
        from engine.sheet.gather import sheet_of
        from engine.sheet.printers import headed

        with sentences():
            return headed(sheet_of(self.session.book, self.session.run, shipped()), shop or {}, self.units)

    # ---- what is put right afterwards

    def would_strike(self, seq: int) -> tuple[TrailMark, ...]:
        """What would be struck with an answer, oldest first."""
        from engine.session.struck import would_strike

        return would_strike(self.session, seq)

    def facts(self) -> list[Known]:
        """The facts of the job that may be put right."""
        from engine.procedure.build.facts import NoFact, fact_type
        from tui.control.putting_right import UNKNOWN

        main = self.session.plan.main.procedure

        def choices(path: str) -> tuple[str, ...]:
            try:
                kind, usual = fact_type(path, main.vocabulary)
            except NoFact:
                return ()
            asked = next((fact.type for fact in main.facts.values() if fact.path == path), kind)
            return (*asked.choices, *([UNKNOWN] if usual is None and asked.choices else []))

        return facts(self.session.plan.job.engineering(), choices)

    def correction(self, fact: Known, text: str) -> Corrected:
        """What a corrected fact would keep of the run; raises `Trouble` where it can't be. Nothing is written yet."""
        from pydantic import ValidationError

        from engine.job.job_file import slip
        from engine.session.corrected import correction

        try:
            with sentences():
                found = correction(self.session, put(self.session.plan.job.engineering(), fact, text))
        except ValidationError as fault:
            raise Trouble(f"{fact.called}: {slip(fault.errors()[0])}") from fault
        at = found.state.frame.at
        return Corrected(found, found.stay, found.again, at.step.title or at.name.replace("_", " "))

    def correct(self, found: Corrected) -> None:
        """Write a correction: the run on the right facts takes this one's place."""
        from engine.session.corrected import correct

        with sentences():
            by = self.session.by
            self._take_up(correct(self.session, found.found))
            self.session.by = by

    @property
    def by(self) -> str:
        """Who answers now."""
        return self.session.by

    def people(self) -> list[str]:
        """The people of the shop who work there; nobody where the book can't say."""
        from engine.book.trouble import BookTrouble

        with suppress(BookTrouble):
            return [row.name for row in self.session.book.staff() if row.left is None and row.problem is None]
        return []

    def works(self, name: str) -> None:
        """Answers are this person's from now on; a new name is written down as one of the shop's."""
        from engine.book.trouble import BookTrouble

        if name and name not in self.people():
            with suppress(BookTrouble):
                self.session.book.add_staff(name)
        self.session.by = name

    # ---- what is half done

    @property
    def _after(self) -> int:
        """The answer that led to the step in force: what is half typed belongs to it until it is answered."""
        trail = self.view.trail
        return trail[-1].seq if trail else 0

    def keep(self, half: HalfDone) -> None:
        """Keep what is half done, beside the run. Nothing depends on it: where it can't be kept, it is not."""
        from engine.book.trouble import BookTrouble

        with suppress(BookTrouble):
            self.session.book.keep_draft(self.session.run, self._after, asdict(half))

    def kept(self) -> HalfDone:
        """What was half done at the step in force; nothing where nothing was."""
        from engine.book.trouble import BookTrouble

        draft: dict[str, Any] = {}
        with suppress(BookTrouble):
            draft = self.session.book.draft(self.session.run, self._after)
        texts, reasons = draft.get("texts"), draft.get("reasons")
        return HalfDone(
            [str(t) for t in texts] if isinstance(texts, list) else [],
            {str(k): str(v) for k, v in reasons.items()} if isinstance(reasons, dict) else {},
            draft.get("begun") is True,
            _amounts(draft.get("moved")),
            _amounts(draft.get("fitted")),
        )

    def typed_out(self) -> None:
        """What was half typed is answered."""
        from engine.book.trouble import BookTrouble

        with suppress(BookTrouble):
            self.session.book.drop_draft(self.session.run)

    def suspend(self) -> None:
        """Leave the run where it stands. It does so even where this can't be noted: every answer is on the disk."""
        self.session.suspend()
        self.session.close()

    def close(self) -> None:
        """The run has ended: let the job go."""
        self.session.close()


def sizes(job: Job) -> dict[str, str]:
    """What the job says of chokes and jets, by part, in words; what it says nothing of is left out."""
    told = {}
    for name, unit in (("choke", " mm"), ("main_jet", ""), ("air_corrector", ""), ("idle_jet", ""), ("pump_jet", "")):
        value = getattr(job.bank, name)
        row = value if isinstance(value, tuple) else () if value is None else (value,)
        said = [wording.decimal(Fraction(size)) for size in row]
        if said:
            alike = len(set(said)) == 1
            told[name.replace("_", " ")] = f"{said[0]}{unit}" if alike else f"{', '.join(said)}{unit} along the bank"
    return told


def whose(job: Job, rehearses: bool) -> Whose:
    """Whose work it is: registration, else what the car is called, and the customer."""
    vehicle = job.vehicle
    car = vehicle.registration or job.title or vehicle.description
    return Whose("  ".join(bit for bit in (car, job.customer) if bit), rehearses)


@dataclass(frozen=True, slots=True)
class Corrected:
    """A correction that was worked out: how many events it keeps, how many answers it asks again, where it goes on."""

    found: Correction
    kept: int
    again: int
    at: str
