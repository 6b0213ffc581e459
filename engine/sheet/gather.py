"""The job sheet as data: what a run says of a job, gathered from its record; it lays nothing out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from fractions import Fraction
from typing import Any

from engine.book import codec
from engine.book.book import Book
from engine.book.rows import Recheck, Stored
from engine.book.seal import salted
from engine.book.trouble import BookTrouble
from engine.contract import Registry
from engine.evidence import Finding, Place
from engine.job.model import Job
from engine.procedure.program import Reading
from engine.quantity.chosen import ChosenUnits
from engine.quantity.units import from_base
from engine.quantity.wording import quantity
from engine.run.events import reasons
from engine.run.layout import FilePlan, RunLayout
from engine.run.state import Frame, State, standing, walk
from engine.run.texts import said as words_in
from engine.session.session import Session
from engine.session.shown import lines
from engine.session.struck import struck_in
from engine.session.view import Line
from engine.vocabulary.states import ENGINE

#: Rows of the bank that a run may change, as the job names them.
JETS = ("main_jet", "air_corrector", "idle_jet", "pump_jet")
#: An answer that begins so says that a check was left out, and why.
NOT_DONE = "not done"
#: What is read again and again while screws are turned, or to see it warm: what of it counts is recorded.
_ON_THE_WAY = frozenset(
    {
        "airflow",
        "depression",
        "engine speed",
        "lambda",
        "coolant temperature",
        "oil temperature",
        "CO",
        "CO2",
        "O2",
        "HC",
    }
)
#: A choice with one of these asks what was done or decided: the sheet says it, and calls no answer of it unsound.
DECIDED = frozenset({"put right", "mended", "to be ordered", "recheck only"})


@dataclass(frozen=True, slots=True)
class Compared:
    """One reading or screw, as found and as left, place by place in `unit`; None: not taken then."""

    name: str
    title: str
    unit: str | None
    places: tuple[str, ...]
    found: tuple[Any, ...]
    left: tuple[Any, ...]
    #: What it is to a machine ("" for a screw), what the row runs over, and its places.
    quantity: str = ""
    each: str | None = None
    at: tuple[Place, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """A screw or a part that was changed at one place, from and to in words (`unknown` where nobody counted)."""

    what: str
    place: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Stand:
    """Where one kind of screw stands now, place by place in its unit, and the band in which it belongs, if known."""

    name: str
    unit: str
    each: str
    places: tuple[str, ...]
    at: tuple[Place, ...]
    found: tuple[Fraction | None, ...]
    left: tuple[Fraction | None, ...]
    band: tuple[Fraction, Fraction] | None


@dataclass(frozen=True, slots=True)
class Checked:
    """A check that was made: where, what it gave, and whether that is what a sound engine gives (None: no word)."""

    what: str
    place: str
    said: str
    sound: bool | None


@dataclass(frozen=True, slots=True)
class NotDone:
    """A check that was left out, and why."""

    what: str
    reason: str


@dataclass(frozen=True, slots=True)
class Order:
    """A part to order: its size in the part's own numbers, and how many."""

    part: str
    size: str
    count: int


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything that a job sheet shows. `places` gives a finding's places in words. `head` seals the record."""

    run: str
    job_number: int
    job: Job
    procedure: str
    title: str
    revision: int
    version: str
    started: str
    ended: str
    outcome: str
    say: str
    compared: tuple[Compared, ...]
    screws: tuple[Change, ...]
    parts: tuple[Change, ...]
    not_done: tuple[NotDone, ...]
    findings: tuple[tuple[Finding, str], ...]
    orders: tuple[Order, ...]
    symptoms: tuple[tuple[str, int], ...]
    notes: tuple[str, ...]
    struck: int
    settings: tuple[tuple[str, str, str], ...]
    events: int
    head: str
    stands: tuple[Stand, ...] = ()
    checked: tuple[Checked, ...] = ()
    awaited: tuple[str, ...] = ()
    #: Every file of the run and its revision.
    files: tuple[tuple[str, int], ...] = ()
    people: tuple[str, ...] = ()
    #: Minutes of work, pauses left out.
    worked: int = 0
    recheck: Recheck | None = None
    #: Whether the work was on an engine that can run, and not on another trade's.
    engine: bool = False
    #: The bodies along the bank, in words.
    bodies: tuple[str, ...] = ()
    #: Answers that were struck, in words, and what of the sheet the seal does not vouch for.
    struck_answers: tuple[str, ...] = ()
    not_sealed: tuple[str, ...] = ()
    #: What was measured on the way, and is not among the figures as found and as left: the newest row of each.
    measured: tuple[Compared, ...] = ()
    #: The jets barrel by barrel, as the job began with them and as they are fitted now, where both are known.
    jets: tuple[Compared, ...] = ()


