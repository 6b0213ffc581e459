"""Kill -9 at random moments of scripted runs through the real program: the line protocol over pipes, the screen over a
pseudo-terminal. Each child is forked from a process that has the program loaded, so that a kill costs little.

Run by command or by the suite as a process of its own: `python -m tests.durability kills`.
"""

from __future__ import annotations

import json
import os
import random
import select
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from engine.book.log import CUT
from engine.book.rows import Stored
from tests.durability.books import ADVISERS, Book, Session

STEPS = 40
_JOB = """\
engine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}
bank: {family: twin valve header, carbs: 2, barrels_per_carb: 1}
"""
_HEAD = """\
procedure: many_steps
title: Many steps
revision: 1
for: {family: twin valve header, carbs: 2, barrels_per_carb: 1}
declares: {families: {twin valve header: two valves}}
readings:
  pressure: {ask: Pressure at the first valve, of: {carb: 1}, unit: bar, range: [0, 6], step: 0.1}
start: s1
steps:
"""
#: Kinds of events that answer a step of the scene.
ANSWERS = ("done", "readings")


def reads(step: int) -> bool:
    """Whether a step of the scene, counted from 1, takes a reading; the others are done by one key."""
    return step % 3 == 0


def scene(folder: Path) -> None:
    """A procedure of many steps, each done by one key or one reading, a job for it, and a place for the book."""
    folder.mkdir(parents=True, exist_ok=True)
    steps = [
        f"  s{n}:\n    title: Number {n} of many\n    "
        f"{'read: [pressure]' if reads(n) else f'do: Open valve {n}.'}\n    go: s{n + 1}"
        for n in range(1, STEPS)
    ]
    steps.append(f"  s{STEPS}: {{end: ok, say: All shut.}}")
    (folder / "many_steps.yaml").write_text(_HEAD + "\n".join(steps) + "\n", encoding="utf-8")
    (folder / "job.yaml").write_text(_JOB, encoding="utf-8")
    for name, place in (("BOOK", "jobs.book"), ("SHOP", "own"), ("LOG", "log"), ("JOBS", "jobs")):
        os.environ[f"EVENDRAW_{name}"] = str(folder / place)
    os.environ["TERM"] = "xterm-256color"


def load_program() -> None:
    """Load what a child needs, once, before it is forked."""
    import engine.carburation.registry
    import engine.procedure.report.checking
    import engine.protocol.messages
    import tui.app
    import tui.screens.home
    import tui.screens.run
    from tui.commandline import cli, commands

    assert engine.carburation.registry.shipped() and tui.app and cli and commands


def child(arguments: list[str]) -> None:
    """In a child that was forked: become the program."""
    from tui.commandline import cli

    code = 70
    try:
        # Its own streams, on whatever they are now: those of the parent know what they were.
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
        code = cli.main(arguments)
    finally:
        os._exit(code)


class Tally:
    """What was acknowledged, and what is in the book after each kill."""

    def __init__(self) -> None:
        self.kills = self.events = self.unheard = self.early = 0

    def check(self, folder: Path, run: str, acknowledged: int, sent: int) -> str | None:
        """After a kill: no acknowledged event is lost, none is there twice, the run opens where it stood."""
        book = Book.open(folder / "jobs.book", backups=False)
        try:
            if set(book.notices) - {CUT}:
                return f"the book is said to be harmed: {book.notices}"
            bad = [row.problem for row in book.runs() if row.problem]
            if bad:
                return f"a run can't be read: {bad}"
            events = book.events(run)
            state = Session.reopen(book, run, advisers=ADVISERS, reading=True).state
        finally:
            book.close()
        keys = [e.key for e in events if e.key is not None]
        led = led_by(events)
        if len(led) < acknowledged:
            return f"{acknowledged} were acknowledged, {len(led)} are there"
        if len(set(keys)) != len(keys) or len(set(led)) != len(led):
            return "an event is there twice"
        if len(led) > sent:
            return f"{len(led)} are there, and {sent} were sent"
        if state.seq != len(events) - 1:
            return "the run does not open where it stood"
        self.events = max(self.events, len(events))
        self.unheard += len(led) > acknowledged
        return None


def led_by(events: Sequence[Stored]) -> list[str]:
    """Where each answer of a run led."""
    bodies = [json.loads(e.body) for e in events]
    return [body["led"] for body in bodies if body["kind"] in ANSWERS]


class Doom:
    """When a program is killed: a third of them while they start, the others right after an answer was sent, at a
    moment drawn evenly from the span in which it is written down.
    """

    def __init__(self, source: random.Random, starting: float, writing: float) -> None:
        now = time.monotonic()
        self.early = source.random() < 1 / 3
        self.at = now + source.uniform(0, starting) if self.early else None
        self._after, self._within = source.randint(1, 8), source.uniform(0, writing)

    def sent(self) -> None:
        """One more answer was sent."""
        self._after -= 1
        if self._after == 0 and self.at is None:
            self.at = time.monotonic() + self._within

    @property
    def now(self) -> bool:
        """Whether the moment is there."""
        return self.at is not None and time.monotonic() > self.at


