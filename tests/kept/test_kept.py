"""What was kept of earlier states still opens: every run prints what it printed, every open run goes on, shop and job
files still load. A state is recorded by `record.py` with the program of that state, and never changed afterwards.

Where a later program can't do one of these, that stands here by name with the reason, and the README says it.
"""

from __future__ import annotations

import io
import shutil
from collections.abc import Callable, Iterator
from contextlib import closing, redirect_stderr, redirect_stdout
from fractions import Fraction
from pathlib import Path
from typing import Any

import compare
import kept_state as kept
import pytest
import record
import sheet_content as sheets

from engine.book import codec
from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.job import job_file
from engine.procedure.build.load import load
from engine.protocol.talk import parse_answer
from engine.session.session import Answer, Session
from engine.session.view import Ask, View
from engine.sheet import plain_text
from engine.sheet.document import document
from engine.sheet.gather import sheet_of
from tui.commandline import cli

MAIN = (
    "twin-choke-sidedraught",
    "constant-depression",
    "motorcycle-bank",
    "progressive-downdraught",
    "single-carburettor",
)
#: Open runs that can't go on any more, with the sentence that the program says.
STUCK: dict[str, str] = {}
#: Settings, and keys of a job, that are called otherwise now: old to new. The old name is still understood.
RENAMED_SETTINGS: dict[str, str] = {}
RENAMED_KEYS: dict[str, str] = {}

RUNS = [
    pytest.param(state, row, id=f"{state.name}-{row['run']}-{row['how']}-{row['procedure']}")
    for state in kept.STATES
    for row in kept.rows_of(state, "answers.jsonl.gz")
]
STATES = [pytest.param(state, id=state.name) for state in kept.STATES]
JOBS = [
    pytest.param(state, path, id=f"{state.name}-{path.stem}")
    for state in kept.STATES
    for path in sorted((state / "jobs").glob("*.yaml"))
]


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[Path, Path]]:
    """The book of every state, unpacked once."""
    yield {s: kept.book_of(s, tmp_path_factory.mktemp(s.name) / "jobs.book") for s in kept.STATES}


