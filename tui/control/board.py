"""What home and the lists tell of a job book: what stands open, waits, is due, was done lately, who works here; it
reads the book, paints nothing and changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from engine.book.book import Book
    from engine.book.rows import JobRow, RunRow

#: How many lines of each kind home asks for; the find lists go further.
FEW = 6
#: How many jobs a list that is searched by typing asks for.
MANY = 40


@dataclass(frozen=True, slots=True)
class Told:
    """One line on a job: its vehicle's registration, customer, what it is about, how it stands, when. `key`: its run
    or its number."""

    key: Any
    mark: str
    customer: str
    what: str
    how: str
    when: str
    job: int = 0


@dataclass(frozen=True, slots=True)
class Board:
    """What a shop has on its hands. The tuples hold the first few, the counts all of them."""

    open: tuple[Told, ...] = ()
    waiting: tuple[Told, ...] = ()
    due: tuple[Told, ...] = ()
    lately: tuple[Told, ...] = ()
    many_open: int = 0
    many_waiting: int = 0
    many_due: int = 0
    staff: tuple[str, ...] = ()
    #: Who answers, as far as the record tells.
    by: str = ""
    #: The book can't be read: nothing is known.
    unread: bool = False


def board(book: Book) -> Board:
    """The board of a book."""
    unended = book.unended()
    open_ = [r for r in unended if not waits(r)]
    waiting = [r for r in unended if waits(r)]
    due, newest = book.rechecks(), book.newest_jobs(3 * FEW)
    wanted = {r.job for r in (*open_[:FEW], *waiting[:FEW])} | {d.job for d in due[:FEW]}
    jobs = {j.job: j for j in (*book.jobs_numbered(wanted), *newest)}
    still = {r.job for r in unended}
    ended = [j for j in newest if j.job not in still][:FEW]
    last = _newest_runs(book, ended)
    staff = tuple(s.name for s in book.staff() if s.left is None and s.problem is None)
    return Board(
        tuple(_run(r, jobs.get(r.job), where(book, r)) for r in open_[:FEW]),
        tuple(_run(r, jobs.get(r.job), awaited(book, r) or "parts") for r in waiting[:FEW]),
        tuple(
            told(jobs[d.job], d.problem or d.why, d.due or d.odometer, about=jobs[d.job].vehicle.get("description", ""))
            for d in due[:FEW]
            if d.job in jobs
        ),
        tuple(told(j, ending(book, last.get(j.job))) for j in ended),
        len(open_),
        len(waiting),
        len(due),
        staff,
        staff[0] if len(staff) == 1 else "",
    )


def unfinished(book: Book) -> list[Told]:
    """Every run that can go on, the newest first."""
    runs = [r for r in book.unended() if r.problem is None]
    jobs = {j.job: j for j in book.jobs_numbered({r.job for r in runs})}
    return [_run(r, jobs.get(r.job), _waits_for(book, r) if waits(r) else where(book, r)) for r in runs]


def found(book: Book, words: str, most: int = MANY) -> list[Told]:
    """The jobs in whose words these begin, newest first; the newest jobs where there are no words."""
    rows = book.jobs_numbered(book.found(words, most)) if words.strip() else book.newest_jobs(most)
    last = _newest_runs(book, rows)
    return [told(j, ending(book, last.get(j.job))) for j in rows]


def visits_of(book: Book, job: int) -> list[Told]:
    """The visits of the vehicle of this job, newest first."""
    row = next(iter(book.jobs_numbered([job])), None)
    if row is None:
        return []
    rows = book.jobs_of(row.vehicle_number) if row.vehicle_number is not None else [row]
    last = _newest_runs(book, rows)
    return [told(j, ending(book, last.get(j.job))) for j in rows]


def _newest_runs(book: Book, jobs: Iterable[JobRow]) -> dict[int, RunRow]:
    out: dict[int, RunRow] = {}
    for run in book.runs_of([j.job for j in jobs]):
        out.setdefault(run.job, run)
    return out


def told(job: JobRow, how: str, when: str = "", key: Any = None, about: str = "") -> Told:
    """A line on a job."""
    car = job.vehicle
    what = about or ", ".join(b for b in (job.title, car.get("description", "")) if b)
    return Told(
        job.job if key is None else key,
        car.get("registration", ""),
        job.customer,
        job.problem or what or f"job {job.job}",
        how,
        when or job.at[:10],
        job.job,
    )


def _run(run: RunRow, job: JobRow | None, how: str) -> Told:
    said = run.problem or how
    if job is None:
        return Told(run.run, "", "", f"job {run.job}", said, moment(run), run.job)
    return told(job, said, moment(run), run.run)


def ending(book: Book, run: RunRow | None) -> str:
    """How the newest run of a job ended, or where it stands."""
    from engine.sheet.document import OUTCOMES

    if run is None:
        return "no work yet"
    if run.problem is not None:
        return "UNREADABLE"
    outcome = run.last.get("outcome")
    if outcome is None:
        return f"open: {where(book, run)}"
    return OUTCOMES.get(str(outcome), (str(outcome).upper(), ""))[0]


def waits(run: RunRow) -> bool:
    """Whether a run waits for parts."""
    return run.last.get("kind") == "waiting" or run.last.get("waits") is True


def where(book: Book, run: RunRow) -> str:
    """Where a run stands, in the words that its own screen says: phase and title of the step, from the procedure's text
    that it was started with; the step's name where that can't be read."""
    if waits(run):
        return "waits for parts"
    led = str(run.last.get("led", "")).partition("#")
    name, _, step = led[0].rpartition(".")
    if not step:
        return run.title
    phase, title = _called(book, run, name).get(step, ("", ""))
    title = title or step.replace("_", " ").capitalize()
    said = f"{phase}: {title}" if phase else title
    return f"a stop, {said}" if led[2].endswith("?") else said


def _called(book: Book, run: RunRow, file: str) -> dict[str, tuple[str, str]]:
    """Phase and title of each step of a file, as the text of the run has them; empty where it can't be read."""
    from engine.book import codec
    from engine.book.trouble import BookTrouble

    try:
        files = codec.body_of(book.event(run.run, 0)).get("files") or ()
        hashes = [str(each["sha256"]) for each in files if each["name"] == file]
        return _titles(book.texts(hashes[:1])[0].decode()) if hashes else {}
    except (BookTrouble, codec.Unreadable, LookupError, TypeError, ValueError):
        return {}


