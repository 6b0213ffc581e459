"""Every module can be loaded where the system is another one: no POSIX-only module, signal or function at import."""

from __future__ import annotations

import os
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
    _job(tmp_path)
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


#: Each command once, on what stands in the folder; those that open the screen are driven below.
COMMANDS = (
    ["--version"], ["where"], ["words"], ["words", "limit"], ["advisers"], ["advisers", "idle_speed"], ["settings"],
    ["schema"], ["schema", "job"], ["explain", "silent-loop"], ["check", "VALVES"], ["route", "VALVES"],
    ["sizing", "job.yaml"], ["talk", "VALVES", "--job", "job.yaml"], ["jobs"], ["sheet", "1"],
    ["sheet", "1", "--format", "html"], ["sheet", "1", "--format", "csv"], ["sheet", "1", "--format", "json"],
    ["history", "SAMPLE 1"], ["book", "verify"], ["book", "backup", "copy.book"], ["new", "own"],
)  # fmt: skip


@pytest.mark.skipif(sys.platform == "win32", reason="there it is so without hiding anything")
def test_every_command_works_with_what_is_posix_only_hidden(tmp_path: Path) -> None:
    """Each ends as it should, or says in a sentence why not; none fails for what the system lacks."""
    _job(tmp_path)
    valves = ROOT / "tests" / "engine" / "conformance" / "bleed_line.yaml"
    code = _HIDE + (
        "import io\n"
        "from tui.commandline import cli\n"
        f"for words in {COMMANDS!r}:\n"
        '    sys.stdin = io.TextIOWrapper(io.BytesIO(b\'{"readings": {"air": "no"}}\\n\'))\n'
        f"    words = [{str(valves)!r} if w == 'VALVES' else w for w in words]\n"
        "    try:\n"
        "        code = cli.main(['--book', 'jobs.book', *words])\n"
        "    except SystemExit as left:\n"
        "        code = left.code or 0\n"
        "    assert code == 0, (words, code)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, encoding="utf-8")
    assert done.returncode == 0, done.stderr[-2000:] + done.stdout[-500:]


@pytest.mark.skipif(sys.platform == "win32", reason="there it is so without hiding anything")
def test_the_screens_are_walked_with_what_is_posix_only_hidden(tmp_path: Path) -> None:
    """Home, the intake and its file, a run that is answered and left, the list of jobs, the pages: all by keys."""
    code = _HIDE + (
        "from pathlib import Path\n"
        "from tui.app import Evendraw\n"
        "from tui.catalogue.shop import Shop\n"
        "from tui.screens.home import HomeScreen\n"
        f"shop = Shop(Path('jobs.book'), (Path({str(ROOT / 'tests' / 'tui')!r}),), Path('jobs'))\n"
        "async def drive():\n"
        "    app = Evendraw(lambda: HomeScreen(shop))\n"
        "    async with app.run_test(size=(100, 30)) as pilot:\n"
        "        for keys in (['f1', 'escape'], ['enter'], ['a', 'b', 'enter', 'escape', 'escape'], ['f11'], ['f2']):\n"
        "            await pilot.press(*keys)\n"
        "            await pilot.pause()\n"
        "        print(type(app.screen).__name__)\n"
        "asyncio.run(drive())\n"
    )
    none = {**os.environ, "TEXTUAL_DRIVER": "textual.drivers.headless_driver:HeadlessDriver"}  # else the library asks
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, encoding="utf-8", env=none
    )
    assert done.returncode == 0, done.stderr[-2000:] + done.stdout[-500:]
    assert "Screen" in done.stdout


def test_a_file_of_ours_is_private_by_its_rights_and_on_windows_by_the_users_profile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0600 says nothing there: the book stands in the user's own folder, which the system keeps."""
    from engine.book import opening

    class Windows:
        name = "nt"

        def __getattr__(self, name: str) -> object:
            return getattr(os, name)

    changed: list[Path] = []
    monkeypatch.setattr(Path, "chmod", lambda self, mode: changed.append(self))
    (tmp_path / "jobs.book").touch(mode=0o644)
    opening.keep_private(tmp_path / "jobs.book")
    assert changed == ([] if sys.platform == "win32" else [tmp_path / "jobs.book"])
    monkeypatch.setattr(opening, "os", Windows())
    opening.keep_private(tmp_path / "jobs.book")
    assert len(changed) <= 1


@pytest.mark.parametrize("name", ["COM3", "com1", "NUL", "aux", "PRN", "LPT1"])
def test_a_job_called_like_a_port_or_a_device_gets_a_file_that_windows_takes(name: str) -> None:
    """There COM3.yaml is the serial port: a job's file begins with its day."""
    from tui.control.job_form import file_name

    made = file_name({"vehicle": {"registration": name}}, "2031-05-04")
    assert made == f"2031-05-04-{name.lower()}"


def test_lines_that_come_from_a_serial_port_are_read_with_its_line_ends_and_marks() -> None:
    """A gauge at COM3, copied to `talk` by a script: a mark at the start, blanks and returns at the ends."""
    from engine.protocol.talk import parse_answer, parse_line

    for line in (b'\xef\xbb\xbf{"readings": {"air": 4.5}}\r\n', b'  {"readings": {"air": 4.5}} \r'):
        assert parse_answer(parse_line(line)).readings == {"air": 4.5}


def test_a_job_file_of_notepad_reads_like_any_other(tmp_path: Path) -> None:
    """Its mark at the start and its line ends are no part of it."""
    from engine.job import job_file

    _job(tmp_path)
    plain = tmp_path / "plain.yaml"
    plain.write_bytes((tmp_path / "job.yaml").read_bytes().removeprefix(b"\xef\xbb\xbf").replace(b"\r\n", b"\n"))
    assert job_file.read(tmp_path / "job.yaml") == job_file.read(plain)


def _job(folder: Path) -> None:
    (folder / "job.yaml").write_text(
        "title: SAMPLE\nvehicle: {registration: SAMPLE 1}\n"
        "engine: {cylinders: 2, displacement: 500 cc, idle_speed: 900 rpm}\n"
        "bank: {family: twin valve header, carbs: 2}\n",
        encoding="utf-8-sig",  # as a Windows editor writes it
        newline="\r\n",
    )


def test_a_console_that_can_not_say_every_sign_gets_what_it_can() -> None:
    """cp1252 knows no arrow and no fraction of eighths: they become `?`, and nothing fails."""
    from io import BytesIO, TextIOWrapper

    from tui.commandline.out import write

    raw = BytesIO()
    stream = TextIOWrapper(raw, encoding="cp1252", newline="")
    write(stream, "1 1/4 → 2 ⅛ °C\n")
    assert raw.getvalue().decode("cp1252") == "1 1/4 ? 2 ? °C\n"
