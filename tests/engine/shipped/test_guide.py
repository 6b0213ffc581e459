"""The guide to writing a procedure keeps its word: every listing in it is loaded, proved and run as it stands."""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from explorer import sound_answer

from engine.book.book import Book
from engine.job.job_file import parse
from engine.procedure.report.checking import check_file
from engine.session.session import Session

FENCE = re.compile(r"^```(?P<kind>\w+) ?(?P<words>[^\n]*)\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Listing:
    """One listing: its language, the file that it is, and what else its first line says."""

    kind: str
    name: str
    rest: str
    body: str


@pytest.fixture(scope="module")
def listings(folder):
    """Every listing of the guide, in order."""
    text = (folder / "README.md").read_text(encoding="utf-8")
    assert text.count("```") == 2 * len(FENCE.findall(text)), "a listing without a language"
    found = []
    for match in FENCE.finditer(text):
        name, _, rest = match["words"].partition(" ")
        found.append(Listing(match["kind"], name, rest, match["body"]))
    return found


@pytest.fixture(scope="module")
def job(listings):
    """The job of the guide."""
    return parse(next(x.body for x in listings if x.name == "job.yaml"), "job.yaml")


def written(listing: Listing, folder) -> None:
    """Put a listing where a reader would: a new file, or the lines added to the file that is there."""
    path = folder / listing.name
    path.parent.mkdir(exist_ok=True)
    how, _, where = listing.rest.partition(" ")
    if how in ("in-place-of", "after"):
        anchor = where.replace(" / ", "\n") + "\n"
        text = path.read_text(encoding="utf-8")
        assert text.count(anchor) == 1, f"{listing.name}: {where!r} is not there once"
        new = listing.body if how == "in-place-of" else anchor + listing.body
        path.write_text(text.replace(anchor, new), encoding="utf-8")
    else:
        path.write_text(listing.body, encoding="utf-8")


def test_the_guide_has_listings_of_every_kind(listings):
    """Else the tests below would test nothing."""
    assert {x.kind for x in listings} == {"yaml", "console", "advise", "family"}
    assert len([x for x in listings if x.kind == "yaml"]) >= 9


def test_every_file_is_sound_as_it_grows(listings, advisers, tmp_path):
    """Written one after the other into one folder; a listing that is meant to be wrong is wrong as it says."""
    for listing in listings:
        if listing.kind != "yaml" or listing.name == "job.yaml":
            continue
        written(listing, tmp_path)
        checked = check_file(tmp_path / listing.name, (tmp_path,), advisers)
        if listing.rest.startswith(("in-place-of", "after")) or not listing.rest:
            # Between two listings that change one file it may be unfinished; after the last of them it may not.
            unfinished = listing.rest.startswith("in-place-of")
            assert [str(p) for p in checked.problems if p.code != "unused-name" or not unfinished] == []
        else:
            assert listing.rest in {p.code for p in checked.problems}


def test_a_routine_for_a_family_of_ones_own_takes_at_most_60_lines(listings, folder, advisers, tmp_path):
    """With a kit for its words and the shipped files for the work; it is sound, and it runs on a virtual engine."""
    from engine.bench.technicians.hands import Hands
    from engine.bench.trial.fleet import faulted, random_job
    from engine.protocol.talk import parse_answer, step_message

    parts = [x for x in listings if x.kind == "family"]
    assert sum(len(x.body.splitlines()) for x in parts) <= 60
    for listing in parts:
        written(listing, tmp_path)
    checked = check_file(tmp_path / "my-trim.yaml", (tmp_path, folder), advisers)
    assert checked.program is not None and [str(p) for p in checked.problems] == []
    layout = checked.program.files["my-trim"].layout
    specimen = faulted(random_job(3, layout.families[0], (layout.carbs, layout.barrels_per_carb)), [], 3)
    session = Session.start(checked.program, specimen.job, book=Book.memory(), advisers=advisers)
    hands = Hands(specimen.engine())
    for _ in range(400):
        if session.over:
            break
        answer = parse_answer(hands.answer(step_message(session.view)))
        assert session.answer(answer).problem is None
    assert session.over and session.view.end.outcome == "ok", session.view.end.say


def test_every_file_that_can_be_started_runs_to_its_end(listings, job, advisers, tmp_path, invented):
    """With the answers of a sound lamp, and of a sound engine where it is about one."""
    ran = 0
    for listing in listings:
        if listing.kind != "yaml" or listing.name == "job.yaml":
            continue
        written(listing, tmp_path)
        program = check_file(tmp_path / listing.name, (tmp_path,), advisers).program
        if program is None or program.files[program.main].here or listing.rest == "uncovered-reading":
            continue
        on = job if "headlamps" in program.files[program.main].layout.families else invented()
        session = Session.start(program, on, book=Book.memory(), advisers=advisers)
        for _ in range(60):
            if session.over:
                break
            reply = session.answer(sound_answer(session.view))
            assert reply.problem is None
        assert session.over and session.view.end.outcome in ("ok", "failed")
        ran += 1
    assert ran >= 5


def test_the_commands_print_what_the_guide_says(listings, tmp_path):
    """Run as a process in a folder that holds the files written so far."""
    ran = 0
    for listing in listings:
        if listing.kind == "yaml":
            written(listing, tmp_path)
        if listing.kind != "console":
            continue
        command, _, expected = listing.body.partition("\n")
        assert command.startswith("$ evendraw ")
        words = command.removeprefix("$ evendraw ").split()
        done = subprocess.run(
            [sys.executable, "-m", "tui", *words], cwd=tmp_path, capture_output=True, encoding="utf-8", timeout=60
        )
        assert done.returncode == 0, done.stdout + done.stderr
        assert " ".join(done.stdout.split()) == " ".join(expected.split())
        ran += 1
    assert ran >= 2


#: What the examples of the advisers are set into.
FRAME = Path(__file__).with_name("adviser_frame.yaml")
TURN = "  turn:\n    do: Make the moves.\n    make: next\n    go: measure\n"
#: Parts are fitted with the engine off.
STOPPED = "  turn:\n    state: {engine: stopped}\n"
#: What a frame that serves all of them can't keep: it reads more than one example wants, of a dead and a live engine.
OF_THE_FRAME = {"unused-name", "unused-reading", "unreachable-step"}


def test_every_adviser_has_an_example_that_is_sound(listings, advisers, tmp_path):
    """Set into a file that declares what the shipped files declare, each is proved like any other."""
    examples = {x.name: x.body for x in listings if x.kind == "advise"}
    assert examples.keys() == advisers.keys()
    for name, body in examples.items():
        assert f"adviser: {name}," in body
        lines = "".join(f"    {line}\n" for line in body.splitlines())
        text = FRAME.read_text(encoding="utf-8").replace("    # the example\n", lines)
        turn = TURN if "parts" not in advisers[name].makes else TURN.replace("  turn:\n", STOPPED)
        text = text.replace("  # a step that makes it\n", turn if "go: turn" in body else "")
        (tmp_path / "example.yaml").write_text(text, encoding="utf-8")
        problems = check_file(tmp_path / "example.yaml", (tmp_path,), advisers).problems
        assert [str(p) for p in problems if p.code not in OF_THE_FRAME] == [], name
