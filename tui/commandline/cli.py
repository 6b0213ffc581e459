"""The command line: reads arguments, calls one command, turns what went wrong into a sentence and an exit code.

Nothing is imported here that `--help` and `--version` do not need; each command imports what it uses.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NoReturn

from engine import VERSION
from tui.commandline.exits import Exit, Failed

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

#: name -> (what it does, an example, what adds its arguments)
_COMMANDS: dict[str, tuple[str, str, Callable[[argparse.ArgumentParser], None]]] = {}


class Parser(argparse.ArgumentParser):
    """The parser, but help that can't be written is told: the library's own lets it go in silence."""

    def print_help(self, file: SupportsWrite[str] | None = None) -> None:
        """Write the help. Raises `OSError` where the stream fails."""
        stream = file or sys.stdout
        if stream is not None:
            stream.write(self.format_help())

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the arguments, nothing of which steers the terminal, and end."""
        from engine.foreign import plain

        super().error(plain(message))


def _command(name: str, about: str, example: str) -> Callable[[Callable[[argparse.ArgumentParser], None]], None]:
    def note(arguments: Callable[[argparse.ArgumentParser], None]) -> None:
        _COMMANDS[name] = (about, example, arguments)

    return note


def _book(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "--book",
        metavar="FILE",
        default=argparse.SUPPRESS,
        help="the job book (else EVENDRAW_BOOK, else the usual place)",
    )


def _shop(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "--shop",
        metavar="FOLDER",
        default=argparse.SUPPRESS,
        help="the shop's own procedures and settings (else EVENDRAW_SHOP)",
    )


_PROCEDURE = "a path, or the name of a shipped or shop file"


#: Commands that give no answer to any run, so that a crash of theirs has nothing to say of answers.
UNBOOKED = frozenset(
    {"check", "explain", "route", "schema", "advisers", "words", "new", "settings", "sizing", "trials", "where"}
)


@_command("run", "follow a procedure on a job, on the screen", "evendraw run twin-choke-sidedraught --job job.yaml")
def _run(p: argparse.ArgumentParser) -> None:
    p.add_argument("procedure", metavar="PROCEDURE", help=_PROCEDURE)
    p.add_argument("--job", metavar="FILE", required=True, help="the job file, or the number of a job in the book")
    _book(p)
    _shop(p)


@_command("rehearse", "follow a procedure on the virtual engine", "evendraw rehearse --seed 7 --fault air-leak")
def _rehearse(p: argparse.ArgumentParser) -> None:
    p.add_argument("procedure", metavar="PROCEDURE", nargs="?", default="twin-choke-sidedraught", help=_PROCEDURE)
    p.add_argument("--seed", type=int, default=None, metavar="N", help="the same number gives the same engine")
    p.add_argument("--fault", action="append", default=[], metavar="NAME", help="hide this fault in it (repeatable)")
    p.add_argument("--by-itself", action="store_true", help="let it play by itself")
    p.add_argument("--job", metavar="FILE", help="rehearse on the engine of a job file")
    _shop(p)


@_command(
    "talk",
    "follow a procedure over standard input and output, one JSON object a line",
    "evendraw talk twin-choke-sidedraught --job job.yaml",
)
def _talk(p: argparse.ArgumentParser) -> None:
    p.add_argument("procedure", metavar="PROCEDURE", nargs="?", help=_PROCEDURE)
    p.add_argument("--job", metavar="FILE", help="the job file, or the number of a job in the book")
    p.add_argument("--run", metavar="ID", help="instead of both: go on with a run of the book")
    p.add_argument(
        "--protocol", type=int, choices=(1, 2), default=2, help="what the client understands; 1 as it was before gates"
    )
    _book(p)
    _shop(p)


@_command("check", "prove procedure files sound", "evendraw check my-procedure.yaml")
def _check(p: argparse.ArgumentParser) -> None:
    p.add_argument("files", metavar="FILE", nargs="+", help=_PROCEDURE)
    p.add_argument("--format", choices=("full", "line", "json", "sarif", "annotations"), default="full")
    _shop(p)


