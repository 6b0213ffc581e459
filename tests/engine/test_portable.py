"""Every module can be loaded where the system is another one: no POSIX-only module, signal or function at import."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

#: What another system does not have.
POSIX_ONLY = ("fcntl", "pwd", "grp", "resource", "termios", "tty", "pty", "posix_ipc", "readline", "syslog", "crypt")
SIGNALS = ("SIGHUP", "SIGKILL", "SIGQUIT", "SIGALRM", "SIGUSR1", "SIGUSR2", "SIGTSTP", "SIGCONT", "SIGWINCH")
FUNCTIONS = ("fork", "getuid", "geteuid", "fchmod", "chown", "killpg", "setsid", "getpgid", "uname", "mkfifo")

#: Modules that speak to a terminal by design, and are not loaded elsewhere.
NOT_ELSEWHERE: frozenset[str] = frozenset({"tui.__main__"})

_HIDE = f"""
import importlib, os, signal, sys
import asyncio, subprocess, tempfile, textual.app, pydantic, ruamel.yaml, jinja2, platformdirs, multiprocessing, ctypes
for name in {POSIX_ONLY!r}:
    sys.modules[name] = None
for name in {SIGNALS!r}:
    if hasattr(signal, name):
        delattr(signal, name)
for name in {FUNCTIONS!r}:
    if hasattr(os, name):
        delattr(os, name)
"""


def modules() -> list[str]:
    found = []
    for top in ("engine", "tui", "procedures"):
        for path in sorted((ROOT / top).rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            found.append(name.removesuffix(".__init__"))
    return [name for name in found if name not in NOT_ELSEWHERE]


@pytest.mark.skipif(sys.platform == "win32", reason="there it is so without hiding anything")
def test_every_module_is_loaded_with_what_is_posix_only_hidden() -> None:
    code = _HIDE + f"for name in {modules()!r}:\n    importlib.import_module(name)\n"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]


@pytest.mark.skipif(sys.platform == "win32", reason="there it is so without hiding anything")
def test_a_job_is_run_printed_and_verified_with_what_is_posix_only_hidden(tmp_path: Path) -> None:
    """A book is made, a run answered over the protocol, its sheet printed, the book looked through."""
    (tmp_path / "job.yaml").write_text(
        "title: SAMPLE\nengine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}\n"
        "bank: {family: twin valve header, carbs: 2}\n",
        encoding="utf-8-sig",  # as a Windows editor writes it
        newline="\r\n",
    )
    valves = ROOT / "tests" / "engine" / "conformance" / "bleed_line.yaml"
    code = _HIDE + (
        "import io\n"
        "from tui.commandline import cli\n"
        f"book = {str(tmp_path / 'jobs.book')!r}\n"
        'sys.stdin = io.TextIOWrapper(io.BytesIO(b\'{"readings": {"air": "no"}}\\n\'))\n'
        f"assert cli.main(['talk', {str(valves)!r}, '--job', {str(tmp_path / 'job.yaml')!r}, '--book', book]) == 0\n"
        "assert cli.main(['sheet', '1', '--book', book]) == 0\n"
        "assert cli.main(['book', 'verify', '--book', book]) == 0\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr[-2000:] + done.stdout[-500:]
    assert "JOB SHEET 1" in done.stdout
    assert "Whole" in done.stdout


def test_a_console_that_can_not_say_every_sign_gets_what_it_can() -> None:
    """cp1252 knows no arrow and no fraction of eighths: they become `?`, and nothing fails."""
    from io import BytesIO, TextIOWrapper

    from tui.commandline.out import write

    raw = BytesIO()
    stream = TextIOWrapper(raw, encoding="cp1252", newline="")
    write(stream, "1 1/4 → 2 ⅛ °C\n")
    assert raw.getvalue().decode("cp1252") == "1 1/4 ? 2 ? °C\n"
