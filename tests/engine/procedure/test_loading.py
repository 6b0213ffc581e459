"""Whatever a file holds, loading it ends soon, in a program or in problems with a place: never in a traceback."""

from __future__ import annotations

import os
import random
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from water_trade import ADVISERS

from engine.procedure.build.load import Loaded, load, load_texts
from engine.procedure.source import files
from engine.procedure.source.problems import in_order
from tests.modes import BOUND

HERE = Path(__file__).parent
EXAMPLES = sorted((HERE.parent / "conformance").glob("*.yaml"))
VALVES = (HERE.parent / "conformance" / "balance_two_valves.yaml").read_text(encoding="utf-8")
#: Seconds of process time that any file may cost (not wall time: a loaded machine takes nothing from it).
SOON = 2.0


@contextmanager
def soon() -> Iterator[None]:
    before = time.process_time()
    yield
    assert time.process_time() - before < SOON


def told(found: Loaded) -> str:
    """The code of the first problem; each has a sentence and a place."""
    assert found.program is None
    assert found.problems == in_order(found.problems)
    for p in found.problems:
        assert p.message.endswith(".") and len(p.message) < 400 and p.span.line >= 1 and p.span.column >= 1
    return found.problems[0].code


# ---- files that are none


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    assert told(load(tmp_path / "gone.yaml", [], ADVISERS)) == "not-a-file"


def test_a_missing_name_is_told_with_the_nearest(tmp_path: Path) -> None:
    (tmp_path / "balance.yaml").write_text(VALVES, encoding="utf-8")
    found = load("balanse", [tmp_path], ADVISERS)
    assert told(found) == "unknown-file" and "balance" in found.problems[0].hint


def test_a_folder_is_no_procedure_and_hides_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert told(load(tmp_path, [], ADVISERS)) == "not-a-file"
    (tmp_path / "bleed_line").mkdir()
    monkeypatch.chdir(tmp_path)
    assert load("bleed_line", [HERE.parent / "conformance"], ADVISERS).sound
    assert told(load("bleed_line", [], ADVISERS)) == "not-a-file"


@pytest.mark.skipif(sys.platform == "win32", reason="devices and pipes have no path there")
def test_a_device_and_a_pipe_are_refused_unread(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.yaml")
    with soon():
        assert told(load(Path("/dev/zero"), [], ADVISERS)) == "not-a-file"
        assert told(load(tmp_path / "pipe.yaml", [], ADVISERS)) == "not-a-file"


@BOUND
def test_an_unreadable_file_is_told(tmp_path: Path) -> None:
    path = tmp_path / "locked.yaml"
    path.write_text(VALVES, encoding="utf-8")
    path.chmod(0)
    assert told(load(path, [], ADVISERS)) == "cannot-read"


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_a_link_to_itself_is_told(tmp_path: Path) -> None:
    (tmp_path / "round.yaml").symlink_to(tmp_path / "round.yaml")
    assert told(load(tmp_path / "round.yaml", [], ADVISERS)) == "cannot-read"


@pytest.mark.parametrize("name", ["a\0b", "x" * 5000, "", ".", "..", "a/b/c.yaml", "con:.yaml"])
def test_a_name_that_no_file_can_have_is_told(name: str) -> None:
    assert told(load(name, [], ADVISERS)) in ("not-a-file", "cannot-read", "unknown-file")


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "wrong-shape"),
        (b"   \n\n", "wrong-shape"),
        (b"just words", "wrong-shape"),
        (b"- a\n- b\n", "wrong-shape"),
        (VALVES.encode("utf-16"), "not-utf-8"),
        (VALVES.encode("latin-1"), "not-utf-8"),
        (b"procedure: x\0y", "not-utf-8"),
        (b"procedure: x\x07y", "not-utf-8"),
        (b"\xff\xd8\xff\xe0 a picture", "not-utf-8"),
        (b"PK\x03\x04", "not-utf-8"),
        (b"x: " + b"y" * (10 << 20), "too-big"),
    ],
)
def test_bytes_that_are_no_procedure_are_told(tmp_path: Path, data: bytes, code: str) -> None:
    path = tmp_path / "x.yaml"
    path.write_bytes(data)
    with soon():
        assert told(load(path, [], ADVISERS)) == code