def newest_run(book: Book, wanted: str) -> str:
    """The run that a person means: a run's id, or the newest run of a job's number. Raises `BookTrouble`."""
    if "." in wanted:
        return wanted
    if not (wanted.isascii() and wanted.isdecimal()):
        raise BookTrouble(
            f"'{wanted[:40]}' is neither the number of a job, such as 12, nor the id of a run, such as 12.1. "
            "'evendraw jobs' lists them."
        )
    if len(wanted) > 18:
        raise BookTrouble(f"There is no job {wanted[:20]}... in this book. 'evendraw jobs' lists them.")
    runs = book.runs(int(wanted))
    if not runs:
        book.job(int(wanted))
        raise BookTrouble(f"Job {wanted} has no run yet, so there is nothing to print.")
    return runs[0].run


def sheet_of(book: Book, run: str, advisers: Registry) -> Sheet:
    """The sheet of a run as it stands, ended or not. Raises `BookTrouble` or `Drift`."""
    return gathered(Session.reopen(book, run, advisers=advisers, reading=True))


def gathered(session: Session) -> Sheet:
    """The sheet of a run that is open."""
    plan, state, book, run = session.plan, session.state, session.book, session.run
    stored = book.events(run)
    bodies = [codec.body_of(e) for e in stored]
    main = plan.main.procedure
    end = state.end
    recheck = next((r for r in book.rechecks() if r.job == session.job_number), None)
    gone = struck_in(plan, bodies)
    return Sheet(
        run=run,
        job_number=session.job_number,
        job=_as_started(session, bodies[0]),
        procedure=main.name,
        title=main.title,
        revision=main.revision,
        version=bodies[0]["version"],
        started=bodies[0]["at"],
        ended=bodies[-1]["at"] if end else "",
        outcome=end.outcome if end else "not finished",
        say=end.say if end else "",
        compared=tuple(_compared(session)),
        screws=tuple(_turned(session)),
        parts=tuple(_fitted(session)),
        not_done=tuple(_not_done(state)),
        findings=tuple((f, _places(session, f)) for f in standing(state)),
        orders=_orders(standing(state)),
        symptoms=_symptoms(session),
        notes=tuple(text for _, text in state.notes),
        struck=len(gone),
        struck_answers=tuple(f"{s.answer.title or s.answer.step}: {s.answer.said}" for s in gone),
        not_sealed=(*_not_sealed(session, stored[0]), *(("the recheck",) if recheck else ())),
        settings=_settings(session),
        events=len(bodies),
        head=book.head(run),
        stands=tuple(_stands(session)),
        checked=tuple(_checked(session)),
        awaited=_awaited(state),
        files=tuple((f["name"], f["revision"]) for f in bodies[0]["files"]),
        people=tuple(dict.fromkeys(str(b["by"]) for b in bodies if b.get("by"))),
        worked=minutes_worked(bodies),
        bodies=tuple(_words(session, p) for p in plan.bank.places("carb")),
        engine=ENGINE in state.world.conditions,
        recheck=recheck,
        jets=tuple(_jets(session)),
        measured=tuple(_measured(session)),
    )


def _as_started(session: Session, started: Mapping[str, Any]) -> Job:
    """The job as the run sealed it at its start, with the persons as they stand now."""
    told = session.book.told(session.job_number)
    vehicle = {k.removeprefix("vehicle "): v for k, v in told.items() if k.startswith("vehicle ")}
    persons = {"title": told.get("complaint", ""), "customer": told.get("customer", ""), "vehicle": vehicle}
    return Job.model_validate({**started["job"], **persons})