def evendraw(*arguments: str) -> str:
    """What a command prints; it must end well."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        code = cli.main(arguments)
    assert code == cli.Exit.OK, err.getvalue()
    return out.getvalue()


# ---- what is kept


@pytest.mark.parametrize("state", STATES)
def test_of_every_family_an_ended_an_open_an_undone_and_an_abandoned_run_is_kept(state: Path) -> None:
    rows = kept.rows_of(state, "answers.jsonl.gz")
    for procedure in MAIN:
        assert {r["how"] for r in rows if r["procedure"] == procedure} >= {"ended", "open", "undone", "abandoned"}


@pytest.mark.parametrize("state", STATES)
def test_opening_the_book_changes_no_event(state: Path, tmp_path: Path) -> None:
    wanted = {row["run"]: row["events"] for row in kept.rows_of(state, "events.jsonl.gz")}
    with closing(Book.open(kept.book_of(state, tmp_path / "jobs.book"))) as book:
        assert {r.run for r in book.runs()} == set(wanted)
        for run, events in wanted.items():
            assert [codec.load(e.body) for e in book.events(run)] == events


# ---- the sheets


@pytest.mark.parametrize(("state", "row"), RUNS)
def test_a_sheet_says_what_it_said(state: Path, row: dict[str, Any], unpacked: dict[Path, Path]) -> None:
    before = (state / "sheets" / f"{row['run']}.txt").read_text(encoding="utf-8")
    now = evendraw("sheet", row["run"], "--book", str(unpacked[state]))
    missing = sheets.missing(sheets.content_kept(before), sheets.content_now(now))
    assert not missing, "\n".join(" | ".join(item) for item in missing)


@pytest.mark.parametrize(
    ("change", "matters"),
    [
        (lambda text: text.replace("4.3", "4.4", 1), True),
        (
            lambda text: text.replace(
                "                 3.1                 4.3", "                 4.3                 3.1"
            ),
            True,
        ),
        (lambda text: text.replace("SAMPLE: bonnet up at nine.", ""), True),
        (lambda text: text.replace("  To do: Bush the body or fit a new spindle.\n", ""), True),
        (lambda text: text.replace("put right first: Air", "put right\nfirst:  Air"), False),
        (lambda text: text.replace("NOTES\n", "A NEW SECTION\n" + "-" * 80 + "\n- more\n\nNOTES\n"), False),
    ],
)
def test_what_a_sheet_says_is_told_from_how_it_is_laid_out(change: Callable[[str], str], matters: bool) -> None:
    text = (kept.STATES[0] / "sheets" / "2.5.txt").read_text(encoding="utf-8")
    changed = change(text)
    assert changed != text
    assert bool(sheets.missing(sheets.content_kept(text), sheets.content_now(changed))) == matters


@pytest.mark.parametrize("state", STATES)
def test_jobs_and_customers_are_listed_and_who_was_forgotten_stays_so(state: Path, unpacked: dict[Path, Path]) -> None:
    said = evendraw("jobs", "--book", str(unpacked[state]))
    for name, job in kept.json_of(state, "jobs.json").items():
        if job["customer"]:
            assert (job["customer"] in said) != (name == "progressive-plain")


# ---- going on


def next_answer(view: View) -> Answer:
    """An answer of somebody who finds nothing wrong and does what is asked."""
    if not view.read:
        return Answer(done=True, understood=True)
    return Answer(readings={ask.name: _row(ask) for ask in view.read}, understood=True)


def _row(ask: Ask) -> Any:
    healthy = ask.healthy
    if ask.choices:
        one: Any = healthy if isinstance(healthy, str) else ask.choices[0]
    elif isinstance(healthy, tuple) and None not in healthy:
        one = sum(healthy, Fraction(0)) / 2
    else:
        assert ask.range is not None
        one = ask.range[0] + (ask.range[1] - ask.range[0]) / 8
    return [one] * ask.count if ask.each else one


@pytest.mark.parametrize(("state", "row"), RUNS)
def test_an_open_run_goes_on_and_an_ended_one_can_be_taken_up_again(
    state: Path, row: dict[str, Any], unpacked: dict[Path, Path], tmp_path: Path
) -> None:
    # A book for each: what one run adds is no matter to another, and no window waits for another.
    path = tmp_path / "jobs.book"
    path.write_bytes(unpacked[state].read_bytes())
    with closing(Book.open(path)) as book:
        session = Session.reopen(book, row["run"], advisers=shipped())
        ended = session.over
        before = session.state.seq
        reply = session.answer(Answer(undo=True) if ended else next_answer(session.view))
        said = STUCK.get(row["run"])
        assert (reply.problem is None) if said is None else (reply.problem == said), reply.problem
        if said is None:
            assert reply.recorded == before + 1
            assert not (ended and session.over)
            assert row["run"] in evendraw("sheet", row["run"], "--book", str(path))


@pytest.mark.parametrize("state", STATES)
def test_a_run_of_every_procedure_is_read_and_printed_by_a_program_that_has_none_of_its_advisers(
    state: Path, unpacked: dict[Path, Path]
) -> None:
    runs = {(r["procedure"], r["shop"]): r["run"] for r in kept.rows_of(state, "answers.jsonl.gz")}
    with closing(Book.open(unpacked[state], reading=True)) as book:
        for run in runs.values():
            before = (state / "sheets" / f"{run}.txt").read_text(encoding="utf-8")
            now = "\n".join(plain_text.lines(document(sheet_of(book, run, {}))))
            assert not sheets.missing(sheets.content_kept(before), sheets.content_now(now)), run


@pytest.mark.parametrize("state", STATES)
def test_every_answer_of_a_client_of_then_is_still_understood(state: Path) -> None:
    for row in kept.rows_of(state, "answers.jsonl.gz"):
        for message in row["said"]:
            if len(message.keys() - {"understood", "key"}) and not message.keys() & {"redo", "waited", "suspend"}:
                parse_answer(message)


# ---- shop folder and job files


@pytest.mark.parametrize("state", STATES)
def test_the_files_of_a_shop_still_check(state: Path) -> None:
    for name, before in kept.json_of(state, "checks.json").items():
        assert before["sound"]
        evendraw("check", str(state / "shop" / f"{name}.yaml"), "--shop", str(state / "shop"))


@pytest.mark.parametrize("state", STATES)
def test_a_shops_settings_are_still_in_force(state: Path) -> None:
    """Every setting that shop or job changed in a kept run has that value in a run that is started now."""
    started = {r["run"]: r["events"][0] for r in kept.rows_of(state, "events.jsonl.gz")}
    for row in kept.rows_of(state, "answers.jsonl.gz"):
        if not row["shop"] or row["how"] != "ended":
            continue
        job = job_file.read(state / "jobs" / f"{row['job']}.yaml")
        program = load(row["procedure"], (state / "shop", kept.SHIPPED), shipped()).program
        assert program is not None
        session = Session.start(program, job, book=Book.memory(), advisers=shipped(), shop=kept.settings_of(state))
        now = {n: s for file in session.plan.settings.values() for n, s in file.items() if s.origin != "file"}
        for file in started[row["run"]]["settings"].values():
            for name, (value, origin) in file.items():
                if origin != "file":
                    found = now[RENAMED_SETTINGS.get(name, name)]
                    assert (found.value, found.origin) == (codec.value_in(value), origin), name


@pytest.mark.parametrize("state", STATES)
def test_a_shops_own_file_still_outranks_the_shipped_one(state: Path) -> None:
    loaded = load("hand-over", (state / "shop", kept.SHIPPED), shipped())
    assert loaded.program is not None
    assert loaded.program.files["hand-over"].title == "Hand over, as this shop does it"


@pytest.mark.parametrize(("state", "path"), JOBS)
def test_a_job_file_is_still_the_same_job(state: Path, path: Path) -> None:
    before = kept.json_of(state, "jobs.json")[path.stem]
    now = job_file.read(path).model_dump(mode="json")
    assert not list(_differs(before, now, ""))


def _differs(before: Any, now: Any, at: str) -> Iterator[str]:
    """Every key of before that is not the same now; keys that are new don't matter."""
    if isinstance(before, dict) and isinstance(now, dict):
        for key, value in before.items():
            path = f"{at}.{key}".strip(".")
            yield from _differs(value, now.get(RENAMED_KEYS.get(path, key)), path)
    elif before != now:
        yield f"{at}: {before!r}, now {now!r}"


