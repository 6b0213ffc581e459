"""The JSON Schema beside the procedures is what the loader means, takes every sound file, and works in an editor.

The editor's part is played by the YAML language server (npm package yaml-language-server).
"""

from __future__ import annotations

import json
import os
import queue
import re
import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from engine.carburation.registry import shipped
from engine.procedure.language.functions import TAUGHT
from engine.procedure.model import schema

ROOT = Path(__file__).parents[3]
PROCEDURES = ROOT / "procedures"
VALVES = ROOT / "tests" / "engine" / "conformance" / "balance_two_valves.yaml"
OFFERS = schema.offers_of(PROCEDURES, shipped())
EXPORT = (
    "from pathlib import Path; from engine.carburation.registry import shipped; "
    "from engine.procedure.model.schema import write; write(Path('procedures'), shipped())"
)


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("procedure", schema.schema(OFFERS)),
        ("kit", schema.kit_schema(OFFERS)),
        ("job", schema.job_schema()),
    ],
    ids=("procedure", "kit", "job"),
)
def test_the_committed_schema_is_what_the_models_say(name: str, made: Any) -> None:
    committed = (PROCEDURES / f"{name}.schema.json").read_text(encoding="utf-8")
    assert committed == schema.text(made), f'Export it again: python -c "{EXPORT}"'