def _not_sealed(session: Session, first: Stored) -> Iterable[str]:
    """What the sheet prints and the run's chain does not vouch for: what was changed since, or was never in it."""
    told = session.book.told(session.job_number)
    sealed = {k: h for k, h in (codec.load(first.body).get("words") or {}).items() if k.startswith("told ")}
    if not sealed and any(told.values()):
        yield "customer, vehicle and complaint (a run of an older version seals its measurements alone)"
    for name, text in told.items():
        word = first.words.get(f"told {name}")
        if word is not None and not word.gone and salted(word.salt, text) != sealed.get(f"told {name}"):
            yield f"{name}: changed since the run was started"
    try:
        now = session.book.job(session.job_number).engineering()
    except BookTrouble:
        yield f"job {session.job_number} in the list of jobs: its row can't be read"
        return
    if now != session.plan.job.engineering():
        yield "engine, bank and instruments were corrected since; the sheet prints those that the run was started with"


def _words(session: Session, place: Place, each: str | None = None) -> str:
    if place == Place():
        return ""
    if each == "cylinder":
        return f"cylinder {place.carb}"
    said = session.plan.main.place_words(place)
    return f"between {said} and {(place.carb or 0) + 1}" if each == "gap" else said


def _places(session: Session, finding: Finding) -> str:
    return "; ".join(filter(None, (_words(session, p, finding.each) for p in finding.where)))


def _compared(session: Session) -> Iterable[Compared]:
    plan, state = session.plan, session.state
    found, left = (lines(state.record.get(which, {}), plan) for which in ("as found", "as left"))
    readings = _readings(plan)
    for name in dict.fromkeys([*found, *left]):
        one = left.get(name) or found[name]
        places = tuple(dict.fromkeys(p for line in (found.get(name), left.get(name)) if line for p in line.places))
        file, reading = readings.get(name, (None, None))
        yield Compared(
            name,
            _asked(file, reading.ask) if file and reading else name.replace("_", " "),
            one.unit,
            tuple(_words(session, p, one.each) for p in places),
            _row(found.get(name), places),
            _as_left(state, reading.quantity if reading else "", _row(left.get(name), places), places),
            reading.quantity if reading else "",
            one.each,
            places,
        )


def in_chosen(compared: Iterable[Compared], units: ChosenUnits) -> tuple[Compared, ...]:
    """The figures as found and as left in the units that a shop chose."""
    return tuple(
        replace(
            line,
            unit=units.unit(line.unit, line.quantity),
            found=units.shown(line.found, line.unit, line.quantity),
            left=units.shown(line.left, line.unit, line.quantity),
        )
        for line in compared
    )


def _as_left(state: State, quantity: str, row: tuple[Any, ...], places: tuple[Place, ...]) -> tuple[Any, ...]:
    """A row as left; the size of a part that was not read again is the size that is fitted now."""
    part = quantity.removesuffix(" size")
    if part == quantity:
        return row
    return tuple(state.world.parts.get((part, p)) if v is None else v for v, p in zip(row, places, strict=True))


def _asked(file: FilePlan, ask: str) -> str:
    """A question in the file's words; one about one place as the sheet shows a row of them."""
    here = file.procedure.here or "place"
    return words_in(ask, {**file.base, "here": f"each {file.procedure.terms.get(here, here)}"})


def _row(line: Line | None, places: tuple[Place, ...]) -> tuple[Any, ...]:
    known = dict(zip(line.places, line.row, strict=False)) if line else {}
    return tuple(known.get(p) for p in places)


def _readings(plan: RunLayout) -> dict[str, tuple[FilePlan, Reading]]:
    """Every reading that the files of a run declare, by its name, with its file."""
    return {name: (file, r) for file in plan.files.values() for name, r in file.procedure.readings.items()}


