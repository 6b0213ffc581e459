"""The screen through a pseudo-terminal: from the start to the first paint, from a key to its paint, commit included."""

from __future__ import annotations

import os
import re
import select
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

from figure import Figure

ROOT = Path(__file__).parents[2]
SIZE = (24, 80)
STARTS = 7
KEYS = 80

#: The least that Textual can show.
LABEL = """
from textual.app import App
from textual.widgets import Label
class One(App):
    def compose(self):
        yield Label("one label")
One().run()
"""

#: Two steps in turn, so that every Enter is an answer, a commit and a new picture.
PING = """\
procedure: ping
title: Ping
revision: 1
for: {family: ping, carbs: 2}
start: ping
steps:
  ping: {title: PING SIDE, do: Press Enter., limit: {visits: 400, then: done}, go: pong}
  pong: {title: PONG SIDE, do: Press Enter again., go: ping}
  done: {end: ok, say: Done.}
"""

JOB = """\
engine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}
bank: {family: ping, carbs: 2, barrels_per_carb: 1}
"""


class Terminal:
    """A program on a pseudo-terminal, and what it has painted so far."""

    def __init__(self, *arguments: str, env: Mapping[str, str] | None = None) -> None:
        import fcntl
        import pty
        import struct
        import termios

        self.began = time.perf_counter()
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.chdir(ROOT)
            os.execve(
                sys.executable,
                [sys.executable, *arguments],
                {**os.environ, "TERM": "xterm-256color", "COLORTERM": "truecolor", **(env or {})},
            )
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", *SIZE, 0, 0))
        self.text = ""

    def until(self, wanted: str, limit: float = 20.0) -> float:
        """Seconds from now until `wanted` is painted; the styling between its letters does not count."""
        began = time.perf_counter()
        raw = b""
        while time.perf_counter() - began < limit:
            if select.select([self.fd], [], [], 0.2)[0]:
                try:
                    raw += os.read(self.fd, 65536)
                except OSError:
                    break
                self.text = re.sub(
                    r"\x1b(\[[0-9;?<>=]*[a-zA-Z]|\][^\x07]*\x07|[()][A-Z0-9]|[=>])", "", raw.decode("utf-8", "replace")
                )
                if wanted in self.text:
                    return time.perf_counter() - began
        raise RuntimeError(f"'{wanted}' was never painted; the end of what was: {self.text[-300:]!r}")

    def press(self, keys: str) -> None:
        """Type."""
        os.write(self.fd, keys.encode())

    def close(self) -> None:
        """End the program and wait for it."""
        import signal

        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.fd)


def figures() -> Iterator[Figure]:
    """The lines of the table."""
    if sys.platform == "win32":
        yield Figure("the screen", "not measured", "(needs a pseudo-terminal)")
        return
    with tempfile.TemporaryDirectory() as folder:
        env = {f"EVENDRAW_{name}": f"{folder}/{name.lower()}" for name in ("BOOK", "SHOP", "LOG", "JOBS")}
        # In turn, so that whatever else the machine does falls on both alike.
        starts = [
            (_first_paint(["-c", LABEL], "one label", env), _first_paint(["-m", "tui"], "Evendraw", env))
            for _ in range(STARTS)
        ]
        label, home = (statistics.median(took) for took in zip(*starts, strict=True))
        times = statistics.median(mine / least for least, mine in starts)
        yield Figure("start to first paint, one label", f"{label * 1000:.0f} ms")
        yield Figure(
            "start to first paint, home screen",
            f"{home * 1000:.0f} ms, {times:.2f} x",
            "at most 1.5 x one label",
            times <= 1.5,
        )
        yield from _keys(Path(folder), env)
        yield from _memory(env)


def _first_paint(arguments: list[str], wanted: str, env: Mapping[str, str]) -> float:
    terminal = Terminal(*arguments, env=env)
    try:
        terminal.until(wanted)
        return time.perf_counter() - terminal.began
    finally:
        terminal.close()


def _memory(env: Mapping[str, str]) -> Iterator[Figure]:
    """What a rehearsal holds in memory, the virtual engine and the advisers with it."""
    terminal = Terminal("-m", "tui", "rehearse", "twin-choke-sidedraught", "--seed", "7", env=env)
    try:
        terminal.until("REHEARSAL", 60)
        for keys in ("!", "\r", "+", "\r", "+", "\r"):
            terminal.press(keys)
            time.sleep(0.5)
        held = _resident(terminal.pid)
    finally:
        terminal.close()
    if held is not None:
        yield Figure("memory of a rehearsal", f"{held:.0f} MB", "at most 80 MB", held <= 80)


def _resident(pid: int) -> float | None:
    """Megabytes that a process holds in memory; None where the system does not say."""
    try:
        status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    except OSError:
        return None
    found = re.search(r"VmRSS:\s+(\d+) kB", status)
    return int(found[1]) / 1024 if found else None


def _keys(folder: Path, env: Mapping[str, str]) -> Iterator[Figure]:
    for name, text in (("ping.yaml", PING), ("job.yaml", JOB)):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    terminal = Terminal("-m", "tui", "run", str(folder / "ping.yaml"), "--job", str(folder / "job.yaml"), env=env)
    took = []
    try:
        terminal.until("PING SIDE")
        time.sleep(0.5)
        for index in range(KEYS):
            terminal.press("\r")
            took.append(terminal.until("PONG SIDE" if index % 2 == 0 else "PING SIDE"))
            time.sleep(0.05)
        held = _resident(terminal.pid)
    finally:
        terminal.close()
    if held is not None:
        yield Figure("memory of a run", f"{held:.0f} MB", "at most 80 MB", held <= 80)
    took.sort()
    p95 = took[len(took) * 95 // 100]
    yield Figure(
        "key to paint, commit included (median, p95)",
        f"{statistics.median(took) * 1000:.1f}, {p95 * 1000:.1f} ms",
        "p95 at most 10 ms",
        p95 <= 0.010,
    )