@_command("explain", "say what a problem's code means", "evendraw explain uncovered-reading")
def _explain(p: argparse.ArgumentParser) -> None:
    p.add_argument("code", metavar="CODE", nargs="?", help="the code of a problem; without it, all of them are listed")


@_command("route", "draw the way through a procedure", "evendraw route my-procedure.yaml --format mermaid")
def _route(p: argparse.ArgumentParser) -> None:
    p.add_argument("file", metavar="FILE", help=_PROCEDURE)
    p.add_argument("--format", choices=("text", "mermaid", "svg"), default="text")
    _shop(p)


@_command(
    "schema",
    "print the JSON Schema of a procedure file, a job file, the line protocol or a shop's settings",
    "evendraw schema > procedure.schema.json",
)
def _schema(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "of",
        choices=("procedure", "kit", "job", "talk", "sheet", "settings"),
        nargs="?",
        default="procedure",
        help="of what",
    )
    _shop(p)


@_command("settings", "list every setting, what is in force and who gave it", "evendraw settings air-balance")
def _settings(p: argparse.ArgumentParser) -> None:
    p.add_argument("procedure", metavar="PROCEDURE", nargs="?", help=f"{_PROCEDURE}; without it, all of them")
    p.add_argument("--job", metavar="FILE", help="a job file: what it sets, and the choice that it makes in a table")
    _shop(p)


@_command("words", "print the words of a procedure file, each with an example", "evendraw words quantities")
def _words(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "word",
        metavar="WORD",
        nargs="?",
        help="a word, or keys, functions, states, quantities, hazards, families, phases; without it, all of them",
    )


@_command("advisers", "print what each adviser takes, gives and finds", "evendraw advisers idle_jets")
def _advisers(p: argparse.ArgumentParser) -> None:
    p.add_argument("name", metavar="NAME", nargs="?", help="an adviser; without it, all of them are listed")


@_command("new", "write a sound procedure file to start from", "evendraw new my-triples --carbs 3 --barrels 1")
def _new(p: argparse.ArgumentParser) -> None:
    p.add_argument(
        "name", metavar="NAME", help="the name of the procedure: it becomes NAME.yaml, its job NAME-job.yaml"
    )
    p.add_argument("--family", default="any", help="the family of carburettors that it is for")
    p.add_argument("--carbs", type=int, default=2, metavar="N", help="how many carburettors")
    p.add_argument("--barrels", type=int, default=1, metavar="N", help="how many barrels each has")
    p.add_argument("--gauge", choices=("airflow", "depression"), help="how the air is read; else as the family does")


@_command("sheet", "print the job sheet", "evendraw sheet 12")
def _sheet(p: argparse.ArgumentParser) -> None:
    p.add_argument("job", metavar="JOB", help="the number of a job (its newest run), or the id of a run, such as 12.1")
    p.add_argument("--format", choices=("text", "html", "csv", "json"), default="text", help="how it is printed")
    p.add_argument("--out", metavar="FILE", help="write it to this file (private to you) instead of the terminal")
    p.add_argument("--paper", choices=("A4", "Letter"), help="of the HTML page (else the shop's, else A4)")
    _book(p)


@_command("sizing", "what parts this engine would start from, and what is fitted", "evendraw sizing job.yaml")
def _sizing(p: argparse.ArgumentParser) -> None:
    p.add_argument("job", metavar="JOB", help="a job file, or the number of a job in the book")
    p.add_argument("--json", action="store_true", help="as JSON")
    _book(p)


@_command("trials", "run a procedure on many virtual engines", "evendraw trials twin-choke-sidedraught --engines 200")
def _trials(p: argparse.ArgumentParser) -> None:
    p.add_argument("procedure", metavar="PROCEDURE", help=_PROCEDURE)
    p.add_argument("--engines", type=int, default=100, metavar="N")
    p.add_argument("--seed", type=int, default=1, metavar="S")
    p.add_argument("--workers", type=int, default=None, metavar="W", help="processes (else one for each processor)")
    p.add_argument("--meter", choices=("lambda", "co"), help="what is measured of each cylinder (else nothing)")
    p.add_argument(
        "--fleet",
        choices=("varied", "plain"),
        default="varied",
        help="engines that differ in what nobody knows of them (the usual), or alike in it",
    )
    p.add_argument("--job", metavar="FILE", help="every engine is one of this job file (else drawn to fit)")
    p.add_argument("--tachometer", type=float, metavar="RPM", help="the step of every tachometer (else as drawn)")
    p.add_argument("--no-references", action="store_true", help="leave the technicians of reference out, for speed")
    p.add_argument("--json", action="store_true", help="as JSON")
    _shop(p)