def _measured(session: Session) -> Iterable[Compared]:
    """The newest row of every measurement that no record as found or as left holds: compression, leak-down, levels."""
    plan, state = session.plan, session.state
    recorded = {name for which in ("as found", "as left") for name in lines(state.record.get(which, {}), plan)}
    readings = _readings(plan)
    for one in session.view.latest:
        file, reading = readings.get(one.name, (None, None))
        if file is None or reading is None or reading.type.choices or one.name in recorded:
            continue
        if one.quantity in _ON_THE_WAY or one.quantity.endswith((" position", " size")):
            continue
        places = plan.bank.places(one.each or "") if one.each else (Place(),)
        if len(places) == len(one.row) and any(v is not None for v in one.row):
            words = tuple(_words(session, p, one.each) for p in places)
            none = (None,) * len(places)
            title = _asked(file, reading.ask)
            yield Compared(one.name, title, one.unit, words, none, one.row, one.quantity, one.each, tuple(places))


def _turned(session: Session) -> Iterable[Change]:
    """Every screw that was moved: where it was first known to stand, and where it stands now."""
    state, plan = session.state, session.plan
    first: dict[tuple[str, Place], Fraction | None] = {}
    moved: dict[tuple[str, Place], None] = {}
    for past in reversed(list(walk(state.past))):
        made = past.made
        if made is None:
            continue
        for move in made.moves:
            moved[move.screw, move.place] = None
            first.setdefault((move.screw, move.place), made.before.get((move.screw, move.place)))
    for key in moved:
        screw = plan.screws[key[0]]
        now, was = state.world.positions.get(key), first.get(key)
        before, after = (quantity(v, screw.unit) if v is not None else "unknown" for v in (was, now))
        if was is None and now is None:
            before, after = "not counted", "turned"
        if before != after:
            yield Change(screw.name.replace("_", " "), _words(session, key[1], screw.each), before, after)


def _fitted(session: Session) -> Iterable[Change]:
    state = session.state
    began: Any = state
    for past in walk(state.past):
        began = past.state
    for key, size in state.world.parts.items():
        was = began.world.parts.get(key)
        if was != size:
            yield Change(
                key[0], _words(session, key[1]), "unknown" if was is None else quantity(was, None), quantity(size, None)
            )


def _jets(session: Session) -> Iterable[Compared]:
    plan, parts = session.plan, session.state.world.parts
    places = plan.bank.places("barrel")
    for name in JETS:
        part = name.replace("_", " ")
        found = plan.job.row(name) or (None,) * len(places)
        left = tuple(
            parts.get((part, p), parts.get((part, Place(p.carb)), was)) for p, was in zip(places, found, strict=True)
        )
        if any(v is not None for v in left):
            words = tuple(_words(session, p) for p in places)
            yield Compared(name, part, None, words, tuple(found), left, f"{part} size", "barrel", tuple(places))


def _stands(session: Session) -> Iterable[Stand]:
    found = lines(session.state.record.get("as found", {}), session.plan)
    for row in session.view.screws:
        if any(p is not None for p in row.positions):
            words = tuple(_words(session, p, row.each) for p in row.places)
            before = _row(found.get(row.name), row.places)
            yield Stand(
                row.name.replace("_", " "), row.unit, row.each, words, row.places, before, row.positions, row.band
            )


def _checked(session: Session) -> Iterable[Checked]:
    """The newest answer to each check: a reading whose answers are words, one of them that of a sound engine."""
    seen: set[tuple[str, Place | None]] = set()
    found: list[list[Checked]] = []
    for past in walk(session.state.past):
        frame = past.state.frame
        declared = frame.at.file.procedure.readings
        answered: list[Checked] = []
        for name, value in (past.event.readings or {}).items():
            reading = declared[name]
            if reading.type.choices and isinstance(reading.healthy, str) and (name, frame.here) not in seen:
                seen.add((name, frame.here))
                answered += _said(session, frame, reading, value)
        found.append(answered)
    return (one for answered in reversed(found) for one in answered)


