"""The commands that look after the job book: verify, backup, restore, forget, split, join, people, recheck; none of
them loads the terminal, and the book does the work.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tui.commandline.exits import Exit, Failed
from tui.commandline.out import say, write

if TYPE_CHECKING:
    from engine.book.book import Book
    from engine.book.forget import Match
    from tui.commandline.places import Places


def run(a: argparse.Namespace, found: Places) -> int:
    """Run the command of `evendraw book` that the arguments name."""
    from engine.book.trouble import BookTrouble

    try:
        return _HANDLERS[a.what](a, found)
    except BookTrouble as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None


def _opened(found: Places, reading: bool = False) -> Book:
    from engine.book.book import Book

    if not reading and not os.path.isfile(found.book):
        reading = True  # says that there is none, or that it can't be reached, and makes none
    book = Book.open(found.book, reading=reading)
    for notice in book.notices:
        say(notice, error=True)
    return book


# ---- the book as a whole


def _verify(a: argparse.Namespace, found: Places) -> int:
    from engine.book.verify import verify

    report = verify(a.copy or found.book)
    say(report.lines())
    return Exit.OK if report.whole else Exit.PROBLEMS


def _backup(a: argparse.Namespace, found: Places) -> int:
    from engine.book.backup import backup

    book = _opened(found, reading=True)
    try:
        say(f"Copied to {backup(book, Path(a.to))}. 'evendraw book restore' puts it back, here or on another PC.")
    finally:
        book.close()
    return Exit.OK


def _restore(a: argparse.Namespace, found: Places) -> int:
    from engine.book.backup import copies
    from engine.book.restore import restore

    if a.copy is None:
        kept = copies(found.book)
        if not kept:
            say(f"No copy of {found.book} was kept by itself yet. Name a copy: evendraw book restore FILE")
            return Exit.PROBLEMS
        say(["Copies that were kept by themselves, the newest last:", *(f"  {path}" for path in kept)])
        say("Put one back with: evendraw book restore FILE")
        return Exit.OK
    aside = restore(found.book, a.copy)
    kept_as = f" The book that stood there is kept as {aside}." if aside else ""
    say(f"The job book {found.book} is that of {a.copy} now.{kept_as}")
    return Exit.OK


def _export(a: argparse.Namespace, found: Places) -> int:
    from engine.book.exchange import export

    book = _opened(found, reading=True)
    try:
        rows = export(book, Path(a.to).expanduser())
    finally:
        book.close()
    say(f"Written to {a.to}: {rows['job']} jobs, {rows['run']} runs, {rows['event']} events. It holds persons' names.")
    return Exit.OK


def _import(a: argparse.Namespace, found: Places) -> int:
    from engine.book.exchange import bring_in

    rows = bring_in(Path(a.source).expanduser(), found.book)
    said = f"{rows['job']} jobs, {rows['run']} runs, {rows['event']} events, every chain verified"
    say(f"The job book {found.book} was made of {a.source}: {said}.")
    return Exit.OK


# ---- persons


def _forget(a: argparse.Namespace, found: Places) -> int:
    from engine.book.forget import inside, matches, of_staff

    book = _opened(found)
    try:
        if not a.text.strip():
            raise Failed(Exit.USAGE, "evendraw book forget: give a name, a registration, or another text to look for.")
        visits, people = matches(book, a.text), of_staff(book, a.text)
        if others := inside(book, a.text):
            numbers = ", ".join(map(str, others[:20])) + (" ..." if len(others) > 20 else "")
            say(f"Not meant, since '{a.text}' stands there only inside a longer word: visits {numbers}.")
        if not visits and not people:
            say(f"Nothing in the book names '{a.text}'.")
            return Exit.OK
        return forgotten(book, visits, a.text, found, a.yes, len(people))
    finally:
        book.close()


def forgotten(book: Book, visits: list[Match], text: str, found: Places, sure: bool, people: int = 0) -> int:
    """List what would be forgotten, ask, and do it; the exit code."""
    from engine.book.forget import forget

    for visit in visits:
        say(f"{visit.job:>5}  {visit.at[:10]}  {' '.join(visit.who.split())}")
        say(f"       in: {', '.join(visit.where)}")
        if not visit.theirs:
            say("       a visit of somebody else: these texts alone are taken out of it")
    if people:
        say(f"       and {people} of the people of the shop")
    say(
        "Customer, vehicle and complaint of the person's visits, and what else names the person, are taken out for "
        "good: from the book and from the copies that it keeps. The record of the work stays, and its seals hold."
    )
    if not sure and not _agreed("Take them out? Type yes: "):
        say("Nothing was changed.")
        return Exit.PROBLEMS
    done = forget(book, [v.job for v in visits], text, found.jobs)
    say(f"Taken out of {done.visits} visits, {done.texts} texts.")
    say([f"  - {line}" for line in done.left])
    return Exit.OK


def _agreed(question: str) -> bool:
    """Ask on the terminal; without one, or at its end, the answer is no."""
    if sys.stdin is None or sys.stdout is None:
        return False
    write(sys.stdout, question)
    try:
        return sys.stdin.readline().strip().casefold() in ("yes", "y")
    except (OSError, ValueError):
        return False


def _split(a: argparse.Namespace, found: Places) -> int:
    book = _opened(found)
    try:
        say(f"Job {a.job} is of a vehicle of its own now (vehicle {book.split(a.job)}).")
    finally:
        book.close()
    return Exit.OK


def _join(a: argparse.Namespace, found: Places) -> int:
    book = _opened(found)
    try:
        if a.customer:
            book.same_customer(a.job, a.to)
            say(f"Job {a.job} is of the customer of job {a.to} now; the vehicles stay as they are.")
        else:
            vehicle = book.join(a.job, a.to)
            say(f"Job {a.job} is of the vehicle of job {a.to} now (vehicle {vehicle}).")
    finally:
        book.close()
    return Exit.OK


def _customers(a: argparse.Namespace, found: Places) -> int:
    book = _opened(found, reading=True)
    try:
        cars = {v.vehicle: v for v in book.vehicles()}
        lines = []
        for customer in book.customers():
            lines.append(f"{customer.customer:>5}  {', '.join(filter(None, (customer.name, customer.problem)))}")
            for car in (cars[n] for n in customer.vehicles if n in cars):
                said = ", ".join(filter(None, (car.registration, car.description, car.problem))) or "a vehicle"
                lines.append(f"       {said}: job{'s' if len(car.jobs) > 1 else ''} {', '.join(map(str, car.jobs))}")
        say(lines or "No customer is written down yet: the next job that names one does it.")
    finally:
        book.close()
    return Exit.OK


def _people(a: argparse.Namespace, found: Places) -> int:
    book = _opened(found, reading=a.add is None and a.left is None)
    try:
        if a.add is not None:
            if not a.add.strip():
                raise Failed(Exit.USAGE, "evendraw book people: --add needs a name.")
            book.add_staff(" ".join(a.add.split()))
        if a.left is not None:
            book.staff_left(a.left, date.today().isoformat())
        rows = book.staff()
        say(
            [f"{s.staff:>5}  {', '.join(filter(None, (s.name, s.left and f'left {s.left}', s.problem)))}" for s in rows]
            or "Nobody of the shop is written down yet. Add one: evendraw book people --add NAME"
        )
    finally:
        book.close()
    return Exit.OK


def _recheck(a: argparse.Namespace, found: Places) -> int:
    book = _opened(found)
    try:
        if a.on is not None:
            try:
                date.fromisoformat(a.on)
            except ValueError:
                raise Failed(
                    Exit.USAGE, f"evendraw book recheck: '{a.on}' is no date; write it like 2031-05-01."
                ) from None
        book.set_recheck(a.job, a.on or "", a.at or "", a.why or "")
        due = " or ".join(filter(None, (f"on {a.on}" if a.on else "", f"at {a.at}" if a.at else "")))
        say(f"Job {a.job} is due to be checked again {due}." if due else f"Job {a.job} is due no more.")
    finally:
        book.close()
    return Exit.OK


# ---- corrections


def _strike(a: argparse.Namespace, found: Places) -> int:
    from engine.carburation.registry import shipped
    from engine.session.session import Answer, Session
    from engine.session.struck import would_strike

    book = _opened(found)
    try:
        session = Session.reopen(book, a.run, advisers=shipped())
        marks = would_strike(session, a.answer) if a.answer is not None else [*session.view.trail]
        if a.answer is None:
            lines = [f"{m.seq:>5}  {m.at[:16].replace('T', ' ')}  {m.title or m.step}: {m.said}" for m in marks]
            say(lines or f"No answer of run {a.run} stands.")
            return Exit.OK
        if not marks:
            raise Failed(
                Exit.USAGE, f"Answer {a.answer} of run {a.run} does not stand; without a number they are listed."
            )
        say(f"Struck would be {len(marks)} answer{'s' if len(marks) > 1 else ''}:")
        say([f"{m.seq:>5}  {m.at[:16].replace('T', ' ')}  {m.title or m.step}: {m.said}" for m in marks])
        say("They stay in the record as struck. No screw is turned back: moves made stay made.")
        if not a.yes and not _agreed("Strike them? Type yes: "):
            say("Nothing was changed.")
            return Exit.PROBLEMS
        reply = session.answer(Answer(strike=a.answer))
        if reply.recorded is None:
            raise Failed(Exit.BOOK, reply.problem or "It could not be recorded.")
        say(f"Struck. The run stands at '{session.view.title or session.view.step}': go on there.")
    finally:
        book.close()
    return Exit.OK


def _correct(a: argparse.Namespace, found: Places) -> int:
    from pydantic import ValidationError

    from engine.carburation.registry import shipped
    from engine.session.corrected import correct, correction
    from engine.session.session import NotForThisJob, Session

    book = _opened(found)
    try:
        session = Session.reopen(book, a.run, advisers=shipped())
        facts = book.job(session.job_number).engineering()
        for said in a.facts:
            _set(facts, said)
        try:
            made = correction(session, facts)
        except (ValidationError, NotForThisJob) as fault:
            raise Failed(Exit.USAGE, f"evendraw book correct: {_said(fault)}") from None
        at = made.state.frame.at
        say(
            f"{made.stay} events of run {a.run} don't rest on this and are kept; the run goes on at "
            f"'{at.step.title or at.name}'. To be given again: {made.again} answers. The old run stays as it was."
        )
        if not a.yes and not _agreed("Put it right? Type yes: "):
            say("Nothing was changed.")
            return Exit.PROBLEMS
        say(f"Put right: go on with run {correct(session, made).run}.")
    finally:
        book.close()
    return Exit.OK


def _said(fault: Exception) -> str:
    """What is wrong with the facts of a job, and with which."""
    from pydantic import ValidationError

    from engine.job.job_file import slip

    if not isinstance(fault, ValidationError):
        return str(fault)
    first = fault.errors()[0]
    where = ".".join(map(str, first["loc"]))
    return f"{where}: {slip(first)}" if where else slip(first)


def _set(facts: dict[str, Any], said: str) -> None:
    """Put one `path=value` into the facts of a job."""
    path, sign, value = said.partition("=")
    *folders, name = path.strip().split(".")
    here: Any = facts
    for folder in folders:
        here = here.get(folder) if isinstance(here, dict) else None
    if not sign or not isinstance(here, dict) or (name not in here and folders not in (["bank"], ["instruments"])):
        raise Failed(
            Exit.USAGE, f"evendraw book correct: '{said[:60]}' is no fact of the job; say such as bank.carbs=3."
        )
    here[name] = {"true": True, "false": False}.get(value.strip(), value.strip())


_HANDLERS: dict[str, Callable[[argparse.Namespace, Places], int]] = {
    "export": _export,
    "import": _import,
    "verify": _verify,
    "backup": _backup,
    "restore": _restore,
    "forget": _forget,
    "split": _split,
    "join": _join,
    "people": _people,
    "customers": _customers,
    "recheck": _recheck,
    "strike": _strike,
    "correct": _correct,
}


def arguments(p: argparse.ArgumentParser, usual: Callable[[argparse.ArgumentParser], None]) -> None:
    """Add the commands of `evendraw book`; `usual` adds the option that names the book."""
    usual(p)
    all_ = p.add_subparsers(dest="what", metavar="WHAT", required=True)

    def add(name: str, about: str) -> argparse.ArgumentParser:
        sub = all_.add_parser(name, help=about, description=f"{about[0].upper()}{about[1:]}.", allow_abbrev=False)
        usual(sub)
        return sub

    add("verify", "look the whole book through, and say what is safe").add_argument(
        "copy", metavar="FILE", nargs="?", help="a copy to look through instead"
    )
    add("backup", "copy the book, also while it is in use").add_argument(
        "to", metavar="TO", help="a file that is not there yet, or a folder"
    )
    add("restore", "put a copy in the place of the book; what stood there is kept").add_argument(
        "copy", metavar="FROM", nargs="?", help="the copy; without it, those kept by themselves are listed"
    )
    add("export", "write the whole book to a folder of JSON").add_argument(
        "to", metavar="FOLDER", help="a folder that is empty, or not there yet"
    )
    add("import", "make a new book of a folder that was exported").add_argument("source", metavar="FOLDER")
    forget = add("forget", "take a person out of the book and of its own copies, for good")
    forget.add_argument("text", metavar="TEXT", help="a name, a registration, or another text of the visits meant")
    forget.add_argument("--yes", action="store_true", help="don't ask")
    add("split", "part a job from the vehicle that it was joined to").add_argument("job", metavar="JOB", type=number)
    join = add("join", "say that a job is of the same vehicle as another, or of the same customer")
    join.add_argument("job", metavar="JOB", type=number)
    join.add_argument("to", metavar="OTHER", type=number, help="the job whose vehicle or customer it is")
    join.add_argument("--customer", action="store_true", help="of the same customer, with another vehicle")
    add("customers", "list the customers, their vehicles, and the jobs of each")
    people = add("people", "list the people of the shop, whose numbers answers carry")
    people.add_argument("--add", metavar="NAME")
    people.add_argument("--left", metavar="NUMBER", type=number, help="who answers no more from today on")
    recheck = add("recheck", "say when a job is due to be checked again; without day and odometer it is due no more")
    recheck.add_argument("job", metavar="JOB", type=number)
    recheck.add_argument("--on", metavar="DAY", help="such as 2031-05-01")
    recheck.add_argument("--at", metavar="ODOMETER", help="at which reading of the odometer")
    recheck.add_argument("--why", metavar="TEXT")
    strike = add("strike", "strike an answer of a run, and all that followed; without one, its answers are listed")
    strike.add_argument("run", metavar="RUN", help="the id of a run, such as 12.1")
    strike.add_argument("answer", metavar="ANSWER", type=number, nargs="?")
    strike.add_argument("--yes", action="store_true", help="don't ask")
    correct = add("correct", "put a wrong fact of the job right; the run goes on from the last gate not resting on it")
    correct.add_argument("run", metavar="RUN", help="the id of a run, such as 12.1")
    correct.add_argument("facts", metavar="FACT=VALUE", nargs="+", help="such as bank.air_bypass_screws=true")
    correct.add_argument("--yes", action="store_true", help="don't ask")


def number(text: str) -> int:
    """A number of a job or a person on the command line."""
    if not (text.isascii() and text.isdecimal()) or len(text) > 18:
        raise argparse.ArgumentTypeError(f"'{text[:20]}' is no number of the book")
    return int(text)