@_command("jobs", "list the jobs of the book and their runs, or look for some", "evendraw jobs SAMPLE 1")
def _jobs(p: argparse.ArgumentParser) -> None:
    about = "beginnings of words: registration, customer, vehicle, engine, day, complaint, finding"
    p.add_argument("words", metavar="WORD", nargs="*", help=about)
    p.add_argument("--all", action="store_true", help="all of them, not only the newest")
    p.add_argument("--json", action="store_true", help="as JSON")
    p.add_argument("--forget", type=int, metavar="JOB", help="empty customer, vehicle and complaint of a job, for good")
    _book(p)


@_command("history", "a vehicle's visits side by side", "evendraw history 12")
def _history(p: argparse.ArgumentParser) -> None:
    p.add_argument("job", metavar="JOB", help="the number of one of its jobs, or its registration")
    p.add_argument("--json", action="store_true", help="as JSON")
    _book(p)


@_command("book", "look after the job book: verify, backup, restore, forget, ...", "evendraw book verify")
def _look_after(p: argparse.ArgumentParser) -> None:
    from tui.commandline.book_commands import arguments

    arguments(p, _book)


@_command("where", "print where things are kept", "evendraw where")
def _where(p: argparse.ArgumentParser) -> None:
    _book(p)
    _shop(p)


def parser(given: Sequence[str] | None = None) -> argparse.ArgumentParser:
    """The whole command line; where the words that were given are known, only the commands among them in full."""
    top = Parser(
        prog="evendraw",
        allow_abbrev=False,
        description="Walks a technician through balancing several carburettors and setting their idle. Without a "
        "command it opens the home screen.",
    )
    top.add_argument("--version", action="version", version=f"evendraw {VERSION} (Python {sys.version.split()[0]})")
    _book(top)
    _shop(top)
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    for name, (about, example, arguments) in _COMMANDS.items():
        sub = commands.add_parser(
            name,
            help=about,
            description=f"{about[0].upper()}{about[1:]}.",
            epilog=f"Example: {example}",
            allow_abbrev=False,
        )
        if given is None or name in given:
            arguments(sub)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; the exit code."""
    from tui.commandline.out import Unwritable, complain, quiet

    try:
        given = sys.argv[1:] if argv is None else argv
        arguments = parser(given).parse_args(given)
    except SystemExit as done:
        try:
            # Help is written by the parser; where it can't be, that is told like any other output.
            if sys.stdout is not None and not sys.stdout.closed:
                sys.stdout.flush()
        except OSError as fault:
            return _unwritable(Unwritable(fault))
        return int(done.code or 0)
    except OSError as fault:
        return _unwritable(Unwritable(fault))
    try:
        from tui.commandline import commands

        return int(commands.run(arguments))
    except Failed as failure:
        complain(str(failure))
        return int(failure.code)
    except KeyboardInterrupt:
        return int(Exit.INTERRUPTED)
    except BrokenPipeError:
        # Whoever read the output has gone. Nothing more can be said, and nothing more must be tried at exit.
        quiet()
        return int(Exit.OK)
    except Unwritable as fault:
        return _unwritable(fault)
    except Exception as fault:
        from tui.commandline import crash

        booked = getattr(arguments, "command", None) not in UNBOOKED
        complain(crash.sentence(crash.report(fault), booked))
        return int(Exit.INTERNAL)


def _unwritable(fault: Exception) -> int:
    from tui.commandline.out import complain, quiet

    quiet()
    complain(f"evendraw: {fault}")
    return int(Exit.USAGE)


if __name__ == "__main__":
    # By its own name: what the commands raise is that module's.
    from tui.commandline.cli import main as by_name

    raise SystemExit(by_name())
