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
from collections.abc import Iterator
from pathlib import Path

from tests.durability.books import ADVISERS, Book, Session

STEPS = 40
_JOB = """\
engine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}
bank: {family: twin valve header, carbs: 2, barrels_per_carb: 1}
"""


def scene(folder: Path) -> None:
    """A procedure of many steps, each done by one key, a job for it, and a place for the book."""
    folder.mkdir(parents=True, exist_ok=True)
    steps = [
        f"  s{n}:\n    title: Number {n} of many\n    do: Open valve {n}.\n    go: s{n + 1}" for n in range(1, STEPS)
    ]
    steps.append(f"  s{STEPS}: {{end: ok, say: All shut.}}")
    head = (
        "procedure: many_steps\ntitle: Many steps\nrevision: 1\nfor: {family: twin valve header, carbs: 2, "
        "barrels_per_carb: 1}\ndeclares: {families: {twin valve header: two valves}}\nstart: s1\nsteps:\n"
    )
    (folder / "many_steps.yaml").write_text(head + "\n".join(steps) + "\n", encoding="utf-8")
    (folder / "job.yaml").write_text(_JOB, encoding="utf-8")
    for name, place in (("BOOK", "jobs.book"), ("SHOP", "own"), ("LOG", "log"), ("JOBS", "jobs")):
        os.environ[f"EVENDRAW_{name}"] = str(folder / place)
    os.environ["TERM"] = "xterm-256color"


def _child(arguments: list[str]) -> None:
    """In the child: become the program."""
    from tui.commandline import cli

    code = 70
    try:
        # Its own streams, on whatever they are now: those of the parent know what they were.
        sys.stdin = os.fdopen(0, encoding="utf-8", closefd=False)
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        code = cli.main(arguments)
    finally:
        os._exit(code)


class Tally:
    """What was acknowledged, and what is in the book after each kill."""

    def __init__(self) -> None:
        self.kills = self.events = self.unheard = 0

    def check(self, folder: Path, run: str, acknowledged: int, sent: int) -> str | None:
        """After a kill: no acknowledged event is lost, none is there twice, the run opens where it stood."""
        self.kills += 1
        book = Book.open(folder / "jobs.book", backups=False)
        try:
            events = book.events(run)
            state = Session.reopen(book, run, advisers=ADVISERS, reading=True).state
        finally:
            book.close()
        keys = [e.key for e in events if e.key is not None]
        led = [json.loads(e.body)["led"] for e in events if json.loads(e.body)["kind"] == "done"]
        if len(events) - 1 < acknowledged:
            return f"{acknowledged} were acknowledged, {len(events) - 1} are there"
        if len(set(keys)) != len(keys) or len(set(led)) != len(led):
            return "an event is there twice"
        if len(led) > sent:
            return f"{len(led)} are there, and {sent} were sent"
        if state.seq != len(events) - 1:
            return "the run does not open where it stood"
        self.events = max(self.events, len(events))
        self.unheard += len(led) > acknowledged
        return None


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
            _child(arguments)
        os.close(read_in)
        os.close(write_out)
        heard, sent, doomed = b"", done, None
        deadline = time.monotonic() + 30
        while time.monotonic() < deadline:
            ready = select.select([read_out], [], [], 0.002)[0]
            if ready:
                data = os.read(read_out, 65536)
                if not data:
                    break
                heard += data
            lines = [json.loads(x) for x in heard.split(b"\n")[:-1] if x]
            if lines and run is None:
                run = lines[0]["run"]
            acknowledged = done + sum(m["kind"] == "recorded" for m in lines)
            if lines and doomed is None and run is not None:
                doomed = time.monotonic() + source.expovariate(1 / 0.03)
            if lines and lines[-1]["kind"] == "end":
                break
            if lines and sent <= acknowledged and sent < STEPS and len(lines) > 1:
                os.write(write_in, json.dumps({"done": True, "key": f"k{sent}"}).encode() + b"\n")
                sent += 1
            if doomed is not None and time.monotonic() > doomed:
                break
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        while data := os.read(read_out, 65536):
            heard += data
        os.close(read_out)
        os.close(write_in)
        lines = [json.loads(x) for x in heard.split(b"\n")[:-1] if x]
        acknowledged = done + sum(m["kind"] == "recorded" for m in lines)
        if run is None:
            yield "the line protocol said nothing"
            tally.kills += 1
            continue
        # What an earlier client sent and never heard of may be there too.
        most = max(most, sent)
        wrong = tally.check(folder, run, acknowledged, most)
        if wrong:
            yield f"line protocol, kill {tally.kills}: {wrong}"
        book = Book.open(folder / "jobs.book", reading=True)
        events = book.events(run)
        book.close()
        # The client knows only what was acknowledged; a key that is in the book already is answered and not repeated.
        done = acknowledged
        if len(events) > STEPS - 3:
            run, done, most = None, 0, 0


