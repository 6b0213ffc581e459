"""Every number of the trade says where it comes from, where it stands: in files, vocabulary and the rooms that compute.

Left out on purpose: how often a step may be visited (`limit`), which is no figure of the trade but the program's own
patience; counts of 0 and 1; the numbers of bodies and barrels.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import Any

import pytest
from ruamel.yaml import YAML

from engine.vocabulary.vocabulary import SHIPPED

ROOT = Path(__file__).resolve().parents[3]
FILES = {
    path.relative_to(ROOT / "procedures").as_posix(): YAML(typ="safe").load(path.read_text(encoding="utf-8"))
    for path in sorted((ROOT / "procedures").rglob("*.yaml"))
}
LABEL = re.compile(r"published: S\d|from memory|common practice|derived|assumed")
#: A number that is a figure of the trade: not 0 or 1 alone, not the number of a body, no part of a name.
FIGURE = re.compile(r"(?<![\w.{])(?!(?:[01](?![\d./]))|(?:0 (?:mm|degC|turn)))\d+(?:[./]\d+)?(?![\w}])")
NUMBERED = re.compile(r"\b(?:[Bb]ody|[Cc]arb|[Bb]arrel)\s\d|\bcarbs [<>]=? \d")
#: Keys of a step whose numbers are no figures of the trade, or lead elsewhere.
ASIDE = frozenset({"limit", "ends", "source", "only", "symptoms"})


def figures(entry: Any) -> list[str]:
    """The figures of the trade in an entry of a file, in its texts and expressions."""
    if isinstance(entry, dict):
        return [f for key, value in entry.items() if key not in ASIDE for f in figures(value)]
    if isinstance(entry, list):
        return [f for item in entry for f in figures(item)]
    return FIGURE.findall(NUMBERED.sub("", str(entry)))


ENTRIES = {
    f"{file} {section} {name}": entry
    for file, told in FILES.items()
    for section in ("readings", "screws", "settings", "steps")
    for name, entry in (told.get(section) or {}).items()
    if figures(entry)
}


def test_there_are_figures_to_label() -> None:
    assert len(ENTRIES) > 150


@pytest.mark.parametrize("name", ENTRIES)
def test_a_figure_of_a_shipped_file_says_where_it_comes_from(name: str) -> None:
    assert LABEL.search(str(ENTRIES[name].get("source", ""))), figures(ENTRIES[name])


def test_no_healthy_range_is_called_right_for_airflow_or_compression() -> None:
    """There is no right figure for these but equality: a low-compression engine is not called low."""
    readings = {
        f"{file} {name}": reading
        for file, told in FILES.items()
        for name, reading in (told.get("readings") or {}).items()
        if reading.get("quantity") in ("airflow", "compression")
    }
    assert len(readings) >= 3
    assert [name for name, reading in readings.items() if "healthy" in reading] == []


def test_what_is_right_for_the_speed_is_the_jobs() -> None:
    speeds = {
        f"{file} {name}": reading["healthy"]
        for file, told in FILES.items()
        for name, reading in (told.get("readings") or {}).items()
        if reading.get("quantity") == "engine speed"
    }
    assert len(speeds) >= 3
    assert {name for name, healthy in speeds.items() if "idle" not in f"{healthy.get('from')}"} == set()


TABLES = ("states", "quantities", "hazards", "families", "mixture_screws", "air_screws", "instruments")


@pytest.mark.parametrize("table", TABLES)
def test_every_word_of_the_vocabulary_says_where_its_figures_come_from(table: str) -> None:
    entries = getattr(SHIPPED, table).values()
    assert entries and [e.name for e in entries if not LABEL.search(e.source)] == []


def constants(path: Path) -> dict[str, str]:
    """Module constants with a figure in them, each with the comment that stands with it."""
    text = path.read_text(encoding="utf-8")
    lines = text.splitlines()
    found = {}
    for node in ast.parse(text).body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        if target is None or getattr(node, "value", None) is None:
            continue
        numbers = [
            c.value
            for c in ast.walk(node.value)
            if isinstance(c, ast.Constant) and type(c.value) in (int, float) and c.value not in (0, 1)
        ]
        if not numbers:
            continue
        first = node.lineno - 1
        while first > 0 and lines[first - 1].strip() and not lines[first - 1].startswith("#"):  # of one group
            first -= 1
        while first > 0 and lines[first - 1].startswith("#"):
            first -= 1
        found[ast.unparse(target)] = "\n".join(lines[first : node.end_lineno])
    return found


CONSTANTS = {
    f"{room}.{path.stem} {name}": said
    for room in ("rules", "advisers", "estimation", "policy")
    for path in sorted((ROOT / "engine" / "carburation" / room).glob("*.py"))
    for name, said in constants(path).items()
}


@pytest.mark.parametrize("name", CONSTANTS)
def test_a_constant_of_the_trade_says_where_it_comes_from(name: str) -> None:
    assert re.search(r"published|from memory|common practice|derived|assumed|exact", CONSTANTS[name]), CONSTANTS[name]


def bare(path: Path) -> list[str]:
    """Figures with a point in functions, which no name and no label stands for; halves and wholes are arithmetic."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef):
            body = ast.Module(node.body, [])
            numbers = (c.value for c in ast.walk(body) if isinstance(c, ast.Constant) and type(c.value) is float)
            found += [f"{node.name}: {v}" for v in numbers if (2 * v) % 1 and abs(v) > 1e-4]
    return found


ADVISERS = sorted((ROOT / "engine" / "carburation" / "advisers").glob("*.py"))


@pytest.mark.parametrize("path", ADVISERS, ids=lambda p: p.stem)
def test_no_figure_of_an_adviser_stands_bare_in_its_code(path: Path) -> None:
    assert bare(path) == []