def talk_kills(folder: Path, kills: int, seed: int, tally: Tally) -> Iterator[str]:
    """Kill the line protocol; what was not acknowledged is sent again with its key."""
    scene(folder)
    source = random.Random(seed)
    run, done, most = None, 0, 0
    while tally.kills < kills:
        fresh = [str(folder / "many_steps.yaml"), "--job", str(folder / "job.yaml")]
        arguments = ["talk", *(fresh if run is None else ["--run", run])]
        read_in, write_in = os.pipe()
        read_out, write_out = os.pipe()
        pid = os.fork()
        if pid == 0:
            os.dup2(read_in, 0)
            os.dup2(write_out, 1)
            for fd in (read_in, write_in, read_out, write_out):
                os.close(fd)
            child(arguments)
        os.close(read_in)
        os.close(write_out)
        heard, sent, gone = b"", done, False
        doom, deadline = Doom(source, 0.2, 0.006), time.monotonic() + 60
        while time.monotonic() < deadline and not doom.now:
            if select.select([read_out], [], [], 0.0005)[0]:
                data = os.read(read_out, 65536)
                if not data:
                    gone = True
                    break
                heard += data
            lines = _lines(heard)
            if lines and run is None:
                run = lines[0]["run"]
            if lines and lines[-1]["kind"] == "end":
                break
            if len(lines) > 1 and sent <= done + _recorded(lines) and sent < STEPS - 1:
                what = {"readings": {"pressure": 2.5}} if reads(sent + 1) else {"done": True}
                os.write(write_in, json.dumps({**what, "key": f"k{sent}"}).encode() + b"\n")
                sent += 1
                doom.sent()
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        while data := os.read(read_out, 65536):
            heard += data
        os.close(read_out)
        os.close(write_in)
        tally.kills += 1
        tally.early += doom.early
        lines = _lines(heard)
        run = lines[0]["run"] if lines and run is None else run
        if gone or (doom.at is None and (not lines or lines[-1]["kind"] != "end")):
            yield f"line protocol, kill {tally.kills}: it ended by itself, or said nothing: {heard[-300:]!r}"
        if run is None:
            continue
        acknowledged = done + _recorded(lines)
        # What an earlier client sent and never heard of may be there too.
        most = max(most, sent)
        wrong = tally.check(folder, run, acknowledged, most)
        if wrong:
            yield f"line protocol, kill {tally.kills}: {wrong}"
        # The client knows only what was acknowledged; a key that is in the book already is answered and not repeated.
        done = acknowledged
        if most > STEPS - 4:
            run, done, most = None, 0, 0


def _lines(heard: bytes) -> list[Any]:
    return [json.loads(x) for x in heard.split(b"\n")[:-1] if x]


def _recorded(lines: list[Any]) -> int:
    return sum(m["kind"] == "recorded" for m in lines)


def screen_kills(folder: Path, kills: int, seed: int, tally: Tally) -> Iterator[str]:
    """Kill the screen; acknowledged is what led to a step that was painted."""
    import pty

    scene(folder)
    source = random.Random(seed)
    run, seen, runs = None, 1, 0
    while tally.kills < kills:
        first = run is None
        arguments = ["run", str(folder / "many_steps.yaml"), "--job", str(folder / "job.yaml")] if first else []
        pid, terminal = pty.fork()
        if pid == 0:
            os.environ.update(COLUMNS="100", LINES="30")
            child(arguments)
        painted, started, typed, answered = b"", False, 0.0, 0.0
        sent = most = seen - 1
        doom, deadline = Doom(source, 1.2, 0.05), time.monotonic() + 60
        while time.monotonic() < deadline and not doom.now:
            if select.select([terminal], [], [], 0.002)[0]:
                try:
                    painted += os.read(terminal, 65536)
                except OSError:
                    break
            now = time.monotonic()
            while f"Number {seen + 1} of many".encode() in painted:
                seen += 1
            started = started or f"Number {seen} of many".encode() in painted
            if not started and not first and b"Go on" in painted and now - typed > 1.5:
                os.write(terminal, b"1")
                typed = now
            again = now - answered > 0.7  # keys pressed before a step is on the screen are left out by it
            if started and seen < STEPS - 1 and (sent < seen or again):
                os.write(terminal, b"\x7f" * 4 + b"2.5\r" if reads(seen) else b"\r")
                most += 1 if sent < seen else 2
                sent, answered = seen, now
                doom.sent()
            elif seen >= STEPS - 1:
                doom.sent()  # nothing more is answered here
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        os.close(terminal)
        tally.kills += 1
        tally.early += doom.early
        if not (started or doom.early):
            yield f"screen, kill {tally.kills}: the run was not on the screen within 60 seconds"
        if not (folder / "jobs.book").exists():
            continue
        book = Book.open(folder / "jobs.book", reading=True)
        rows = book.runs()
        book.close()
        if first and len(rows) == runs:
            continue  # killed before the run was begun
        run, runs = rows[0].run, len(rows)
        wrong = tally.check(folder, run, seen - 1, most)
        if wrong:
            yield f"screen, kill {tally.kills}: {wrong}"
        book = Book.open(folder / "jobs.book", reading=True)
        done = len(led_by(book.events(run)))
        book.close()
        seen = done + 1
        if done > STEPS - 4:
            run, seen = None, 1


def main(kills: int, seed: int, folder: Path, which: tuple[str, ...] = ("talk", "screen")) -> int:
    """Kill, and say what was found; 1 where anything was lost or repeated."""
    load_program()
    wrong = 0
    for name, how in (("talk", talk_kills), ("screen", screen_kills)):
        if name not in which:
            continue
        tally = Tally()
        for sentence in how(folder / name, kills, seed, tally):
            print(sentence, flush=True)
            wrong += 1
        print(
            f"{name}: {tally.kills} kills, {tally.early} while it started, {tally.unheard} times recorded and not yet "
            f"acknowledged, {wrong} wrong",
            flush=True,
        )
    sys.stdout.flush()
    return 1 if wrong else 0
