"""The wheel carries all that the program needs: installed into a clean environment, it runs from anywhere."""

from __future__ import annotations

import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BIN = "Scripts" if sys.platform == "win32" else "bin"


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from what git knows, so that no stray file of this folder gets in."""
    source, out = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode:
        pytest.skip("needs the git repository")
    for name in listed.stdout.splitlines():
        if (ROOT / name).is_file() and not name.startswith("tests/"):
            (source / name).parent.mkdir(parents=True, exist_ok=True)
            (source / name).write_bytes((ROOT / name).read_bytes())
    pip = [sys.executable, "-m", "pip", "-q", "wheel", "--no-deps", "--no-build-isolation"]
    done = subprocess.run([*pip, "-w", str(out), str(source)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return next(out.glob("*.whl"))


@pytest.fixture(scope="module")
def clean(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment with the wheel in it. The libraries it needs are lent by this one, to spare the network."""
    home = tmp_path_factory.mktemp("clean")
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(home)], check=True)
    python = home / BIN / ("python.exe" if sys.platform == "win32" else "python")
    subprocess.run(
        [sys.executable, "-m", "pip", "-q", "--python", str(python), "install", "--no-deps", "--no-index", str(wheel)],
        check=True,
    )
    where = subprocess.run(
        [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout.strip()
    # A line of a .pth file adds a path and reads no .pth file in there, so nothing of this project comes along.
    (Path(where) / "lent.pth").write_text(sysconfig.get_path("purelib") + "\n", encoding="utf-8")
    return home


def test_every_module_is_in_the_wheel(wheel: Path) -> None:
    inside = set(zipfile.ZipFile(wheel).namelist())
    modules = {
        str(p.relative_to(ROOT)).replace("\\", "/")
        for top in ("engine", "tui", "procedures")
        for p in (ROOT / top).rglob("*.py")
    }
    assert modules - inside == set()


def test_every_file_that_is_no_code_is_in_the_wheel(wheel: Path) -> None:
    inside = set(zipfile.ZipFile(wheel).namelist())
    listed = subprocess.run(
        ["git", "ls-files", "engine", "tui", "procedures"], cwd=ROOT, capture_output=True, text=True
    )
    assert {name for name in listed.stdout.splitlines() if name not in inside} == set()


@pytest.mark.parametrize(
    "arguments",
    [["--version"], ["check", "idle-speed"], ["explain", "uncovered-reading"], ["schema", "talk"], ["where"]],
)
def test_it_runs_in_a_clean_environment(clean: Path, tmp_path: Path, arguments: list[str]) -> None:
    done = subprocess.run([str(clean / BIN / "evendraw"), *arguments], cwd=tmp_path, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert str(ROOT) not in done.stdout
