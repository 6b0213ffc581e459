"""What the terminal may do to the program: bytes that are no text, and signals to end; it paints nothing."""

from __future__ import annotations

import asyncio
import codecs
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from typing import Any


def forgive_input() -> None:
    """A byte that is not UTF-8 becomes a sign of its own: the library's reader would end the program on it."""
    with suppress(ImportError):  # of Unix
        from textual.drivers import linux_driver

        linux_driver.getincrementaldecoder = _forgiving  # type: ignore[attr-defined, assignment]


def _forgiving(name: str) -> Callable[[], codecs.IncrementalDecoder]:
    return partial(codecs.getincrementaldecoder(name), errors="replace")


def leave_on_signals(leave: Callable[[], None]) -> None:
    """End in good order where the system asks for it (a closed window, a shutdown), so that the terminal is left as it
    was. Where signals can't be had, they do what they always did.

    Who asks so won't wait: while the program is busy, the terminal is put back without it, and it ends. Every answer is
    on the disk by then.
    """
    loop = asyncio.get_running_loop()

    def asked(*_: object) -> None:
        with suppress(RuntimeError):
            loop.call_soon_threadsafe(leave)
        last = threading.Timer(_PATIENCE, _leave_now)
        last.daemon = True
        last.start()

    for name in ("SIGTERM", "SIGHUP", "SIGINT"):
        number = getattr(signal, name, None)
        if number is not None:
            with suppress(ValueError, OSError):
                signal.signal(number, asked)


#: Seconds that a busy program is given to end in good order.
_PATIENCE = 2.0
#: Mouse, paste and focus reports off, the other screen left, the cursor shown.
_LEAVE = b"\x1b[?1000l\x1b[?1003l\x1b[?1006l\x1b[?2004l\x1b[?1004l\x1b[<u\x1b[?1049l\x1b[?25h\x1b[0m"
_modes: list[tuple[int, Any]] = []


def remember_modes() -> None:
    """Keep how the terminal is set before the program changes it."""
    with suppress(ImportError, OSError, ValueError, AttributeError):  # of Unix
        import termios

        fd = sys.__stdin__.fileno()  # type: ignore[union-attr]
        _modes[:] = [(fd, termios.tcgetattr(fd))]


def _leave_now() -> None:
    with suppress(Exception):
        os.write(sys.__stderr__.fileno(), _LEAVE)  # type: ignore[union-attr]
        import termios

        for fd, modes in _modes:
            termios.tcsetattr(fd, termios.TCSANOW, modes)
    os._exit(0)
