"""Whole routines by real keys through a pseudo-terminal: the program as a person starts it, on the virtual engine, from
its first step to what was really wrong. `python -m tests.tui.by_keys [PROCEDURE ...]` does all families, the suite one.
"""

from __future__ import annotations

import os
import re
import select
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
FAMILIES = (
    "twin-choke-sidedraught",
    "constant-depression",
    "motorcycle-bank",
    "progressive-downdraught",
    "single-carburettor",
)
#: A danger is understood, readings are taken, the answer is given; a key that means nothing now is only refused.
KEYS = (b"!", b"+", b"\r")
#: What stands over the choice at a stop, and the keys that mend it, or go on knowingly where mending did not help: with
#: the way on, its reason, and Enter after each.
_STOP = "HOW DOES IT GO ON"
MENDED, KNOWINGLY = (b"1", b"\r"), (b"3", b"\r", b"a rehearsal", b"\r")
#: What is the technician's to decide, as the screen says it: its first way is taken.
_YOURS, FIRST = "yours to decide", (b"1", b"\r")
#: A stop that stands again within so many keys was not mended.
_AGAIN = 12
#: What the virtual engine shows instead of a reading, as the screen says it.
_SHOWS = re.compile(r"Nothing can be read: (.+?)\. Say so with \*")
_STYLE = re.compile(rb"\x1b(\[[0-9;?<>=]*[a-zA-Z]|\][^\x07]*\x07|[()][A-Z0-9]|[=>])")


@dataclass(frozen=True)
class Driven:
    """How a routine went: the events in its record, how it ended, the keys that it took, the stops on its way, and the
    steps that its answers led to."""

    events: int
    outcome: str
    keys: int
    seconds: float
    stops: int
    steps: tuple[str, ...]

    @property
    def handed_over(self) -> bool:
        """It came by the steps of the hand-over, the last of every routine."""
        return any(step.startswith("hand-over.") for step in self.steps)


class Program:
    """The program on a pseudo-terminal of its own, with places of its own."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        import pty

        self.master, slave = pty.openpty()
        environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith("EVENDRAW")},
            **{f"EVENDRAW_{n}": str(folder / n) for n in ("BOOK", "SHOP", "LOG", "JOBS")},
            "PYTHONPATH": str(ROOT),
            "TERM": "xterm-256color",
            "COLUMNS": "80",
            "LINES": "24",
        }
        command = [sys.executable, "-m", "tui", *arguments]
        self.child = subprocess.Popen(
            command, stdin=slave, stdout=slave, stderr=slave, env=environment, start_new_session=True, cwd=ROOT
        )
        os.close(slave)

    def painted(self, quiet: float, most: float) -> str:
        """What is painted until nothing is for so long, without its styling."""
        raw, end = b"", time.monotonic() + most
        while time.monotonic() < end and select.select([self.master], [], [], quiet)[0]:
            try:
                raw += os.read(self.master, 65536)
            except OSError:
                break
        return _STYLE.sub(b"", raw).decode("utf-8", "replace")

    def type(self, keys: bytes) -> None:
        """Press."""
        os.write(self.master, keys)

    def close(self) -> None:
        """End it."""
        self.child.kill()
        self.child.wait()
        os.close(self.master)


def drive(procedure: str, seed: int, folder: Path, limit: float = 600.0) -> Driven:
    """Rehearse a procedure by keys alone until it shows what was really wrong. Raises `AssertionError` where it does
    not get there in time.
    """
    from engine.book import codec
    from engine.book.book import Book

    began, keys, stops, last_stop = time.monotonic(), 0, 0, -_AGAIN
    program = Program(folder, "rehearse", procedure, "--seed", str(seed))
    try:
        said = ""
        while "REHEARSAL" not in said:
            assert time.monotonic() - began < limit, f"{procedure}: it was never on the screen: {said[-300:]}"
            said += program.painted(1.0, 5.0)
        now = ""
        while "WHAT WAS REALLY WRONG" not in said:
            assert time.monotonic() - began < limit, f"{procedure}: not at its end after {keys} keys: {said[-600:]}"
            assert program.child.poll() is None, f"{procedure}: the program ended: {said[-600:]}"
            shows = _SHOWS.search(" ".join(now.split()))
            if shows is not None:
                keys += 2
                now = _tell(program, shows[1])
            elif _YOURS in " ".join(now.split()):
                keys += len(FIRST)
                now = _pressed(program, FIRST)
            elif _STOP in now:
                way = KNOWINGLY if keys - last_stop <= _AGAIN else MENDED
                stops, keys, last_stop = stops + 1, keys + len(way), keys + len(way)
                now = _pressed(program, way)
            else:
                program.type(KEYS[keys % len(KEYS)])
                keys += 1
                now = program.painted(0.12, 3.0)
            said = said[-2000:] + now
    finally:
        program.close()
    book = folder / "BOOK.rehearsals"
    with closing(Book.open(book, reading=True)) as kept:
        row = kept.runs()[0]
        bodies = [codec.load(event.body) for event in kept.events(row.run)]
        steps = tuple(str(body["led"]) for body in bodies if body.get("led"))
        outcome = str(row.last.get("outcome"))
        return Driven(len(bodies), outcome, keys, time.monotonic() - began, stops, steps)


def _pressed(program: Program, keys: tuple[bytes, ...]) -> str:
    """What is painted after the last of these keys, each painted before the next."""
    now = ""
    for each in keys:
        program.type(each)
        now = program.painted(0.15, 3.0)
    return now


def _tell(program: Program, seen: str) -> str:
    """Say what is seen or heard: the list by its key, then the digit that stands before it there."""
    program.type(b"*")
    listed = " ".join(program.painted(0.15, 3.0).split())
    digit = re.search(rf"(\d) {re.escape(seen[:20])}", listed)
    program.type(digit[1].encode() if digit else b"\x1b")
    return program.painted(0.15, 3.0)


def driven(procedures: tuple[str, ...], seed: int) -> Iterator[tuple[str, Driven]]:
    """Each procedure in turn, in a folder of its own."""
    for procedure in procedures:
        with tempfile.TemporaryDirectory() as folder:
            yield procedure, drive(procedure, seed, Path(folder))


def main() -> int:
    """Drive the procedures that are named, or a routine of every family: with a trace where one does not end, and 1
    where one ends before its hand-over."""
    short = 0
    for procedure, one in driven(tuple(sys.argv[1:]) or FAMILIES, seed=3):
        short += not one.handed_over
        said = f"{one.outcome} after {one.events} events, {one.keys} keys, {one.stops} stops, {one.seconds:.0f} s"
        print(f"{procedure}: {said}; last {', '.join(one.steps[-4:])}", flush=True)
    return 1 if short else 0


if __name__ == "__main__":
    raise SystemExit(main())
