"""The commands for who writes procedures, from `check` to `new`; none of them loads the terminal."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from engine.foreign import plain_lines
from tui.commandline.exits import Exit, Failed
from tui.commandline.out import say, write

if TYPE_CHECKING:
    from tui.commandline.places import Places


def run(arguments: argparse.Namespace) -> int:
    """Run the command that the arguments name."""
    commands = {
        "check": _check,
        "explain": _explain,
        "route": _route,
        "schema": _schema,
        "advisers": _advisers,
        "words": _words,
        "new": _new,
    }
    return commands[arguments.command](arguments)


def _places(a: argparse.Namespace) -> Places:
    from tui.commandline.places import NoPlace, places

    try:
        return places(shop=getattr(a, "shop", None))
    except NoPlace as fault:
        raise Failed(Exit.USAGE, f"evendraw: {fault}") from None


def _search(a: argparse.Namespace) -> tuple[Path, ...]:
    return _places(a).search


def _check(a: argparse.Namespace) -> int:
    from engine.carburation import registry as advisers
    from engine.procedure.report.checking import run_check

    found = _places(a)
    text, code = run_check(a.files, found.search, advisers.shipped(), a.format, found.settings)
    write(sys.stdout, plain_lines(text))
    return code


def _explain(a: argparse.Namespace) -> int:
    from engine.procedure.report.explain import run_explain

    text, code = run_explain(a.code)
    write(sys.stderr if code else sys.stdout, plain_lines(text))
    return code


def _route(a: argparse.Namespace) -> int:
    from engine.carburation import registry as advisers
    from engine.procedure.route.route import run_route

    text, code = run_route(a.file, _search(a), advisers.shipped(), a.format)
    write(sys.stderr if code else sys.stdout, plain_lines(text))
    return code


def _schema(a: argparse.Namespace) -> int:
    if a.of == "talk":
        import engine.protocol

        committed = Path(engine.protocol.__file__ or "").with_name("talk.schema.json")
        write(sys.stdout, committed.read_text(encoding="utf-8"))
        return Exit.OK
    if a.of == "sheet":
        import json

        from engine.sheet.tables import schema as of_sheets

        write(sys.stdout, json.dumps(of_sheets(), indent=2) + "\n")
        return Exit.OK
    if a.of == "settings":
        import json

        from engine.procedure.report.settings import schema as of_settings

        write(sys.stdout, json.dumps(of_settings(files_asked(a, _search(a))), indent=2, ensure_ascii=False) + "\n")
        return Exit.OK
    from engine.procedure.model import schema

    if a.of == "job":
        write(sys.stdout, schema.text(schema.job_schema()))
        return Exit.OK
    from engine.carburation import registry as advisers
    from tui.commandline.places import shipped

    offers = schema.offers_of(shipped(), advisers.shipped())
    made = schema.schema(offers) if a.of == "procedure" else schema.kit_schema(offers)
    write(sys.stdout, schema.text(made))
    return Exit.OK


def files_asked(a: argparse.Namespace, search: tuple[Path, ...]) -> Any:
    """The files whose settings are asked for: one with all that it calls, else every file of shop and program."""
    from engine.carburation import registry as advisers
    from engine.procedure.build.load import load
    from engine.procedure.report import settings
    from tui.catalogue.shelf import paths

    if getattr(a, "procedure", None):
        loaded = load(a.procedure, search, advisers.shipped())
        if loaded.program is None:
            raise Failed(Exit.PROCEDURE, "\n".join(str(p) for p in loaded.problems if p.severity == "error"))
        return loaded.program.files
    return settings.files_of(paths(search), search, advisers.shipped())


def _advisers(a: argparse.Namespace) -> int:
    from engine.carburation import registry as advisers
    from engine.procedure.report.contracts import run_advisers

    text, code = run_advisers(advisers.shipped(), a.name)
    write(sys.stderr if code else sys.stdout, plain_lines(text))
    return code


def _words(a: argparse.Namespace) -> int:
    from engine.procedure.report.manual import run_words

    text, code = run_words(a.word)
    write(sys.stderr if code else sys.stdout, plain_lines(text))
    return code


def _new(a: argparse.Namespace) -> int:
    from engine.procedure.authoring import NotAStart, starting_file, starting_job

    path, job = Path(f"{a.name}.yaml"), Path(f"{a.name}-job.yaml")
    given = (a.name, a.family, a.carbs, a.barrels, a.gauge)
    try:
        texts = {path: starting_file(*given), job: starting_job(*given)}
    except NotAStart as refusal:
        raise Failed(Exit.USAGE, f"evendraw new: {refusal}") from None
    for there in (p for p in texts if p.exists()):
        raise Failed(Exit.USAGE, f"evendraw new: there is a {there} already. Choose another name, or move it away.")
    for file, text in texts.items():
        _written(file, text)
    say(f"Wrote {path} and {job}. Edit the first, prove it: evendraw check {path}")
    say(f"Try it on the second: evendraw rehearse {path} --job {job}")
    return Exit.OK


def _written(path: Path, text: str) -> None:
    """Write a file that is not there yet."""
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except (OSError, ValueError) as fault:
        said = getattr(fault, "strerror", None) or fault
        raise Failed(Exit.USAGE, f"evendraw new: {path} can't be written: {said}.") from None