def test_the_place_of_a_wrong_byte_is_told(tmp_path: Path) -> None:
    path = tmp_path / "x.yaml"
    path.write_bytes("procedure: x\ntitle: Größe é".encode()[:-1] + b"\n")
    span = load(path, [], ADVISERS).problems[0].span
    assert (span.line, span.column) == (2, 14)


def test_a_byte_order_mark_and_foreign_line_ends_change_nothing(tmp_path: Path) -> None:
    for name in ("balance_two_valves", "bleed_line"):
        text = (HERE.parent / "conformance" / f"{name}.yaml").read_text(encoding="utf-8")
        (tmp_path / f"{name}.yaml").write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    found = load(tmp_path / "balance_two_valves.yaml", [], ADVISERS)
    plain = load(HERE.parent / "conformance" / "balance_two_valves.yaml", [], ADVISERS)
    assert found.program is not None and plain.program is not None
    assert found.program.sha256 == plain.program.sha256


# ---- where called files are found


def _folder(path: Path, bleed: str) -> Path:
    path.mkdir()
    text = (HERE.parent / "conformance" / "bleed_line.yaml").read_text(encoding="utf-8")
    (path / "bleed_line.yaml").write_text(text.replace("Bleed the line", bleed), encoding="utf-8")
    return path


def test_a_called_file_stands_beside_its_caller_or_on_the_path_where_a_shop_comes_first(tmp_path: Path) -> None:
    shop, shipped, own = (_folder(tmp_path / n, n) for n in ("shop", "shipped", "own"))
    for folder in (shipped, own):
        (folder / "balance_two_valves.yaml").write_text(VALVES, encoding="utf-8")

    def called(start: str | Path) -> str:
        program = load(start, [shop, shipped], ADVISERS).program
        assert program is not None
        return program.files["bleed_line"].title

    assert called("balance_two_valves") == "shop"
    assert called(shipped / "balance_two_valves.yaml") == "shop"
    assert called(own / "balance_two_valves.yaml") == "own"
    (own / "bleed_line.yaml").unlink()
    assert called(own / "balance_two_valves.yaml") == "shop"


def test_a_run_can_be_opened_again_from_its_texts_alone() -> None:
    found = load(HERE.parent / "conformance" / "balance_two_valves.yaml", [], ADVISERS).program
    assert found is not None
    again = load_texts({n: p.source.text for n, p in found.files.items()}, found.main, ADVISERS).program
    assert again is not None
    assert again.sha256 == found.sha256
    assert list(again.files) == ["balance_two_valves", "bleed_line"]
    assert again.files["bleed_line"].steps == found.files["bleed_line"].steps


def test_the_digest_tells_any_change_of_any_file() -> None:
    texts = {p.stem: p.read_text(encoding="utf-8") for p in EXAMPLES if p.stem in ("balance_two_valves", "bleed_line")}
    first = load_texts(texts, "balance_two_valves", ADVISERS).program
    texts["bleed_line"] = texts["bleed_line"].replace("until no air comes", "until water comes")
    second = load_texts(texts, "balance_two_valves", ADVISERS).program
    assert first is not None and second is not None and first.sha256 != second.sha256


# ---- texts made to hurt