# ---- the next state


def test_another_state_can_be_recorded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    runs = (
        record.Run("sizing-review", "sidedraught-race", "ended"),
        record.Run("as-found", "progressive-plain", "struck"),
    )
    monkeypatch.setattr(record, "RUNS", runs)
    shutil.copytree(kept.STATES[0] / "jobs", tmp_path / "jobs")
    shutil.copytree(kept.STATES[0] / "shop", tmp_path / "shop")
    record.record(tmp_path)
    assert [row["how"] for row in kept.rows_of(tmp_path, "answers.jsonl.gz")] == ["ended", "struck"]
    with closing(Book.open(kept.book_of(tmp_path, tmp_path / "again.book"))) as book:
        assert not Session.reopen(book, "2.1", advisers={}).over


def test_two_recordings_are_compared_answer_by_answer(tmp_path: Path) -> None:
    state = kept.STATES[0]
    assert list(compare.differences(state, state)) == []
    rows = kept.rows_of(state, "events.jsonl.gz")
    rows[0]["events"][5]["led"] = "elsewhere#1"
    rows[1]["events"].pop()
    advised = next(i for i, e in enumerate(rows[2]["events"]) if i and e.get("advice"))
    rows[2]["events"][advised]["advice"][0]["moves"] = "others"
    record.write_lines(tmp_path / "events.jsonl.gz", rows)
    first, second, third = compare.differences(state, tmp_path)
    assert first.startswith("1.1, event 5 of ") and "-> elsewhere#1" in first
    assert second.startswith("1.2, event ") and third.startswith(f"1.3, event {advised} of ")
    assert third.endswith(".moves)")