@lru_cache(maxsize=32)
def _titles(text: str) -> dict[str, tuple[str, str]]:
    from engine.procedure.source.spans import Source
    from engine.procedure.source.tree import read_tree

    read, _ = read_tree(Source("", "", text))
    tree: Mapping[Any, Any] = read or {}
    steps = tree.get("steps")
    found = {}
    for name, step in steps.items() if isinstance(steps, Mapping) else ():
        if isinstance(step, Mapping):
            phase = step.get("phase", tree.get("phase", ""))
            found[str(name)] = (str(phase), str(step.get("title", "")))
    return found


def awaited(book: Book, run: RunRow) -> str:
    """Which parts a run waits for, in words; empty where that can't be read."""
    from engine.book import codec
    from engine.book.trouble import BookTrouble

    try:
        told = (codec.body_of(event).get("awaited") for event in reversed(book.events(run.run)))
        return ", ".join(map(str, next(filter(None, told), ())))
    except (BookTrouble, codec.Unreadable):
        return ""


def _waits_for(book: Book, run: RunRow) -> str:
    return f"waits for {awaited(book, run) or 'parts'}"


def moment(run: RunRow) -> str:
    """When a run was last answered: the time where it was today, else the day."""
    at = str(run.last.get("at", run.at))
    return at[11:16] if at[:10] == date.today().isoformat() else at[:10]
