"""The commands that follow a run or look at the book: the screen, talk, sheet, jobs, where, sizing, trials.

Every import that costs stands inside, and no headless command loads the terminal.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, cast

from tui.commandline.exits import Exit, Failed
from tui.commandline.out import Lines, complain, say

if TYPE_CHECKING:
    from engine.book.book import Book
    from engine.job.model import Job
    from engine.procedure.program import Program
    from engine.quantity.chosen import ChosenUnits
    from tui.commandline.places import Places


def run(arguments: argparse.Namespace) -> int:
    """Run the command that the arguments name; without one, the home screen."""
    for stream in (sys.stdout, sys.stderr):
        if stream is not None and hasattr(stream, "reconfigure") and not stream.isatty():
            stream.reconfigure(encoding="utf-8", newline="\n")
    if arguments.command in _HANDLERS:
        _keep_log()
        return _HANDLERS[arguments.command](arguments)
    from tui.commandline import author_commands

    return author_commands.run(arguments)


# ---- what several commands need


def _places(a: argparse.Namespace) -> Places:
    from tui.commandline.places import NoPlace, places

    try:
        return places(getattr(a, "book", None), getattr(a, "shop", None))
    except NoPlace as fault:
        raise Failed(Exit.USAGE, f"evendraw: {fault}") from None


def _keep_log() -> None:
    """What the engine logs with a trace becomes a report in the log folder; nothing goes to the terminal."""
    import logging

    from tui.commandline import crash

    class Reports(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if record.exc_info and record.exc_info[1] is not None:
                crash.report(record.exc_info[1])

    logging.getLogger("engine").addHandler(Reports())


def _settings(found: Places) -> dict[str, Any]:
    from tui.commandline.places import BadSettings, NoSettings, shop_settings

    try:
        settings = shop_settings(found)
    except NoSettings as nothing:
        complain(str(nothing))
        return {}
    except BadSettings as fault:
        raise Failed(Exit.USAGE, str(fault)) from None
    if settings:
        _known(settings, found)
    return settings


def _known(settings: dict[str, Any], found: Places) -> None:
    """Refuse a setting that no procedure has: it would be out of force without a word."""
    from engine.procedure.source.problems import did_you_mean
    from engine.procedure.source.settings_named import settings_named

    known = settings_named(found.search)
    unknown = [name for name in settings if name not in known]
    if unknown:
        raise Failed(
            Exit.USAGE,
            "\n".join(
                f"{found.settings}: no procedure has a setting '{name}'. {did_you_mean(name, sorted(known))}".strip()
                for name in unknown
            ),
        )


def _job(path: str, found: Places, program: Program | None = None) -> Job:
    """A job file, its words held against what the shop declares, and the procedure that is to be followed."""
    from engine.job import job_file
    from engine.procedure.build.vocabulary import of_folders

    shop = of_folders([Path(path).parent, *found.search])[0]
    known = [shop]
    if program is not None:  # its own words count where the shop's are not enough; a slip is held against the shop's
        own = program.files[program.main].vocabulary
        known.append(
            shop.with_more(families=own.families.values(), mixture_screws=own.mixture_screws.values()),
        )
    refused: list[job_file.BadJob] = []
    for words in known:
        try:
            return job_file.read(Path(path), words, lambda p: complain(str(p)))
        except job_file.BadJob as bad:
            refused.append(bad)
    raise Failed(Exit.USAGE, str(refused[0]))


def _job_again(said: str, found: Places, program: Program) -> tuple[Job, int | None]:
    """A job file, or the number of a job of the book, which is opened again; and the number, if it has one."""
    from engine.book.trouble import BookTrouble

    if not (said.isascii() and said.isdecimal()) or len(said) > 18 or os.path.exists(said):
        return _job(said, found, program), None
    book = _open(found, reading=True)
    try:
        return book.job(int(said)), int(said)
    except BookTrouble as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None
    finally:
        book.close()


def _program(name: str, found: Places) -> Program:
    """A procedure that was loaded and proved sound; its errors go to standard error, a line each."""
    from engine.carburation import registry as advisers
    from engine.procedure.report.checking import check_file

    checked = check_file(name, found.search, advisers.shipped())
    errors = [p for p in checked.problems if p.severity == "error"]
    if errors or checked.program is None:
        raise Failed(Exit.PROCEDURE, "\n".join(map(str, errors or checked.problems)))
    return checked.program


def _open(found: Places, reading: bool = False) -> Book:
    from engine.book.book import Book
    from engine.book.trouble import BookTrouble

    try:
        book = Book.open(found.book, reading=reading)
    except BookTrouble as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None
    for notice in book.notices:
        complain(notice)
    return book


def _terminal() -> None:
    if not all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout)):
        raise Failed(
            Exit.USAGE,
            "evendraw: the screen needs a terminal. Start it in one, or use 'evendraw talk' from "
            "a program; 'evendraw --help' lists what works without a terminal.",
        )


# ---- the screen


def _home(a: argparse.Namespace) -> int:
    _terminal()
    from tui import app

    return app.run_home(_for_screen(_places(a)))


def _run(a: argparse.Namespace) -> int:
    _terminal()
    found = _places(a)
    program = _program(a.procedure, found)
    job, number = _job_again(a.job, found, program)
    from tui import app

    return app.run_job(_for_screen(found), program, job, number=number)


def _rehearse(a: argparse.Namespace) -> int:
    _terminal()
    found = _places(a)
    faults, program = _rehearsable(a, found)
    from tui import app

    return app.run_rehearsal(
        _for_screen(found),
        a.procedure,
        seed=a.seed,
        faults=faults,
        by_itself=a.by_itself,
        job=_job(a.job, found, program) if a.job else None,
    )


def _rehearsable(a: argparse.Namespace, found: Places) -> tuple[tuple[str, ...], Program]:
    """The faults by their plain names, and the procedure. Raises `Failed` for a fault or a procedure that nobody knows,
    before a screen is opened.
    """
    from engine.bench.plant.faults import NoSuchFault, kind_named
    from tui.catalogue.shelf import loaded

    try:
        faults = tuple(map(kind_named, a.fault))
    except NoSuchFault as fault:
        raise Failed(Exit.USAGE, f"evendraw rehearse: {fault}") from None
    program = loaded(Path(a.procedure), found.search)
    if program.program is None:
        errors = [p for p in program.problems if p.severity == "error"]
        if all(p.code == "unknown-file" for p in errors):
            near = errors[0].hint if errors[0].hint.startswith("Did you") else _routines(found)
            raise Failed(Exit.USAGE, f"evendraw rehearse: {errors[0].message} {near}")
        raise Failed(Exit.PROCEDURE, "\n".join(map(str, errors)))
    return faults, program.program


def _routines(found: Places) -> str:
    """The procedures that are no part of another, in a sentence."""
    from tui.catalogue.shelf import mains

    return f"There are: {', '.join(sorted(Path(e.key).stem for e in mains(found.search)))}."


def _for_screen(found: Places) -> Any:
    from tui.catalogue.shop import Shop

    return Shop(found.book, found.search, found.jobs, _settings(found), _header(found), _units(found))


# ---- talk, sheet, jobs, where


def _talk(a: argparse.Namespace) -> int:
    from engine.book.trouble import BookTrouble
    from engine.carburation import registry as advisers
    from engine.protocol.talk import talk
    from engine.session.session import Drift, NotForThisJob, Session

    if sys.stdin is None or sys.stdout is None:
        raise Failed(Exit.USAGE, "evendraw talk: needs standard input and standard output; one of them is closed.")
    if bool(a.run) == bool(a.procedure) or bool(a.job) != bool(a.procedure):
        raise Failed(Exit.USAGE, "evendraw talk: give a procedure and --job FILE, or --run ID to go on with a run.")
    found, registry = _places(a), advisers.shipped()
    # Everything that may be wrong with files is found out before the book is touched.
    fresh = None
    if not a.run:
        program = _program(a.procedure, found)
        fresh = program, _job_again(a.job, found, program), _settings(found)
    book = _open(found)
    try:
        if fresh is None:
            session = Session.reopen(book, a.run, advisers=registry)
        else:
            program, (job, number), shop = fresh
            session = Session.start(program, job, book=book, advisers=registry, shop=shop, job_number=number)
        unsaved = talk(session, sys.stdin.buffer, cast(TextIO, Lines(sys.stdout)), a.protocol)
    except NotForThisJob as refusal:
        raise Failed(Exit.USAGE, str(refusal)) from None
    except (BookTrouble, Drift) as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None
    finally:
        book.close()
    if unsaved is not None:
        raise Failed(Exit.BOOK, unsaved.problem or "The job book failed.")
    return Exit.OK


def _header(found: Places) -> dict[str, str]:
    from tui.commandline.places import BadSettings, NoSettings, shop_header

    try:
        return shop_header(found)
    except NoSettings:
        return {}
    except BadSettings as bad:
        raise Failed(Exit.USAGE, str(bad)) from None


def _units(found: Places) -> ChosenUnits:
    from engine.quantity.chosen import ChosenUnits
    from tui.commandline.places import BadSettings, NoSettings, shop_units

    try:
        return shop_units(found)
    except NoSettings:
        return ChosenUnits()
    except BadSettings as bad:
        raise Failed(Exit.USAGE, str(bad)) from None


def _sheet(a: argparse.Namespace) -> int:
    from engine.book.trouble import BookTrouble
    from engine.carburation import registry as advisers
    from engine.session.session import Drift
    from engine.sheet.gather import newest_run, sheet_of
    from engine.sheet.printers import headed, printed
    from tui.commandline.out import write

    found = _places(a)
    shop, units = _header(found), _units(found)
    book = _open(found, reading=True)
    try:
        sheet = sheet_of(book, newest_run(book, a.job), advisers.shipped())
    except (BookTrouble, Drift) as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None
    finally:
        book.close()
    text = printed(headed(sheet, shop, units), a.format, a.paper or shop.get("paper", "A4"))
    if a.out is None and a.format == "text":
        say(text.rstrip("\n"))
    elif a.out is None:
        write(sys.stdout, text)
    else:
        say(_written(Path(a.out).expanduser(), text))
    return Exit.OK


def _written(path: Path, text: str) -> str:
    """Write a sheet to a file that only its user may read; the sentence that says so. Raises `Failed`."""
    from engine.book.opening import write_private

    try:
        write_private(path, text)
    except (OSError, ValueError) as fault:
        why = getattr(fault, "strerror", None) or str(fault)
        raise Failed(Exit.USAGE, f"The sheet can't be written to {path}: {why}. Name another file.") from None
    return f"Written to {path}."


def _jobs(a: argparse.Namespace) -> int:
    from engine.book.trouble import BookTrouble
    from tui.commandline.listing import job_json, job_lines

    book = _open(_places(a), reading=a.forget is None)
    try:
        if a.forget is not None:
            from engine.book.forget import forget

            book.told(a.forget)
            done = forget(book, [a.forget], jobs_folder=_places(a).jobs)
            complain("\n".join(done.left))
            complain("'evendraw book forget NAME' finds every visit of a person, and asks first.")
        words = " ".join(a.words)
        if a.json:
            say(_json(job_json(book, words, a.all)))
        else:
            say(job_lines(book, words, a.all))
    except BookTrouble as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None
    finally:
        book.close()
    return Exit.OK


def _history(a: argparse.Namespace) -> int:
    import shutil
    from dataclasses import asdict

    from engine.book.trouble import BookTrouble
    from engine.carburation import registry as advisers
    from engine.sheet.history import lines, visits

    book = _open(_places(a), reading=True)
    try:
        if a.job.isascii() and a.job.isdigit() and len(a.job) < 16:
            job = int(a.job)
        else:
            found = [v for v in book.vehicles() if v.jobs and same_mark(v.registration, a.job)]
            if not found:
                raise BookTrouble(
                    f"No vehicle in this book is registered '{a.job}'. 'evendraw jobs WORDS' looks for it."
                )
            job = found[0].jobs[0]
        told = visits(book, job, advisers.shipped())
    except BookTrouble as trouble:
        raise Failed(Exit.BOOK, str(trouble)) from None
    finally:
        book.close()
    say(_json([asdict(v) for v in told]) if a.json else lines(told, shutil.get_terminal_size().columns))
    return Exit.OK


def same_mark(one: str, other: str) -> bool:
    """Whether two registrations are the same, however they are spaced."""
    from engine.book.migrate import plate

    return plate(one) == plate(other) != ""


def _look_after(a: argparse.Namespace) -> int:
    from tui.commandline import book_commands

    return book_commands.run(a, _places(a))


def _where(a: argparse.Namespace) -> int:
    from tui.commandline.places import standing

    found = _places(a)
    for name, path in (
        ("job book", found.book),
        ("job files", found.jobs),
        ("shop folder", found.shop),
        ("shop settings", found.settings),
        ("shipped procedures", found.shipped),
        ("log", found.log),
    ):
        say(f"{name:<19} {path}{standing(path)}")
    return Exit.OK


def _list_settings(a: argparse.Namespace) -> int:
    from engine.procedure.report import settings
    from tui.commandline.author_commands import files_asked

    found = _places(a)
    shop, job = _settings(found), _job(a.job, found) if a.job else None
    say(settings.units_as_text(_units(found)))
    say(settings.as_text(settings.rows(files_asked(a, found.search), shop, job)).rstrip())
    return Exit.OK


# ---- computations


def _sizing(a: argparse.Namespace) -> int:
    from engine.carburation.rules.sizing_report import run as report
    from engine.sheet.sizing_page import lines

    if a.job.isascii() and a.job.isdecimal():
        from engine.book.trouble import BookTrouble

        book = _open(_places(a), reading=True)
        try:
            job = book.job(int(a.job))
        except BookTrouble as trouble:
            raise Failed(Exit.BOOK, str(trouble)) from None
        finally:
            book.close()
    else:
        job = _job(a.job, _places(a))
    found = report(job)
    say(_json(found.to_json()) if a.json else lines(found))
    return Exit.OK


def _trials(a: argparse.Namespace) -> int:
    from engine.bench.trial import statistics, trial_table, trials
    from engine.bench.trial.fleet import SIDEDRAUGHT
    from engine.carburation import registry as advisers

    if a.engines < 1 or (a.workers is not None and a.workers < 1):
        raise Failed(Exit.USAGE, "evendraw trials: --engines and --workers are at least 1.")
    found = _places(a)
    program = _program(a.procedure, found)
    layout = program.files[program.main].layout
    families = [f for f in layout.families if f != "any"]
    job = _job(a.job, found, program) if a.job else None
    family = job.bank.family if job else families[0] if families else SIDEDRAUGHT
    plan = trials.TrialPlan(
        a.procedure,
        found.search,
        advisers.shipped,
        family=family,
        counts=(layout.carbs, layout.barrels_per_carb),
        job=None if job is None else job.model_dump_json(),
        meter=a.meter,
        references=not a.no_references,
        fleet=a.fleet,
        tachometer=a.tachometer,
    )
    watched = sys.stderr is not None and sys.stderr.isatty()

    def progress(done: int, of: int) -> None:
        if watched:
            print(f"\r{done} of {of} engines", end="" if done < of else "\n", file=sys.stderr, flush=True)

    try:
        outcomes = trials.run(plan, range(a.seed, a.seed + a.engines), a.workers or os.cpu_count() or 1, progress)
        summary = statistics.summary(program.main, plan.family, plan.meter, outcomes, plan.fleet)
    except ValueError as refusal:
        raise Failed(Exit.USAGE, f"evendraw trials: {refusal}") from None
    say(_json(summary.to_json()) if a.json else trial_table.table(summary))
    return Exit.PROBLEMS if summary.problems else Exit.OK


def _json(made: Any) -> str:
    from fractions import Fraction

    from engine.foreign import json_line

    def plain(value: Any) -> Any:
        if isinstance(value, Fraction):
            return float(value)
        raise TypeError(f"{type(value).__name__} has no JSON")

    return json_line(made, indent=2, default=plain)


_HANDLERS: dict[str | None, Callable[[argparse.Namespace], int]] = {
    "settings": _list_settings,
    None: _home,
    "run": _run,
    "rehearse": _rehearse,
    "talk": _talk,
    "sheet": _sheet,
    "jobs": _jobs,
    "history": _history,
    "where": _where,
    "book": _look_after,
    "sizing": _sizing,
    "trials": _trials,
}