def _properties(node: Any, path: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    if isinstance(node, dict):
        for key, value in node.get("properties", {}).items():
            yield f"{path}/{key}", value
        for key, value in node.items():
            yield from _properties(value, f"{path}/{key}")
    elif isinstance(node, list):
        for i, value in enumerate(node):
            yield from _properties(value, f"{path}/{i}")


def test_every_key_has_its_page_of_the_manual() -> None:
    for path, entry in _properties(schema.schema()):
        assert entry.get("title"), path
        assert entry.get("description", "").endswith((".", '."', "`")), path


def test_the_schema_is_plain_enough_for_editors() -> None:
    text = schema.text(schema.schema())
    for word in ("prefixItems", "discriminator", "$defs", '"null"'):
        assert word not in text


def _without_words(node: Any) -> Any:
    """The schema without the words that it offers: those are the shipped trade's, open to any other."""
    if isinstance(node, list):
        return [_without_words(n) for n in node]
    if isinstance(node, dict):
        if "coupling" in node.get("properties", {}):  # the keys of `state`
            node = {k: v for k, v in node.items() if k != "properties"}
        return {k: _without_words(v) for k, v in node.items() if k not in ("enum", "examples")}
    return node


def test_the_schema_speaks_of_no_trade() -> None:
    text = schema.text(_without_words(schema.schema())).lower()
    assert not re.search(r"carburett|mixture|\bjet|choke|throttle|idle|petrol|ignition|cylinder head", text)


# ---- in an editor


def _server() -> str | None:
    return os.environ.get("EVENDRAW_YAML_LANGUAGE_SERVER") or shutil.which("yaml-language-server")


needs_server = pytest.mark.skipif(
    _server() is None, reason="the yaml-language-server of npm is not on PATH nor in EVENDRAW_YAML_LANGUAGE_SERVER"
)


class Editor:
    """As much of the language server protocol as opening a file, asking for help and reading what is wrong takes."""

    def __init__(self, folder: Path) -> None:
        server = _server()
        assert server is not None
        self.folder = folder
        self.process = subprocess.Popen([server, "--stdio"], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.inbox: queue.Queue[dict[str, Any]] = queue.Queue()
        threading.Thread(target=self._listen, daemon=True).start()
        self.ids = 0
        self.diagnoses: dict[str, list[dict[str, Any]]] = {}
        self.ask(
            "initialize",
            {
                "processId": None,
                "rootUri": folder.as_uri(),
                "capabilities": {"textDocument": {"hover": {"contentFormat": ["plaintext"]}, "publishDiagnostics": {}}},
            },
        )
        self.send("initialized", {})

    def _listen(self) -> None:
        out = self.process.stdout
        assert out is not None
        while line := out.readline():
            length = 0
            while line.strip():
                if line.lower().startswith(b"content-length:"):
                    length = int(line.split(b":")[1])
                line = out.readline()
            self.inbox.put(json.loads(out.read(length)))

    def _write(self, message: dict[str, Any]) -> None:
        data = json.dumps({"jsonrpc": "2.0", **message}).encode()
        assert self.process.stdin is not None
        self.process.stdin.write(b"Content-Length: %d\r\n\r\n" % len(data) + data)
        self.process.stdin.flush()

    def send(self, method: str, params: Any) -> None:
        self._write({"method": method, "params": params})

    def _next(self) -> dict[str, Any]:
        message = self.inbox.get(timeout=20)
        if message.get("method") == "textDocument/publishDiagnostics":
            self.diagnoses[message["params"]["uri"]] = message["params"]["diagnostics"]
        elif message.get("method") == "workspace/configuration":
            self._write({"id": message["id"], "result": [None for _ in message["params"]["items"]]})
        elif "method" in message and "id" in message:
            self._write({"id": message["id"], "result": None})
        return message

    def ask(self, method: str, params: Any) -> Any:
        self.ids += 1
        self._write({"id": self.ids, "method": method, "params": params})
        while True:
            message = self._next()
            if message.get("id") == self.ids and "method" not in message:
                return message.get("result")

    def open(self, name: str, text: str) -> str:
        path = self.folder / name
        path.write_text(text, encoding="utf-8", newline="\n")
        self.send(
            "textDocument/didOpen",
            {"textDocument": {"uri": path.as_uri(), "languageId": "yaml", "version": 1, "text": text}},
        )
        return path.as_uri()

    def problems(self, uri: str) -> list[tuple[int, str]]:
        while uri not in self.diagnoses:
            self._next()
        return [(d["range"]["start"]["line"] + 1, d["message"]) for d in self.diagnoses[uri]]

    def at(self, uri: str, line: int, column: int) -> dict[str, Any]:
        return {"textDocument": {"uri": uri}, "position": {"line": line - 1, "character": column - 1}}

    def close(self) -> None:
        self.process.kill()
        self.process.wait()


@pytest.fixture(scope="module")
def editor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Editor]:
    folder = tmp_path_factory.mktemp("editor")
    shutil.copy(PROCEDURES / "procedure.schema.json", folder)
    made = Editor(folder)
    yield made
    made.close()


HEAD = "# yaml-language-server: $schema=./procedure.schema.json\n"


@needs_server
def test_an_editor_finds_nothing_wrong_with_a_sound_file(editor: Editor) -> None:
    assert editor.problems(editor.open("sound.yaml", HEAD + VALVES.read_text(encoding="utf-8"))) == []


@needs_server
def test_an_editor_finds_nothing_wrong_with_shipped_files(editor: Editor) -> None:
    for path in sorted(PROCEDURES.glob("*.yaml"))[::6]:  # every sixth: the server takes its time
        assert editor.problems(editor.open(path.name, HEAD + path.read_text(encoding="utf-8"))) == [], path.name


@needs_server
def test_an_editor_shows_a_fault_on_its_line(editor: Editor) -> None:
    text = HEAD + VALVES.read_text(encoding="utf-8")
    for old, new in (
        ("word: warning", "word: warnin"),
        ("revision: 4", "revision: four"),
        ("each: carb, acts", "each: crab, acts"),
        ("    note: The far", "    nte: The far"),
        ("title: Balance", "tilte: Balance"),
    ):
        assert text.count(old) == 1
        text = text.replace(old, new)
    lines = [i for i, line in enumerate(text.split("\n"), 1) if re.search("warnin}?,|four|crab|nte: The|tilte", line)]
    found = editor.problems(editor.open("wrong.yaml", text))
    assert set(lines) <= {line for line, _ in found}
    assert any("title" in message for _, message in found), "the missing key is told, too"


@needs_server
def test_an_editor_shows_the_manual_and_offers_the_keys(editor: Editor) -> None:
    text = HEAD + VALVES.read_text(encoding="utf-8").replace("    note: The far valve settles last.\n", "    \n")
    uri = editor.open("typing.yaml", text)
    lines = text.split("\n")
    limit = next(i for i, line in enumerate(lines, 1) if line.startswith("    limit:"))
    shown = json.dumps(editor.ask("textDocument/hover", editor.at(uri, limit, 7)))
    assert "Every loop passes a step with a limit" in shown
    empty = next(i for i, line in enumerate(lines, 1) if line == "    ")
    offered = editor.ask("textDocument/completion", editor.at(uri, empty, 5))
    labels = {item["label"] for item in (offered["items"] if isinstance(offered, dict) else offered)}
    assert {"note", "hear", "keep", "make"} <= labels


def test_an_editor_is_offered_every_adviser_kit_file_and_function_by_name() -> None:
    made = json.loads((PROCEDURES / "procedure.schema.json").read_text(encoding="utf-8"))
    definitions = made["definitions"]
    advisers = definitions["Advise"]["properties"]["adviser"]["anyOf"]
    assert advisers[0]["enum"] == sorted(shipped()) and advisers[1]["type"] == "string"
    kits = made["properties"]["uses"]["items"]["anyOf"]
    assert kits[0]["enum"] == sorted(p.stem for p in PROCEDURES.glob("kits/*.yaml")) and kits[1]["type"] == "string"
    files = definitions["Step"]["properties"]["call"]["anyOf"]
    assert files[0]["enum"] == sorted(p.stem for p in PROCEDURES.glob("*.yaml")) and files[1]["type"] == "string"
    offered = {s["label"] for s in definitions["Branch"]["properties"]["when"]["defaultSnippets"]}
    assert offered == {example for _, example in TAUGHT.values()}
