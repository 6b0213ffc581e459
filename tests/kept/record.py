"""Records what is kept of a state of the program: a book of runs, job sheets, answers, what a shop's files check as.

`python tests/kept/record.py FOLDER` fills a folder that holds `jobs/` and `shop/`. It is run once for a state, by the
program of that state; what it wrote is never written over. It is no test, and the tests of kept things don't need it.
The customers, vehicles and engines are invented. The virtual engine's seeds make it the same each time.
"""

from __future__ import annotations

import gzip
import json
import sqlite3
import sys
from collections.abc import Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from kept_state import SHIPPED, settings_of

from engine.bench.technicians.hands import Hands
from engine.bench.trial.fleet import Specimen, faulted, random_engine
from engine.book.book import Book
from engine.carburation.registry import shipped
from engine.job import job_file
from engine.job.model import Job
from engine.procedure.build.load import load
from engine.procedure.report.checking import check_file
from engine.protocol.outgoing import number
from engine.protocol.talk import parse_answer, step_message
from engine.session.session import Answer, Session
from engine.sheet.document import document
from engine.sheet.gather import sheet_of
from engine.sheet.plain_text import lines

ADVISERS = shipped()


@dataclass(frozen=True)
class Run:
    """One run to record, and `how` it is left.

    ended; open; told: open after a symptom was told; abandoned; undone: ended, with answers struck and taken up again
    on the way and at the end; struck: open right after an undo. `part`: how much of the whole run is gone through.
    """

    procedure: str
    job: str
    how: str
    seed: int = 7
    faults: tuple[str, ...] | None = None
    part: float = 1.0
    shop: bool = False


def _family(procedure: str, job: str, other: str, seed: int, faults: tuple[str, ...]) -> tuple[Run, ...]:
    """The runs of one family, on two jobs."""
    return (
        Run(procedure, job, "ended", seed, faults),
        Run(procedure, job, "open", seed, faults, 0.45, shop=True),
        Run(procedure, job, "undone", seed, faults),
        Run(procedure, other, "told", seed + 1, None, 0.8),
        Run(procedure, other, "abandoned", seed + 1, None, 0.6),
        Run(procedure, other, "struck", seed + 2, None, 0.7),
        Run(procedure, other, "open", seed + 2, None, 0.1),
        Run(procedure, other, "ended", seed + 3, None, shop=True),
    )


RUNS = (
    *_family("twin-choke-sidedraught", "sidedraught-pair", "sidedraught-triple", 11, ("wrong jets",)),
    *_family("constant-depression", "constant-depression-pair", "constant-depression-triple", 21, ("low damper oil",)),
    *_family("motorcycle-bank", "motorcycle-four", "motorcycle-twin", 31, ()),
    *_family("progressive-downdraught", "progressive", "progressive-plain", 41, ("wrong jet",)),
    *_family("single-carburettor", "single-sidedraught", "single-downdraught", 51, ("early advance",)),
    Run("twin-choke-sidedraught", "sidedraught-race", "ended", 61, ("wrong jet", "weak cylinder")),
    Run("twin-choke-sidedraught", "sidedraught-race", "ended", 62, ("twisted spindle",)),
    Run("sample-short-service", "sidedraught-race", "ended", 63, ("wrong jet",), shop=True),
    Run("sample-short-service", "sidedraught-race", "open", 63, ("wrong jet",), 0.9, shop=True),
    Run("sample-triples", "own-family", "ended", 71, (), shop=True),
    Run("sample-triples", "own-family", "struck", 72, (), 0.6, shop=True),
    Run("as-found", "single-downdraught", "ended", 73),
    Run("as-found", "single-downdraught", "open", 73, None, 0.5),
    Run("fit-to-tune", "single-downdraught", "undone", 74),
    Run("diagnose", "single-downdraught", "ended", 75),
    Run("beyond-idle", "sidedraught-triple", "open", 76, None, 0.5),
    Run("sizing-review", "sidedraught-triple", "ended", 77),
)

#: The job whose customer and vehicle are forgotten at the end.
FORGOTTEN = "progressive-plain"


class Clock:
    """A clock that goes on a minute at each look."""

    def __init__(self) -> None:
        self.now = datetime(2031, 5, 4, 8, 0, tzinfo=timezone(timedelta(hours=2)))

    def __call__(self) -> str:
        self.now += timedelta(minutes=1)
        return self.now.isoformat(timespec="seconds")