def _said(session: Session, frame: Frame, reading: Reading, value: Any) -> Iterable[Checked]:
    """What one check gave, place by place where the places differ."""
    asked = _asked(frame.at.file, reading.ask)
    decides = bool(DECIDED & set(reading.type.choices))
    if isinstance(value, tuple):
        places = session.plan.bank.places(reading.type.each or "", frame.here)
        where: dict[str, list[str]] = {}
        for place, one in zip(places, value, strict=False):
            if isinstance(one, str):
                where.setdefault(one, []).append(_words(session, place, reading.type.each))
        for said, at in where.items():
            yield Checked(
                asked, "; ".join(at) if len(where) > 1 else "", said, None if decides else said == reading.healthy
            )
    elif isinstance(value, str):
        # A question whether to check at all is no check; that it was done before is.
        offers = any(c.lower().startswith(NOT_DONE) for c in reading.type.choices)
        if not value.lower().startswith(NOT_DONE) and not (offers and value == reading.healthy):
            place = Place(*reading.of) if reading.of else frame.here or Place()
            sound = None if decides else offers or value == reading.healthy
            yield Checked(asked, _words(session, place), value, sound)


def _awaited(state: State) -> tuple[str, ...]:
    """The parts that the run waits for."""
    waits = state.waiting
    return () if waits is None else tuple(waits.parts)


def minutes_worked(bodies: Iterable[Mapping[str, Any]], longest: int = 30) -> int:
    """Minutes between the first and the last of stored events, without pauses: gaps of more than `longest` minutes
    [assumed: no step takes longer], and those that begin with the technician's leaving.
    """
    worked, before, left = 0.0, None, False
    for body in bodies:
        try:
            now = datetime.fromisoformat(str(body.get("at")))
        except ValueError:
            continue
        if before is not None and not left:
            try:
                gap = (now - before).total_seconds() / 60
            except TypeError:  # one with a zone, the other without
                gap = 0.0
            worked += gap if 0 < gap <= longest else 0
        before, left = now, body.get("kind") in ("suspended", "waiting")
    return round(worked)


def _not_done(state: State) -> Iterable[NotDone]:
    """The newest answer to each check, where it says that the check was left out or that a place was not taken."""
    seen: set[str] = set()
    for past in walk(state.past):
        declared = past.state.frame.at.file.procedure.readings
        for name, value in (past.event.readings or {}).items():
            if name in seen:
                continue
            seen.add(name)
            row = value if isinstance(value, tuple) else (value,)
            asked = _asked(past.state.frame.at.file, declared[name].ask)
            said = next((v for v in row if isinstance(v, str) and v.lower().startswith(NOT_DONE)), None)
            if said is not None:
                yield NotDone(asked, said[len(NOT_DONE) :].strip(" ,:") or "no reason given")
            elif None in row and not (declared[name].may_lack and any(v is not None for v in row)):
                why = dict.fromkeys(w for w in reasons(past.event, name, len(row)) if w)
                yield NotDone(asked, "; ".join(why) or "not taken, no reason given")


def _orders(findings: Iterable[Finding]) -> tuple[Order, ...]:
    wanted: dict[tuple[str, Fraction], int] = {}
    for finding in findings:
        if finding.suggest is not None and finding.severity in ("change part", "stop"):
            key = (finding.suggest.part, finding.suggest.new)
            wanted[key] = wanted.get(key, 0) + max(1, len(finding.where))
    return tuple(Order(part, quantity(size, None), count) for (part, size), count in wanted.items())


def _symptoms(session: Session) -> tuple[tuple[str, int], ...]:
    counted: dict[str, int] = {}
    for past in walk(session.state.past):
        if past.event.kind == "symptom":
            frame: Any = past.state.frame
            ask = past.event.symptom or ""
            while frame is not None:
                declared = frame.at.file.procedure.symptoms.get(past.event.symptom)
                if declared is not None:
                    ask = _asked(frame.at.file, declared.ask)
                    break
                frame = frame.caller
            counted[ask] = counted.get(ask, 0) + 1
    return tuple(counted.items())[::-1]


def _settings(session: Session) -> tuple[tuple[str, str, str], ...]:
    """The settings that the shop or the job changed: name, value, who."""
    found: dict[str, tuple[str, str, str]] = {}
    for file, row in session.plan.settings.items():
        declared = session.plan.files[file].procedure.settings
        for name, setting in row.items():
            if setting.origin != "file":
                unit = declared[name].type.unit
                shown = from_base(setting.value, unit) if unit else setting.value
                found[name] = (name, f"{quantity(shown, None)} {unit or ''}".strip(), setting.origin)
    return tuple(found.values())