def screen_kills(folder: Path, kills: int, seed: int, tally: Tally) -> Iterator[str]:
    """Kill the screen; acknowledged is what led to a step that was painted."""
    import pty

    scene(folder)
    source = random.Random(seed)
    run, seen = None, 1
    while tally.kills < kills:
        first = run is None
        arguments = ["run", str(folder / "many_steps.yaml"), "--job", str(folder / "job.yaml")] if first else []
        pid, terminal = pty.fork()
        if pid == 0:
            os.environ.update(COLUMNS="100", LINES="30")
            _child(arguments)
        painted, started, doomed, sent, typed = b"", False, None, seen - 1, 0.0
        deadline = time.monotonic() + 40
        while time.monotonic() < deadline:
            if select.select([terminal], [], [], 0.01)[0]:
                try:
                    painted += os.read(terminal, 65536)
                except OSError:
                    break
            now = time.monotonic()
            while f"Number {seen + 1} of many".encode() in painted:
                seen += 1
            there = f"Number {seen} of many".encode() in painted
            if not started and not first and b"Go on" in painted and now - typed > 1.5:
                os.write(terminal, b"1")
                typed = now
            if there and not started:
                started, doomed = True, now + source.expovariate(1 / 0.15)
            if started and sent < seen and seen < STEPS - 1:
                os.write(terminal, b"\r")
                sent = seen
            if doomed is not None and now > doomed:
                break
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        os.close(terminal)
        book = Book.open(folder / "jobs.book", reading=True)
        rows = book.runs()
        book.close()
        if not rows:
            continue
        run = rows[0].run
        wrong = None if started else "the run was not on the screen within 40 seconds"
        wrong = tally.check(folder, run, seen - 1, sent) or wrong
        if wrong:
            yield f"screen, kill {tally.kills}: {wrong}"
        book = Book.open(folder / "jobs.book", reading=True)
        done = sum(json.loads(e.body)["kind"] == "done" for e in book.events(run))
        book.close()
        seen = done + 1
        if done > STEPS - 4:
            run, seen = None, 1


def main(kills: int, seed: int, folder: Path, which: tuple[str, ...] = ("talk", "screen")) -> int:
    """Kill, and say what was found; 1 where anything was lost or repeated."""
    import tui.app
    import tui.screens.home
    import tui.screens.run
    from tui.commandline import commands

    assert tui.app and tui.screens.home and tui.screens.run and commands
    wrong = 0
    for name, how in (("talk", talk_kills), ("screen", screen_kills)):
        if name not in which:
            continue
        tally = Tally()
        for sentence in how(folder / name, kills, seed, tally):
            print(sentence, flush=True)
            wrong += 1
        print(f"{name}: {tally.kills} kills, {tally.unheard} times recorded and not yet acknowledged, {wrong} wrong")
    sys.stdout.flush()
    return 1 if wrong else 0