@dataclass
class Sitting:
    """A technician at one run: does what the steps say, and on the way what technicians do besides."""

    session: Session
    specimen: Specimen
    said: list[dict[str, Any]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.hands = Hands(self.specimen.engine())

    def say(self, **message: Any) -> bool:
        """One answer over the line protocol; whether it was taken."""
        alone = message.keys() & {"redo", "waited", "suspend"} or message.keys() == {"understood"}
        answer = Answer(**message) if alone else _asked(message)
        taken = answer is not None and self.session.answer(answer).recorded is not None
        if taken:
            self.said.append(message)
        return taken

    def step(self, change: Any = None) -> None:
        """Do the step in force and answer it; `change` alters the answer."""
        step = step_message(self.session.view)
        answer = self.hands.answer(step)
        if change is not None:
            answer = change(step, dict(answer))
        if not self.say(**answer):
            raise SystemExit(f"{step['step']}: not taken: {answer}")

    def go(self, answers: int) -> int:
        """Answer so many steps, or to the end; how many were answered."""
        for done in range(answers):
            if self.session.over:
                return done
            self.step(_change(done))
            if done == 2:
                self.say(note="SAMPLE: bonnet up at nine.", key=f"{self.session.run} note")
        return answers

    def go_astray(self, answers: int) -> None:
        """As `go`, with everything struck, taken up again, lost and told between."""
        for done in range(answers):
            if self.session.over:
                break
            self._besides(done)
            if not self.session.over:
                self.step(_change(done))
        if self.session.over:
            self.say(undo=True)
            self.say(undo=True)
            self.say(redo=True)
            self.say(redo=True)
            self.say(note="SAMPLE: sheet printed twice.")

    def tell(self) -> None:
        """Tell a symptom at the next step that offers one for a call, and answer once there."""
        for _ in range(20):
            for symptom in self.session.view.symptoms:
                if symptom.kind in ("hunting", "stumble", "spit-back") and self.say(
                    symptom=symptom.name, understood=True
                ):
                    return
            self.step()

    def _besides(self, done: int) -> None:
        view = self.session.view
        match done % 9:
            case 1:
                self.say(note=f"SAMPLE: note {done}, 1½ turns, “stiff” ½″ spanner.")
            case 3:
                self.say(undo=True)
                self.say(redo=True)
            case 4:
                for _ in range(3):
                    self.say(undo=True)
            case 5:
                screws = [s.name for s in view.screws]
                if screws:
                    self.say(lost=[screws[done % len(screws)]])
            case 6:
                kinds = [s.name for s in view.symptoms if s.kind in ("hunting", "stumble", "spit-back", "stall")]
                if kinds:
                    self.say(symptom=kinds[done % len(kinds)], understood=True)
            case 7:
                self.say(understood=True)
                if view.wait is not None:
                    self.say(waited=45)
            case 8 if done == 8 or done == 26:
                self.say(undo=True)
                self.step()
                self.say(abandon="SAMPLE: the customer came back")
                self.say(undo=True)


def _asked(message: Mapping[str, Any]) -> Answer | None:
    return parse_answer(json.loads(json.dumps(message)))


def _change(done: int) -> Any:
    """What differs from the plain answer of the hands, now and then: told moves, parts left out, places not taken."""

    def change(step: Mapping[str, Any], answer: dict[str, Any]) -> dict[str, Any]:
        if done % 4 == 3 and step["moves"] and "moved" not in answer:
            told = [dict(m) for m in step["moves"]]
            if told[0]["turns"]:
                told[0] |= {"turns": told[0]["turns"] + 0.0625, "position": None}
            answer["moved"] = told if len(told) == 1 else told[:-1]
        if step["fit"] and done % 2:
            answer["fitted"] = step["fit"]
        for ask in step["read"]:
            if ask["may_lack"] and "readings" in answer and done % 3 == 1:
                answer["readings"] = {**answer["readings"], ask["name"]: None}
                answer["lacking"] = {**answer.get("lacking", {}), ask["name"]: "SAMPLE: no tool"}
        if done % 5 == 0:
            answer["key"] = f"SAMPLE key {done}"
        return answer

    return change


def record(folder: Path) -> None:
    """Fill `folder` from its own `jobs/` and `shop/`."""
    path = folder / "jobs.book"
    path.unlink(missing_ok=True)
    jobs = {p.stem: job_file.read(p) for p in sorted((folder / "jobs").glob("*.yaml"))}
    _json(folder / "jobs.json", {name: job.model_dump(mode="json") for name, job in jobs.items()})
    clock = Clock()
    answers: list[dict[str, Any]] = []
    with closing(Book.open(path)) as book:
        numbers: dict[str, int] = {}
        lengths: dict[tuple[Any, ...], int] = {}
        for run in RUNS:
            kept = _record(run, folder, jobs[run.job], book, numbers, lengths, clock)
            print(f"{kept['run']:>6}  {run.how:<9} {run.procedure} on {run.job}: {kept['stands']}")
            answers.append(kept)
        book.forget_persons(numbers[FORGOTTEN])
        for row in book.runs():
            (folder / "sheets").mkdir(exist_ok=True)
            text = "\n".join(lines(document(sheet_of(book, row.run, ADVISERS)))) + "\n"
            (folder / "sheets" / f"{row.run}.txt").write_text(text, encoding="utf-8", newline="\n")
        events = list(_events(book))
        write_lines(folder / "events.jsonl.gz", events)
    write_lines(folder / "answers.jsonl.gz", answers)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.execute("PRAGMA journal_mode = DELETE")
        connection.execute("VACUUM")
    _zip(folder / "jobs.book.gz", path.read_bytes())
    path.unlink()
    _checks(folder)


def _record(
    run: Run,
    folder: Path,
    job: Job,
    book: Book,
    numbers: dict[str, int],
    lengths: dict[tuple[Any, ...], int],
    clock: Clock,
) -> dict[str, Any]:
    search = (folder / "shop", SHIPPED) if run.shop else (SHIPPED,)
    program = load(run.procedure, search, ADVISERS).program
    assert program is not None
    known = numbers.get(run.job)
    job = job if known is None else book.job(known)
    specimen = random_engine(run.seed, job) if run.faults is None else faulted(job, run.faults, run.seed)
    key = (run.procedure, run.job, run.seed, run.faults, run.shop)
    if key not in lengths:
        lengths[key] = Sitting(_session(program, specimen.job, Book.memory(), run, folder, Clock(), None), specimen).go(
            1500
        )
    many = max(1, int(lengths[key] * run.part))
    session = _session(program, specimen.job, book, run, folder, clock, known)
    numbers.setdefault(run.job, session.job_number)
    sitting = Sitting(session, specimen)
    if run.how in ("undone", "struck"):
        sitting.go_astray(1500 if run.how == "undone" else many)
    else:
        sitting.go(many if run.how != "ended" else 1500)
    if run.how == "struck":
        for _ in range(2):
            sitting.say(undo=True)
        sitting.say(note="SAMPLE: it is late; the rest tomorrow.")
    if run.how == "told":
        sitting.tell()
    if run.how == "abandoned":
        sitting.say(abandon="SAMPLE: the customer came back")
    if run.how in ("open", "struck", "told"):
        sitting.say(suspend=True)
    end = session.view.end
    if end is not None:
        print(f"        {len(sitting.said)} answers: {end.say}")
    stands = end.outcome if end is not None else session.view.step
    session.close()
    return {
        "run": session.run,
        "how": run.how,
        "procedure": run.procedure,
        "job": run.job,
        "seed": run.seed,
        "faults": run.faults,
        "shop": run.shop,
        "stands": stands,
        "said": sitting.said,
    }


def _session(program: Any, job: Job, book: Book, run: Run, folder: Path, clock: Clock, number_: int | None) -> Session:
    return Session.start(
        program,
        job,
        book=book,
        advisers=ADVISERS,
        clock=clock,
        job_number=number_,
        shop=settings_of(folder) if run.shop else None,
    )


def _events(book: Book) -> Iterator[dict[str, Any]]:
    for row in sorted(book.runs(), key=lambda r: [int(n) for n in r.run.split(".")]):
        yield {"run": row.run, "events": [json.loads(e.body) for e in book.events(row.run)]}


def _checks(folder: Path) -> None:
    """What every file of the shop's folder checks as, a line a problem."""
    found = {}
    for file in sorted((folder / "shop").glob("*.yaml")):
        if file.stem != "settings":
            checked = check_file(file, (folder / "shop", SHIPPED), ADVISERS)
            found[file.stem] = {
                "sound": checked.sound,
                "problems": [f"{p.severity}: {p.code}: {p.message}" for p in checked.problems],
            }
    _json(folder / "checks.json", found)


def _json(path: Path, data: Any) -> None:
    path.write_text(json.dumps(data, indent=1, ensure_ascii=False) + "\n", encoding="utf-8", newline="\n")


def write_lines(path: Path, rows: list[dict[str, Any]]) -> None:
    """Write a `.jsonl.gz`, a row a line; the same rows give the same bytes."""
    text = "".join(json.dumps(row, ensure_ascii=False, default=number) + "\n" for row in rows)
    _zip(path, text.encode())


def _zip(path: Path, data: bytes) -> None:
    path.write_bytes(gzip.compress(data, 9, mtime=0))


if __name__ == "__main__":
    record(Path(sys.argv[1]))
