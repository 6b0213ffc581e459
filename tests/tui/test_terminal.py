"""The program on a real terminal: bytes that are no text, storms of keys, signals to end; and what a kill leaves
behind.
"""

from __future__ import annotations

import os
import random
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tui.terminal import _forgiving

pytestmark = pytest.mark.skipif(os.name == "nt", reason="of Unix")
ROOT = Path(__file__).parents[2]


class Terminal:
    """The program on a pseudo-terminal."""

    def __init__(self, folder: Path, *arguments: str) -> None:
        import pty

        self.master, self.slave = pty.openpty()
        environment = {
            **{k: v for k, v in os.environ.items() if not k.startswith("EVENDRAW")},
            **{f"EVENDRAW_{n}": str(folder / n) for n in ("BOOK", "SHOP", "LOG", "JOBS")},
            "PYTHONPATH": str(ROOT),
            "TERM": "xterm-256color",
            "COLUMNS": "100",
            "LINES": "30",
        }
        self.child = subprocess.Popen(
            [sys.executable, "-m", "tui.commandline.cli", *arguments],
            stdin=self.slave, stdout=self.slave, stderr=self.slave, env=environment, start_new_session=True,
        )  # fmt: skip
        self.painted = b""

    def read(self, seconds: float, until: bytes = b"\0never") -> bytes:
        """Read what is painted, for so long or until it holds this."""
        end = time.monotonic() + seconds
        while time.monotonic() < end and until not in self.painted:
            if select.select([self.master], [], [], 0.05)[0]:
                self.painted += os.read(self.master, 65536)
        return self.painted

    def type(self, keys: bytes) -> None:
        os.write(self.master, keys)

    def ended(self) -> int:
        """How it ended; it must not have failed."""
        end = time.monotonic() + 30
        while self.child.poll() is None and time.monotonic() < end:
            self.read(0.1)
        self.read(0.2)
        if self.child.poll() is None:
            self.child.kill()
        os.close(self.master)
        os.close(self.slave)
        assert b"went wrong" not in self.painted
        return self.child.wait()


#: Out of the alternate screen, the cursor shown again.
LEFT = (b"\x1b[?1049l", b"\x1b[?25h")


SIGNALS = [signal.SIGTERM, signal.SIGHUP, signal.SIGINT]


@pytest.mark.parametrize("number", SIGNALS)
def test_a_signal_to_end_leaves_the_terminal_as_it_was(number: signal.Signals, tmp_path: Path) -> None:
    terminal = Terminal(tmp_path)
    assert b"Take a job in" in terminal.read(30, b"Take a job in")
    terminal.child.send_signal(number)
    assert terminal.ended() == 0
    assert all(mark in terminal.painted for mark in LEFT)


@pytest.mark.parametrize("number", SIGNALS)
@pytest.mark.parametrize("seconds", [0.15, 0.3, 0.6])
def test_a_signal_while_a_run_is_being_shown_is_no_failure(
    number: signal.Signals, seconds: float, tmp_path: Path
) -> None:
    terminal = Terminal(tmp_path, "rehearse", "single-carburettor", "--seed", "3")
    terminal.read(30, b"Take a job in")
    time.sleep(seconds)
    terminal.child.send_signal(number)
    assert terminal.ended() == 0
    assert all(mark in terminal.painted for mark in LEFT)
    assert not list((tmp_path / "LOG").glob("*"))


def test_bytes_that_are_no_text_and_a_storm_of_keys_end_nothing(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path)
    terminal.read(30, b"Take a job in")
    source = random.Random(11)
    keys = [
        b"\xff",
        b"\xc3\x28",
        b"\x80\x81",
        b"\x1b[A",
        b"\x1b[B",
        b"\r",
        b"1",
        b"2",
        b"5",
        b"\x1b",
        b"?",
        b"\x7f",
        b"/",
    ]
    for _ in range(40):
        terminal.type(b"".join(source.choice(keys) for _ in range(25)))
        terminal.read(0.03)
    terminal.read(1)
    assert terminal.child.poll() is None
    terminal.child.send_signal(signal.SIGTERM)
    assert terminal.ended() == 0
    assert not list((tmp_path / "LOG").glob("*"))


#: Keys of a run, mouse reports, pastes, and what else a terminal may send.
ANYTHING = (
    *(bytes([n]) for n in b"0123456789.,-+/*=!?ax \x7f\t\r\r\r"),
    *(b"\x1b", b"\x1b[A", b"\x1b[B", b"\x1b[5~", b"\x1b[6~", b"\x1bOP", b"\x1bOQ", b"\x1bOR", b"\x1bOS"),
    *(f"\x1b[{n}~".encode() for n in (15, 17, 18, 19, 20, 21, 23, 24)),
    *(b"\x1b[<0;10;10M", b"\x1b[<0;10;10m", b"\x1b[<64;3;3M", b"\x1b[M !!", b"\x1b[I", b"\x1b[O", b"\x00", b"\x1a"),
    b"\x1b[200~4.8\n5,1\n[b]x[/b]\n\x1b[201~",
    b"\x1b[200~" + b"7" * 3000 + b"\x1b[201~",
)
WINDOWS = ((24, 80), (12, 40), (90, 300), (20, 60), (30, 100), (48, 160), (5, 10), (23, 79), (1, 1))


def test_a_run_outlives_keys_mouse_pastes_and_windows_of_any_size_in_any_order(tmp_path: Path) -> None:
    import fcntl
    import struct
    import termios

    terminal = Terminal(tmp_path, "rehearse", "single-carburettor", "--seed", "3")
    assert b"REHEARSAL" in terminal.read(30, b"REHEARSAL")
    source = random.Random(5)
    for _ in range(40):
        if source.random() < 0.2:
            rows, columns = source.choice(WINDOWS)
            fcntl.ioctl(terminal.slave, termios.TIOCSWINSZ, struct.pack("HHHH", rows, columns, 0, 0))
            terminal.child.send_signal(signal.SIGWINCH)
        terminal.type(b"".join(source.choice(ANYTHING) for _ in range(source.randint(1, 12))))
        terminal.read(0.03)
    assert terminal.child.poll() is None
    terminal.child.send_signal(signal.SIGTERM)
    assert terminal.ended() == 0
    assert not list((tmp_path / "LOG").glob("*"))


def test_a_byte_that_is_no_text_is_read_as_a_sign() -> None:
    assert _forgiving("utf-8")().decode(b"a\xffb") == "a\ufffdb"


def test_workers_of_trials_end_with_their_parent(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "tui.commandline.cli", "trials", "twin-choke-sidedraught"]
    parent = subprocess.Popen(
        [*command, "--engines", "500", "--workers", "2"],
        env={**os.environ, "PYTHONPATH": str(ROOT)}, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    children: list[str] = []
    end = time.monotonic() + 60
    while len(children) < 2 and time.monotonic() < end:
        time.sleep(0.2)
        try:
            children = Path(f"/proc/{parent.pid}/task/{parent.pid}/children").read_text(encoding="ascii").split()
        except OSError:
            parent.kill()
            pytest.skip("no list of children here")
    time.sleep(1)
    parent.kill()
    parent.wait()
    while any(_runs(pid) for pid in children) and time.monotonic() < end:
        time.sleep(0.2)
    assert not [pid for pid in children if _runs(pid)]


def _runs(pid: str) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="ascii").split(") ")[1][0] not in "ZX"
    except OSError:
        return False