SIZE = files.LARGEST - 100
BOMBS = {
    "deep list": "[" * SIZE,
    "deep mapping": "{a: " * (SIZE // 4),
    "dashes": "- " * (SIZE // 2),
    "questions": "? " * (SIZE // 2),
    "stairs": "".join(" " * i + "a:\n" for i in range(600)),
    "wide list": "x: [" + "a," * (SIZE // 2 - 3) + "]",
    "many keys": "\n".join(f"k{i}: 1" for i in range(SIZE // 10)),
    "same key": "a: 1\n" * (SIZE // 5),
    "odd keys": "? [a]\n: b\n" * (SIZE // 10),
    "words": "a " * (SIZE // 2),
    "open quote": 'x: "' + "\\x41" * (SIZE // 4 - 5),
    "folded": "a: >\n" + "  x\n" * (SIZE // 4 - 5),
    "tags": "!!a " * (SIZE // 4),
    "documents": "---\n" * (SIZE // 4),
    "directives": "%a b\n" * (SIZE // 5),
    "bangs": "!" * SIZE,
    "stars": "*" * SIZE,
    "aliases": "a: &a [x, x]\n" + "".join(f"b{i}: &b{i} [*a, *a, *a, *a]\n" for i in range(2000)),
    "construction": "procedure: !!python/object/apply:os.system ['exit 1']",
    "merge": "a: &a {b: c}\nd: {<<: *a}",
    "big number": VALVES.replace("value: 6 L/min", f"value: {'9' * 5000} L/min"),
    "long guard": VALVES.replace("gap > 5 L/min and", "gap > 5 L/min and not " + "(" * 5000),
    "long name": VALVES.replace("gap:", "g" * 5000 + ":"),
    "long text": VALVES.replace("Nothing is moving", "n " * 50000),
    "many steps": VALVES + "".join(f"  s{i}: {{go: s{i + 1}}}\n" for i in range(4000)) + "  s4000: {end: ok}\n",
    "many guards": VALVES
    + "".join(f"  s{i}: {{branch: [{{when: gap > {i}, go: worn}}, {{otherwise: worn}}]}}\n" for i in range(1500)),
    "growing kept": VALVES.replace(
        "    do: Turn as shown, then lock.",
        "    keep: {" + ", ".join(f"k{i}: k{i + 1} + 1" for i in range(500)) + ", k500: k0 * k0}",
    ),
    "value tower": VALVES.replace(
        "  gap: {is", "".join(f"  v{i}: v{i + 1} * v{i + 1}\n" for i in range(300)) + "  v300: 2\n  gap: {is"
    ),
    "value chain": VALVES.replace(
        "  gap: {is", "".join(f"  v{i}: v{i + 1}\n" for i in range(900)) + "  v900: 2\n  gap: {is"
    ),
}


@pytest.mark.parametrize("text", BOMBS.values(), ids=BOMBS.keys())
def test_a_text_made_to_hurt_costs_little(text: str) -> None:
    with soon():
        found = load_texts({"x": text}, "x", ADVISERS)
    told(found)


# ---- anything else


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_are_a_program_or_problems(data: bytes) -> None:
    found = files.decode(data, "x", "x.yaml")
    if isinstance(found, files.Source):
        told(load_texts({"x": found.text}, "x", ADVISERS))


@settings(max_examples=60, deadline=None)
@given(st.text(alphabet="ab:-[]{},'\"#&*!|>%@?\n \t0", max_size=120))
def test_any_text_is_a_program_or_problems(text: str) -> None:
    told(load_texts({"x": text}, "x", ADVISERS))


def _mutated(text: str, dice: random.Random) -> str:
    """The text with a few edits: characters, lines, words of the language put elsewhere."""
    for _ in range(dice.randint(1, 3)):
        lines = text.split("\n")
        at = dice.randrange(len(lines))
        kind = dice.randrange(7)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, lines[dice.randrange(len(lines))])
        elif kind == 2:
            lines[at] = dice.choice(["  ", " ", "    "]) + lines[at]
        elif kind == 3:
            lines[at] = lines[at].lstrip()
        else:
            words = [w for w in text.replace(",", " ").split() if w]
            old = dice.choice(words)
            new = dice.choice([*words, "[]", "{}", "''", "null", "1e9", "-1", "here", "~", "any("])
            lines[at] = lines[at].replace(old, new) if kind < 6 else lines[at][: dice.randrange(len(lines[at]) + 1)]
        text = "\n".join(lines)
    return text


@pytest.mark.parametrize("seed", range(8))
def test_a_file_with_slips_is_a_program_or_problems(seed: int) -> None:
    dice = random.Random(seed)
    texts = {p.stem: p.read_text(encoding="utf-8") for p in EXAMPLES if ".trace" not in p.name}
    for _ in range(25):
        name = dice.choice(sorted(texts))
        with soon():
            found = load_texts({**texts, name: _mutated(texts[name], dice)}, name, ADVISERS)
        assert (found.program is None) == any(p.severity == "error" for p in found.problems)
